"""The shipped checklists: what to see to before leaving, and what a unit prepares.

Each item carries its source. Order and wording are our own; a district adopts or replaces them.
Nothing here keeps a vehicle from leaving: an unanswered item asks, and an emergency goes first.
"""

from collections.abc import Iterable
from typing import Any

from referrals.calc.terms import Capability
from transport.models import ChecklistTemplate

WHO_2003 = "WHO, Managing newborn problems, 2003"
MEMORY = "value from memory"
PRACTICE = "common practice, no source"


def _item(code: str, words: str, source: str, *, must: bool = False) -> dict[str, Any]:
    return {"code": code, "words": words, "source": source, "must": must}


DEPARTURE = [
    _item("bag_works", "Bag and mask squeeze and refill, mask fits", f"{WHO_2003}, P-1", must=True),
    _item("second_mask", "Masks of both sizes are with us", f"{WHO_2003}, P-1"),
    _item("ventilation_on_the_way", "Who ventilates between bed and vehicle is agreed", PRACTICE,
          must=True),
    _item("relief", "Somebody can relieve the one ventilating", PRACTICE),
    _item("oxygen", "Cylinder, flow meter and tubing are in, pressure is read",
          f"{WHO_2003}, C-64", must=True),
    _item("warmth", "Dry, cap on, covered, source of warmth", f"{WHO_2003}, C-63 to C-65",
          must=True),
    _item("suction", "Suction works", f"{WHO_2003}, C-64"),
    _item("band", "Written band with case code and birth order is on", PRACTICE, must=True),
    _item("papers", "Referral note and observation sheet are with us", f"{WHO_2003}, A-4"),
    _item("mother", "Mother travels, or is told why not", f"{WHO_2003}, C-63"),
    _item("family", "Reason explained, consent or refusal recorded", f"{WHO_2003}, C-63"),
    _item("unit_knows", "A person at the receiving unit has said yes", f"{WHO_2003}, C-64"),
    _item("torch_and_phone", "Torch, charged phone, fuel", f"{WHO_2003}, C-64; {MEMORY}"),
]  # fmt: skip

PREPARATION = [
    _item("cot", "Cot free, clean and made up", PRACTICE, must=True),
    _item("warmer", "Warm place ready, room warmed", f"{WHO_2003}, C-5", must=True),
    _item("bag_and_mask", "Bag and mask checked at the cot", f"{WHO_2003}, P-1", must=True),
    _item("suction", "Suction checked at the cot", f"{WHO_2003}, P-2"),
    _item("person_at_entrance", "Somebody meets them at the entrance", PRACTICE, must=True),
    _item("mother_place", "A place for the mother", f"{WHO_2003}, C-64"),
]  # fmt: skip

PREPARATION_BY_NEED = {
    Capability.OXYGEN: _item("oxygen", "Oxygen at the cot, flow meter tried", f"{WHO_2003}, C-25"),
    Capability.CPAP: _item("cpap", "CPAP set up and tried", PRACTICE),
    Capability.VENTILATOR: _item("ventilator", "Ventilator set up and tried", PRACTICE),
    Capability.INTRAVENOUS_FLUIDS: _item("line", "Set for a line laid out", f"{WHO_2003}, C-64"),
    Capability.SURGERY: _item("surgeon", "Surgeon on call told", PRACTICE),
    Capability.OBSTETRIC_EMERGENCY_CARE: _item(
        "obstetric", "Midwife or doctor for the mother told", PRACTICE
    ),
}


def load_templates() -> None:
    """Put the shipped templates in place; versions that are there are kept as they are."""
    for code, title, when, items in (
        ("before-leaving", "Before leaving", "departure", DEPARTURE),
        ("unit-prepares", "Preparing for the baby", "preparation",
         [*PREPARATION, *PREPARATION_BY_NEED.values()]),
    ):  # fmt: skip
        ChecklistTemplate.objects.get_or_create(
            code=code, version=1, defaults={"title": title, "when": when, "items": items}
        )


def newest(when: str) -> ChecklistTemplate | None:
    """The newest template for a moment."""
    return ChecklistTemplate.objects.filter(when=when).order_by("-version", "-pk").first()


def preparation_items(
    template: ChecklistTemplate, needed: Iterable[Capability]
) -> list[dict[str, Any]]:
    """The preparation list for the care that is needed: the general items and those it asks for."""
    asked = {PREPARATION_BY_NEED[each]["code"] for each in needed if each in PREPARATION_BY_NEED}
    special = {item["code"] for item in PREPARATION_BY_NEED.values()}
    return [item for item in template.items if item["code"] not in special - asked]
