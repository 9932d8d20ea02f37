"""The arrival window on simulated drives along invented roads, with all that phones do wrong.

``tests/tracks.py`` makes the drives; ``tests/benchmarks/arrival.py`` prints the same figures for
real roads.
"""

import math
import random
import statistics
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache

import pytest

from tests.tracks import (
    LEFT_AT,
    Drive,
    Road,
    Told,
    after,
    drive,
    known_at,
    told_by_phone,
    winding_road,
)
from transport.calc.arrival import ArrivalWindow, arrival_window
from transport.calc.pace import Pace
from transport.calc.places import Place
from transport.calc.track import ArrivalSettings, Fix, believable, standstill, way_off
from transport.calc.travel_time import TravelTime

SETTINGS = ArrivalSettings()
DRIVES = 240


@dataclass(frozen=True)
class Journey:
    """A drive, what its phone told, and the estimate that was made before."""

    made: Drive
    came: list[Told]
    prior: TravelTime

    def window(self, minutes: float, *, road_known: bool, more: tuple[Fix, ...] = ()):
        """The window after so many minutes."""
        road = self.made.road
        return arrival_window(
            departed_at=LEFT_AT,
            prior=self.prior,
            origin=road.points[0],
            destination=road.points[-1],
            fixes=[*known_at(self.came, minutes), *more],
            now=after(minutes),
            settings=SETTINGS,
            way_left=road.km_left if road_known else None,
        )


@cache
def learned(road_known: bool) -> tuple[float, float]:
    """Minutes a km and their spread, as an estimator learns them from earlier drives."""
    logs = []
    for seed in range(200):
        rng = random.Random(f"earlier {seed}")
        road = winding_road(rng, rng.uniform(20, 160))
        logs.append(math.log(drive(road, rng).whole_minutes / known_km(road, road_known)))
    return math.exp(statistics.mean(logs)), statistics.stdev(logs)


def known_km(road: Road, road_known: bool) -> float:
    return road.km if road_known else road.line_km


@cache
def journey(seed: int, road_known: bool) -> Journey:
    rng = random.Random(seed)
    road = winding_road(rng, rng.uniform(20, 160))
    made = drive(road, rng)
    minutes_a_km, sigma = learned(road_known)
    prior = TravelTime(minutes_a_km * known_km(road, road_known), sigma)
    return Journey(made, told_by_phone(made, rng), prior)


@cache
def looks(road_known: bool) -> list[list[tuple[ArrivalWindow, float]]]:
    """One look at every drive in each quarter of its way: the window, and the true minutes."""
    quarters = [[], [], [], []]
    for seed in range(DRIVES):
        one, rng = journey(seed, road_known), random.Random(f"look {seed}")
        for number, quarter in enumerate(quarters):
            at = one.made.minutes_at(one.made.road.km * (number + rng.random()) / 4)
            quarter.append((one.window(at, road_known=road_known), one.made.whole_minutes))
    return quarters


@pytest.mark.parametrize("road_known", [True, False])
@pytest.mark.parametrize("quarter", range(4))
def test_each_quarter_of_the_way_holds_as_many_arrivals_as_it_says(quarter, road_known):
    """One standard error over 240 drives is 2 % for the P90 and 3 % for the P50."""
    seen = looks(road_known)[quarter]
    by_late = statistics.mean(after(truth) <= window.p90 for window, truth in seen)
    by_likely = statistics.mean(after(truth) <= window.p50 for window, truth in seen)
    assert 0.84 <= by_late <= 0.98
    assert 0.40 <= by_likely <= 0.62


@pytest.mark.parametrize("road_known", [True, False])
def test_the_window_narrows_from_quarter_to_quarter(road_known):
    widths = [
        statistics.median(window.p90 - window.p50 for window, _truth in quarter)
        for quarter in looks(road_known)
    ]
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < widths[0] / 3


