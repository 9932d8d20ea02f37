"""A wrong entry is corrected or withdrawn, never erased: one way for everything that is told.

A correction is another row that names the one it corrects; a withdrawn row carries who, when and
why. Both stay in sight. What had followed from the wrong one is put right in the same transaction:
needs are derived again, and whoever had read it is told.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, messages, recording, scoring, timeline
from referrals.acting import By
from referrals.calc.outcomes_due import goes_with
from referrals.calc.states import NotPossible
from referrals.calc.status import BESIDE
from referrals.labels import TOLD_KINDS
from referrals.models import (
    Advice,
    Baby,
    ChestTry,
    Examination,
    Mother,
    MotherObservation,
    Observation,
    Outcome,
    Referral,
    ScoreTaken,
    StaffRole,
    TreatmentGiven,
)
from referrals.models.told import Told, Withdrawable

Correctable = Observation | MotherObservation | TreatmentGiven | Advice | Outcome | ScoreTaken
OfReferral = Correctable | ChestTry | Examination
KINDS: dict[type[Withdrawable], str] = {
    Observation: "reading",
    MotherObservation: "mother",
    TreatmentGiven: "treatment",
    Advice: "advice",
    Outcome: "outcome",
    ScoreTaken: "score",
    ChestTry: "chest",
    Examination: "examination",
}
"""The stable word of each kind, as it stands in addresses and in entries."""


def observation(
    by: By, row: Observation, facts: Mapping[str, Any], *, note: str = "", why: str = ""
) -> Observation:
    """Correct a reading of a baby."""
    with _mending(by, row):
        return recording.observe(by, row.baby, facts, note=note, corrects=row, why=why)


def mother(
    by: By, row: MotherObservation, facts: Mapping[str, Any], *, note: str = "", why: str = ""
) -> MotherObservation:
    """Correct a reading of the mother."""
    with _mending(by, row):
        return recording.observe_mother(by, row.mother, facts, note=note, corrects=row, why=why)


def treatment(
    by: By, row: TreatmentGiven, told: recording.Told, *, baby: Baby | None, why: str = ""
) -> TreatmentGiven:
    """Correct what was given, to whom, when or by whom."""
    with _mending(by, row) as referral:
        return recording.record_treatment(by, referral, told, baby=baby, corrects=row, why=why)


def advice(
    by: By,
    row: Advice,
    *,
    given_by: str,
    words: str,
    read_back: bool,
    is_decision: bool | None = None,
    why: str = "",
) -> Advice:
    """Correct advice as it was written down; a decision stays one unless it is said otherwise."""
    with _mending(by, row) as referral:
        return recording.record_advice(
            by,
            referral,
            given_by=given_by,
            words=words,
            asked_by=row.asked_by,
            read_back=read_back,
            is_decision=row.is_decision if is_decision is None else is_decision,
            corrects=row,
            why=why,
        )


def outcome(
    by: By,
    row: Outcome,
    *,
    state: str,
    words: str,
    moment: str | None = None,
    learn: str | None = None,
    why: str = "",
) -> Outcome:
    """Correct how it went, as it was told back.

    What is not told again (``None``) stays, the moment only where the right state goes with it.
    """
    if moment is None:
        moment = row.moment if goes_with(row.moment, state) else ""
    with _mending(by, row):
        return recording.tell_outcome(
            by,
            row.baby,
            state=state,
            words=words,
            moment=moment,
            learn=str(row.learn or "") if learn is None else learn,
            corrects=row,
            why=why,
        )


def score(by: By, row: ScoreTaken, told: scoring.ScoreTold, *, why: str = "") -> ScoreTaken:
    """Correct a score: what was found of an item, or of the help that was given."""
    with _mending(by, row):
        return scoring.take(by, row.baby, told, corrects=row, why=why)


def tell_facts(
    by: By, whose: Baby | Mother, facts: Mapping[str, Any], *, since: datetime | None = None
) -> list[Any]:
    """Record facts told one by one: what was told before is corrected, the rest is new.

    Returns the new reading, if there is one.

    The same value again changes nothing, and nothing (``None``) takes a value back. With
    ``since`` only readings from then on are corrected: before it the state may have been another.
    """
    with transaction.atomic():
        timeline.hold(whose.referral_id)
        rows = whose.observations.standing()
        if since:
            rows = rows.filter(observed_at__gte=since)
        standing = {name: row for row in rows for name in row.facts()}
        for value, beside in BESIDE.items():
            if value in standing:
                standing.setdefault(beside, standing[value])
        new: dict[str, Any] = {}
        corrected: dict[Observation | MotherObservation, dict[str, Any]] = {}
        for name, value in facts.items():
            row = standing.get(name)
            if row and value != row.facts().get(name):
                corrected.setdefault(row, row.facts())[name] = value
            elif row is None and value is not None:
                new[name] = value
        for row, values in corrected.items():
            left = {name: value for name, value in values.items() if value is not None}
            _correct(by, row, left)
        return [_record(by, whose, new)] if new else []


def _record(
    by: By, whose: Baby | Mother, facts: Mapping[str, Any]
) -> Observation | MotherObservation:
    if isinstance(whose, Baby):
        return recording.observe(by, whose, facts)
    return recording.observe_mother(by, whose, facts)


def _correct(by: By, row: Observation | MotherObservation, facts: Mapping[str, Any]) -> None:
    """The words beside a reading stay with it."""
    note = str(row.note or "")
    if isinstance(row, Observation):
        observation(by, row, facts, note=note)
    else:
        mother(by, row, facts, note=note)


def withdraw(by: By, row: OfReferral, *, reason: str) -> OfReferral:
    """It was not so: take it back with a reason. A second press changes nothing.

    Raises:
        NotPossible: ``corrected_since``, when another row stands in its place.
    """
    with transaction.atomic():
        referral = timeline.hold(number_of_referral(row))
        before = standing_needs(referral)
        if mark_withdrawn(referral, by, row, KINDS[type(row)], reason):
            put_right(referral, by, row, before)
    return row


def mark_withdrawn(referral: Referral, by: By, row: Withdrawable, kind: str, reason: str) -> bool:
    """Mark a row as withdrawn with its Entry; false when it was so already.

    The caller holds the referral, and sees to what followed from the row.
    """
    row.refresh_from_db()
    if row.withdrawn_at is not None:
        return False
    if isinstance(row, Told):
        require_newest(row)
    why = timeline.keep_text(referral, "why", reason)
    row.take_back(by.name, by.received_at, why)
    body = {"what": kind, "row": row.pk, **_whose(row), "why": timeline.committed(why)}
    timeline.append(referral, "told_withdrawn", by, body)
    return True


def require_newest(row: Told) -> None:
    """A row is corrected or withdrawn while it is the newest of its line.

    Raises:
        NotPossible: ``corrected_since``.
    """
    later = row.correction()
    if later:
        raise NotPossible(
            _("This was corrected already and counts no more. Look at the newest entry instead."),
            code="corrected_since",
        )


def number_of_referral(row: Any) -> int:
    """The referral of anything that was told."""
    if isinstance(row, TreatmentGiven | Advice):
        return row.referral_id
    return row.mother.referral_id if isinstance(row, MotherObservation) else row.baby.referral_id


def put_right(referral: Referral, by: By, row: OfReferral, needs_before: set[str]) -> None:
    """Undo what had followed from a wrong row, and tell whoever had read it.

    The caller holds the referral. A reading is told on to the unit only when the care that is
    needed changes with it: the unit's page shows it anyway.
    """
    raiser, unit = isinstance(row, Advice | Outcome), isinstance(row, TreatmentGiven | Advice)
    if isinstance(row, Observation | MotherObservation):
        if isinstance(row, Observation):
            recording.forget_on_baby(Baby.objects.get(pk=row.baby_id), row)
        recording.refresh_needs(referral, by)
        unit = standing_needs(referral) != needs_before
    if isinstance(row, ChestTry) and row.observation:
        withdraw(by, row.observation, reason=str(row.withdrawn_why or ""))
    _tell(referral, by, row, raiser=raiser, unit=unit)


@contextmanager
def _mending(by: By, row: Correctable) -> Iterator[Referral]:
    with transaction.atomic():
        referral = timeline.hold(number_of_referral(row))
        require_newest(row)
        before = standing_needs(referral)
        yield referral
        put_right(timeline.hold(referral.pk), by, row, before)


def standing_needs(referral: Referral) -> set[str]:
    """What care is needed now, to be compared with what is needed after a correction."""
    rules = referral.needs.filter(superseded_at=None, overridden_by="")
    return {*rules.values_list("rule", flat=True), referral.urgency}


def _tell(referral: Referral, by: By, row: OfReferral, *, raiser: bool, unit: bool) -> None:
    kind = KINDS[type(row)]
    what, key = TOLD_KINDS[kind], f"told:{kind}:{row.pk}:{referral.head_seq}"
    person, offer = referral.raised_by, referral.accepted_offer()
    if raiser and person and person.username != by.actor:
        path = "/post/" if isinstance(row, Outcome) else f"/r/{referral.code}/"
        text = messages.put_right(referral, what, path)
        alerting.tell_person(referral, person, by, "put_right", f"{key}:raiser", text)
    if unit and offer and not _works_for(by, offer.unit_id):
        offer.referral = referral
        text = messages.put_right(referral, what, f"/unit/{offer.pk}/")
        alerting.tell_unit(offer, by, "put_right", f"{key}:unit", text)


def _works_for(by: By, unit_id: int) -> bool:
    return StaffRole.objects.filter(unit=unit_id, staff__username=by.actor).exists()


def _whose(row: Any) -> dict[str, Any]:
    if isinstance(row, Advice):
        return {}
    baby = None if isinstance(row, MotherObservation) else row.baby
    return {"baby": baby.birth_order} if baby else {"mother": True}
