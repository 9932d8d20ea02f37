"""P1 and P2: how long it takes to find the nearest units, and to rank them with their reasons.

P1: the ten nearest of 10,000 places, against geopy's geodesic to every one of them; both must name
the same ten in the same order. P2: the whole ranking of a referral as it stands in the database,
against one query by primary key that fetches the units that come out of it.
"""

import random
from datetime import datetime
from typing import Any

import common
from common import Line

VEHICLES = 200
SIZES = (10, 1_000, 10_000)
CENTRE = (-22.4, 85.9)


def measure() -> list[Line]:
    """All lines of one database."""
    common.setup()
    from django.db import connection

    lines = nearest_lines() if connection.vendor == "sqlite" else []
    return lines + [line for size in SIZES for line in ranking_lines(size)]


def nearest_lines() -> list[Line]:
    """P1, without a database."""
    from geopy.distance import geodesic

    from transport.calc.travel import Place, PlaceIndex, nearest

    chance = random.Random(11)
    places = [Place(*_somewhere(chance)) for _ in range(10_000)]
    origins = [Place(*_somewhere(chance)) for _ in range(20)]
    index = PlaceIndex(places)

    def by_geopy(origin: Place) -> list[int]:
        at = (origin.latitude, origin.longitude)
        far = [geodesic(at, (each.latitude, each.longitude)).km for each in places]
        return sorted(range(len(places)), key=lambda i: (far[i], i))[:10]

    for origin in origins[:3]:
        assert nearest(origin, index, 10) == by_geopy(origin), "not the same ten"
    turn = iter(origins * 1000)
    slow = [common.milliseconds(lambda: by_geopy(origins[0])) for _ in range(3)]
    kept, anew = common.side_by_side(
        lambda: nearest(next(turn), index, 10),
        lambda: nearest(next(turn), places, 10),
        times=common.repeats(30),
    )
    loop, asked = common.median(slow), common.median(kept)
    return [
        Line(
            what="P1 geopy loop / ten nearest of 10,000, index kept",
            measured=loop, baseline=asked, at_least=1000, note="same ten, same order",
        ),
        Line(what="   the same, index built anew", measured=loop, baseline=common.median(anew)),
    ]  # fmt: skip


def ranking_lines(size: int) -> list[Line]:
    """P2 for one number of units."""
    from referrals import clock
    from referrals.models import Referral, Unit
    from transport import choosing

    now = clock.now()
    referral_id = make_district(size, now)
    shown = [each.key for each in choosing.ranking_for(_fresh(referral_id), now).candidates]
    finalists = list(Unit.objects.filter(code__in=shown).values_list("pk", flat=True))
    assert len(finalists) == len(shown) > 0

    def whole() -> Any:
        return choosing.ranking_for(_fresh(referral_id), now)

    def one_query() -> Any:
        return list(Unit.objects.filter(pk__in=finalists).select_related("site"))

    with common.queries_counted() as counted:
        whole()
    taken, baseline, fetched = common.side_by_side(
        whole,
        one_query,
        lambda: Referral.objects.select_related("district", "origin").get(pk=referral_id),
        times=common.repeats(40),
    )
    # The referral itself is in the caller's hands before it asks for a ranking.
    seconds = common.median(taken) - common.median(fetched)
    return [
        Line(
            what=f"P2 ranking of {size:,} units, {VEHICLES} vehicles",
            measured=seconds, baseline=common.median(baseline), at_most=5,
            note=f"{counted[0] - 1} queries, {len(finalists)} finalists",
        )
    ]  # fmt: skip


def _fresh(referral_id: int) -> Any:
    from referrals.models import Referral

    return Referral.objects.select_related("district", "origin").get(pk=referral_id)


def make_district(size: int, now: datetime) -> int:
    """A district of so many units and 200 vehicles, with one referral of a ventilated newborn."""
    from referrals import describing, lifecycle
    from referrals.acting import by_system
    from referrals.models import District, Site

    chance = random.Random(size)
    district = District.objects.create(code=f"size-{size}", name=f"District of {size}")
    sites = Site.objects.bulk_create(
        Site(district=district, code=f"s{size}-{number}", name=f"Site {number}", kind="hospital",
             latitude=latitude, longitude=longitude)
        for number, (latitude, longitude) in enumerate(_places(size, chance))
    )  # fmt: skip
    _make_units(sites, size, chance, now)
    _make_vehicles(district, sites, chance)
    post = Site.objects.create(
        district=district, code=f"p{size}", name="Post", kind="post",
        latitude=CENTRE[0], longitude=CENTRE[1],
    )  # fmt: skip
    told = describing.BabyTold(
        facts={"breathing": "ventilated", "support": "bag_and_mask_oxygen",
               "oxygen_flow_l_min": 5.0, "heart_rate": 120, "weight_g": 1700}
    )  # fmt: skip
    return lifecycle.raise_referral(by_system(now), origin=post, babies=[told]).pk


def _make_units(sites: list[Any], size: int, chance: random.Random, now: datetime) -> None:
    from referrals.calc.terms import Capability
    from referrals.models import Unit

    every = [each.value for each in Capability]
    Unit.objects.bulk_create(
        Unit(site=site, code=f"u{size}-{number}", name=f"Unit {number}", level="ward",
             capabilities=every[: chance.choice((3, 5, 6, 8))], cots_total=6,
             cots_free=chance.randrange(4), cots_reported_at=chance.choice((None, now, now)),
             is_open=chance.random() < 0.95)
        for number, site in enumerate(sites)
    )  # fmt: skip


def _make_vehicles(district: Any, sites: list[Any], chance: random.Random) -> None:
    from transport.models import Cylinder, Vehicle

    vehicles = Vehicle.objects.bulk_create(
        Vehicle(district=district, code=f"{district.code}-v{number}", name=f"Vehicle {number}",
                kind=chance.choice(("ambulance", "ambulance", "pickup", "motorcycle")),
                base=chance.choice(sites), state=chance.choice(("free", "free", "busy")))
        for number in range(VEHICLES)
    )  # fmt: skip
    Cylinder.objects.bulk_create(
        Cylinder(district=district, vehicle=vehicle, label="F", water_litres=9.4, bar=120.0)
        for vehicle in vehicles
        if chance.random() < 0.6
    )


def _places(size: int, chance: random.Random) -> list[tuple[float, float]]:
    return [_somewhere(chance) for _ in range(size)]


def _somewhere(chance: random.Random) -> tuple[float, float]:
    return CENTRE[0] + chance.uniform(-2, 2), CENTRE[1] + chance.uniform(-2, 2)


if __name__ == "__main__":
    common.main(measure, "Ranking")
