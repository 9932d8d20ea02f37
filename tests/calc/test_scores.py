"""Published scores: the worked examples, the printed limits, and laws that hold of all of them."""

from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.quantities import QUANTITIES, ImpossibleQuantity
from referrals.calc.score_findings import findings_from, help_given
from referrals.calc.score_tables import SCORES, TopsLimits, fault_of_limits, score_named, tops
from referrals.calc.scores import Item, NotAFinding, Score, ScoreKind, Told, count, in_words
from referrals.calc.terms import GlucoseUnit

TRIPS, TOPS = SCORES[ScoreKind.TRIPS], SCORES[ScoreKind.TOPS]
APGAR, SILVERMAN = SCORES[ScoreKind.APGAR], SCORES[ScoreKind.SILVERMAN]


def told(**values: Any) -> dict[str, Told]:
    return {code: Told(value=value) for code, value in values.items()}


def in_order(score: Score, *values: str | float) -> dict[str, Told]:
    items = zip(score.items, values, strict=True)
    return {item.code: Told(value=value) for item, value in items}


@pytest.mark.parametrize(
    ("values", "total"),
    [
        # A bagged baby of 35.8 °C that cries: 8 + 14 + 0 + 0.
        ((35.8, "severe", 45, "vigorous"), 22),
        # 36.8 °C, 70 breaths a minute, 38 mmHg, lethargic: 0 + 5 + 16 + 6.
        ((36.8, "moderate", 38, "lethargic"), 27),
        # All worst: the published range ends at 65.
        ((34.0, "severe", 10, "none"), 65),
        ((36.8, "none", 50, "vigorous"), 0),
    ],
)
def test_trips_of_worked_babies(values: tuple[Any, ...], total: int) -> None:
    """Lee SK et al., J Pediatr 2001;139:220; points are values from memory, the range is not."""
    assert count(TRIPS, in_order(TRIPS, *values)).total == total


@pytest.mark.parametrize(
    ("celsius", "points"),
    [
        (36.0, 8), (36.1, 1), (36.5, 1), (36.6, 0), (37.1, 0), (37.2, 1), (37.6, 1), (37.7, 8),
    ],
)  # fmt: skip
def test_trips_temperature_at_its_printed_limits(celsius: float, points: int) -> None:
    """Lee SK et al. 2001: below 36.1 or above 37.6; 36.1-36.5 or 37.2-37.6; 36.6-37.1."""
    assert count(TRIPS, told(temperature=celsius)).points == {"temperature": points}


@pytest.mark.parametrize(("mmhg", "points"), [(19, 26), (20, 16), (40, 16), (41, 0)])
def test_trips_blood_pressure_at_its_printed_limits(mmhg: float, points: int) -> None:
    """Lee SK et al. 2001 (value from memory): below 20, 20 to 40, above 40."""
    assert count(TRIPS, told(systolic=mmhg)).points == {"systolic": points}


@pytest.mark.parametrize(
    ("values", "deranged"),
    [
        ((35.2, 86, 4, 55), 3),
        ((36.8, 95, 2, 38), 1),
        ((35.2, 86, 4, 38), 4),
        ((36.5, 90, 3, 40), 0),
    ],
)
def test_tops_counts_what_is_deranged(values: tuple[float, ...], deranged: int) -> None:
    """Mathur NB, Arora D, Acta Paediatr 2007;96:172; the limits are values from memory."""
    counted = count(TOPS, in_order(TOPS, *values))
    assert counted.total == deranged
    assert "items deranged" in in_words(TOPS, counted)


def test_tops_says_in_which_direction_it_counts() -> None:
    """Papers count normal items under the same name; every total here says what it counts."""
    said = in_words(TOPS, count(TOPS, in_order(TOPS, 35.2, 86, 4, 55)))
    assert said == "TOPS, items deranged: 3 (0 to 4, deranged items counted; higher is worse)"


