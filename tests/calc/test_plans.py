"""Plans beside the candidates: shown only when sooner by the margin, and never in their place."""

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import Capability, Urgency, VehicleKind
from tests.calc.test_ranking import AMBULANCE, Needed, asking, east, ranked
from transport.calc.meeting import meet
from transport.calc.plans import MeetingPlace, PlanSettings, plans_for
from transport.calc.ranking import UnitFacts, VehicleFacts
from transport.calc.travel import TravelSettings, TravelTime, fixed_estimator

BAG, WARM, OXYGEN = Capability.BAG_AND_MASK, Capability.THERMAL_CARE, Capability.OXYGEN
CPAP, SURGERY = Capability.CPAP, Capability.SURGERY
FULL = frozenset({BAG, WARM, OXYGEN, CPAP, SURGERY})
NEEDS = Needed(capabilities=frozenset({OXYGEN, CPAP, SURGERY}))
CITY = UnitFacts("city", "City unit", east(120), FULL, 2, True)
HARBOUR = UnitFacts("harbour", "Harbour unit", east(30), FULL - {SURGERY}, 2, True)
SMALL = replace(AMBULANCE, key="small", name="Small ambulance", capabilities=frozenset({OXYGEN}))
EQUIPPED = VehicleFacts(
    "big", "City ambulance", VehicleKind.AMBULANCE, east(115), 0, capabilities=frozenset({CPAP})
)
BRIDGE = MeetingPlace("bridge", "Bridge hospital", east(55))
DETOUR = MeetingPlace("north", "Far north", replace(east(55), latitude=1.0))


def planned(units, vehicles=(SMALL,), places=(), question=None, **settings):
    question = question or asking(needs=NEEDS)
    return plans_for(
        question,
        ranked(units, vehicles, question),
        units,
        vehicles,
        lambda around, radius_km: places,
        PlanSettings(**settings),
        estimate=fixed_estimator(TravelSettings()),
    )


class TestStop:
    def test_first_to_the_nearer_unit_then_onward(self):
        (plan,) = planned([CITY, HARBOUR])
        assert (plan.kind, plan.key, plan.onward_key) == ("stop", "harbour", "city")
        assert plan.gives == ("cpap",)
        assert plan.care.p50 < plan.direct.p50 < plan.onward.p50
        said = " ".join(plan.words)
        assert "first to Harbour unit: there in about" in said
        assert f"({plan.care.p10:.0f} to {plan.care.p90:.0f})" in said
        assert "onward to City unit" in said
        assert "cannot give: surgery" in said

    @pytest.mark.parametrize(
        "nearer",
        [
            replace(HARBOUR, capabilities=frozenset({OXYGEN})),  # the vehicle has that already
            replace(HARBOUR, capabilities=frozenset({SURGERY})),  # nothing for the next minutes
            replace(HARBOUR, open=False),
            replace(HARBOUR, already="declined: no staff"),
            replace(HARBOUR, place=east(118)),  # hardly sooner
        ],
        ids=["no more than the vehicle", "not useful now", "closed", "declined", "as far"],
    )
    def test_no_stop_that_does_not_help(self, nearer):
        assert planned([CITY, nearer]) == ()

    def test_a_full_unit_cannot_be_asked_for_a_stop_and_one_that_is_not_counted_can(self):
        assert planned([CITY, replace(HARBOUR, cots_free=0)]) == ()
        assert planned([CITY, replace(HARBOUR, cots_free=None)])

    def test_a_unit_with_the_full_care_is_a_candidate_and_no_stop(self):
        assert planned([CITY, replace(HARBOUR, capabilities=FULL)]) == ()

    def test_without_a_unit_for_the_whole_care_there_is_no_onward(self):
        assert planned([HARBOUR]) == ()

    def test_the_candidates_stay_as_they_were(self):
        ranking = ranked([CITY, HARBOUR], (SMALL,), asking(needs=NEEDS))
        assert [each.key for each in ranking.candidates] == ["city", "harbour"]


class TestMeeting:
    def test_a_better_vehicle_meets_half_way(self):
        (plan,) = planned([CITY], (SMALL, EQUIPPED), [BRIDGE, DETOUR])
        assert (plan.kind, plan.key) == ("meeting", "bridge")
        assert (plan.vehicle_key, plan.helper_key) == ("small", "big")
        assert plan.care.mean < plan.direct.mean
        assert 0 < plan.first_waits < 1
        assert 0 < plan.second_waits < 1
        said = " ".join(plan.words)
        assert "City ambulance meets Small ambulance at Bridge hospital" in said
        assert "chance that the baby waits there more than 10 min" in said
        assert "bad for the others" in said or "bad for one way" in said

    def test_of_two_places_the_soonest_for_both(self):
        late = MeetingPlace("late", "Late", east(100))
        (plan,) = planned([CITY], (SMALL, EQUIPPED), [late, BRIDGE])
        assert plan.key == "bridge"

    @pytest.mark.parametrize(
        "helper",
        [
            replace(EQUIPPED, capabilities=frozenset({OXYGEN})),
            replace(EQUIPPED, place=None),
            replace(EQUIPPED, kind=VehicleKind.BOAT),
            replace(EQUIPPED, minutes_until_free=600),
        ],
        ids=["no better", "nobody knows where", "a boat", "busy too long"],
    )
    def test_no_meeting_that_does_not_help(self, helper):
        assert planned([CITY], (SMALL, helper), [BRIDGE]) == ()

    def test_where_the_better_vehicle_may_as_well_come_itself(self):
        beside = replace(EQUIPPED, place=east(-12))
        assert planned([CITY], (SMALL, beside), [BRIDGE]) == ()

    def test_places_are_asked_for_only_when_a_vehicle_is_better_equipped(self):
        question = asking(needs=NEEDS)
        units, vehicles = [CITY], (SMALL,)

        def never(around, radius_km):
            raise AssertionError("nobody could meet")

        made = plans_for(
            question, ranked(units, vehicles, question), units, vehicles, never, PlanSettings(),
            estimate=fixed_estimator(TravelSettings()),
        )  # fmt: skip
        assert made == ()


