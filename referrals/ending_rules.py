"""What must be known before an ending is written down for a baby. Refusals only: nothing changes.

A death names the baby by its band, the time and the person who determined it; 'recovered' names a
clinician and, after ventilation, follows a time of watching. All other endings need none of this.
"""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from referrals.acting import By
from referrals.calc.breathing_alone import BreathReading, alone_since
from referrals.calc.device_time import NOTICEABLE_SKEW
from referrals.calc.states import NotPossible
from referrals.calc.terms import Breathing, Ending, Support
from referrals.messages import clock_time
from referrals.models import Baby

DEATHS = frozenset({Ending.DIED_BEFORE_DEPARTURE, Ending.DIED_ON_THE_WAY})


FIELD_OF_REFUSAL = {
    "name_needed": "determined_by",
    "band_needed": "band",
    "wrong_band": "band",
    "time_to_come": "ended_at",
    "before_birth": "ended_at",
}
"""Beside which field a refusal belongs, by its code."""


@dataclass(frozen=True, kw_only=True)
class EndingTold:
    """What is told beside an ending. ``band`` is the code as it was read from the baby's band."""

    determined_by: str = ""
    band: str = ""
    ended_at: datetime | None = None
    words: str = ""


def require_known(by: By, baby: Baby, ending: Ending, told: EndingTold) -> datetime:
    """When it ended; the caller holds the referral.

    Raises:
        NotPossible: ``name_needed``, ``band_needed``, ``wrong_band``, ``time_to_come``,
            ``before_birth`` or ``observation_period``.
    """
    if ending in DEATHS | {Ending.RECOVERED} and not told.determined_by:
        raise NotPossible(
            _("Say who determined it: this ending needs the name of a person."), code="name_needed"
        )
    if ending in DEATHS:
        require_band(baby, told.band)
    ended_at = _moment(by, baby, told.ended_at)
    if ending is Ending.RECOVERED:
        require_watched(baby, ended_at)
    return ended_at


def require_watched(baby: Baby, at: datetime) -> None:
    """After ventilation: the district's time of watching has passed since the baby breathes alone.

    Raises:
        NotPossible: ``observation_period``, with how long is still to be watched.
    """
    readings = breath_readings(baby)
    if not baby.ventilated_since and not any(row.shows_ventilation for row in readings):
        return
    minutes = baby.referral.district.observation_minutes
    since = alone_since(readings)
    if since is None:
        raise NotPossible(
            _(
                "%(code)s was ventilated, and nobody has written down since that it breathes "
                "alone. Keep checking. When it does, write down 'Breathes regularly alone' and "
                "'No support': that steps the case down, and the %(minutes)d min of watching "
                "begin."
            )
            % {"code": baby.code, "minutes": math.ceil(minutes)},
            code="observation_period",
        )
    left = minutes - (at - since) / timedelta(minutes=1)
    if left > 0:
        raise NotPossible(
            _(
                "%(code)s breathes alone since %(since)s. After ventilation it is watched for "
                "%(minutes)d min; %(left)d min are left. Keep checking. Writing down 'Breathes "
                "regularly alone' and 'No support' steps the case down meanwhile."
            )
            % {
                "code": baby.code,
                "since": clock_time(since, baby.referral),
                "minutes": math.ceil(minutes),
                "left": math.ceil(left),
            },
            code="observation_period",
        )


def breath_readings(baby: Baby) -> list[BreathReading]:
    """What each reading that stands says of the breathing."""
    rows = baby.observations.standing()
    return [
        BreathReading(
            at=row.observed_at,
            breathing=Breathing(row.breathing) if row.breathing else None,
            support=Support(row.support) if row.support else None,
        )
        for row in rows
    ]


def require_band(baby: Baby, band: str) -> None:
    """What was read from the band is this baby's.

    Raises:
        NotPossible: ``band_needed`` or ``wrong_band``.
    """
    if not band.strip():
        raise NotPossible(
            _("Write the code from the band of %s, to be sure which baby it is.") % baby.code,
            code="band_needed",
        )
    if not baby.band_is(band):
        raise NotPossible(
            _(
                "The band reads %(band)s, but this is about %(code)s. Look at the band again. If "
                "it is another baby, choose that one."
            )
            % {"band": band.strip()[:40], "code": baby.code},
            code="wrong_band",
        )


def _moment(by: By, baby: Baby, told: datetime | None) -> datetime:
    """The time told, at the latest now; a clock a little fast is forgiven."""
    if told is None:
        return by.at
    if told > by.received_at + NOTICEABLE_SKEW:
        raise NotPossible(
            _("%s has not come yet. Write the time again, or leave it out for now.")
            % clock_time(told, baby.referral),
            code="time_to_come",
        )
    if baby.born_at and told < baby.born_at:
        raise NotPossible(
            _("%(told)s is before the birth at %(born)s. Correct one of the two.")
            % {
                "told": clock_time(told, baby.referral),
                "born": clock_time(baby.born_at, baby.referral),
            },
            code="before_birth",
        )
    return min(told, by.received_at)