@pytest.mark.parametrize(("mmol_l", "points"), [(2.2, 1), (2.3, 0)])
def test_a_glucose_is_compared_in_the_unit_in_which_it_was_read(mmol_l: float, points: int) -> None:
    """40 mg/dL is 2.22 mmol/L by molar mass (180.156 g/mol)."""
    sugar = Told(value=mmol_l, quantity="glucose_mmol_l")
    assert count(TOPS, {"sugar": sugar}).points == {"sugar": points}


def test_a_district_may_set_the_other_published_limits_of_tops() -> None:
    stricter = score_named(ScoreKind.TOPS, {"temperature_c": 36.0, "glucose_mg_dl": 45})
    counted = count(stricter, in_order(stricter, 36.2, 95, 2, 44))
    assert counted.points == {"temperature": 0, "oxygenation": 0, "perfusion": 0, "sugar": 1}


@pytest.mark.parametrize(
    "settings",
    [{"spo2": 120}, {"shoe": 1}, {"spo2": True}, {"temperature_c": "36"}, [36.5], {"spo2": None}],
)
def test_limits_that_cannot_be_are_refused_in_words(settings: Any) -> None:
    assert fault_of_limits(settings)


def test_limits_that_can_be_are_taken() -> None:
    assert fault_of_limits({}) == fault_of_limits({"spo2": 88, "temperature_c": 36.0}) == ""


@pytest.mark.parametrize(
    ("values", "total", "band"),
    [
        (("1", "2", "2", "2", "2"), 9, "called reassuring"),
        (("0", "1", "0", "0", "0"), 1, "called low"),
        (("1", "1", "1", "1", "0"), 4, "called moderately abnormal"),
        (("0", "2", "0", "1", "0"), 3, "called low"),
        (("1", "2", "1", "2", "1"), 7, "called reassuring"),
    ],
)
def test_apgar_of_worked_babies(values: tuple[str, ...], total: int, band: str) -> None:
    """Apgar V, Curr Res Anesth Analg 1953;32:260; bands as published: 0-3, 4-6, 7-10."""
    counted = count(APGAR, in_order(APGAR, *values))
    assert (counted.total, counted.band) == (total, band)


@pytest.mark.parametrize(
    ("values", "total", "band"),
    [
        (("1",) * 5, 5, "called moderate"),
        (("2", "1", "2", "1", "2"), 8, "called severe"),
        (("0",) * 5, 0, "called none"),
        (("1", "0", "0", "1", "1"), 3, "called mild"),
    ],
)
def test_silverman_of_worked_babies(values: tuple[str, ...], total: int, band: str) -> None:
    """Silverman WA, Andersen DH, Pediatrics 1956;17:1; bands 0, 1-3, 4-6, 7-10."""
    counted = count(SILVERMAN, in_order(SILVERMAN, *values))
    assert (counted.total, counted.band) == (total, band)


def values_of(item: Item) -> st.SearchStrategy[Told]:
    if not item.is_measured:
        return st.sampled_from(item.findings).map(lambda finding: Told(value=finding.code))
    return st.sampled_from(item.quantities).flatmap(
        lambda name: st.floats(QUANTITIES[name].possible_low, QUANTITIES[name].possible_high).map(
            lambda number: Told(value=number, quantity=name)
        )
    )


def whole(score: Score) -> st.SearchStrategy[dict[str, Told]]:
    return st.fixed_dictionaries({item.code: values_of(item) for item in score.items})


scores = st.sampled_from(list(SCORES.values()))


@given(st.data(), scores)
def test_a_total_lies_within_its_range_and_its_words_say_so(data: st.DataObject, score) -> None:
    counted = count(score, data.draw(whole(score)))
    assert counted.total is not None
    assert score.lowest <= counted.total <= score.highest
    assert counted.total == sum(counted.points.values())
    assert f": {counted.total} (" in in_words(score, counted)


