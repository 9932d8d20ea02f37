"""Drills: the real people on call are told by their real channels, about no baby.

Everything a drill sends says that it is one. It ends when it is answered, stopped or over its
time; whoever is told then has nothing to do.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from referrals import alerting, clock, sending, sweeping
from referrals.acting import By, by_system
from referrals.alerting import Text
from referrals.models import Alert, Delivery, District, Unit
from referrals.saying import to_tell


@dataclass(frozen=True)
class Tried:
    """One team's ladder being tried: the district for its desk, else the unit."""

    owner: Unit | District
    alert: Alert

    @property
    def team(self) -> str:
        """The unit's code, or ``desk``."""
        return self.owner.code if isinstance(self.owner, Unit) else "desk"

    @property
    def seconds(self) -> float | None:
        """Seconds from the raise to the answer; None while nobody has answered."""
        answered = self.alert.acknowledged_at
        return (answered - self.alert.raised_at).total_seconds() if answered else None


def begin(owners: Sequence[Unit | District], now: datetime) -> list[Tried]:
    """Raise one drill a team; its first messages leave with the next ``go_on``."""
    return [Tried(owner, _raise(owner, by_system(now))) for owner in owners]


def go_on(tried: Sequence[Tried], now: datetime) -> list[Tried]:
    """Take the steps that are due and send what is due, as the sweep does beside us or without."""
    for one in tried:
        sweeping.take_step(one.alert.pk, now)
    sending.send_due()
    found = Alert.objects.in_bulk([one.alert.pk for one in tried])
    return [Tried(one.owner, found[one.alert.pk]) for one in tried]


def end(tried: Sequence[Tried], now: datetime) -> None:
    """The drill is over: nobody is rung about it any more."""
    with transaction.atomic():
        alerts = Alert.objects.select_for_update().filter(pk__in=[one.alert.pk for one in tried])
        alerting.settle(alerts, to_tell("the drill is over"), by_system(now))


def messages_of(tried: Tried) -> list[Delivery]:
    """What was sent to whom, in order."""
    return list(tried.alert.deliveries.order_by("created_at", "pk"))


def _raise(owner: Unit | District, by: By) -> Alert:
    team = to_tell("the desk") if isinstance(owner, District) else str(owner)
    message = to_tell(
        "DRILL, there is no baby. We try whether %(team)s can be reached. Please open this and "
        "press the button:",
        team=team,
    )
    sentence = to_tell(
        "DRILL, there is no baby: we try whether %(team)s can be reached. Press the button, and "
        "nobody else is rung.",
        team=team,
    )
    code = owner.code
    key = f"drill:{uuid.uuid4().hex[:12]}:{clock.now():%Y%m%d%H%M}:{code}"
    return alerting.try_ladder(owner, by, key, Text(sentence=sentence, message=message))
