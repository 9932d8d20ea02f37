"""``manage.py oxygen``: cylinders, flows and a road, without a database."""

import shlex

import pytest
from commands import run


def test_litres_and_bar(db_is_closed):
    answer = run("oxygen", "--litres", 10, "--bar", 137, "--flow", 5, "--json")
    assert answer.code == 0
    # 10 L x 137 bar / 5 L/min, and with 30 bar kept.
    assert answer.json == {
        "minutes_left": 274.0,
        "minutes_to_reserve": 214.0,
        "flow_l_min": 5.0,
        "change_words": [],
        "cautions": [],
    }


def test_a_reserve_of_ones_own(db_is_closed):
    options = ["--litres", 10, "--bar", 137, "--flow", 5, "--reserve-bar", 100, "--json"]
    assert run("oxygen", *options).json["minutes_to_reserve"] == pytest.approx(74)


def test_an_american_cylinder(db_is_closed):
    answer = run("oxygen", "--size", "e", "--psi", 1800, "--flow", 5, "--json").json
    # 0.28 L a psi: 1800 x 0.28 / 5, and with 200 psi kept.
    assert answer["minutes_left"] == pytest.approx(100.8)
    assert answer["minutes_to_reserve"] == pytest.approx(89.6)


def test_without_a_flow_nothing_is_limited(db_is_closed):
    answer = run("oxygen", "--litres", 10, "--bar", 137, "--flow", 0, "--json").json
    assert (answer["minutes_left"], answer["minutes_to_reserve"]) == (None, None)


def test_enough_is_twice_the_planned_minutes_or_those_with_the_reserve(db_is_closed):
    def enough(minutes: int) -> bool:
        options = ["--litres", 10, "--bar", 137, "--flow", 5, "--minutes", minutes, "--json"]
        return run("oxygen", *options).json["enough"]

    assert enough(137)
    assert not enough(138)


def test_a_shortage_never_reads_as_stop(db_is_closed):
    options = ["--litres", 2, "--bar", 50, "--flow", 5, "--minutes", 90]
    words = run("oxygen", *options, "--json").json["words"]
    assert words[-1] == "If oxygen runs low or ends, keep ventilating with air."
    assert run("oxygen", *options).out.strip().endswith("keep ventilating with air.")


def test_a_gauge_below_the_reserve_has_no_minutes_to_it(db_is_closed):
    answer = run("oxygen", "--litres", 10, "--bar", 20, "--flow", 5, "--json").json
    assert (answer["minutes_left"], answer["minutes_to_reserve"]) == (40.0, 0.0)


@pytest.mark.parametrize(
    "options",
    [
        "--litres 10 --flow 5",
        "--litres 10 --bar 137 --psi 5 --flow 5",
        "--litres 10 --bar 137 --reserve-psi 5 --flow 5",
        "--size E --psi 1800 --reserve-bar 5 --flow 5",
        "--size Q --psi 1800 --flow 5",
        "--litres -10 --bar 137 --flow 5",
        "--litres 0 --bar 137 --flow 5",
        "--litres 10 --bar 2000 --flow 5",
        "--litres 10 --bar nan --flow 5",
        "--litres 10 --bar 137 --flow -1",
        "--litres 10 --bar 137 --flow 5 --reserve-bar -1",
        "--litres 10 --bar 137 --flow 5 --minutes -1",
        "--litres 10 --bar 137 --flow 5 --minutes inf",
        "--litres 10 --bar 137",
        "--litres 10 --bar 137 --fio2 0.1",
        "--litres 10 --bar 137 --fio2 2",
        "--litres 10 --bar 137 --flow 5 --p90 90",
        "--litres 10 --bar 137 --flow 5 --minutes 60 --p90 50",
        "--litres 10 --bar 137 --flow 5 --loading -3",
        "--litres 10 --bar 137 --flow 5 --changeover nan",
        "--litres 10 --cylinder='2 L 100 bar' --flow 5",
        "--cylinder='E 1800 psi' --flow 5",
        "--cylinder='4.7 L 1800 bar' --flow 5",
        "--cylinder='UK D 2000 bar' --flow 5",
        "--flow 5",
    ],
)
def test_what_cannot_be_exits_2(db_is_closed, options):
    answer = run("oxygen", *shlex.split(options))
    assert (answer.code, answer.out) == (2, "")
    assert answer.err


