"""The oxygen that travels, from rows: which cylinders, which spare ones, and how much flows."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from referrals.calc.terms import Support
from referrals.models import Referral, Site
from referrals.reading import babies_on_the_way, known_facts
from transport.calc.oxygen import Cylinder as Bottle
from transport.calc.oxygen import (
    litres_available,
    metric_cylinder,
    oxygen_for_fraction,
    together,
    us_cylinder,
)
from transport.calc.places import Place, haversine_from
from transport.models import Cylinder, Transfer, Vehicle

ON_OXYGEN = (Support.BAG_AND_MASK_OXYGEN, Support.OXYGEN_BY_PRONGS)


def bottles(cylinders: Iterable[Any]) -> list[Bottle]:
    """Cylinders as the oxygen computation sees them; of rows or of named tuples of their fields."""
    return [
        _us_bottle(row.us_size, row.psi or 0.0, row.label, row.full_psi)
        if row.us_size
        else _metric_bottle(row.water_litres or 0.0, row.bar or 0.0, row.label, row.full_bar)
        for row in cylinders
    ]


# Most cylinders of a district are alike, and none changes once it is made.
_us_bottle = lru_cache(maxsize=1024)(us_cylinder)
_metric_bottle = lru_cache(maxsize=1024)(metric_cylinder)


def oxygen_flow(referral: Referral) -> float | None:
    """The oxygen of all babies together, L/min; nothing when no flow was told for any.

    They breathe from one set: the flows add up. Where only the fraction is known, the flow is what
    that fraction takes of a total of 10 L/min. A twin who gets oxygen at a flow nobody has told
    counts with the larger one that was.
    """
    told: list[float] = []
    untold = 0
    for baby in babies_on_the_way(referral):
        facts = known_facts(baby.observations.all())
        flow = _flow_told(facts)
        if flow is not None:
            told.append(flow)
        elif facts.get("support", ("",))[0] in ON_OXYGEN:
            untold += 1
    return together(told) + untold * max(told) if told else None


def _flow_told(facts: dict[str, tuple[Any, datetime]]) -> float | None:
    """The oxygen of one baby as told last: as a flow, or as a fraction of all that is breathed."""
    flow, fraction = facts.get("oxygen_flow_l_min"), facts.get("fio2")
    if flow and (fraction is None or flow[1] >= fraction[1]):
        return float(flow[0])
    return oxygen_for_fraction(float(fraction[0])) if fraction else None


def carried_bottles(transfer: Transfer) -> list[Bottle]:
    """The oxygen that travels: the vehicle's cylinders, in the order in which they are emptied."""
    return bottles(carried(transfer.vehicle)) if transfer.vehicle else []


def carried(vehicle: Vehicle) -> list[Cylinder]:
    """The cylinders of a vehicle, in the order in which they are emptied."""
    return list(vehicle.cylinders.order_by("label", "pk"))


def units_of_gauges(transfer: Transfer | None) -> tuple[str, ...]:
    """In which units gauges are read on the way; bar while no cylinder is known."""
    rows = carried(transfer.vehicle) if transfer and transfer.vehicle else []
    return tuple(sorted({row.gauge for row in rows})) or ("bar",)


def standing_at_sites(transfer: Transfer) -> list[tuple[Site, Bottle]]:
    """The cylinders of the district that are in no vehicle, each named with its place."""
    rows = Cylinder.objects.filter(vehicle=None, site__district=transfer.referral.district)
    rows = rows.select_related("site").order_by("pk")
    return [
        (row.site, replace(bottle, label=f"{bottle.label}, {row.site}"))
        for row, bottle in zip(rows, bottles(rows), strict=True)
        if row.site
    ]


def spare_bottles(transfer: Transfer, here: Place | None) -> list[Bottle]:
    """Cylinders that can be taken along or sent to meet the vehicle, those to name first in front.

    Before leaving those at the post, and at the vehicle's base until it sets off, the smallest
    first; on the road any of the district that stands at a site, the nearest to it first.
    """
    standing = standing_at_sites(transfer)
    if transfer.on_the_road_at is None:
        sites = {transfer.referral.origin_id}
        if transfer.collecting_at is None and transfer.vehicle and transfer.vehicle.base_id:
            sites.add(transfer.vehicle.base_id)
        near = [bottle for site, bottle in standing if site.pk in sites]
        return sorted(near, key=litres_available)
    far = haversine_from(here) if here else lambda latitude, longitude: 0.0
    standing.sort(key=lambda pair: far(pair[0].latitude, pair[0].longitude))
    return [bottle for _, bottle in standing]
