"""Two months of invented referrals: who was asked, which vehicle went, how long it took.

Medians follow the roads of ``district_shapes``; single journeys scatter log-normally around
them. Only ``Random.random()`` is drawn on, since Python promises the same sequence for it, and
for no other method, from version to version.
"""

import heapq
import math
from collections.abc import Sequence
from random import Random
from statistics import NormalDist
from typing import Any, NamedTuple, TypeVar

from fixtures_demo.district_shapes import line_km, to_lon_lat
from fixtures_demo.district_tables import SETTINGS, SITES, UNITS, VEHICLES, Site, Unit, Vehicle

DAYS, JOURNEYS, ENDED_AT_POST = 60, 60, 6
MINUTES_A_DAY = 1440

# Share of single journeys around their median, and of places around the road model. Form:
# Budge, Ingolfsson, Zerom, Management Science 2010;56:716. The two values are invented.
JOURNEY_SPREAD, PLACE_SPREAD = 0.18, 0.12
# Loss of temperature on the road, degrees C an hour: J Pediatr (Rio J) 2015;91:380 (36.46 to
# 36.08 in journeys of 58 minutes on average, in the babies who became worse; used here for all).
COOLING_C_AN_HOUR = 0.4
# Longer journeys do not cool much further, since people notice and act: an assumption.
LONGEST_COOLING_HOURS = 2.0

# Minutes against those of an ambulance on the same road; invented.
VEHICLE_FACTORS = {"AMB-1": 1.0, "AMB-2": 1.05, "PIC-1": 1.1, "MOT-1": 0.85, "BOT-1": 1.0}
# The boat from the islet goes along the north shore to the landing of Port Orlime.
SEA_ROUTE_KM = ((52.3, 21.1), (49.0, 24.0), (30.0, 30.5), (12.0, 32.5), (9.9, 28.2))
# Places that refer more often stand here twice.
ORIGINS = (
    *("ISV", "ISV", "SAL", "PEL", "PEL", "MRW", "NAV", "NAV"),
    *("QUI", "DUM", "COR", "SEF", "THO"),
)
# Minutes until another unit was asked too, by urgency; invented.
SECOND_UNIT_WAITS = {"ventilated": 3, "urgent": 8, "stable": 20}
DECLINES = ("no_cot",) * 8 + ("no_staff",) * 4 + ("no_equipment",) * 3 + ("no_oxygen",) * 2
REASONS = (*DECLINES, "no_power", "no_power", "beyond_our_level")
URGENCIES = ("ventilated",) * 4 + ("urgent",) * 3 + ("stable",) * 3
NEEDED = {"ventilated": "cpap", "urgent": "oxygen", "stable": "thermal_care"}
ENDINGS_AT_POST = (
    ("recovered", "urgent"),
    ("died_before_departure", "ventilated"),
    ("family_declined", "stable"),
)

Row = dict[str, Any]
Item = TypeVar("Item")


class Call(NamedTuple):
    """A referral as it is raised: the minute counts from the first day's midnight."""

    code: str
    minute: int
    origin: str
    urgency: str
    rainy: bool


def pick(items: Sequence[Item], random: Random) -> Item:
    """Return one of the items, each equally likely."""
    return items[int(random.random() * len(items))]


def around(median: float, spread: float, random: Random) -> float:
    """Draw from a log-normal distribution given by its median and log standard deviation."""
    return median * math.exp(spread * normal(random))


def normal(random: Random) -> float:
    """Draw from the standard normal distribution, held within three standard deviations."""
    return NormalDist().inv_cdf(min(max(random.random(), 0.00135), 0.99865))


def road_graph(roads: list[Row]) -> dict[str, list[tuple[str, str, float]]]:
    """Turn road features into site code -> [(neighbour, surface, road_km)]."""
    graph: dict[str, list[tuple[str, str, float]]] = {site.code: [] for site in SITES}
    for feature in roads:
        road = feature["properties"]
        graph[road["from"]].append((road["to"], road["surface"], road["road_km"]))
        graph[road["to"]].append((road["from"], road["surface"], road["road_km"]))
    sea_km = line_km([to_lon_lat(point) for point in SEA_ROUTE_KM])
    graph["LND"].append(("QAY", "sea", sea_km))
    return graph


