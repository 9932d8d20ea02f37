"""The temperature of a baby in words: class, trend, what it would be on arrival; the incubator."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from referrals.calc.incubator import SOURCE, IncubatorStart, incubator_start
from referrals.calc.thermal import classes_in_words, classes_of
from referrals.calc.warmth import (
    REWARMING_SOURCE,
    SETTINGS,
    Projected,
    Reading,
    Trend,
    projected,
    trend_of,
)
from referrals.calc.wording import words
from referrals.models import Baby
from referrals.pages.forms import PageForm, Quantity
from referrals.reading import known_facts
from transport.estimating import Window, projected_arrival
from transport.models import Transfer

ENDS = ("p50", "p90")
"""The likely and the late arrival."""


@dataclass(frozen=True)
class OnArrival:
    """The temperature at one end of the arrival window, if it goes on like this."""

    is_late: bool
    projected: Projected


def warmth_of(baby: Baby, transfer: Transfer | None, now: datetime) -> dict[str, Any]:
    """What is known of the temperature of a baby; nothing while nobody has taken it."""
    known = known_facts(baby.observations.all())
    celsius, at = known.get("temperature_c", (None, None))
    if celsius is None or not classes_of(celsius):
        return {"celsius": None}
    rows = baby.observations.standing().exclude(temperature_c=None)
    trend = trend_of(
        Reading(row.observed_at, row.temperature_c) for row in rows if row.temperature_c is not None
    )
    window = _window(transfer, now) if trend and not baby.ending else None
    on_arrival = _on_arrival(trend, window) if trend and window else []
    return {
        "celsius": f"{celsius:g}",
        "at": at,
        "classes": classes_in_words(celsius),
        "trend": _in_words(trend) if trend else "",
        "needs": {
            "readings": SETTINGS.least_readings,
            "minutes": f"{SETTINGS.least_minutes:g}",
            "hours": f"{SETTINGS.look_back_hours:g}",
        },
        "on_arrival": on_arrival,
        "too_far": bool(window and len(on_arrival) < len(ENDS)),
        "farthest": f"{SETTINGS.farthest_hours:g}",
        "too_slow": trend is not None and trend.is_too_slow,
        "rewarming_source": words(REWARMING_SOURCE),
    }


def _window(transfer: Transfer | None, now: datetime) -> Window | None:
    if transfer is None or not transfer.is_live or transfer.arrived_at:
        return None
    return projected_arrival(transfer, now)


def _on_arrival(trend: Trend, window: Window) -> list[OnArrival]:
    times = (getattr(window, end) for end in ENDS)
    found = zip((False, True), (projected(trend, at) for at in times), strict=True)
    return [OnArrival(is_late, each) for is_late, each in found if each]


def _in_words(trend: Trend) -> str:
    """The change an hour with its error, and the readings it comes from."""
    return _(
        "%(change)+.1f °C an hour (give or take %(error).1f), from %(count)d readings between "
        "%(first)s and %(last)s"
    ) % {
        "change": trend.per_hour,
        "error": trend.per_hour_error,
        "count": trend.count,
        "first": f"{timezone.localtime(trend.first.at):%H:%M}",
        "last": f"{timezone.localtime(trend.last.at):%H:%M}",
    }


class RoomForm(PageForm):
    """The room in which the incubator stands."""

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="room-%s")
        self.fields["room_c"] = Quantity("room_c", _("Temperature of the room"))


@dataclass(frozen=True)
class Begins:
    """Where an incubator is begun for one baby, or what is missing to say it."""

    baby: Baby
    start: IncubatorStart | None
    missing: list[str]


def incubators(babies: list[Baby], arrives: datetime, room_c: float | None) -> dict[str, Any]:
    """Where to begin for each baby that still comes, at the time it is expected."""
    return {"source": words(SOURCE), "begins": [_begins(baby, arrives, room_c) for baby in babies]}


def _begins(baby: Baby, arrives: datetime, room_c: float | None) -> Begins:
    missing = [
        *([_("the weight")] if baby.weight_g is None else []),
        *([_("the time of birth")] if baby.born_at is None else []),
    ]
    start = incubator_start(
        weight_g=baby.weight_g,
        minutes_since_birth=(arrives - baby.born_at) / timedelta(minutes=1)
        if baby.born_at
        else None,
        weight_guessed=baby.weight_guessed,
        room_c=room_c,
        single_walled=True,
    )
    return Begins(baby, start, missing)
