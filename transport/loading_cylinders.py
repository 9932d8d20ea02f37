"""A cylinder as a row of a district's table says it: one size, one gauge, in whatever unit."""

from typing import Any

from transport.calc.oxygen import (
    UK_CYLINDERS,
    US_FACTOR_LITRES_PER_PSI,
    GaugeUnit,
    InvalidOxygen,
    in_unit,
    metric_cylinder,
    read_pressure,
    require_likely,
    us_cylinder,
)
from transport.tables import Row

SIZES = ("water_litres", "uk_size", "us_size")
GAUGES = ("bar", "psi", "gauge")
FULL = ("full_bar", "full_psi")
COLUMNS = (*SIZES, *GAUGES, *FULL)


def cylinder_fields(row: Row) -> dict[str, Any]:
    """The fields of a cylinder's size and gauge; what is wrong goes to the row's faults.

    The gauge is kept in bar for litres of water and for a UK letter, in psi for a US letter. A
    ``gauge`` has its unit in it: ``15 MPa``.
    """
    size, gauge = _the_one(row, SIZES), _the_one(row, GAUGES)
    full_bar = row.number_in("full_bar", 1, 330, required=False)
    full_psi = row.number_in("full_psi", 1, 4800, required=False)
    us_size = row.one_of("us_size", list(US_FACTOR_LITRES_PER_PSI), required=False)
    uk_size = row.one_of("uk_size", list(UK_CYLINDERS), required=False)
    litres = row.number_in("water_litres", 0.1, 100, required=False)
    if uk_size in UK_CYLINDERS:
        litres, usual = UK_CYLINDERS[uk_size]
        full_bar = full_bar or usual
    unit = GaugeUnit.PSI if us_size else GaugeUnit.BAR
    pressure = _pressure(row, gauge, unit)
    if size and gauge and pressure is not None:
        _require_likely(row, gauge, us_size, litres, pressure, full_psi if us_size else full_bar)
    return {
        "us_size": us_size,
        "water_litres": None if us_size else litres,
        unit.value: pressure,
        "full_bar": full_bar,
        "full_psi": full_psi,
    }


def _the_one(row: Row, columns: tuple[str, ...]) -> str:
    """Which of the columns is filled in; empty, with a fault, unless it is exactly one."""
    filled = [name for name in columns if row.text(name, required=False)]
    if len(filled) == 1:
        return filled[0]
    row.wrong(columns[0], f"give one of {', '.join(columns)}, and not two")
    return ""


def _pressure(row: Row, gauge: str, wanted: GaugeUnit) -> float | None:
    bar = row.number_in("bar", 0, 330, required=False)
    psi = row.number_in("psi", 0, 4800, required=False)
    if gauge == "bar" and bar is not None:
        return in_unit(bar, GaugeUnit.BAR, wanted)
    if gauge == "psi" and psi is not None:
        return in_unit(psi, GaugeUnit.PSI, wanted)
    if gauge == "gauge":
        try:
            return in_unit(*read_pressure(row.text("gauge")), wanted)
        except InvalidOxygen as error:
            row.wrong("gauge", str(error))
    return None


def _require_likely(
    row: Row, gauge: str, us_size: str, litres: float | None, pressure: float, full: float | None
) -> None:
    label = row.text("label", required=False)
    try:
        if us_size in US_FACTOR_LITRES_PER_PSI:
            require_likely(us_cylinder(us_size, pressure, label, full))
        elif litres:
            require_likely(metric_cylinder(litres, pressure, label, full))
    except InvalidOxygen as error:
        row.wrong(gauge, str(error))
