"""Heart rate, SpO2, temperature and oxygen flow of one baby over time, as people read them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from referrals.calc import normal
from referrals.calc.normal import NormalBand
from referrals.calc.quantities import QUANTITIES, Verdict, check_quantity
from referrals.calc.terms import HeartRateBand
from referrals.calc.wording import words
from referrals.labels import FIELDS, value_in_words
from referrals.models import Baby, Observation
from transport.calc.trend_chart import Between, Chart, Measured, Normal, draw

DRAWN = ("heart_rate", "spo2", "temperature_c", "oxygen_flow_l_min")
AXES = {
    "heart_rate": (0.0, 200.0),
    "spo2": (60.0, 100.0),
    "temperature_c": (35.0, 38.5),
    "oxygen_flow_l_min": (0.0, 10.0),
}
"""The least range of each vertical axis, in the unit of the reading."""
FELT = {
    HeartRateBand.NONE_DETECTED: (0.0, 3.0),
    HeartRateBand.UNDER_60: (0.0, 60.0),
    HeartRateBand.FROM_60_TO_99: (60.0, 99.0),
    HeartRateBand.AT_LEAST_100: (100.0, None),
}
"""The range of each felt heart rate; no heartbeat is drawn as a thin step on the ground."""


@dataclass(frozen=True)
class TrendShown:
    """One drawing with its words; ``ident`` is its own on the page."""

    ident: str
    name: str
    unit: str
    about: str
    normal: str
    source: str
    chart: Chart


@dataclass(frozen=True)
class Line:
    """One reading as a row of the table: its time, who saw it, and the cells as they are read."""

    at: datetime
    by: str
    cells: list[str]


def trends_of(baby: Baby) -> dict[str, Any]:
    """The drawings of a baby, and a table of the same readings."""
    rows = [row for row in baby.observations.standing() if _told(row)]
    shown = [each for name in DRAWN if (each := _trend(baby, name, rows))]
    return {
        "code": baby.code,
        "trends": shown,
        "columns": [FIELDS[name] for name in DRAWN],
        "lines": [
            Line(row.observed_at, row.observed_by, [_cell(row, name) for name in DRAWN])
            for row in rows
        ],
    }


def _told(row: Observation) -> bool:
    return bool({*DRAWN, "heart_rate_band"} & set(row.facts()))


def _cell(row: Observation, name: str) -> str:
    facts = row.facts()
    told = [
        value_in_words(each, facts[each])
        for each in ((name, "heart_rate_band") if name == "heart_rate" else (name,))
        if each in facts
    ]
    return ", ".join(told)


def _trend(baby: Baby, name: str, rows: Sequence[Observation]) -> TrendShown | None:
    measured = [
        Measured(timezone.localtime(row.observed_at), float(facts[name]))
        for row in rows
        if name in (facts := row.facts())
        and check_quantity(name, facts[name]) is not Verdict.IMPOSSIBLE
    ]
    felt = _felt(rows) if name == "heart_rate" else []
    bands = _BANDS[name](baby) if name in _BANDS else []
    chart = draw(
        measured,
        axis=AXES[name],
        felt=felt,
        normal=[Normal(band.low, band.high, since) for band, since in bands],
    )
    if chart is None:
        return None
    unit = words(QUANTITIES[name].unit)
    last = bands[-1][0] if bands else None
    return TrendShown(
        ident=f"{baby.birth_order}-{name}",
        name=str(FIELDS[name]),
        unit=unit,
        about=_about(measured, felt, unit),
        normal=_("normal %(low)g to %(high)g %(unit)s")
        % {"low": last.low, "high": last.high, "unit": unit}
        if last
        else "",
        source=words(last.source) if last else "",
        chart=chart,
    )


def _felt(rows: Sequence[Observation]) -> list[Between]:
    return [
        Between(timezone.localtime(row.observed_at), *FELT[HeartRateBand(row.heart_rate_band)])
        for row in rows
        if row.heart_rate_band in set(HeartRateBand) and row.heart_rate is None
    ]


def _about(measured: Sequence[Measured], felt: Sequence[Between], unit: str) -> str:
    """What a drawing shows, for those who do not see it."""
    if not measured:
        return _("felt or heard %(count)d times; the table below holds them") % {"count": len(felt)}
    values = [each.value for each in measured]
    return _(
        "%(count)d numbers from %(first)s to %(last)s: first %(begin)g, last %(end)g, lowest "
        "%(low)g, highest %(high)g %(unit)s"
    ) % {
        "count": len(values),
        "first": f"{measured[0].at:%H:%M}",
        "last": f"{measured[-1].at:%H:%M}",
        "begin": values[0],
        "end": values[-1],
        "low": min(values),
        "high": max(values),
        "unit": unit,
    }


Bands = list[tuple[NormalBand, datetime | None]]


def _spo2_bands(baby: Baby) -> Bands:
    """By minutes since birth where that is known; else that of a baby on oxygen."""
    if baby.born_at is None:
        return [(normal.spo2_target(normal.AFTER_MINUTES, baby.gestation_weeks), None)]
    minutes = [0.0, *(row[0] for row in normal.SPO2_BY_MINUTE[1:]), normal.AFTER_MINUTES]
    return [
        (normal.spo2_target(minute, baby.gestation_weeks), baby.born_at + timedelta(minutes=minute))
        for minute in minutes
    ]


_BANDS: dict[str, Callable[[Baby], Bands]] = {
    "heart_rate": lambda baby: [(normal.HEART_RATE, None)],
    "temperature_c": lambda baby: [(normal.TEMPERATURE, None)],
    "spo2": _spo2_bands,
}
"""Oxygen flow has no normal band: it is what was needed."""
