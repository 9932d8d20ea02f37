"""The journey's rules and tables, as they are looked up: checklists, and how often is checked."""

from collections.abc import Callable
from functools import partial
from typing import Any

from referrals.calc.check_intervals import CheckState
from referrals.calc.tables import Table, TableLine
from referrals.calc.wording import marked, words
from referrals.models import District
from transport.checklists import newest
from transport.models.lists import MOMENTS

CHECKS = "WHO, Managing newborn problems, 2003, C-65 and C-66"
PRACTICE = marked("common practice, no source")

ABOUT = {
    "birth": marked("What is tried and laid ready at a post before any birth"),
    "departure": marked("What is seen to before mother and baby leave"),
    "preparation": marked("What a unit prepares, by what the baby and the mother need"),
}


def _list_for(moment: str, district: District) -> Table | None:
    template = newest(moment, district)
    if template is None:
        return None
    return Table(
        code=f"list-{moment}",
        title=template.title,
        about=ABOUT[moment],
        lines=tuple(_item(each) for each in template.items),
    )


def _item(item: dict[str, Any]) -> TableLine:
    must = words("must be seen to") if item.get("must") else ""
    return TableLine(
        code=item["code"],
        words=item["words"],
        value=must,
        raw=f"{item['words']} {item.get('must', False)} {item.get('needs', '')}",
        source=item.get("source", ""),
    )


STATES = {
    CheckState.VENTILATED: marked("Being ventilated, or not known"),
    CheckState.BREATHES_WITH_HELP: marked("Breathing with help"),
    CheckState.BREATHES_ALONE: marked("Breathing alone"),
    CheckState.COLD: marked("Below 36 °C"),
}


def _times(district: District) -> Table:
    minutes = marked("%(check)g min; temperature %(temperature)g min")
    usual = {"check": district.check_minutes, "temperature": district.temperature_minutes}
    lines = [_time("usual", marked("Checks on the way, whatever the state"), minutes, usual)]
    for state, said in STATES.items():
        if told := district.intervals_by_state.get(state.value):
            lines.append(_time(state.value, said, minutes, usual | told))
    grace = {"minutes": district.check_grace_minutes}
    late = marked("The desk rings when a check is late by")
    lines.append(_time("grace", late, marked("%(minutes)g min"), grace, source=PRACTICE))
    return Table(
        code="checks",
        title=marked("Checks on the way"),
        about=marked("How often the baby is looked at and the temperature is taken on the road"),
        lines=tuple(lines),
    )


def _time(
    code: str, said: str, sentence: str, values: dict[str, float], *, source: str = CHECKS
) -> TableLine:
    return TableLine(
        code=code,
        words=said,
        value=words(sentence, **values),
        raw=" ".join(f"{name} {value:g}" for name, value in values.items()),
        source=source,
    )


TABLES: dict[str, Callable[[District], Table | None]] = {
    **{f"list-{moment}": partial(_list_for, moment) for moment in MOMENTS},
    "checks": _times,
}