def test_positions_make_it_surer_than_the_estimate_alone():
    errors = {True: [], False: []}
    for seed in range(60):
        one = journey(seed, True)
        half = one.made.minutes_at(one.made.road.km / 2)
        blind = Journey(one.made, [], one.prior)
        for positions, of in ((True, one), (False, blind)):
            likely = of.window(half, road_known=True).p50
            errors[positions].append(abs(likely - after(one.made.whole_minutes)))
    assert statistics.median(errors[True]) < 0.7 * statistics.median(errors[False])


@pytest.mark.parametrize("road_known", [True, False])
@pytest.mark.parametrize("aside_km", [2, 8, 25])
def test_one_wrong_position_moves_the_likely_arrival_hardly_at_all(aside_km, road_known):
    """As the newest, a minute after the last and sure of itself.

    What standing still for that minute would do, and three minutes, is all it may.
    """
    for seed in range(60):
        one, rng = journey(seed, road_known), random.Random(f"wrong {seed}")
        last = rng.choice([told for told in one.came if told.fix.at > after(20)]).fix
        minutes = (last.at - LEFT_AT) / timedelta(minutes=1)
        known = [told for told in one.came if told.fix.at <= last.at]
        right = replace(one, came=[replace(told, received_at=told.fix.at) for told in known])
        before = right.window(minutes, road_known=road_known).p50
        stood = Fix(after(minutes + 1), last.place, last.accuracy_m)
        wrong = Fix(stood.at, shifted(last.place, aside_km, rng), 15.0)
        by_standing = right.window(minutes + 1, road_known=road_known, more=(stood,)).p50 - before
        moved = right.window(minutes + 1, road_known=road_known, more=(wrong,)).p50 - before
        assert abs(moved) <= abs(by_standing) + timedelta(minutes=5), f"drive {seed}"


def shifted(place: Place, km: float, rng: random.Random) -> Place:
    angle = rng.uniform(0, 2 * math.pi)
    north, east = km * math.cos(angle) / 111.2, km * math.sin(angle) / 111.2
    return Place(place.latitude + north, place.longitude + east)


def test_a_journey_that_goes_on_as_before_is_believed_from_its_first_position_after_silence():
    one = journey(3, True)
    whole = one.made.whole_minutes
    silent = [told for told in one.came if told.fix.at < after(0.3 * whole)]
    there = one.made.road.at(one.made.km_at(0.6 * whole))
    found = Journey(one.made, silent, one.prior).window(
        0.6 * whole, road_known=True, more=(Fix(after(0.6 * whole), there, 15.0),)
    )
    assert found.last_fix_at == after(0.6 * whole)
    assert abs(found.p50 - after(whole)) < timedelta(minutes=0.2 * whole)


# The pace


def test_with_nothing_driven_the_rest_is_the_estimate():
    prior = TravelTime(120, 0.4)
    rest = Pace.of(prior, local_sigma=0.5, local_minutes=10).rest(1.0, 0.0)
    assert rest.p50 == pytest.approx(120)
    assert rest.p90 == pytest.approx(prior.p90)


def test_the_update_is_the_conjugate_normal_one():
    # Precisions add and the posterior mean is weighted by them: Gelman A et al., Bayesian Data
    # Analysis, 3rd ed., equation 2.10. Half of 100 minutes driven in 80 instead of 50.
    pace = Pace(100.0, journey_sigma=0.3, local_sigma=0.5, local_minutes=10.0)
    noise = 0.5**2 * 10 / 50
    mean = (math.log(80 / 50) / noise) / (1 / 0.3**2 + 1 / noise)
    variance = 1 / (1 / 0.3**2 + 1 / noise)
    local, local_of_whole = 0.5**2 * 10 / (50 + 10), 0.5**2 * 10 / (100 + 10)
    rest = pace.rest(0.5, 80.0)
    assert rest.p50 == pytest.approx(50 * math.exp(mean - (local - local_of_whole) / 2))
    assert rest.sigma == pytest.approx(math.sqrt(variance + local))


