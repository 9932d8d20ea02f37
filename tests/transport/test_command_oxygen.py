"""``manage.py oxygen``: one cylinder, without a database."""

import pytest
from commands import run


def test_litres_and_bar(db_is_closed):
    answer = run("oxygen", "--litres", 10, "--bar", 137, "--flow", 5, "--json")
    assert answer.code == 0
    # 10 L x 137 bar / 5 L/min, and with 30 bar kept.
    assert answer.json == {"minutes_left": 274.0, "minutes_to_reserve": 214.0}


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
    assert answer == {"minutes_left": None, "minutes_to_reserve": None}


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
    assert answer == {"minutes_left": 40.0, "minutes_to_reserve": 0.0}


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
    ],
)
def test_what_cannot_be_exits_2(db_is_closed, options):
    answer = run("oxygen", *options.split())
    assert (answer.code, answer.out) == (2, "")
    assert answer.err


def test_litres_of_gas_are_noticed(db_is_closed):
    answer = run("oxygen", "--litres", 680, "--bar", 137, "--flow", 5, "--json")
    assert "water capacity" in answer.err


@pytest.fixture
def db_is_closed() -> None:
    """No fixture opens the database here, so pytest-django refuses every query."""