class Roads:
    """The quickest ways between sites, dry or rainy, before anything is left to chance."""

    def __init__(self, roads: list[Row], *, seed: str) -> None:
        self._graph = road_graph(roads)
        random = Random(f"{seed}:places")
        # Some places are slower to reach than any map says; calibration should find them.
        self._place_factors = {site.code: around(1.05, PLACE_SPREAD, random) for site in SITES}

    def quickest(
        self, origin: str, destination: str, *, rainy: bool = False
    ) -> tuple[float, float]:
        """Return (minutes, km) of the quickest way (Dijkstra, Numerische Mathematik 1959;1:269)."""
        settings: Any = SETTINGS
        queue: list[tuple[float, float, str]] = [(0.0, 0.0, origin)]
        done: set[str] = set()
        while queue:
            minutes, km, here = heapq.heappop(queue)
            if here == destination:
                return minutes, km
            if here in done:
                continue
            done.add(here)
            for there, surface, step_km in self._graph[here]:
                step = 60 * step_km / settings["speeds_km_h"][surface]
                slower = settings["rain_factors"][surface] if rainy else 1
                heapq.heappush(queue, (minutes + step * slower, km + step_km, there))
        raise ValueError(f"no way from {origin} to {destination}")

    def driven_minutes(
        self, leg: tuple[str, str], *, leaves: int, vehicle: str, call: Call, random: Random
    ) -> int:
        """Draw the whole minutes that a leg took; it leaves so many minutes after the raise."""
        median = self.quickest(*leg, rainy=call.rainy)[0]
        hour = (call.minute + leaves) % MINUTES_A_DAY / 60
        night: Any = 1 if 6 <= hour < 18 else SETTINGS["night_factor"]
        factor = VEHICLE_FACTORS[vehicle] * night * self._place_factors[call.origin]
        return max(2, round(around(median * factor, JOURNEY_SPREAD, random)))


def raised(*, seed: str) -> list[Call]:
    """Draw when, where and how urgently babies were referred, the oldest first."""
    random = Random(f"{seed}:calls")
    total = JOURNEYS + ENDED_AT_POST
    minutes = sorted(int(random.random() * DAYS * MINUTES_A_DAY) for _ in range(total))
    calls = []
    for number, minute in enumerate(minutes, start=1):
        # The rain sets in about half-way through the two months.
        chance_of_rain = 0.6 if minute > DAYS * MINUTES_A_DAY / 2 else 0.15
        rainy = random.random() < chance_of_rain
        code = f"OLD-{number:03d}"
        calls.append(Call(code, minute, pick(ORIGINS, random), pick(URGENCIES, random), rainy))
    return calls


def able_units(call: Call, roads: Roads) -> list[Unit]:
    """Return the units that can do what the baby needs, the nearest by road first.

    From the islet the boat goes to Port Orlime only, where the landing is beside the hospital.
    """
    if call.origin == "SEF":
        return [unit for unit in UNITS if unit.site == "ORL"]
    able = [
        unit
        for unit in UNITS
        if NEEDED[call.urgency] in unit.capabilities.split(";") and unit.site != call.origin
    ]
    return sorted(
        able, key=lambda unit: roads.quickest(call.origin, unit.site, rainy=call.rainy)[0]
    )


def ask(call: Call, roads: Roads, random: Random) -> tuple[Unit, int, list[Row]]:
    """Ask units from the nearest on; return who accepted, after how many minutes, all offers.

    The last one in reach always accepts, as the standing default unit of a district would.
    """
    able = able_units(call, roads)
    offers: list[Row] = []
    asked = 0
    for unit in able:
        chance = random.random() if unit is not able[-1] else 1.0
        answer = "lapsed" if chance < 0.11 else "declined" if chance < 0.3 else "accepted"
        answered = asked + max(1, round(around(unit.median_answer_minutes, 0.6, random)))
        offers.append(
            {
                "journey": call.code,
                "unit": unit.code,
                "asked_after_minutes": asked,
                "answer": answer,
                "answered_after_minutes": "" if answer == "lapsed" else answered,
                "reason": pick(REASONS, random) if answer == "declined" else "",
            }
        )
        if answer == "accepted":
            break
        asked = answered if answer == "declined" else asked + SECOND_UNIT_WAITS[call.urgency]
    return unit, answered, offers


def choose_vehicle(
    call: Call, free_at: dict[str, int], roads: Roads, random: Random
) -> tuple[Vehicle, int]:
    """Return the free vehicle that is nearest by road, and the minutes until it was found."""
    if call.origin == "SEF":
        fit = [vehicle for vehicle in VEHICLES if vehicle.kind == "boat"]
    else:
        by_motorcycle = call.urgency == "stable" and not call.rainy and random.random() < 0.5
        fit = [vehicle for vehicle in VEHICLES if vehicle.kind in ("ambulance", "pickup")]
        fit += [vehicle for vehicle in VEHICLES if vehicle.kind == "motorcycle" and by_motorcycle]
    free = [vehicle for vehicle in fit if free_at[vehicle.code] <= call.minute]
    if not free:
        soonest = min(fit, key=lambda vehicle: free_at[vehicle.code])
        return soonest, free_at[soonest.code] - call.minute
    nearest = min(free, key=lambda vehicle: roads.quickest(vehicle.base, call.origin)[0])
    return nearest, max(1, round(around(6, 0.5, random)))


def draw_weeks(random: Random) -> int:
    """Draw the weeks of gestation; about three in ten come before 37 weeks.

    The mix is invented (for scale: 25 % preterm among 198 babies carried to hospital in Beira,
    Cavallin 2022).
    """
    early = random.random() < 0.3
    return 29 + int(8 * random.random() ** 0.7) if early else 37 + int(5 * random.random())


