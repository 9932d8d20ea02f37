"""Facts: what was observed, given, advised. Stored whenever they arrive, in whatever order.

A fact is never refused for coming late or out of order; the status is a fold by corrected time.
Only numbers that cannot be true are refused, beside their field. Every verb here holds the
referral's row and appends its Entry in the same transaction; none of them changes a stage.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from referrals import alerting, messages, timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.calc.status import BabyStatus, is_being_ventilated, quantity_of
from referrals.calc.terms import Breathing, GlucoseUnit, Support
from referrals.models import (
    Advice,
    Baby,
    Mother,
    MotherObservation,
    Need,
    Observation,
    Outcome,
    Referral,
    TreatmentGiven,
)
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.reading import WORDS, assess


class UnknownFact(ValueError):
    """A fact or a word that the record does not have; ``field`` says which."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


def observe(
    by: By,
    baby: Baby,
    facts: Mapping[str, Any],
    *,
    note: str = "",
    corrects: Observation | None = None,
) -> Observation:
    """Record what was seen of a baby.

    With ``corrects`` the row replaces another one in what is known; the old one stays visible.

    Raises:
        ImpossibleQuantity: for a number outside its possible bounds.
        UnknownFact: for a field or a word the record does not have.
    """
    require_facts(facts, BABY_FACTS)
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        observation = Observation.objects.create(
            baby=baby,
            observed_at=corrects.observed_at if corrects else by.at,
            received_at=by.received_at,
            observed_by=by.name,
            corrects=corrects,
            note=timeline.keep_text(referral, "note", note) if note else None,
            **facts,
        )
        _remember_on_baby(baby, facts, observation)
        body = {"baby": baby.birth_order, "facts": dict(facts), **_note(observation)}
        if corrects:
            body |= {"corrects": corrects.pk, "was": corrects.facts()}
        timeline.append(referral, "corrected" if corrects else "observed", by, body)
        refresh_needs(referral, by)
    return observation


def observe_mother(
    by: By,
    mother: Mother,
    facts: Mapping[str, Any],
    *,
    note: str = "",
    corrects: MotherObservation | None = None,
) -> MotherObservation:
    """Record what was seen of the mother; the same rules as for a baby."""
    require_facts(facts, MOTHER_FACTS)
    with transaction.atomic():
        referral = timeline.hold(mother.referral_id)
        observation = MotherObservation.objects.create(
            mother=mother,
            observed_at=corrects.observed_at if corrects else by.at,
            received_at=by.received_at,
            observed_by=by.name,
            corrects=corrects,
            note=timeline.keep_text(referral, "note", note) if note else None,
            **facts,
        )
        body = {"mother": True, "facts": dict(facts), **_note(observation)}
        if corrects:
            body |= {"corrects": corrects.pk, "was": corrects.facts()}
        timeline.append(referral, "corrected" if corrects else "observed", by, body)
        refresh_needs(referral, by)
    return observation


def describe_baby(by: By, baby: Baby, details: Mapping[str, Any]) -> Baby:
    """Set or correct what does not change with time: sex, time of birth, start of ventilation.

    The values before stay on the timeline.
    """
    names = ("sex", "born_at", "ventilated_since", "weight_guessed")
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        changed = {
            name: value
            for name, value in details.items()
            if name in names and getattr(baby, name) != value
        }
        if not changed:
            return baby
        was = {name: getattr(baby, name) for name in changed}
        for name, value in changed.items():
            setattr(baby, name, value)
        baby.save(update_fields=list(changed))
        timeline.append(
            referral, "described", by, {"baby": baby.birth_order, "facts": changed, "was": was}
        )
        refresh_needs(referral, by)
    return baby


def name_person(by: By, person: Baby | Mother, name: str) -> None:
    """Keep the name of a baby or the mother, apart from the timeline."""
    with transaction.atomic():
        referral = timeline.hold(person.referral_id)
        person.name = timeline.keep_text(referral, "name", name)
        person.save(update_fields=["name"])
        whose = {"baby": person.birth_order} if isinstance(person, Baby) else {"mother": True}
        timeline.append(referral, "named", by, {**whose, "name": timeline.committed(person.name)})


