"""All that was told in one message, by what it is about."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from referrals.calc import wording
from referrals.calc.sms import words
from referrals.calc.sms.record import BabyRead, NotRead
from referrals.calc.sms.words import BABY, MOTHER
from referrals.calc.terms import Breathing, Support

Section = tuple[str, int | None]
OF_THE_MESSAGE = frozenset(
    {"calls", "new", "corrects", "babies", "alone", "oxygen_bar", "milestone", "position"}
)
_NOT_FACTS = frozenset({"support", "gas", "sex", "born", "ventilated_since"})


@dataclass(frozen=True)
class Told:
    """One thing that was understood: of whom, which slot, its value, the words as typed."""

    section: Section
    slot: str
    value: Any
    typed: str


@dataclass(frozen=True)
class Folded:
    """The values by what they are about, and what had to be left out."""

    whole: Mapping[str, Any]
    mother: Mapping[str, Any]
    babies: Mapping[int | None, BabyRead]
    left_out: tuple[NotRead, ...]


def folded(told: Iterable[Told], *, guessed: str) -> Folded:
    """One value for each thing; two different values for one thing are none, and named.

    ``guessed`` is the word that makes the weight a guess, if one was typed.
    """
    left_out: list[NotRead] = []
    values: dict[Section, dict[str, Any]] = defaultdict(dict)
    for (section, slot), rows in _by_place(told, left_out).items():
        if (value := _one_value(slot, rows, left_out)) is not None:
            values[section][slot] = value
    whole, mother = values.pop(_WHOLE, {}), values.pop((MOTHER, None), {})
    babies = {number: _baby(found, guessed, left_out) for (_, number), found in values.items()}
    if guessed and not any(each.weight_guessed for each in babies.values()):
        left_out.append(NotRead(guessed))
    given = {number: each for number, each in babies.items() if each != BabyRead()}
    return Folded(whole, mother, given, tuple(left_out))


_WHOLE: Section = ("message", None)


def _by_place(
    told: Iterable[Told], left_out: list[NotRead]
) -> dict[tuple[Section, str], list[Told]]:
    found: dict[tuple[Section, str], list[Told]] = defaultdict(list)
    for each in told:
        section = _section_of(each)
        if section is None:
            who = MOTHER if each.slot in words.MOTHER_SLOTS else BABY
            left_out.append(NotRead(each.typed, f"{who} {each.typed}"))
        else:
            found[section, each.slot].append(each)
    return found


def _section_of(each: Told) -> Section | None:
    """Whom it is about; nothing where it stands among the words of the other one."""
    if each.slot in OF_THE_MESSAGE:
        return _WHOLE
    of_mother = each.section[0] == MOTHER
    if each.slot == "consciousness":
        return each.section if of_mother else None
    if each.slot in words.MOTHER_SLOTS:
        return (MOTHER, None)
    return None if of_mother else each.section


def _one_value(slot: str, rows: Sequence[Told], left_out: list[NotRead]) -> Any:
    values = list(dict.fromkeys(row.value for row in rows))
    if len(values) == 1:
        return values[0]
    if slot == "breathing" and Breathing.VENTILATED.value in values:
        # One sign of ventilation is enough; what else was said of breathing is named.
        others = [row.typed for row in rows if row.value != Breathing.VENTILATED.value]
        left_out.append(NotRead(" ".join(dict.fromkeys(others))))
        return Breathing.VENTILATED.value
    typed = " ".join(dict.fromkeys(row.typed for row in rows))
    left_out.append(NotRead(typed, wording.words("one of them")))
    return None


def _baby(told: Mapping[str, Any], guessed: str, left_out: list[NotRead]) -> BabyRead:
    support = _support(told, left_out)
    facts = {slot: value for slot, value in told.items() if slot not in _NOT_FACTS}
    return BabyRead(
        facts=facts | ({"support": support} if support else {}),
        sex=told.get("sex", ""),
        weight_guessed=True if guessed and "weight_g" in told else None,
        born=told.get("born"),
        ventilated_since=told.get("ventilated_since"),
    )


def _support(told: Mapping[str, Any], left_out: list[NotRead]) -> str:
    """Bag and mask with oxygen or air; which of the two may be left out, and is then open."""
    support, gas = str(told.get("support", "")), told.get("gas")
    if support == words.BAG:
        rich = told.get("oxygen_flow_l_min", 0) > 0 or told.get("fio2", 0) > 0.21
        if gas == "oxygen" or (gas is None and rich):
            return Support.BAG_AND_MASK_OXYGEN.value
        return Support.BAG_AND_MASK_AIR.value if gas == "air" else ""
    if gas and (gas == "air" or support in ("", Support.NONE.value)):
        left_out.append(NotRead(gas, words.HINTS[gas]))
    return support