@given(st.data(), scores)
def test_a_score_with_a_missing_item_says_which_and_gives_no_number(
    data: st.DataObject, score
) -> None:
    found = data.draw(whole(score))
    gone = data.draw(st.sets(st.sampled_from(sorted(found)), min_size=1))
    counted = count(score, {code: each for code, each in found.items() if code not in gone})
    assert counted.total is None
    assert set(counted.missing) == gone
    assert not counted.band
    said = in_words(score, counted)
    assert "no number" in said
    assert all(score.item(code).words in said for code in gone)


@given(st.data(), scores)
def test_a_worse_item_never_lowers_a_score_whose_higher_numbers_are_worse(
    data: st.DataObject, score
) -> None:
    """More points for one item, the others as they were: the total never falls."""
    found = data.draw(whole(score))
    item = data.draw(st.sampled_from(score.items))
    other = data.draw(values_of(item))
    before, after = count(score, found), count(score, found | {item.code: other})
    assert before.total is not None
    assert after.total is not None
    change = after.points[item.code] - before.points[item.code]
    assert after.total - before.total == change


@given(st.floats(20, 36.5), st.floats(20, 36.5))
def test_a_colder_baby_never_scores_lower(one: float, other: float) -> None:
    """Below normal both TRIPS and TOPS only rise as the temperature falls."""
    cold, warm = sorted((one, other))
    for score in (TRIPS, TOPS):
        colder, warmer = (count(score, told(temperature=t)).points["temperature"]
                          for t in (cold, warm))  # fmt: skip
        assert colder >= warmer


@given(st.floats(37.2, 45), st.floats(37.2, 45))
def test_a_hotter_baby_never_scores_lower_in_trips(one: float, other: float) -> None:
    warm, hot = sorted((one, other))
    points = [count(TRIPS, told(temperature=t)).points["temperature"] for t in (warm, hot)]
    assert points == sorted(points)


@pytest.mark.parametrize("score", SCORES.values(), ids=lambda score: score.kind.value)
def test_both_ends_of_the_published_range_can_be_reached(score: Score) -> None:
    """The range is that of the paper, so that no item is missing and none is counted twice."""
    numbers = {
        "temperature": (20.0, 36.8), "systolic": (10.0, 60.0), "oxygenation": (50.0, 95.0),
        "perfusion": (1.0, 5.0), "sugar": (20.0, 60.0),
    }  # fmt: skip
    choices = [
        [f.code for f in item.findings] if item.findings else numbers[item.code]
        for item in score.items
    ]
    totals = {count(score, in_order(score, *each)).total for each in product(*choices)}
    assert (min(totals), max(totals)) == (score.lowest, score.highest)  # type: ignore[type-var]


@pytest.mark.parametrize("score", SCORES.values(), ids=lambda score: score.kind.value)
def test_bands_cover_the_range_once(score: Score) -> None:
    if score.bands:
        covered = [n for band in score.bands for n in range(band.low, band.high + 1)]
        assert covered == list(range(score.lowest, score.highest + 1))


@pytest.mark.parametrize("score", SCORES.values(), ids=lambda score: score.kind.value)
def test_every_score_says_what_it_was_published_for_and_where(score: Score) -> None:
    assert score.published_for
    assert score.source
    assert len({item.code for item in score.items}) == len(score.items)


@pytest.mark.parametrize(
    "found",
    [
        {"shoe": Told(value=1)},
        {"respiratory": Told(value="worst")},
        {"temperature": Told(value="cold")},
        {"temperature": Told(value=True)},
        {"temperature": Told(value=36.5, quantity="spo2")},
    ],
)
def test_what_the_score_does_not_know_is_refused_beside_its_item(found: dict[str, Told]) -> None:
    with pytest.raises(NotAFinding) as refused:
        count(TRIPS, found)
    assert refused.value.field == next(iter(found))


def test_a_number_that_cannot_be_is_refused_with_its_bounds() -> None:
    with pytest.raises(ImpossibleQuantity, match="must be from 20 to 45 °C"):
        count(TRIPS, told(temperature=368))


