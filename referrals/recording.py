"""Facts: what was observed, given, advised. Stored whenever they arrive, in whatever order.

A fact is never refused for coming late or out of order; the status is a fold by corrected time.
Only numbers that cannot be true are refused, beside their field. Every verb here holds the
referral's row and appends its Entry in the same transaction; none of them changes a stage.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from referrals import alerting, messages, timeline
from referrals.acting import By
from referrals.calc.device_time import NOTICEABLE_SKEW
from referrals.calc.needs import DerivedNeed
from referrals.calc.outcomes_due import goes_with
from referrals.calc.quantities import require_possible
from referrals.calc.status import BabyStatus, is_being_ventilated, quantity_of
from referrals.calc.terms import Breathing, GlucoseUnit, OutcomeMoment, Support
from referrals.calc.thermal import classes_of
from referrals.calc.wording import words
from referrals.models import (
    Advice,
    Baby,
    Mother,
    MotherObservation,
    Need,
    Observation,
    Outcome,
    PrivateText,
    Referral,
    TreatmentGiven,
)
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.reading import WORDS, assess, known_facts

OLDEST_NEWBORN = timedelta(days=28)
"""Longer ago no newborn was born (WHO: newborn means the first 28 days)."""


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
    why: str = "",
) -> Observation:
    """Record what was seen of a baby.

    With ``corrects`` the row replaces another one in what is known; the old one stays visible.
    ``referrals/correcting.py`` calls it so, and puts right what followed from the old one.

    Raises:
        ImpossibleQuantity: for a number outside its possible bounds.
        UnknownFact: for a field or a word the record does not have.
    """
    require_facts(facts, BABY_FACTS)
    require_times(by, {"support_since": facts.get("support_since")}, born_at=baby.born_at)
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
        if corrects:
            forget_on_baby(baby, corrects)
        body = {"baby": baby.birth_order, "facts": dict(facts), **thermal(facts)}
        body |= _note(observation)
        if corrects:
            body |= {"corrects": corrects.pk, "was": corrects.facts()}
            body |= _was(referral, "note", corrects.note, why)
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
    why: str = "",
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
            body |= _was(referral, "note", corrects.note, why)
        timeline.append(referral, "corrected" if corrects else "observed", by, body)
        refresh_needs(referral, by)
    return observation


@dataclass(frozen=True, kw_only=True)
class Told:
    """A treatment in the words of whoever told it. Nothing here is ever suggested."""

    words: str
    given_by: str = ""
    given_at: Any = None


def record_treatment(
    by: By,
    referral: Referral,
    told: Told,
    *,
    baby: Baby | None = None,
    corrects: TreatmentGiven | None = None,
    why: str = "",
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
            corrects=corrects,
        )
        body: dict[str, Any] = {"baby": baby.birth_order} if baby else {"mother": True}
        body |= {"treatment": timeline.committed(text), "given_at": told.given_at}
        if told.given_by:
            body["given_by"] = timeline.committed(
                timeline.keep_text(held, "given_by", told.given_by)
            )
        if corrects:
            body |= {"what": "treatment", "corrects": corrects.pk}
            body |= _was(held, "treatment", corrects.told, why)
        timeline.append(held, "corrected" if corrects else "treatment_given", by, body)
    return treatment


def record_advice(
    by: By,
    referral: Referral,
    *,
    given_by: str,
    words: str,
    asked_by: str = "",
    read_back: bool,
    is_decision: bool = False,
    corrects: Advice | None = None,
    why: str = "",
) -> Advice:
    """Record advice by the name of the clinician who gave it, and whether it was read back.

    With ``is_decision`` it is what that person decided; nothing follows from it by itself.
    """
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        text = timeline.keep_text(held, "advice", words)
        advice = Advice.objects.create(
            referral=held,
            asked_by=asked_by,
            given_by=given_by,
            text=text,
            read_back=read_back,
            is_decision=is_decision,
            recorded_by=by.name,
            recorded_at=by.received_at,
            corrects=corrects,
        )
        names = {
            role: timeline.committed(timeline.keep_text(held, role, name))
            for role, name in (("asked_by", asked_by), ("given_by", given_by))
            if name
        }
        body = {"advice": timeline.committed(text), "read_back": read_back, **names}
        if is_decision:
            body["decision"] = True
        if corrects:
            body |= {"what": "advice", "corrects": corrects.pk}
            body |= _was(held, "advice", corrects.text, why)
        timeline.append(held, "corrected" if corrects else "advice", by, body)
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


def tell_outcome(
    by: By,
    baby: Baby,
    *,
    state: str,
    words: str,
    moment: str = "",
    learn: str = "",
    corrects: Outcome | None = None,
    why: str = "",
) -> Outcome:
    """Tell the attendant who raised the referral how it went with a baby, with what to learn.

    Raises:
        UnknownFact: beside ``moment``, when the state cannot be told of it.
    """
    _require_fitting(moment, state)
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        text = timeline.keep_text(referral, "outcome", words)
        outcome = Outcome.objects.create(
            baby=baby,
            moment=moment,
            state=state,
            words=text,
            learn=timeline.keep_text(referral, "learn", learn) if learn else None,
            told_by=by.name,
            told_at=by.received_at,
            corrects=corrects,
        )
        body = {"baby": baby.birth_order, "state": state, "words": timeline.committed(text)}
        if moment:
            body["moment"] = moment
        if outcome.learn:
            body["learn"] = timeline.committed(outcome.learn)
        if corrects:
            body |= {"what": "outcome", "corrects": corrects.pk}
            body |= _was(referral, "words", corrects.words, why)
            body |= _was(referral, "learn", corrects.learn, "")
        timeline.append(referral, "corrected" if corrects else "outcome_told", by, body)
        if referral.raised_by and not corrects:
            text_out = messages.outcome_told(referral)
            key = f"outcome:{outcome.pk}"
            alerting.tell_person(referral, referral.raised_by, by, "outcome", key, text_out)
    return outcome


def _require_fitting(moment: str, state: str) -> None:
    if not moment:
        return
    if moment not in set(OutcomeMoment):
        raise UnknownFact(
            "moment",
            words("there is no such moment; known are: %(known)s", known=", ".join(OutcomeMoment)),
        )
    if not goes_with(moment, state):
        raise UnknownFact(
            "moment",
            words(
                "This moment and how the baby is do not go together. Choose another time, or look "
                "at how the baby is again."
            ),
        )


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


def restore_need(by: By, need: Need, reason: str) -> Need:
    """A need that was set aside counts again, with a reason; pressed twice it changes nothing."""
    with transaction.atomic():
        referral = timeline.hold(need.referral_id)
        need.refresh_from_db()
        if not need.overridden_by:
            return need
        need.overridden_by = need.override_reason = ""
        need.save(update_fields=["overridden_by", "override_reason"])
        kept = timeline.keep_text(referral, "override", reason)
        timeline.append(
            referral, "need_restored", by, {"rule": need.rule, "reason": timeline.committed(kept)}
        )
        refresh_needs(referral, by)
    return need


def refresh_needs(referral: Referral, by: By) -> None:
    """Derive the needs again from all that is known; the caller holds the referral's row.

    Needs that no longer follow are kept as superseded; an Entry says what changed.
    """
    assessment = assess(referral, by.received_at)
    standing = {need.rule: need for need in referral.needs.filter(superseded_at__isnull=True)}
    derived = {need.rule_code: need for need in assessment.needs}
    gone = [
        need
        for rule, need in standing.items()
        if not need.overridden_by and not (rule in derived and _is_same(need, derived[rule]))
    ]
    for need in gone:
        need.superseded_at = by.received_at
        need.save(update_fields=["superseded_at"])
    kept = set(standing) - {need.rule for need in gone}
    added = [need for rule, need in derived.items() if rule not in kept]
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


def thermal(facts: Mapping[str, Any]) -> dict[str, Any]:
    """The class of a temperature under each published scheme, by which an Entry keeps it."""
    classes = classes_of(facts.get("temperature_c"))
    return {"thermal": classes} if classes else {}


def _is_same(need: Need, derived: DerivedNeed) -> bool:
    """Whether a need stands as the rule asks for it now: a district may have changed the rule."""
    return (
        need.capabilities == sorted(derived.capabilities)
        and need.preferred_capabilities == sorted(derived.preferred_capabilities)
        and need.urgency == derived.urgency.value
        and need.source == derived.source[:300]
    )


def require_facts(facts: Mapping[str, Any], names: tuple[str, ...]) -> None:
    """Refuse unknown fields, unknown words and impossible numbers, each beside its field."""
    for name, value in facts.items():
        if name not in names:
            raise UnknownFact(
                name,
                words(
                    "there is no field %(name)s; known are: %(known)s",
                    name=name,
                    known=", ".join(names),
                ),
            )
        if name in WORDS and value not in {word.value for word in WORDS[name]}:
            known = ", ".join(word.value for word in WORDS[name])
            raise UnknownFact(
                name,
                words(
                    "%(value)r is not a word for %(name)s; known are: %(known)s",
                    value=value,
                    name=name,
                    known=known,
                ),
            )
        unit = facts.get("glucose_unit")
        quantity = quantity_of(name, glucose_unit=GlucoseUnit(unit) if unit else None)
        if quantity:
            require_possible(quantity, value)


def require_times(
    by: By, times: Mapping[str, datetime | None], *, born_at: datetime | None = None
) -> None:
    """Refuse a time that has not come yet, and one before the birth, each beside its field.

    A clock that is a little off (``NOTICEABLE_SKEW``) is forgiven.
    """
    for name, moment in times.items():
        if moment is None:
            continue
        if moment > max(by.received_at, by.when.happened_at) + NOTICEABLE_SKEW:
            raise UnknownFact(name, words("this time has not come yet"))
        if moment < by.received_at - OLDEST_NEWBORN:
            raise UnknownFact(name, words("this was more than 28 days ago"))
        if born_at and moment < born_at - NOTICEABLE_SKEW:
            raise UnknownFact(name, words("this was before the birth"))


def _remember_on_baby(baby: Baby, facts: Mapping[str, Any], observation: Observation) -> None:
    """Weight and gestation stay on the baby's own row too, for lists and searches."""
    changed = [name for name in ("weight_g", "gestation_weeks") if name in facts]
    if _shows_ventilation(facts) and baby.ventilated_since is None:
        baby.ventilated_since = observation.observed_at
        changed.append("ventilated_since")
    for name in changed:
        if name in facts:
            setattr(baby, name, facts[name])
    if changed:
        baby.save(update_fields=changed)