class TestLaterOfTwo:
    @pytest.mark.parametrize(
        ("first", "second"),
        [
            (TravelTime(60, 0.5), TravelTime(60, 0.5)),
            (TravelTime(90, 0.4, 30), TravelTime(60, 0.6)),
            (TravelTime(30, 0.3), TravelTime(200, 0.5)),
        ],
    )
    def test_against_monte_carlo(self, first, second):
        chance = random.Random(7)
        draws = []
        first_waits = 0
        for _ in range(40_000):
            a, b = (each.quantile(chance.uniform(1e-9, 1 - 1e-9)) for each in (first, second))
            draws.append(max(a, b))
            first_waits += b > a + 10
        draws.sort()
        meeting = meet(first, second, waiting_minutes=10)
        assert meeting.time.mean == pytest.approx(sum(draws) / len(draws), rel=0.01)
        assert meeting.time.p90 == pytest.approx(draws[36_000], rel=0.05)
        assert meeting.first_waits == pytest.approx(first_waits / len(draws), abs=0.01)

    def test_two_certain_times(self):
        meeting = meet(TravelTime(20, 0, 20), TravelTime(50, 0, 50), waiting_minutes=10)
        assert meeting.time.mean == pytest.approx(50)
        assert meeting.first_waits == pytest.approx(1)
        assert meeting.second_waits == 0

    @given(st.floats(1, 300), st.floats(0, 1), st.floats(1, 300), st.floats(0, 1))
    def test_both_are_never_there_before_either(self, a, a_sigma, b, b_sigma):
        first, second = TravelTime(a, a_sigma), TravelTime(b, b_sigma)
        meeting = meet(first, second, waiting_minutes=5)
        assert meeting.time.mean >= max(first.mean, second.mean) * (1 - 1e-6)
        assert meeting.first_waits + meeting.second_waits <= 1.01


kilometres = st.floats(-150, 150)
care = st.frozensets(st.sampled_from([BAG, WARM, OXYGEN, CPAP, SURGERY]))
units = st.lists(
    st.builds(
        lambda number, km, gives, cots, is_open: UnitFacts(
            f"u{number}", f"Unit {number}", east(km), gives, cots, is_open
        ),
        st.integers(0, 30), kilometres, care, st.none() | st.integers(0, 3), st.booleans(),
    ),
    unique_by=lambda unit: unit.key, min_size=1, max_size=8,
)  # fmt: skip
vehicles = st.lists(
    st.builds(
        lambda number, km, has, kind, wait: VehicleFacts(
            f"v{number}", f"Vehicle {number}", kind, east(km), wait, capabilities=has
        ),
        st.integers(0, 30), kilometres, care, st.sampled_from(VehicleKind), st.floats(0, 90),
    ),
    unique_by=lambda vehicle: vehicle.key, max_size=4,
)  # fmt: skip
sites = st.lists(
    st.builds(lambda n, km: MeetingPlace(f"s{n}", f"Site {n}", east(km)), st.integers(0, 9),
              kilometres),
    unique_by=lambda site: site.key, max_size=6,
)  # fmt: skip


@given(units, vehicles, sites, care, st.floats(0, 60))
def test_a_plan_is_shown_only_when_sooner_by_the_margin(units, vehicles, sites, needs, margin):
    question = asking(needs=Needed(capabilities=needs, urgency=Urgency.URGENT))
    ranking = ranked(units, vehicles, question)
    for plan in planned(units, vehicles, sites, question, margin_minutes=margin):
        assert plan.care.mean + margin <= plan.direct.mean + 1e-6
        assert plan.onward_key == ranking.best.key
        assert plan.direct == ranking.best.arrival
        assert plan.gives
        assert plan.onward.mean >= plan.care.mean
        assert plan.care.p10 <= plan.care.p50 <= plan.care.p90


@pytest.mark.parametrize("settings", [{"margin_minutes": -1}, {"on_the_way": 0.5}])
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(ValueError, match="minutes of a plan"):
        PlanSettings(**settings)
