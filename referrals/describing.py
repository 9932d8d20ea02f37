"""Who is who, and what does not change with time: names, the baby, the mother, the hands at work.

As in ``recording`` every verb holds the referral's row and appends its Entry in the same
transaction; none of them changes a stage.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from referrals import recording, timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.models import Baby, Mother, Referral


@dataclass(frozen=True, kw_only=True)
class BabyTold:
    """What is told of a baby when it is added; everything may be missing."""

    facts: dict[str, Any] = field(default_factory=dict)
    details: dict[str, Any] = field(default_factory=dict)
    name: str = ""


def tell_of(by: By, baby: Baby, told: BabyTold) -> None:
    """Put on the record all that was told of a baby when it was added."""
    if told.name:
        name_person(by, baby, told.name)
    if told.details:
        describe_baby(by, baby, told.details)
    if told.facts:
        recording.observe(by, baby, told.facts)


def describe_baby(by: By, baby: Baby, details: Mapping[str, Any]) -> Baby:
    """Set or correct what does not change with time: sex, time of birth, start of ventilation.

    The values before stay on the timeline.

    Raises:
        UnknownFact: for a time that has not come yet, or a start of ventilation before the birth.
    """
    names = ("sex", "born_at", "ventilated_since", "weight_guessed")
    born_at = details.get("born_at", baby.born_at)
    recording.require_times(by, {"born_at": details.get("born_at")})
    began = {"ventilated_since": details.get("ventilated_since")}
    recording.require_times(by, began, born_at=born_at)
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
        recording.refresh_needs(referral, by)
    return baby


def describe_mother(by: By, mother: Mother, details: Mapping[str, Any]) -> Mother:
    """Set or correct the mother's age, and whether she travels with the baby.

    Raises:
        ImpossibleQuantity: for an age that cannot be true.
    """
    if details.get("age_years") is not None:
        require_possible("age_years", details["age_years"])
    with transaction.atomic():
        referral = timeline.hold(mother.referral_id)
        mother.refresh_from_db()
        changed = {name: value for name, value in details.items() if getattr(mother, name) != value}
        if not changed:
            return mother
        was = {name: getattr(mother, name) for name in changed}
        for name, value in changed.items():
            setattr(mother, name, value)
        mother.save(update_fields=list(changed))
        timeline.append(referral, "described", by, {"mother": True, "facts": changed, "was": was})
        recording.refresh_needs(referral, by)
    return mother


def name_person(by: By, person: Baby | Mother, name: str) -> None:
    """Keep the name of a baby or the mother, apart from the timeline."""
    with transaction.atomic():
        referral = timeline.hold(person.referral_id)
        person.name = timeline.keep_text(referral, "name", name)
        person.save(update_fields=["name"])
        whose = {"baby": person.birth_order} if isinstance(person, Baby) else {"mother": True}
        timeline.append(referral, "named", by, {**whose, "name": timeline.committed(person.name)})


def say_who_ventilates(by: By, referral: Referral, hands: "Hands") -> Referral:
    """Record who ventilates, who can relieve, who reports, and whether one person is alone.

    Told once more it changes nothing.
    """
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        if Hands.of(held) == hands:
            return held
        held.ventilates, held.relieves = hands.ventilates, hands.relieves
        held.reports, held.alone = hands.reports, hands.alone
        held.save(update_fields=["ventilates", "relieves", "reports", "alone"])
        texts = {
            role: timeline.committed(timeline.keep_text(held, role, name))
            for role, name in hands.names()
        }
        timeline.append(held, "hands", by, {"alone": hands.alone, **texts})
    return held


@dataclass(frozen=True, kw_only=True)
class Hands:
    """Who does what at the bedside. ``alone`` is true when one person does everything."""

    ventilates: str = ""
    relieves: str = ""
    reports: str = ""
    alone: bool | None = None

    @classmethod
    def of(cls, referral: Referral) -> "Hands":
        """The hands that were told of last."""
        return cls(
            ventilates=referral.ventilates,
            relieves=referral.relieves,
            reports=referral.reports,
            alone=referral.alone,
        )

    def names(self) -> Iterator[tuple[str, str]]:
        """The roles that were told."""
        for role in ("ventilates", "relieves", "reports"):
            if value := getattr(self, role):
                yield role, value
