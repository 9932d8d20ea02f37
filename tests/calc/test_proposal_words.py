"""What is proposed, and the words for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import Urgency, VehicleKind
from transport.calc.proposals import Before, propose, why_it_counts
from transport.calc.vehicle_costs import Cell, Going, Wanted


def journey(key, urgency=Urgency.VENTILATED):
    return Wanted(key=key, urgency=urgency)


def vehicle(key, **more):
    return Going(key=key, name=key, kind=VehicleKind.AMBULANCE, **more)


def cell(minutes, *, lacks=(), cannot=()):
    return Cell(
        baby_p50=minutes,
        baby_p90=minutes * 1.5,
        baby_expected=minutes,
        care_expected=minutes + 60,
        care_p90=minutes + 90,
        lacks=lacks,
        cannot=cannot,
    )


def proposed(journeys, vehicles, cells, **before):
    made = propose(journeys, vehicles, cells, Before(**before))
    return {each.journey: each for each in made.each}


K7Q4, KR4, AMB1, AMB3 = journey("K7Q4"), journey("KR4"), vehicle("AMB-1"), vehicle("AMB-3")


class TestWords:
    def test_the_nearer_one_has_no_oxygen(self):
        cells = [[cell(10, lacks=("oxygen",)), cell(30)]]
        told = proposed([K7Q4], [AMB1, AMB3], cells)["K7Q4"]
        assert told.vehicle == "AMB-3"
        assert told.reasons == ("AMB-3, although AMB-1 is nearer: AMB-1 has no oxygen",)

    def test_the_nearer_one_is_needed_more_for_another_baby(self):
        cells = [[cell(10), cell(20)], [cell(12), cell(90)]]
        told = proposed([K7Q4, KR4], [AMB1, AMB3], cells)
        assert (told["K7Q4"].vehicle, told["KR4"].vehicle) == ("AMB-3", "AMB-1")
        assert "AMB-3, although AMB-1 is nearer: AMB-1 is needed more for KR4" in (
            told["K7Q4"].reasons
        )
        assert told["KR4"].reasons == ("AMB-1 is the soonest with the baby",)

    def test_the_baby_that_is_bagged_gets_the_nearer_one(self):
        stable = journey("S1", Urgency.STABLE)
        cells = [[cell(10), cell(40)], [cell(10), cell(40)]]
        told = proposed([stable, K7Q4], [AMB1, AMB3], cells)
        assert (told["S1"].vehicle, told["K7Q4"].vehicle) == ("AMB-3", "AMB-1")

    def test_one_that_cannot_go_is_named_with_its_reason(self):
        cells = [[cell(10, cannot=("the crew of AMB-1 is off duty",)), cell(30)]]
        told = proposed([K7Q4], [AMB1, AMB3], cells)["K7Q4"]
        assert told.reasons[0].endswith("AMB-1 is nearer: the crew of AMB-1 is off duty")

    def test_with_none_left_it_says_to_ring_and_never_to_wait(self):
        cells = [[cell(10)], [cell(10)]]
        told = proposed([K7Q4, journey("S1", Urgency.STABLE)], [AMB1], cells)["S1"]
        assert told.vehicle is None
        assert told.reasons[0].startswith("No vehicle is left that can go. Ring for a car")
        assert "AMB-1 is needed more for K7Q4" in told.reasons
        assert not any("wait" in reason for reason in told.reasons)

    def test_one_without_oxygen_goes_where_there_is_no_other(self):
        told = proposed([K7Q4], [AMB1], [[cell(10, lacks=("oxygen",))]])["K7Q4"]
        assert told.vehicle == "AMB-1"
        assert "AMB-1 has no oxygen" in told.reasons

    def test_an_earlier_proposal_that_stays_says_what_a_change_would_save(self):
        cells = [[cell(10), cell(12)]]
        told = proposed([K7Q4], [AMB1, AMB3], cells, proposed={"K7Q4": "AMB-3"}, threshold=5.0)[
            "K7Q4"
        ]
        assert told.vehicle == "AMB-3"
        assert told.reasons == (
            "AMB-3, although AMB-1 is nearer: a change would save too little",
            "AMB-3 was proposed before; a change now would save too little (2.0 min)",
        )

    def test_a_persons_choice_stands_and_the_other_journey_hears_of_it(self):
        cells = [[cell(10), cell(90, lacks=("oxygen",))], [cell(80), cell(20)]]
        told = proposed([K7Q4, KR4], [AMB1, AMB3], cells, pinned={"K7Q4": "AMB-3"})
        assert (told["K7Q4"].vehicle, told["KR4"].vehicle) == ("AMB-3", "AMB-1")
        assert told["K7Q4"].pinned
        assert told["K7Q4"].reasons == (
            "AMB-3: kept for this journey by a person",
            "AMB-3 has no oxygen",
        )
        assert told["KR4"].reasons == (
            "AMB-1, although AMB-3 is nearer: AMB-3 is kept for K7Q4 by a person",
        )

    def test_how_much_it_counts_is_said_with_its_reasons(self):
        twins = Wanted(key="T", urgency=Urgency.VENTILATED, babies=2, mother_unwell=True)
        assert why_it_counts(twins) == (
            "A minute here counts 2.5: ventilated by hand: somebody's two hands keep the baby "
            "breathing; the mother herself needs care"
        )


def test_nothing_wanted_proposes_nothing():
    assert propose([], [AMB1], [], Before()).each == ()


def test_the_gain_is_beside_the_next_that_nobody_else_needs():
    cells = [[cell(10), cell(25), cell(40)], [cell(50), cell(20), cell(90)]]
    told = proposed([K7Q4, KR4], [AMB1, vehicle("AMB-2"), AMB3], cells)
    assert told["K7Q4"].saves == pytest.approx(30.0)


CELLS = st.builds(
    cell,
    st.floats(1, 400),
    lacks=st.sets(st.sampled_from(["oxygen", "warmth"])).map(tuple),
    cannot=st.sampled_from([(), (), (), ("it cannot",)]),
)


@given(st.data(), st.integers(1, 4), st.integers(0, 4))
def test_no_vehicle_twice_none_that_cannot_and_a_reason_for_each(data, rows, columns):
    journeys = [journey(f"J{i}", data.draw(st.sampled_from(Urgency))) for i in range(rows)]
    vehicles = [vehicle(f"V{i}") for i in range(columns)]
    cells = [[data.draw(CELLS) for _ in vehicles] for _ in journeys]
    made = propose(journeys, vehicles, cells, Before())
    chosen = [each.vehicle for each in made.each if each.vehicle]
    assert len(set(chosen)) == len(chosen)
    for each in made.each:
        assert each.reasons
        assert each.vehicle is None or not each.cell.cannot
    assert made.total == pytest.approx(made.least)