def draw_baby(*, weeks: int, hours_on_road: float, random: Random, lighter_g: int = 0) -> Row:
    """Draw weight, temperature on arrival and ending of a baby; the spreads are invented."""
    weight = 3250 - lighter_g - 185 * (40 - weeks) + 330 * normal(random)
    grams = 10 * round(min(max(weight, 850), 4400) / 10)
    warmest = 36.9 if grams >= 2500 else 36.6
    cooling = COOLING_C_AN_HOUR * min(hours_on_road, LONGEST_COOLING_HOURS)
    celsius = min(max(warmest - cooling + 0.45 * normal(random), 33.0), 38.2)
    died = random.random() < 0.015
    return {
        "endings": "died_on_the_way" if died else "handed_over",
        "temperatures_on_arrival_c": "" if died else f"{celsius:.1f}",
        "weights_g": str(grams),
        "gestation_weeks": str(weeks),
    }


def draw_babies(*, minutes: int, vehicle: Vehicle, random: Random) -> Row:
    """Draw one baby, or now and then twins, joined by ``;`` in the order of birth."""
    twins = random.random() < 0.04 and vehicle.kind != "motorcycle"
    go: Row = {"weeks": draw_weeks(random), "hours_on_road": minutes / 60, "random": random}
    if not twins:
        return draw_baby(**go)
    first, second = draw_baby(**go, lighter_g=500), draw_baby(**go, lighter_g=500)
    return {key: f"{first[key]};{second[key]}" for key in first}


def raised_on(call: Call) -> Row:
    """Return the relative day and the local time of day at which the referral was raised."""
    day, minute = divmod(call.minute, MINUTES_A_DAY)
    return {
        "code": call.code,
        "days_ago": DAYS - day,
        "raised_at": f"{minute // 60:02d}:{minute % 60:02d}",
        "urgency": call.urgency,
        "origin": call.origin,
    }


def place_columns(prefix: str, code: str) -> Row:
    """Return the latitude and longitude columns of a site."""
    site: Site = next(site for site in SITES if site.code == code)
    longitude, latitude = to_lon_lat((site.east_km, site.north_km))
    return {f"{prefix}_lat": f"{latitude:.5f}", f"{prefix}_lon": f"{longitude:.5f}"}


def play(
    call: Call, free_at: dict[str, int], roads: Roads, random: Random
) -> tuple[Row, list[Row]]:
    """Play one referral from the raise to the handover; return its row and its offers."""
    unit, accepted, offers = ask(call, roads, random)
    vehicle, assigned = choose_vehicle(call, free_at, roads, random)
    go: Row = {"vehicle": vehicle.code, "call": call, "random": random}
    leaves = assigned + round(around(8, 0.4, random))
    at_origin = leaves + roads.driven_minutes((vehicle.base, call.origin), leaves=leaves, **go)
    departed = max(at_origin + round(around(22, 0.4, random)), accepted)
    minutes = roads.driven_minutes((call.origin, unit.site), leaves=departed, **go)
    handed_over = departed + minutes + round(around(12, 0.4, random))
    free_at[vehicle.code] = call.minute + handed_over + round(around(60, 0.3, random))
    babies = draw_babies(minutes=minutes, vehicle=vehicle, random=random)
    row = raised_on(call) | {
        "destination": unit.site,
        "destination_unit": unit.code,
        **place_columns("origin", call.origin),
        **place_columns("dest", unit.site),
        "vehicle": vehicle.code,
        "rainy": "true" if call.rainy else "false",
        "road_km": f"{roads.quickest(call.origin, unit.site, rainy=call.rainy)[1]:.2f}",
        "minutes": minutes,
        "accepted_after_minutes": accepted,
        "vehicle_assigned_after_minutes": assigned,
        "at_origin_after_minutes": at_origin,
        "departed_after_minutes": departed,
        "arrived_after_minutes": departed + minutes,
        "handed_over_after_minutes": handed_over if "handed_over" in babies["endings"] else "",
    }
    return row | babies, offers


def ended_at_post(call: Call, ending: str, random: Random) -> Row:
    """Return the row of a referral that ended before any vehicle left with the baby."""
    baby = draw_baby(weeks=draw_weeks(random), hours_on_road=0, random=random)
    return raised_on(call) | {
        "ending": ending,
        "ended_after_minutes": round(around(45, 0.4, random)),
        "weight_g": baby["weights_g"],
        "gestation_weeks": baby["gestation_weeks"],
    }


def history(road_features: list[Row], *, seed: str) -> tuple[list[Row], list[Row], list[Row]]:
    """Return (journeys, offers, referrals that ended at the post), the oldest first."""
    roads, random = Roads(road_features, seed=seed), Random(f"{seed}:history")
    free_at = {vehicle.code: 0 for vehicle in VEHICLES}
    journeys: list[Row] = []
    offers: list[Row] = []
    ended: list[Row] = []
    for number, call in enumerate(raised(seed=seed)):
        if number % 11 == 5 and len(ended) < ENDED_AT_POST:
            ending, urgency = ENDINGS_AT_POST[len(ended) % len(ENDINGS_AT_POST)]
            ended.append(ended_at_post(call._replace(urgency=urgency), ending, random))
            continue
        journey, asked = play(call, free_at, roads, random)
        journeys.append(journey)
        offers += asked
    return journeys, offers, ended