class TestFromReadings:
    @pytest.mark.parametrize(
        "known",
        [
            {"breathing": "ventilated"},
            {"breathing": "none"},
            {"breathing": "slow_or_gasping"},
            {"breathing": "regular", "support": "bag_and_mask_air"},
            {"support": "ventilator", "respiratory_rate": 40, "spo2": 95},
        ],
    )
    def test_a_baby_that_gets_its_breaths_counts_as_severe(self, known: dict[str, Any]) -> None:
        """Lee SK et al. 2001: apnoea, gasping or intubated; bagged is without own breaths."""
        assert findings_from(ScoreKind.TRIPS, known)["respiratory"].value == "severe"

    @pytest.mark.parametrize(
        ("known", "value"),
        [
            ({"respiratory_rate": 61}, "moderate"),
            ({"spo2": 84}, "moderate"),
            ({"breathing": "regular", "respiratory_rate": 60, "spo2": 85}, "none"),
        ],
    )
    def test_a_rate_and_a_saturation_decide_the_rest(self, known: Any, value: str) -> None:
        assert findings_from(ScoreKind.TRIPS, known)["respiratory"].value == value

    @pytest.mark.parametrize(
        "known", [{}, {"breathing": "regular"}, {"respiratory_rate": 40}, {"spo2": 95}]
    )
    def test_nothing_is_taken_for_normal_that_nobody_has_told(self, known: Any) -> None:
        assert "respiratory" not in findings_from(ScoreKind.TRIPS, known)

    def test_a_ventilated_baby_is_not_said_to_breathe_by_itself(self) -> None:
        """Assisted Apgar: what is seen is scored, and that help was given is said."""
        known = {"breathing": "ventilated", "colour": "pink", "heart_rate_band": "at_least_100"}
        found = findings_from(ScoreKind.APGAR, known)
        assert {code: each.value for code, each in found.items()} == {
            "colour": "2",
            "heart_rate": "2",
        }
        assert help_given(known) is True

    @pytest.mark.parametrize(
        ("known", "value"),
        [
            ({"heart_rate": 0}, "0"), ({"heart_rate": 99}, "1"), ({"heart_rate": 100}, "2"),
            ({"heart_rate_band": "none_detected"}, "0"),
            ({"heart_rate_band": "from_60_to_99"}, "1"),
        ],
    )  # fmt: skip
    def test_apgar_heart_rate_at_its_lines(self, known: Any, value: str) -> None:
        """Apgar 1953: absent, below 100, 100 or more."""
        assert findings_from(ScoreKind.APGAR, known)["heart_rate"].value == value

    @pytest.mark.parametrize("unit", [*GlucoseUnit, None])
    def test_a_glucose_keeps_its_unit_and_without_one_is_not_taken(self, unit: Any) -> None:
        known = {"glucose": 2.0} | ({"glucose_unit": unit.value} if unit else {})
        found = findings_from(ScoreKind.TOPS, known).get("sugar")
        assert (found and found.quantity) == (unit and f"glucose_{unit.value}")

    @pytest.mark.parametrize("kind", ScoreKind)
    def test_whatever_is_taken_over_is_a_finding_of_the_score(self, kind: ScoreKind) -> None:
        known = {
            "temperature_c": 35.8, "breathing": "none", "support": "cpap", "response": "weak",
            "spo2": 80, "capillary_refill_s": 4, "glucose": 44.0, "glucose_unit": "mg_dl",
            "colour": "blue_or_pale", "heart_rate": 90, "convulsions": False,
        }  # fmt: skip
        found = findings_from(kind, known)
        assert set(count(SCORES[kind], found).points) == set(found)


def test_tops_with_no_setting_is_the_published_table() -> None:
    found = in_order(TOPS, 36.4, 89, 3.5, 39)
    assert count(tops(TopsLimits()), found).total == count(TOPS, found).total == 4