def forget_on_baby(baby: Baby, wrong: Observation) -> None:
    """What a wrong reading had put on the baby's own row comes from the others again."""
    told, known = wrong.facts(), known_facts(baby.observations.all())
    changed: dict[str, Any] = {
        name: known[name][0] if name in known else None
        for name in ("weight_g", "gestation_weeks")
        if name in told and getattr(baby, name) == told[name]
    }
    if baby.ventilated_since == wrong.observed_at:
        begun = (
            row.observed_at
            for row in baby.observations.standing()
            if _shows_ventilation(row.facts())
        )
        changed["ventilated_since"] = min(begun, default=None)
    for name, value in changed.items():
        setattr(baby, name, value)
    if changed:
        baby.save(update_fields=list(changed))


def _shows_ventilation(facts: Mapping[str, Any]) -> bool:
    status = BabyStatus(
        breathing=Breathing(facts["breathing"]) if "breathing" in facts else None,
        support=Support(facts["support"]) if "support" in facts else None,
    )
    return is_being_ventilated(status) is True


def _note(observation: Observation | MotherObservation) -> dict[str, Any]:
    return {"note": timeline.committed(observation.note)} if observation.note else {}


def _was(referral: Referral, role: str, old: PrivateText | None, why: str) -> dict[str, Any]:
    """The old words of a correction beside the new ones, and the reason if one was told."""
    body = {f"{role}_was": timeline.committed(old)} if old else {}
    if why:
        body["why"] = timeline.committed(timeline.keep_text(referral, "why", why))
    return body
