"""What a cylinder holds: by water capacity and bar, or by US letter and psi."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referrals.calc.wording import words
from transport.calc.oxygen.pressures import (
    GaugeUnit,
    InvalidOxygen,
    in_unit,
    read_pressure,
    refuse_negative,
    unit_words,
)

# Litres of gas for each psi on the gauge. Source: emergency medical services sheet, Virginia,
# 2010, and reference pages. Where books differ the smaller stands: E is 0.28 here, 0.35 (660 L at
# 1900 psi) in an anaesthesia text.
US_FACTOR_LITRES_PER_PSI: Mapping[str, float] = MappingProxyType(
    {"D": 0.16, "E": 0.28, "M": 1.56, "G": 2.41, "H": 3.14, "K": 3.14}
)
US_FULL_PSI = 2200.0
"""What the gauge of a full US cylinder shows; value from memory."""

# Water capacity (litres) and full gauge pressure (bar) by UK letter, which is not the US letter:
# UK G is 3400 L, US G 5300 L. Values from memory; E's content is in Anesth Analg 2004;99:307.
UK_CYLINDERS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "C": (1.2, 137.0),
        "D": (2.3, 137.0),
        "E": (4.7, 137.0),
        "F": (9.4, 137.0),
        "G": (23.6, 137.0),
        "J": (47.2, 137.0),
        "CD": (2.0, 230.0),
        "HX": (10.0, 230.0),
        "ZX": (10.0, 300.0),
    }
)

LARGEST_WATER_LITRES = 60.0
"""More than the largest cylinder in use (UK J, 47.2 L): likely litres of gas were meant."""

HIGHEST_BAR = 330.0  # value from memory: cylinders are filled to 137, 200, 230 or 300 bar

OVERFULL = 1.15
"""A full gauge in the sun may show so much more (about 45 K); common practice, no source."""

NEARLY_EMPTY_BAR, NEARLY_EMPTY_PSI = HIGHEST_BAR / 10, HIGHEST_BAR
"""So low a number would be a likely pressure in a larger unit: MPa for bar, bar for psi."""


@dataclass(frozen=True, slots=True)
class Reserve:
    """What is left in each cylinder on purpose: gauge pressure, a share of the content, or both.

    200 psi: emergency medical services sheet, Virginia, 2010. 30 bar: common practice, no source.
    """

    bar: float = 30.0
    psi: float = 200.0
    share_kept: float = 0.0

    def __post_init__(self) -> None:
        refuse_negative(reserve_bar=self.bar, reserve_psi=self.psi)
        if not 0.0 <= self.share_kept < 1.0:
            raise InvalidOxygen(
                words("a share kept is from 0 to below 1, not %(found)s", found=self.share_kept)
            )


NO_RESERVE = Reserve(bar=0.0, psi=0.0)
DEFAULT_RESERVE = Reserve()


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder as its gauge stands: metric (water litres, bar) or US (factor L/psi, psi).

    ``full``: what the gauge shows when it is full, in its own unit, where that is known. More than
    that is never counted.
    """

    label: str
    water_litres: float | None = None
    bar: float | None = None
    psi_factor: float | None = None
    psi: float | None = None
    full: float | None = None

    def __post_init__(self) -> None:
        readings = (self.water_litres, self.bar, self.psi_factor, self.psi)
        given = tuple(value for value in readings if value is not None)
        if len(given) != 2 or given not in (readings[:2], readings[2:]):
            raise InvalidOxygen(
                words("a cylinder has litres and bar, or a factor and psi, never both")
            )
        size, pressure = given
        refuse_negative(cylinder_size=size, gauge_pressure=pressure, full_pressure=self.full or 0.0)
        if size == 0.0:
            raise InvalidOxygen(words("a cylinder has a size above 0"))

    @property
    def unit(self) -> GaugeUnit:
        """The unit that its gauge is kept in."""
        return GaugeUnit.PSI if self.bar is None else GaugeUnit.BAR

    @property
    def pressure(self) -> float:
        """What the gauge shows, in its own unit."""
        return (self.psi if self.bar is None else self.bar) or 0.0

    @property
    def litres_per_unit(self) -> float:
        """Litres of gas for each bar, or each psi, on the gauge."""
        return (self.psi_factor if self.bar is None else self.water_litres) or 0.0


def metric_cylinder(
    water_litres: float, bar: float, label: str = "", full_bar: float | None = None
) -> Cylinder:
    """A cylinder by its water capacity in litres and gauge pressure in bar (MPa x 10)."""
    label = label or f"{water_litres:g} L"
    return Cylinder(label, water_litres=water_litres, bar=bar, full=full_bar)


def uk_cylinder(letter: str, bar: float | None = None) -> Cylinder:
    """A cylinder by its UK letter; full where no gauge pressure is given."""
    if letter.upper() not in UK_CYLINDERS:
        raise InvalidOxygen(
            words(
                "no UK size %(size)r; known: %(known)s", size=letter, known=", ".join(UK_CYLINDERS)
            )
        )
    water_litres, full_bar = UK_CYLINDERS[letter.upper()]
    pressure = full_bar if bar is None else bar
    return metric_cylinder(water_litres, pressure, f"UK {letter.upper()}", full_bar)


