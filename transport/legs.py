"""The one place where ferry and boat legs are entered, stopped and started again.

Nothing about a journey changes by it: the next look at candidates and the next arrival window, a
minute later at most, are worked out with what runs then.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time

from django.core.exceptions import ValidationError

from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.models import District, Site
from transport.models import Leg


@dataclass(frozen=True, kw_only=True)
class LegTold:
    """A leg from one landing to another; ``and_back``: the same the other way."""

    name: str
    origin: Site
    destination: Site
    median_minutes: float
    p90_minutes: float
    kinds: Sequence[str]
    waiting_minutes: float = 0.0
    runs_from: time | None = None
    runs_until: time | None = None
    and_back: bool = False


def enter(by: By, district: District, told: LegTold) -> list[Leg]:
    """Write a leg down, and the way back if it is the same.

    Raises:
        NotPossible: ``impossible_leg``, with everything that cannot be.
    """
    ways = [(told.origin, told.destination)]
    if told.and_back:
        ways.append((told.destination, told.origin))
    made = [
        Leg(
            district=district,
            name=told.name[:120],
            origin=start,
            destination=end,
            median_minutes=told.median_minutes,
            p90_minutes=told.p90_minutes,
            waiting_minutes=told.waiting_minutes,
            runs_from=told.runs_from,
            runs_until=told.runs_until,
            kinds=list(told.kinds),
            entered_by=by.name[:150],
        )
        for start, end in ways
    ]
    try:
        for leg in made:
            leg.full_clean()
    except ValidationError as error:
        raise NotPossible(" ".join(error.messages), code="impossible_leg") from error
    for leg in made:
        leg.save()
    return made


def stop(by: By, leg: Leg) -> Leg:
    """It runs no more until it is started again. A second press changes nothing."""
    if leg.stopped_at is None:
        leg.stopped_at, leg.stopped_by = by.received_at, by.name[:150]
        leg.save(update_fields=["stopped_at", "stopped_by"])
    return leg


def start(by: By, leg: Leg) -> Leg:
    """It runs again."""
    leg.stopped_at, leg.stopped_by = None, ""
    leg.save(update_fields=["stopped_at", "stopped_by"])
    return leg
