"""What a reading of a baby says that a person must know: it is cold or hot, or breathes worse."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils.functional import lazy

from referrals.calc.quantities import Verdict, check_quantity
from referrals.calc.terms import Breathing
from referrals.calc.thermal import (
    MODERATE_BELOW_C,
    NORMAL_TO_C,
    SEVERE_BELOW_C,
    ThermalClass,
    ThermalScheme,
    classify_temperature,
)
from referrals.calc.worsening import BreathingTold, worse_than_before
from referrals.labels import inside_a_sentence, word
from referrals.messages import clock_time
from referrals.models import Baby, Observation, Referral
from referrals.ports import Concern
from referrals.reading import known_facts
from referrals.saying import to_tell

COLD = {
    ThermalClass.MODERATE_HYPOTHERMIA: MODERATE_BELOW_C,
    ThermalClass.SEVERE_HYPOTHERMIA: SEVERE_BELOW_C,
}
"""Classes of the WHO's guide of 1997 that a person is told of, with the line that was crossed.
Mild cold (36.0 to 36.4 °C) is too common to ring for; it stands among the needs."""

_word_inside = lazy(lambda breathing: inside_a_sentence(word(breathing)), str)


def concerns_of_babies(referral: Referral, now: datetime) -> Iterator[Concern]:
    """For each baby that still needs somebody."""
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        rows = list(baby.observations.standing())
        yield from _cold_or_hot(baby, rows, now)
        yield from _breathes_worse(baby, rows, now)


def _cold_or_hot(baby: Baby, rows: Sequence[Observation], now: datetime) -> Iterator[Concern]:
    celsius, at = known_facts(rows).get("temperature_c", (None, now))
    if celsius is None or check_quantity("temperature_c", celsius) is Verdict.IMPOSSIBLE:
        return
    thermal = classify_temperature(celsius, scheme=ThermalScheme.WHO_1997)
    if thermal is ThermalClass.HYPERTHERMIA:
        yield _hot(baby, celsius, at, now)
    if thermal not in COLD:
        return
    said = to_tell(
        "%(baby)s is cold: %(celsius)s °C at %(at)s, below %(line)s °C (WHO, 1997). Tell the unit "
        "and the clinician in charge.",
        baby=baby.code,
        celsius=f"{celsius:g}",
        at=clock_time(at, baby.referral),
        line=f"{COLD[thermal]:.1f}",
    )
    subject = f"{baby.pk}:{thermal.value}"
    yield Concern.about(baby.referral, "cold", subject, now, said, told_once=True)


def _hot(baby: Baby, celsius: float, at: datetime, now: datetime) -> Concern:
    said = to_tell(
        "%(baby)s is hot: %(celsius)s °C at %(at)s, above %(line)s °C (WHO, 1997). Tell the unit "
        "and the clinician in charge.",
        baby=baby.code,
        celsius=f"{celsius:g}",
        at=clock_time(at, baby.referral),
        line=f"{NORMAL_TO_C:.1f}",
    )
    subject = f"{baby.pk}:{ThermalClass.HYPERTHERMIA.value}"
    return Concern.about(baby.referral, "hot", subject, now, said, told_once=True)


def _breathes_worse(baby: Baby, rows: Sequence[Observation], now: datetime) -> Iterator[Concern]:
    worse = worse_than_before(
        BreathingTold(at=row.observed_at, sequence=row.pk, breathing=Breathing(row.breathing))
        for row in rows
        if row.breathing in set(Breathing)
    )
    if worse is None:
        return
    said = to_tell(
        "%(baby)s breathes worse: %(now)s at %(at)s, before that %(before)s at %(then)s. Ring, and "
        "tell the unit and the clinician in charge.",
        baby=baby.code,
        now=_word_inside(worse.reading.breathing),
        at=clock_time(worse.reading.at, baby.referral),
        before=_word_inside(worse.before.breathing),
        then=clock_time(worse.before.at, baby.referral),
    )
    subject = f"{baby.pk}:{worse.reading.sequence}"
    yield Concern.about(baby.referral, "breathes_worse", subject, now, said, told_once=True)