def say_who_ventilates(by: By, referral: Referral, hands: "Hands") -> None:
    """Record who ventilates, who can relieve, who reports, and whether one person is alone."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        held.ventilates, held.relieves = hands.ventilates, hands.relieves
        held.reports, held.alone = hands.reports, hands.alone
        held.save(update_fields=["ventilates", "relieves", "reports", "alone"])
        texts = {
            role: timeline.committed(timeline.keep_text(held, role, name))
            for role, name in hands.names()
        }
        timeline.append(held, "hands", by, {"alone": hands.alone, **texts})


@dataclass(frozen=True, kw_only=True)
class Hands:
    """Who does what at the bedside. ``alone`` is true when one person does everything."""

    ventilates: str = ""
    relieves: str = ""
    reports: str = ""
    alone: bool | None = None

    def names(self) -> Iterator[tuple[str, str]]:
        """The roles that were told."""
        for role in ("ventilates", "relieves", "reports"):
            if value := getattr(self, role):
                yield role, value


@dataclass(frozen=True, kw_only=True)
class Told:
    """A treatment in the words of whoever told it. Nothing here is ever suggested."""

    words: str
    given_by: str = ""
    given_at: Any = None


def record_treatment(
    by: By, referral: Referral, told: Told, *, baby: Baby | None = None
) -> TreatmentGiven:
    """Record what was given, amount as told, when and by whom."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        text = timeline.keep_text(held, "treatment", told.words)
        treatment = TreatmentGiven.objects.create(
            referral=held,
            baby=baby,
            told=text,
            given_at=told.given_at,
            given_by=told.given_by,
            recorded_by=by.name,
            recorded_at=by.received_at,
        )
        body: dict[str, Any] = {"baby": baby.birth_order} if baby else {"mother": True}
        body |= {"treatment": timeline.committed(text), "given_at": told.given_at}
        if told.given_by:
            body["given_by"] = timeline.committed(
                timeline.keep_text(held, "given_by", told.given_by)
            )
        timeline.append(held, "treatment_given", by, body)
    return treatment


def record_advice(
    by: By, referral: Referral, *, given_by: str, words: str, asked_by: str = "", read_back: bool
) -> Advice:
    """Record advice by the name of the clinician who gave it, and whether it was read back."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        text = timeline.keep_text(held, "advice", words)
        advice = Advice.objects.create(
            referral=held,
            asked_by=asked_by,
            given_by=given_by,
            text=text,
            read_back=read_back,
            recorded_at=by.received_at,
        )
        names = {
            role: timeline.committed(timeline.keep_text(held, role, name))
            for role, name in (("asked_by", asked_by), ("given_by", given_by))
            if name
        }
        body = {"advice": timeline.committed(text), "read_back": read_back, **names}
        timeline.append(held, "advice", by, body)
    return advice


def override_need(by: By, need: Need, reason: str) -> Need:
    """A person sets a derived need aside, with a reason; the rule's words stay on the record."""
    with transaction.atomic():
        referral = timeline.hold(need.referral_id)
        need.overridden_by, need.override_reason = by.name, reason
        need.save(update_fields=["overridden_by", "override_reason"])
        kept = timeline.keep_text(referral, "override", reason)
        timeline.append(
            referral, "need_overridden", by, {"rule": need.rule, "reason": timeline.committed(kept)}
        )
        refresh_needs(referral, by)
    return need


def tell_outcome(by: By, baby: Baby, *, state: str, words: str) -> Outcome:
    """Tell the attendant who raised the referral how it went with a baby."""
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        text = timeline.keep_text(referral, "outcome", words)
        outcome = Outcome.objects.create(
            baby=baby, state=state, words=text, told_by=by.name, told_at=by.received_at
        )
        body = {"baby": baby.birth_order, "state": state, "words": timeline.committed(text)}
        timeline.append(referral, "outcome_told", by, body)
        if referral.raised_by:
            text_out = messages.outcome_told(referral)
            key = f"outcome:{outcome.pk}"
            alerting.tell_person(referral, referral.raised_by, by, "outcome", key, text_out)
    return outcome