def us_cylinder(size: str, psi: float, label: str = "", full_psi: float | None = None) -> Cylinder:
    """A cylinder by its US letter and gauge pressure in psi."""
    if size.upper() not in US_FACTOR_LITRES_PER_PSI:
        raise InvalidOxygen(
            words(
                "no US size %(size)r; known: %(known)s",
                size=size,
                known=", ".join(US_FACTOR_LITRES_PER_PSI),
            )
        )
    factor = US_FACTOR_LITRES_PER_PSI[size.upper()]
    return Cylinder(label or f"US {size.upper()}", psi_factor=factor, psi=psi, full=full_psi)


_WRITTEN = re.compile(
    r"\s*(?:(?P<litres>\d+(?:\.\d+)?)\s*L|(?P<system>UK|US)\s+(?P<letter>[A-Z]{1,2}))"
    r"\s*[,@]?\s+(?P<gauge>\S.*)",
    re.IGNORECASE,
)


def read_cylinder(text: str) -> Cylinder:
    """A cylinder as people write it: ``4.7 L 100 bar``, ``US E 1800 psi``, ``UK D 12 MPa``.

    Any unit goes with any size. A letter needs its country, since UK and US letters are other
    cylinders, and a gauge its unit. Raises InvalidOxygen for what is neither, and for a pressure
    or capacity that no such cylinder has.
    """
    found = _WRITTEN.fullmatch(text)
    if found is None:
        raise InvalidOxygen(
            words(
                "a cylinder is written as '4.7 L 100 bar', 'US E 1800 psi' or 'UK D 12 MPa', not "
                "%(found)r",
                found=text,
            )
        )
    value, unit = read_pressure(found["gauge"])
    bar = in_unit(value, unit, GaugeUnit.BAR)
    if found["litres"]:
        return require_likely(metric_cylinder(float(found["litres"]), bar))
    if found["system"].upper() == "UK":
        return require_likely(uk_cylinder(found["letter"], bar))
    return require_likely(us_cylinder(found["letter"], in_unit(value, unit, GaugeUnit.PSI)))


def require_likely(cylinder: Cylinder) -> Cylinder:
    """The cylinder unchanged, or InvalidOxygen for a pressure or capacity that none has."""
    bar = in_unit(cylinder.pressure, cylinder.unit, GaugeUnit.BAR)
    full = cylinder.full and in_unit(cylinder.full, cylinder.unit, GaugeUnit.BAR)
    highest = min(HIGHEST_BAR, full * 1.5) if full else HIGHEST_BAR
    if bar > highest:
        raise InvalidOxygen(
            words(
                "%(label)s cannot show %(found)g %(unit)s: look at the unit on the gauge and at "
                "the size",
                label=cylinder.label,
                found=cylinder.pressure,
                unit=unit_words(cylinder.unit),
            )
        )
    if (cylinder.water_litres or 0.0) > LARGEST_WATER_LITRES:
        raise InvalidOxygen(
            words(
                "%(litres)g L is no water capacity (1 to 50 L): litres of gas are not asked for",
                litres=cylinder.water_litres,
            )
        )
    return cylinder


def overfull_words(cylinder: Cylinder) -> str:
    """The caution where a gauge shows clearly more than a full cylinder does; else empty."""
    full = cylinder.full or (US_FULL_PSI if cylinder.unit is GaugeUnit.PSI else None)
    if full is None or cylinder.pressure <= full * OVERFULL:
        return ""
    return words(
        "%(label)s: %(shown)g %(unit)s is more than a full one shows (%(full)g). Look at its "
        "gauge, the unit and the size again.",
        label=cylinder.label,
        shown=cylinder.pressure,
        unit=unit_words(cylinder.unit),
        full=full,
    )


def doubtful_unit_words(cylinder: Cylinder) -> str:
    """The caution where a number as it was typed may be of a larger unit; else empty."""
    metric = cylinder.unit is GaugeUnit.BAR
    limit = NEARLY_EMPTY_BAR if metric else NEARLY_EMPTY_PSI
    if not 0.0 < cylinder.pressure <= limit:
        return ""
    return words(
        "%(label)s: %(shown)g %(unit)s is nearly empty. If the gauge is in %(other)s, say so.",
        label=cylinder.label,
        shown=cylinder.pressure,
        unit=unit_words(cylinder.unit),
        other=unit_words(GaugeUnit.MPA if metric else GaugeUnit.BAR),
    )


def litres_available(cylinder: Cylinder, reserve: Reserve = NO_RESERVE) -> float:
    """Litres of gas above the reserve, never negative.

    Metric: water capacity x (bar - reserve) (Boyle's law); about 5 % below the printed content of
    a 137 bar cylinder, the safe side. US: factor x (psi - reserve), as on the sheet named above.
    """
    # The inmost step of a ranking: asked some hundred times for one.
    if cylinder.bar is not None:
        per_unit, shown, kept = cylinder.water_litres or 0.0, cylinder.bar, reserve.bar
    else:
        per_unit, shown, kept = cylinder.psi_factor or 0.0, cylinder.psi or 0.0, reserve.psi
    if cylinder.full is not None:
        shown = min(shown, cylinder.full)
    return max(0.0, per_unit * (shown - kept)) * (1.0 - reserve.share_kept)


def gauge_words(cylinder: Cylinder) -> str:
    """A cylinder with its size and gauge, as it is read off."""
    if cylinder.bar is not None:
        return words(
            "%(label)s (%(litres)s L, %(bar)d bar)",
            label=cylinder.label,
            litres=f"{cylinder.water_litres:g}",
            bar=cylinder.bar,
        )
    return words("%(label)s (%(psi)d psi)", label=cylinder.label, psi=cylinder.psi)
