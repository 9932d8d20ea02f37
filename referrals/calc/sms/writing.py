"""Facts back into the words of our own short language, to be read again by who typed them."""

from collections.abc import Mapping
from typing import Any

from referrals.calc.quantities import Verdict, check_quantity
from referrals.calc.sms.words import MEASURES, PHRASES
from referrals.calc.status import quantity_of
from referrals.calc.terms import GlucoseUnit, Support

_NAME_OF = {measure.slot: measure.names[0] for measure in MEASURES}
_BAG = {
    Support.BAG_AND_MASK_AIR.value: "bag air",
    Support.BAG_AND_MASK_OXYGEN.value: "bag oxygen",
}


def in_words(facts: Mapping[str, Any]) -> list[str]:
    """Each fact as it would be typed, ``hr 110``; a question mark beside what is unusual."""
    told = dict(facts)
    found = []
    if told.get("support") in _BAG:
        found.append(_BAG[told.pop("support")])
        if told.get("breathing") == "ventilated":
            told.pop("breathing")
    upper, lower = told.pop("systolic_mmhg", None), told.pop("diastolic_mmhg", None)
    unit = told.pop("glucose_unit", None)
    for slot, value in told.items():
        found.append(_one(slot, value, unit) + ("?" if _is_unusual(slot, value, unit) else ""))
    if upper is not None:
        found.append(f"bp {upper:g}" + (f"/{lower:g}" if lower is not None else ""))
    return found


def _one(slot: str, value: Any, glucose_unit: str | None) -> str:
    if slot in _NAME_OF:
        number = f"{_NAME_OF[slot]} {value:g}"
        return (
            f"{number} {(glucose_unit or '').partition('_')[0]}".strip()
            if slot == "glucose"
            else number
        )
    return _PHRASE_OF.get((slot, value), f"{slot} {value}")


def _is_unusual(slot: str, value: Any, glucose_unit: str | None) -> bool:
    quantity = quantity_of(slot, glucose_unit=GlucoseUnit(glucose_unit) if glucose_unit else None)
    quantity = quantity or (slot if slot in ("oxygen_flow_l_min", "fio2") else None)
    return quantity is not None and check_quantity(quantity, value) is not Verdict.POSSIBLE


def _phrases() -> dict[tuple[str, Any], str]:
    """The first way of saying each single fact."""
    found: dict[tuple[str, Any], str] = {}
    for phrase, meaning in PHRASES.items():
        if len(meaning) == 1 and meaning[0] not in found:
            found[meaning[0]] = " ".join(phrase)
    return found


_PHRASE_OF = _phrases() | {("support", Support.VENTILATOR.value): "machine"}
