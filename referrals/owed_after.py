"""What is still owed when a baby is handed over: outcomes for the post, a first examination.

Nothing of it is said while a baby is on the road: it begins when every baby has its ending.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from referrals.calc.outcomes_due import (
    OwedOutcome,
    ToldOutcome,
    moment_to_tell,
    owed_outcomes,
)
from referrals.calc.terms import Ending, OutcomeMoment, OutcomeState, Urgency
from referrals.examining import standing_examination
from referrals.models import Baby, Outcome, Referral
from referrals.ports import Concern
from referrals.saying import Words, to_tell

EXAMINED_WITHIN = timedelta(hours=6)
"""So long after the handover a first full examination that nobody has told of is asked for; common
practice, no source. It is due about one hour after the birth, after the first feed (WHO, postnatal
care, 2013 and 2022), so at the handover it is late already, and the unit settles the baby first."""


def owed_of(baby: Baby, now: datetime) -> list[OwedOutcome]:
    """The outcomes that are owed of one baby, now and later; none before the handover."""
    if baby.ending != Ending.HANDED_OVER.value or baby.ended_at is None:
        return []
    first_after = timedelta(hours=baby.referral.district.outcome_hours)
    return owed_outcomes(baby.ended_at, _told_of(baby), first_after, now)


def moment_now(baby: Baby, now: datetime) -> str:
    """The code of the moment of which an outcome told now most likely tells; empty for none."""
    moment = moment_to_tell(owed_of(baby, now), now)
    return moment.value if moment else ""


def concerns_after_handover(referral: Referral, now: datetime) -> Iterator[Concern]:
    """What a closed referral owes: to the post how it went, to the baby a first examination."""
    for baby in referral.babies.filter(ending=Ending.HANDED_OVER.value):
        baby.referral = referral
        for owed in owed_of(baby, now):
            yield _quietly(
                referral,
                "outcome_not_told",
                f"{baby.pk}:{owed.moment.value}:{owed.time}",
                owed.due_at,
                _asked_for(baby, owed.moment),
            )
        if baby.ended_at and _needs_examination(baby):
            yield _quietly(
                referral,
                "not_examined",
                baby.pk,
                baby.ended_at + EXAMINED_WITHIN,
                to_tell(
                    "%(code)s came without a first full examination, and nobody has told of one "
                    "since. If it is done, write it down.",
                    code=baby.code,
                ),
            )


def _quietly(
    referral: Referral, kind: str, subject: object, due_at: datetime, sentence: Words
) -> Concern:
    """One that is told once to the desk and the unit, and climbs as slowly as any."""
    return Concern.about(
        referral,
        kind,
        subject,
        due_at,
        sentence,
        urgency=Urgency.STABLE,
        told_once=True,
        unit_too=True,
    )


def _asked_for(baby: Baby, moment: OutcomeMoment) -> Words:
    names = {"site": baby.referral.origin.name, "code": baby.code}
    if moment is OutcomeMoment.AT_24_HOURS:
        return to_tell(
            "%(site)s has not been told how %(code)s is after the first day at the unit. A few "
            "words help those who called.",
            **names,
        )
    if moment is OutcomeMoment.AT_7_DAYS:
        return to_tell(
            "%(site)s has not been told how %(code)s is after the first week at the unit. A few "
            "words help those who called.",
            **names,
        )
    return to_tell(
        "%(site)s has not been told whether %(code)s is still at the unit. A few words help those "
        "who called.",
        **names,
    )


def _needs_examination(baby: Baby) -> bool:
    """Not of a baby that has left the unit or has died."""
    return standing_examination(baby) is None and not any(row.ends for row in _told_of(baby))


def _told_of(baby: Baby) -> list[ToldOutcome]:
    return [_as_told(row) for row in baby.outcomes.standing()]


def _as_told(row: Outcome) -> ToldOutcome:
    """A row as it is reckoned with; a word from another version is as if not told."""
    return ToldOutcome(
        told_at=row.told_at,
        state=OutcomeState(row.state) if row.state in set(OutcomeState) else None,
        moment=OutcomeMoment(row.moment) if row.moment in set(OutcomeMoment) else None,
    )