def test_litres_of_gas_are_noticed(db_is_closed):
    answer = run("oxygen", "--litres", 680, "--bar", 137, "--flow", 5, "--json")
    assert "water capacity" in answer.err


def test_several_cylinders_in_any_unit_one_after_the_other(db_is_closed):
    written = ["--cylinder", "UK D 8 MPa", "--cylinder", "US E 1800 psi"]
    answer = run("oxygen", *written, "--flow", 2, "--json").json
    # 2.3 L x 80 bar / 2, then 0.28 x 1800 / 2 less 2 min for the change; 30 bar and 200 psi kept.
    assert answer["minutes_left"] == pytest.approx(92 + 252 - 2)
    assert answer["minutes_to_reserve"] == pytest.approx(57.5 + 224 - 2)
    assert answer["change_words"][0].startswith("After about 57 min, when UK D shows 30 bar")


def test_a_reserve_told_in_one_unit_holds_for_gauges_in_the_other(db_is_closed):
    asked = ["--cylinder", "US E 1800 psi", "--flow", 2, "--reserve-bar", 50, "--json"]
    # 50 bar are 725.2 psi.
    kept = run("oxygen", *asked).json["minutes_to_reserve"]
    assert kept == pytest.approx(0.28 * (1800 - 725.19) / 2, abs=0.01)


def test_two_babies_on_one_set_and_a_mixture_with_air(db_is_closed):
    one = ["--litres", 10, "--bar", 137]
    twins = run("oxygen", *one, "--flow", 2, "--flow", 3, "--json").json
    assert (twins["flow_l_min"], twins["minutes_left"]) == (5.0, 274.0)
    # FiO2 0.40 of 10 L/min is 2.41 L/min of oxygen (mixing law), of 8 L/min 1.92.
    mixed = run("oxygen", *one, "--fio2", 0.4, "--json").json
    assert mixed["flow_l_min"] == pytest.approx(2.41, abs=0.005)
    in_hundred = run("oxygen", *one, "--fio2", 40, "--total", 8, "--json").json
    assert in_hundred["flow_l_min"] == pytest.approx(1.924, abs=0.001)


def test_the_chance_on_a_road_that_varies_with_all_that_is_beside_it(db_is_closed):
    asked = ["--litres", 4.7, "--bar", 80, "--flow", 2, "--minutes", 60, "--p90", 100]
    road = run("oxygen", *asked, "--json").json
    assert 0 < road["chance_of_running_out"] < road["chance_of_touching_reserve"] < 1
    standing = ["--waiting", 10, "--loading", 10, "--bedside", 5]
    whole = run("oxygen", *asked, *standing, "--json").json
    assert whole["chance_of_touching_reserve"] > road["chance_of_touching_reserve"]
    assert whole["needed_minutes"] > road["needed_minutes"]
    assert run("oxygen", *asked).out.count("% chance of reaching the bedside before the reserve")


def test_what_closes_the_gap_is_a_spare_and_a_lower_flow_is_only_arithmetic(db_is_closed):
    asked = ["--litres", 2, "--bar", 150, "--flow", 5, "--minutes", 60, "--spare", "UK E 100 bar"]
    answer = run("oxygen", *asked, "--json").json
    assert "Take along cylinder UK E (4.7 L, 100 bar)." in answer["words"]
    assert answer["lasting_flow_l_min"] == pytest.approx(2 * 150 / 120)
    said = run("oxygen", *asked).out.strip()
    assert "at 2.5 L/min in all it would last as planned. A lower flow is a clinician's" in said
    assert said.endswith("keep ventilating with air.")


def test_a_doubtful_gauge_is_a_caution_beside_the_answer(db_is_closed):
    answer = run("oxygen", "--cylinder", "UK D 180 bar", "--flow", 2, "--json")
    assert answer.code == 0
    assert "more than a full one shows (137)" in answer.err
    assert "If the gauge is in MPa" in run("oxygen", "--litres", 3.4, "--bar", 15, "--flow", 5).err


@pytest.fixture
def db_is_closed() -> None:
    """No fixture opens the database here, so pytest-django refuses every query."""