def read_outcome(by: By, outcome: Outcome) -> Outcome:
    """The attendant has read how it went; a second press changes nothing."""
    with transaction.atomic():
        referral = timeline.hold(outcome.baby.referral_id)
        outcome.refresh_from_db()
        if outcome.read_at is None:
            outcome.read_at = by.received_at
            outcome.save(update_fields=["read_at"])
            body = {"baby": outcome.baby.birth_order, "outcome": outcome.pk}
            timeline.append(referral, "outcome_read", by, body)
    return outcome


def refresh_needs(referral: Referral, by: By) -> None:
    """Derive the needs again from all that is known; the caller holds the referral's row.

    Needs that no longer follow are kept as superseded; an Entry says what changed.
    """
    assessment = assess(referral, by.received_at)
    standing = {need.rule: need for need in referral.needs.filter(superseded_at__isnull=True)}
    derived = {need.rule_code: need for need in assessment.needs}
    gone = [
        need for rule, need in standing.items() if rule not in derived and not need.overridden_by
    ]
    for need in gone:
        need.superseded_at = by.received_at
        need.save(update_fields=["superseded_at"])
    added = [need for rule, need in derived.items() if rule not in standing]
    Need.objects.bulk_create(
        Need(
            referral=referral,
            rule=need.rule_code,
            words=need.words[:300],
            source=need.source[:300],
            capabilities=sorted(need.capabilities),
            preferred_capabilities=sorted(need.preferred_capabilities),
            urgency=need.urgency.value,
            limit_minutes=need.limit_minutes,
            derived_at=by.received_at,
        )
        for need in added
    )
    was, referral.urgency = referral.urgency, assessment.urgency.value
    referral.save(update_fields=["urgency"])
    if gone or added or was != referral.urgency:
        body = {
            "added": sorted(need.rule_code for need in added),
            "gone": sorted(need.rule for need in gone),
            "urgency": referral.urgency,
        }
        timeline.append(referral, "needs_derived", by, body)


def require_facts(facts: Mapping[str, Any], names: tuple[str, ...]) -> None:
    """Refuse unknown fields, unknown words and impossible numbers, each beside its field."""
    for name, value in facts.items():
        if name not in names:
            raise UnknownFact(name, f"there is no field {name}; known are: {', '.join(names)}")
        if name in WORDS and value not in {word.value for word in WORDS[name]}:
            known = ", ".join(word.value for word in WORDS[name])
            raise UnknownFact(name, f"{value!r} is not a word for {name}; known are: {known}")
        unit = facts.get("glucose_unit")
        quantity = quantity_of(name, glucose_unit=GlucoseUnit(unit) if unit else None)
        quantity = quantity or (name if name in ("oxygen_flow_l_min", "fio2") else None)
        if quantity:
            require_possible(quantity, value)


def _remember_on_baby(baby: Baby, facts: Mapping[str, Any], observation: Observation) -> None:
    """Weight and gestation stay on the baby's own row too, for lists and searches."""
    changed = [name for name in ("weight_g", "gestation_weeks") if name in facts]
    begins = is_being_ventilated(
        BabyStatus(
            breathing=Breathing(facts["breathing"]) if "breathing" in facts else None,
            support=Support(facts["support"]) if "support" in facts else None,
        )
    )
    if begins and baby.ventilated_since is None:
        baby.ventilated_since = observation.observed_at
        changed.append("ventilated_since")
    for name in changed:
        if name in facts:
            setattr(baby, name, facts[name])
    if changed:
        baby.save(update_fields=changed)


def _note(observation: Observation | MotherObservation) -> dict[str, Any]:
    return {"note": timeline.committed(observation.note)} if observation.note else {}