def test_a_slower_start_never_makes_it_earlier():
    pace = Pace.of(TravelTime(100, 0.4), local_sigma=0.5, local_minutes=10)
    rests = [pace.rest(0.6, minutes).p90 for minutes in (10, 20, 40, 80, 160)]
    assert rests == sorted(rests)


# What the watch notices


def signs(one: Drive, came: list[Told], minutes: float):
    ends = {"origin": one.road.points[0], "destination": one.road.points[-1]}
    track = believable(
        known_at(came, minutes),
        origin=ends["origin"],
        departed_at=LEFT_AT,
        now=after(minutes),
        settings=SETTINGS,
    )
    return standstill(track, SETTINGS), way_off(track, **ends, settings=SETTINGS)


LIMIT_MINUTES = 15
"""The default of ``District.standing_still_minutes``."""


def test_good_drives_raise_hardly_any_alarm():
    """Of 60 drives looked at every four minutes; a stop as long as the limit is no false alarm."""
    standing = off = 0
    for seed in range(60):
        one = journey(seed, True)
        spots, astray = set(), False
        for minutes in range(4, int(one.made.whole_minutes), 4):
            stands, away = signs(one.made, one.came, minutes)
            if stands and stands.minutes >= LIMIT_MINUTES:
                begun = (stands.since - LEFT_AT) / timedelta(minutes=1)
                driven = one.made.km_at(begun + stands.minutes) - one.made.km_at(begun)
                if driven > 1.0:
                    spots.add(begun)
            astray |= away is not None
        standing, off = standing + len(spots), off + astray
    assert standing == 0
    assert off <= 2


def broken_down(seed: int) -> float:
    """Minutes from a breakdown until it is noticed, looked at every minute."""
    rng = random.Random(f"broken {seed}")
    road = winding_road(rng, rng.uniform(40, 120))
    at_km = rng.uniform(0.2, 0.8) * road.km
    made = drive(road, rng, stops_an_hour=0, standstill=(at_km, 60))
    came = told_by_phone(made, rng, gaps=0)
    begun = made.minutes_at(at_km)
    return next(
        minutes - begun
        for minutes in range(int(begun), int(begun) + 60)
        if (found := signs(made, came, minutes)[0]) and found.minutes >= LIMIT_MINUTES
    )


def test_a_vehicle_that_breaks_down_is_noticed_soon_after_the_limit():
    delays = sorted(broken_down(seed) for seed in range(30))
    assert delays[0] >= LIMIT_MINUTES - 3
    assert statistics.median(delays) <= LIMIT_MINUTES + 4
    assert delays[-1] <= 2 * LIMIT_MINUTES


def turned_round(seed: int) -> float:
    """Kilometres driven back along the road until it is noticed, looked at every minute."""
    rng = random.Random(f"turned {seed}")
    road = winding_road(rng, rng.uniform(60, 120))
    out = next(i for i, km in enumerate(road.km_at) if km > 0.6 * road.km)
    there_and_back = [*road.points[: out + 1], *reversed(road.points[:out])]
    made = drive(Road.through(there_and_back), rng, stops_an_hour=0)
    turned, home = made.minutes_at(made.road.km / 2), made.whole_minutes
    came = told_by_phone(made, rng, gaps=0)
    meant = replace(made, road=Road.through([*there_and_back, road.points[-1]]))
    seen = next(
        minutes
        for minutes in range(int(turned), int(home) + 1)
        if signs(meant, came, minutes)[1] is not None
    )
    return made.km_at(seen) - made.km_at(turned)


def test_a_vehicle_that_turns_round_is_noticed_within_some_kilometres():
    driven = sorted(turned_round(seed) for seed in range(30))
    assert statistics.median(driven) <= 16
    assert driven[-1] <= 30
