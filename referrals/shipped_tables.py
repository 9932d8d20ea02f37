"""The record's own rules and tables, as they are looked up; the journey's are in transport."""

from collections.abc import Iterable, Iterator

from referrals.calc import chest_steps, no_heartbeat, quantities, thermal
from referrals.calc.need_conditions import (
    SPO2_FLOOR_FROM_MINUTE,
    SPO2_FLOOR_LATER,
    NeedRule,
)
from referrals.calc.spelled import spelled
from referrals.calc.tables import Table, TableLine
from referrals.calc.terms import Capability
from referrals.calc.wording import marked, words
from referrals.models import District
from referrals.reading import rules_of


def _needs(district: District) -> Table:
    rules, _mother_rules = rules_of(district)
    return Table(
        code="needs",
        title=marked("Needs of a baby"),
        about=marked("From what is told of a baby to what a unit must be able to do, and how soon"),
        lines=tuple(_of_rules(rules)),
    )


def _needs_of_mother(district: District) -> Table:
    _rules, mother_rules = rules_of(district)
    return Table(
        code="needs-mother",
        title=marked("Needs of the mother"),
        about=marked("From what is told of the mother to what a unit must be able to do"),
        lines=tuple(_of_rules(mother_rules)),
    )


def _of_rules(rules: Iterable[NeedRule]) -> Iterator[TableLine]:
    for rule in rules:
        needed, better = sorted(rule.capabilities), sorted(rule.preferred_capabilities)
        said = []
        if needed:
            said.append(words("needs %(what)s", what=_named(needed)))
        if better:
            said.append(words("better with %(what)s", what=_named(better)))
        if rule.limit_minutes:
            said.append(words("line at %(minutes)d min from birth", minutes=rule.limit_minutes))
        said.append(_URGENCY[rule.urgency.value])
        raw = [*needed, "/", *better, "/", rule.urgency, str(rule.limit_minutes or "")]
        # A district's own condition stands in the source it gives; the version tells it apart.
        yield TableLine(
            code=rule.code,
            words=rule.words,
            value="; ".join(words(each) for each in said),
            raw=" ".join(raw),
            source=rule.source,
        )


_URGENCY = {
    "ventilated": marked("asked again fastest"),
    "urgent": marked("urgent"),
    "stable": marked("not urgent by itself"),
}


def _named(capabilities: Iterable[Capability]) -> str:
    return ", ".join(spelled(each.value) for each in capabilities)


def _line(code: str, said: str, value: str, source: str, *, raw: str = "") -> TableLine:
    return TableLine(code=code, words=said, value=value, raw=raw or value, source=source)


def _spo2(_district: District) -> Table:
    lines = [
        _line(
            f"minute_{minute}",
            marked("SpO2 counts as low below"),
            words("%(floor)d %% from minute %(minute)d", floor=floor, minute=minute),
            "AHA algorithm 2015, unchanged 2020",
            raw=f"{floor} {minute}",
        )
        for minute, floor in SPO2_FLOOR_FROM_MINUTE
    ]
    later = words("%(floor)d %% later, and where the age is not known", floor=SPO2_FLOOR_LATER)
    source = "ERC guidelines 2021, value from memory"
    lines.append(
        _line("later", marked("SpO2 counts as low below"), later, source, raw=str(SPO2_FLOOR_LATER))
    )
    return Table(
        code="spo2",
        title=marked("SpO2 by minute"),
        about=marked("Below which SpO2 a baby counts as short of oxygen"),
        lines=tuple(lines),
    )


def _temperature(_district: District) -> Table:
    guide = "WHO, Thermal protection of the newborn, 1997"
    limits = (
        ("severe", marked("Severe cold below"), thermal.SEVERE_BELOW_C, guide),
        ("moderate", marked("Moderate cold below"), thermal.MODERATE_BELOW_C, guide),
        ("normal_from", marked("Normal from"), thermal.NORMAL_FROM_C, guide),
        (
            "normal_to",
            marked("Hot above"),
            thermal.NORMAL_TO_C,
            "WHO, Managing newborn problems, 2003, F-69",
        ),
    )
    return Table(
        code="temperature",
        title=marked("Temperature classes"),
        about=marked("When a baby counts as cold or hot"),
        lines=tuple(
            _line(code, said, f"{celsius:.1f} °C", source) for code, said, celsius, source in limits
        ),
    )


def _bounds(_district: District) -> Table:
    lines = []
    for code, bounds in quantities.QUANTITIES.items():
        possible = f"{bounds.possible_low:g}-{bounds.possible_high:g}"
        unusual = f"{bounds.unusual_low:g}-{bounds.unusual_high:g}"
        value = words(
            "taken: %(possible)s %(unit)s; asked about once outside %(unusual)s",
            possible=possible,
            unusual=unusual,
            unit=words(bounds.unit) if bounds.unit else "",
        )
        lines.append(
            _line(code, bounds.name, value, bounds.source, raw=f"{possible} {unusual} {code}")
        )
    return Table(
        code="bounds",
        title=marked("Numbers that can be told"),
        about=marked("Which numbers are refused, and which are asked about once"),
        lines=tuple(lines),
    )


def _chest(_district: District) -> Table:
    beat = f"{chest_steps.BEAT_SLOWEST}-{chest_steps.BEAT_FASTEST}, {chest_steps.BEAT_PER_MINUTE}"
    lines = [
        _line(
            "beat",
            marked("Breaths a minute: slowest, fastest, and where it begins"),
            beat,
            chest_steps.BEAT_SOURCE,
        ),
        _line("squeeze", marked("Share of a breath that is the squeeze"), "1/3", _PRACTICE),
    ]
    lines += [
        _line(step.code, step.words, str(place), step.source)
        for place, step in enumerate(chest_steps.CHEST_STEPS, start=1)
    ]
    return Table(
        code="breaths",
        title=marked("Breaths by bag and mask"),
        about=marked("The beat, and what a helper reads out when the chest does not move"),
        lines=tuple(lines),
    )


_PRACTICE = marked("common practice, no source")


def _no_heartbeat(_district: District) -> Table:
    marks = ", ".join(str(mark) for mark in no_heartbeat.MARKS_MINUTES)
    lines = [
        _line(
            "marks",
            marked("The desk and the unit's clinician are told at these minutes of breaths"),
            words("%(marks)s min", marks=marks),
            _PRACTICE,
            raw=marks,
        )
    ]
    lines += [_line(each.code, each.words, "", each.source) for each in no_heartbeat.POSITIONS]
    return Table(
        code="no-heartbeat",
        title=marked("No heartbeat found: what is published differs"),
        about=marked("Nothing here advises: a named clinician decides, and it is written down"),
        lines=tuple(lines),
        for_units=True,
    )


TABLES = {
    "needs": _needs,
    "needs-mother": _needs_of_mother,
    "spo2": _spo2,
    "temperature": _temperature,
    "bounds": _bounds,
    "breaths": _chest,
    "no-heartbeat": _no_heartbeat,
}
"""In the order in which a call for help meets them."""
