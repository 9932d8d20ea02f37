"""Learning travel times: the equations against the textbook's, and what they learn."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from referrals.calc.terms import VehicleKind
from transport.calc.journeys import (
    UNKNOWN_VEHICLE,
    VEHICLES,
    Journeys,
    chords_km,
    no_roads,
    on_the_sphere,
    place_keys,
)
from transport.calc.learned import (
    USUAL_KM,
    LearnedTravel,
    Spreads,
    learned_estimator,
    off_by,
    try_out,
)
from transport.calc.learning import (
    HALF_LIFE_DAYS,
    NETWORK_SPREADS,
    _Equations,
    _Places,
    learn,
)
from transport.calc.places import Place
from transport.calc.travel import TravelSettings, fixed_estimator, geodesic_km, unreachable

SPREADS = Spreads(noise=0.3, corridor=0.2, origin=0.15, destination=0.1, area=0.25, reach_km=20.0)
POSTS = [(-22.1 - 0.13 * i, 85.4 + 0.07 * i) for i in range(12)]
UNITS = [(-22.3, 86.1), (-22.9, 85.6), (-22.5, 85.9)]


def journeys(
    count: int,
    *,
    seed: int,
    slow: float = 1.0,
    slow_corridor: float = 1.0,
    noise: float = 0.25,
    by_road: bool = False,
) -> Journeys:
    """An invented network in which one post is ``slow`` and one corridor more so."""
    random = np.random.default_rng(seed)
    starts, stops = random.integers(len(POSTS), size=count), random.integers(3, size=count)
    rainy = (random.random(count) < 0.3).astype(float)
    origins, destinations = np.array(POSTS)[starts], np.array(UNITS)[stops]
    km = np.array(
        [geodesic_km(Place(*a), Place(*b)) for a, b in zip(origins, destinations, strict=True)]
    )
    prior = 0.65 + km * 1.4 * 60 / 37.5 * np.where(rainy > 0, 1.2, 1.0)
    factor = np.where(starts == 0, slow, 1.0) * np.where(
        (starts == 1) & (stops == 1), slow_corridor, 1.0
    )
    shares = np.stack([(starts * 3 + stops + at) % 5 / 10.0 for at in range(4)], axis=1)
    return Journeys(
        origins=origins,
        destinations=destinations,
        geodesic_km=km,
        prior_minutes=prior,
        roads=np.column_stack([np.ones(count), shares]) if by_road else no_roads(count),
        minutes=prior * factor * np.exp(noise * random.standard_normal(count)),
        rainy=rainy,
        dark=np.full(count, 0.5),
        vehicles=np.where(random.random(count) < 0.5, 0, UNKNOWN_VEHICLE),
        age_days=np.arange(count, dtype=float),
    )


def covariance(first: Journeys, second: Journeys, spreads: Spreads) -> np.ndarray:
    """Between the log ratios of two sets of journeys, noise left out, written out in full."""

    def network(rows: Journeys) -> np.ndarray:
        kinds = np.array([[float(v == at) for at in range(len(VEHICLES))] for v in rows.vehicles])
        slope = np.log(rows.geodesic_km / USUAL_KM)
        return np.column_stack(
            [np.ones(len(rows)), slope, rows.rainy, rows.dark, rows.roads, kinds]
        )

    def alike(some: np.ndarray, others: np.ndarray) -> np.ndarray:
        return np.exp(-chords_km(on_the_sphere(some), on_the_sphere(others)) / spreads.reach_km)

    def same(some: np.ndarray, others: np.ndarray) -> np.ndarray:
        return (place_keys(some)[:, None] == place_keys(others)[None, :]).astype(float)

    ends = [first.origins, first.destinations], [second.origins, second.destinations]
    area = sum(alike(a, b) for a in ends[0] for b in ends[1])
    left, reached = same(ends[0][0], ends[1][0]), same(ends[0][1], ends[1][1])
    return (
        (network(first) * NETWORK_SPREADS**2) @ network(second).T
        + spreads.area**2 * area
        + spreads.origin**2 * left
        + spreads.destination**2 * reached
        + spreads.corridor**2 * left * reached
    )


def noise_of(rows: Journeys, spreads: Spreads) -> np.ndarray:
    since_newest = rows.age_days - rows.age_days.min()
    return np.diag(spreads.noise**2 / np.exp2(-since_newest / HALF_LIFE_DAYS))


@pytest.mark.parametrize("by_road", [False, True])
def test_the_equations_give_the_conditional_normal_of_the_textbook(by_road):
    """Rasmussen & Williams 2006, eq. 2.23 and 2.24, with the whole covariance written out."""
    # So little noise that no journey is an outlier, whose weight would be changed.
    seen = journeys(80, seed=1, noise=0.1, by_road=by_road)
    new = journeys(30, seed=2, by_road=by_road)
    learned = _Equations(seen, _Places.of(seen)).solved(SPREADS)
    expected = seen.log_ratios
    gain = covariance(new, seen, SPREADS) @ np.linalg.inv(
        covariance(seen, seen, SPREADS) + noise_of(seen, SPREADS)
    )
    means = gain @ expected
    variances = (
        np.diag(covariance(new, new, SPREADS) - gain @ covariance(new, seen, SPREADS).T)
        + SPREADS.noise**2
    )
    for row in range(len(new)):
        said = about(learned, new, row)
        assert said.log_factor == pytest.approx(means[row], abs=1e-4)
        assert said.sigma == pytest.approx(math.sqrt(variances[row]), abs=1e-4)


def test_places_never_seen_get_the_textbooks_answer_too():
    seen = journeys(60, seed=3, noise=0.1)
    new = Journeys(
        origins=np.array([[-22.41, 85.61], [-25.0, 80.0], POSTS[3]]),
        destinations=np.array([UNITS[0], [-25.4, 80.2], [-22.6, 85.7]]),
        geodesic_km=np.array([52.0, 48.0, 30.0]),
        prior_minutes=np.array([100.0, 90.0, 60.0]),
        minutes=np.array([100.0, 90.0, 60.0]),
        rainy=np.array([0.0, 1.0, 0.0]),
        dark=np.array([0.5, 1.0, 0.0]),
        vehicles=np.array([0, 1, UNKNOWN_VEHICLE]),
        age_days=np.zeros(3),
        roads=no_roads(3),
    )
    learned = _Equations(seen, _Places.of(seen)).solved(SPREADS)
    whole = covariance(seen, seen, SPREADS) + noise_of(seen, SPREADS)
    gain = covariance(new, seen, SPREADS) @ np.linalg.inv(whole)
    means = gain @ seen.log_ratios
    variances = (
        np.diag(covariance(new, new, SPREADS) - gain @ covariance(new, seen, SPREADS).T)
        + SPREADS.noise**2
    )
    # Two ends of one journey also have each other's neighbourhood in common.
    for row in range(len(new)):
        said = about(learned, new, row)
        assert said.log_factor == pytest.approx(means[row], abs=1e-3)
        assert said.sigma == pytest.approx(math.sqrt(variances[row]), rel=0.02)


def test_the_likelihood_is_scipys():
    rows = journeys(50, seed=4)
    equations = _Equations(rows, _Places.of(rows))

    def scipys(spreads: Spreads) -> float:
        whole = covariance(rows, rows, spreads) + noise_of(rows, spreads)
        return stats.multivariate_normal(cov=whole).logpdf(rows.log_ratios)

    other = Spreads(noise=0.3, corridor=0.1, origin=0.3, destination=0.2, area=0.1, reach_km=40.0)
    ours = equations.log_likelihood(SPREADS) - equations.log_likelihood(other)
    assert ours == pytest.approx(scipys(SPREADS) - scipys(other), abs=1e-3)


def about(learned: LearnedTravel, rows: Journeys, row: int):
    kind = int(rows.vehicles[row])
    return learned.about(
        Place(*rows.origins[row]),
        Place(*rows.destinations[row]),
        km=float(rows.geodesic_km[row]),
        rainy=float(rows.rainy[row]),
        dark=float(rows.dark[row]),
        vehicle=None if kind == UNKNOWN_VEHICLE else VEHICLES[kind],
        roads=rows.roads[row],
    )


def ask(learned: LearnedTravel, post: int, unit: int, **changes: object):
    origin, destination = Place(*POSTS[post]), Place(*UNITS[unit])
    asked = {"km": geodesic_km(origin, destination), "rainy": 0.0, "dark": 0.5, "vehicle": None}
    asked["roads"] = no_roads(1)[0]
    return learned.about(origin, destination, **(asked | changes))


def test_a_slow_post_is_learned_and_its_neighbours_are_suspected():
    learned = learn(journeys(300, seed=5, slow=2.0))
    slow, near, far = (ask(learned, post, 0).log_factor for post in (0, 1, 11))
    assert math.exp(slow) == pytest.approx(2.0, rel=0.2)
    assert slow > near > far - 0.15
    assert math.exp(far) == pytest.approx(1.0, rel=0.2)


def with_roads(rows: Journeys, known: np.ndarray, unpaved: np.ndarray) -> Journeys:
    """The same journeys; those with a ``known`` way by road take longer where it is unpaved."""
    roads = np.column_stack([known, *[np.zeros(len(rows))] * 3, known * unpaved])
    minutes = rows.minutes * np.exp(known * (0.4 + 0.5 * unpaved))
    return Journeys(**{**rows.__dict__, "roads": roads, "minutes": minutes})


def test_what_unpaved_road_costs_is_learned_by_its_share():
    rows = journeys(400, seed=21, noise=0.1)
    posts = np.unique(place_keys(rows.origins), return_inverse=True)[1] % 2
    learned = learn(with_roads(rows, np.ones(400), posts.astype(float)))
    rough, even = (
        ask(learned, 0, 0, roads=[1.0, 0, 0, 0, share]).log_factor for share in (1.0, 0.0)
    )
    assert rough - even == pytest.approx(0.5, abs=0.15)


def test_journeys_with_and_without_a_known_road_are_learned_from_together():
    rows = journeys(400, seed=22, noise=0.1)
    known = (np.unique(place_keys(rows.origins), return_inverse=True)[1] % 2).astype(float)
    learned = learn(with_roads(rows, known, np.zeros(400)))
    by_road, straight = (
        [ask(learned, post, 0, roads=[told, 0, 0, 0, 0]) for post in range(12)]
        for told in (1.0, 0.0)
    )
    level = [
        one.log_factor - other.log_factor for one, other in zip(by_road, straight, strict=True)
    ]
    assert np.mean(level) > 0.2
    for row in range(30):
        said = about(learned, rows, row)
        expected = 0.4 * known[row]
        assert about(
            learned, with_roads(rows, known, np.zeros(400)), row
        ).log_factor == pytest.approx(expected, abs=0.2)
        assert said.sigma > 0


def test_where_no_road_is_known_a_new_journey_is_less_sure_than_by_road():
    learned = learn(with_roads(journeys(200, seed=23), np.ones(200), np.zeros(200)))
    by_road, straight = (
        learned.about(
            Place(-24.5, 84.0),
            Place(-24.9, 84.4),
            km=60.0,
            rainy=0.0,
            dark=0.5,
            vehicle=None,
            roads=[told, 0, 0, 0, 0],
        ).sigma
        for told in (1.0, 0.0)
    )
    assert straight > 1.05 * by_road


def test_a_slow_corridor_does_not_slow_the_post():
    learned = learn(journeys(400, seed=6, slow_corridor=2.5))
    assert math.exp(ask(learned, 1, 1).log_factor) > 1.7
    assert math.exp(ask(learned, 1, 0).log_factor) < 1.4


def test_a_journey_seen_often_is_surer_than_one_never_seen():
    learned = learn(journeys(300, seed=7))
    seen = ask(learned, 3, 1)
    never = learned.about(
        Place(-24.5, 84.0),
        Place(-24.9, 84.4),
        km=60.0,
        rainy=0.0,
        dark=0.5,
        vehicle=None,
        roads=no_roads(1)[0],
    )
    assert seen.on_this_corridor > 3
    assert never.on_this_corridor == 0
    assert seen.sigma < never.sigma
    assert learned.spreads.noise < seen.sigma < 1.15 * learned.spreads.noise + 0.05


def test_one_journey_is_enough_to_begin_and_changes_little():
    one = journeys(1, seed=8, noise=0.0)
    learned = learn(one)
    assert learned.journeys == 1
    assert math.exp(ask(learned, 5, 2).log_factor) == pytest.approx(1.0, abs=0.05)
    assert ask(learned, 5, 2).sigma > 0.4


def test_nothing_to_learn_from_is_refused():
    with pytest.raises(ValueError, match="no journey"):
        learn(journeys(1, seed=1).take(np.array([], dtype=np.int64)))


def test_a_stop_for_fuel_is_not_a_slow_road():
    rows = journeys(200, seed=9)
    minutes = rows.minutes.copy()
    corridor = (place_keys(rows.origins) == place_keys(np.array([POSTS[4]]))[0]).nonzero()[0]
    minutes[corridor[0]] *= 12
    spoilt = Journeys(**{**rows.__dict__, "minutes": minutes})
    clean, stopped = learn(rows, spreads=SPREADS), learn(spoilt, spreads=SPREADS)
    moved = [
        abs(ask(stopped, 4, unit).log_factor - ask(clean, 4, unit).log_factor) for unit in range(3)
    ]
    # Taken at its word it would move its corridor by about c^2 / (c^2 + n^2) x log 12 = 0.76.
    assert max(moved) < 0.3


def test_a_road_that_is_always_slow_is_no_outlier():
    rows = journeys(400, seed=6, slow_corridor=5.0)
    assert math.exp(ask(learn(rows), 1, 1).log_factor) > 3.0


def test_newer_journeys_count_more():
    old, new = journeys(150, seed=10), journeys(150, seed=11)
    slower = Journeys(
        **{
            **new.__dict__,
            "origins": np.concatenate([old.origins, new.origins]),
            "destinations": np.concatenate([old.destinations, new.destinations]),
            "geodesic_km": np.concatenate([old.geodesic_km, new.geodesic_km]),
            "prior_minutes": np.concatenate([old.prior_minutes, new.prior_minutes]),
            "minutes": np.concatenate([old.minutes, 1.5 * new.minutes]),
            "rainy": np.concatenate([old.rainy, new.rainy]),
            "dark": np.concatenate([old.dark, new.dark]),
            "vehicles": np.concatenate([old.vehicles, new.vehicles]),
            "roads": no_roads(300),
            "age_days": np.concatenate([np.full(150, 4 * HALF_LIFE_DAYS), np.zeros(150)]),
        }
    )
    learned = learn(slower, spreads=SPREADS)
    factors = [ask(learned, post, unit).log_factor for post in range(12) for unit in range(3)]
    assert np.mean(factors) > math.log(1.5) * 0.75


def test_it_is_better_and_as_sure_as_it_says_on_journeys_it_has_not_seen():
    rows = journeys(900, seed=12, slow=1.8)
    first, rest = np.arange(300), np.arange(300, 900)
    learned = learn(rows.take(first))
    trial, without = (try_out(each, rows.take(rest), prior_sigma=0.5) for each in (learned, None))
    assert trial.log_error < without.log_error
    assert 0.86 < trial.within_p90 < 0.94
    assert 0.44 < trial.within_p50 < 0.56
    assert trial.journeys == 600
    assert np.mean(np.abs(off_by(learned, rows.take(rest)))) == pytest.approx(trial.log_error)


def test_a_model_reads_back_as_it_was_stored():
    learned = learn(journeys(60, seed=13))
    again = LearnedTravel.from_bytes(learned.as_bytes())
    for post, unit in ((0, 0), (7, 2)):
        assert ask(again, post, unit).log_factor == ask(learned, post, unit).log_factor
        assert ask(again, post, unit).sigma == pytest.approx(ask(learned, post, unit).sigma, 1e-5)
    with pytest.raises(ValueError, match="no stored travel model"):
        LearnedTravel.from_bytes(b"something else")


def test_more_places_than_terms_learn_from_their_neighbours(monkeypatch):
    monkeypatch.setattr("transport.calc.learning.MOST_PLACES", 8)
    rows = journeys(200, seed=14, slow=1.6)
    learned = learn(rows)
    assert len(learned.places) == 8
    trial = try_out(learned, rows, prior_sigma=0.5)
    assert trial.log_error <= try_out(None, rows, prior_sigma=0.5).log_error


LEARNED = learn(journeys(120, seed=15, slow=1.7))
coordinates = st.tuples(st.floats(-24, -21), st.floats(84, 88))


@settings(max_examples=60, deadline=None)
@given(
    start=coordinates,
    stop=coordinates,
    rainy=st.booleans(),
    dark=st.sampled_from([None, True, False]),
    vehicle=st.sampled_from(list(VehicleKind)),
    wait=st.floats(0, 120),
)
def test_an_estimate_keeps_its_order_and_says_how_it_came_about(
    start, stop, rainy, dark, vehicle, wait
):
    base = fixed_estimator(TravelSettings())
    estimate = learned_estimator(LEARNED, base, model_version="learned-1")
    asked = {"vehicle": vehicle, "rainy": rainy, "dark": dark}
    made = estimate(Place(*start), Place(*stop), **asked)
    later = estimate(Place(*start), Place(*stop), **asked, extra_minutes=wait)
    assert 0 <= made.p10_minutes <= made.p50_minutes <= made.p90_minutes
    assert later.p90_minutes == pytest.approx(made.p90_minutes + wait)
    assert made.method == "learned_geodesic_detour"
    assert made.model_version == "learned-1"
    assert made.inputs["journeys_learned_from"] == 120
    first = base(Place(*start), Place(*stop), **asked)
    assert made.inputs["prior_p50_minutes"] == first.p50_minutes
    assert made.p50_minutes == pytest.approx(first.p50_minutes * made.inputs["learned_factor"])


def test_a_place_that_nothing_reaches_stays_out_of_reach():
    def no_way(*_places: Place, **_how: object):
        return unreachable(geodesic_km=10.0, method="none", inputs={}, model_version="1")

    estimate = learned_estimator(LEARNED, no_way, model_version="learned-1")
    made = estimate(Place(0, 0), Place(0, 1), vehicle=VehicleKind.AMBULANCE, rainy=False, dark=None)
    assert not made.reachable


def test_columns_must_fit_together():
    rows = journeys(3, seed=1)
    with pytest.raises(ValueError, match="unequal"):
        Journeys(**{**rows.__dict__, "rainy": np.zeros(2)})
    with pytest.raises(ValueError, match="more than 0"):
        Journeys(**{**rows.__dict__, "minutes": np.array([1.0, 0.0, 2.0])})
