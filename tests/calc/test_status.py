"""What is known of a baby: bands, words, and a fold that forgets the order of arrival."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.status import (
    BabyStatus,
    fold_readings,
    heart_rate_band_of,
    is_being_ventilated,
    known_value,
    lowest_heart_rate_band,
    summary_in_words,
)
from referrals.calc.terms import (
    Breathing,
    Colour,
    GlucoseUnit,
    HeartRateBand,
    Response,
    Support,
)

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("rate", "band"),
    [
        (0, HeartRateBand.NONE_DETECTED),
        (1, HeartRateBand.UNDER_60),
        (59, HeartRateBand.UNDER_60),
        (60, HeartRateBand.FROM_60_TO_99),
        (99, HeartRateBand.FROM_60_TO_99),
        (100, HeartRateBand.AT_LEAST_100),
    ],
)
def test_heart_rate_bands_at_their_limits(rate: int, band: HeartRateBand) -> None:
    """2020 AHA guidelines, Part 5: lines at 60 and 100."""
    assert heart_rate_band_of(rate) is band


def test_an_impossible_heart_rate_has_no_band() -> None:
    with pytest.raises(ImpossibleQuantity):
        heart_rate_band_of(-1)


@pytest.mark.parametrize(
    ("rate", "felt", "lowest"),
    [
        (None, None, None),
        (None, HeartRateBand.UNDER_60, HeartRateBand.UNDER_60),
        (120, None, HeartRateBand.AT_LEAST_100),
        (120, HeartRateBand.UNDER_60, HeartRateBand.UNDER_60),
        (40, HeartRateBand.AT_LEAST_100, HeartRateBand.UNDER_60),
        # A count that cannot be true leaves what was felt.
        (1200, HeartRateBand.FROM_60_TO_99, HeartRateBand.FROM_60_TO_99),
    ],
)
def test_of_a_count_and_a_felt_band_the_lower_is_believed(
    rate: int | None, felt: HeartRateBand | None, lowest: HeartRateBand | None
) -> None:
    status = BabyStatus(heart_rate=rate, heart_rate_band=felt)
    assert lowest_heart_rate_band(status) == lowest


@pytest.mark.parametrize(
    ("breathing", "support", "ventilated"),
    [
        (Breathing.VENTILATED, None, True),
        (None, Support.BAG_AND_MASK_AIR, True),
        (None, Support.VENTILATOR, True),
        (Breathing.REGULAR, Support.BAG_AND_MASK_OXYGEN, True),
        (Breathing.VENTILATED, Support.NONE, True),
        (Breathing.REGULAR, Support.CPAP, False),
        (Breathing.NONE, Support.NONE, False),
        (Breathing.NONE, None, None),
        (None, Support.NONE, None),
        (None, None, None),
    ],
)
def test_one_sign_of_ventilation_is_enough(
    breathing: Breathing | None, support: Support | None, ventilated: bool | None
) -> None:
    assert is_being_ventilated(BabyStatus(breathing=breathing, support=support)) is ventilated


def test_a_value_that_cannot_be_true_counts_as_unknown() -> None:
    status = BabyStatus(temperature_c=3.6, spo2=88, glucose=60, glucose_unit=GlucoseUnit.MMOL_L)
    assert known_value(status, "temperature_c") is None
    assert known_value(status, "spo2") == 88
    assert known_value(status, "glucose") is None


def test_the_summary_follows_the_order_of_a_spoken_handover() -> None:
    """Situation, background, assessment: the trade's order; common practice, no source."""
    status = BabyStatus(
        breathing=Breathing.VENTILATED,
        support=Support.BAG_AND_MASK_AIR,
        heart_rate=142,
        heart_rate_band=HeartRateBand.UNDER_60,
        minutes_since_birth=95.5,
        minutes_ventilated=90,
        weight_g=2100,
        gestation_weeks=34,
        temperature_c=35.8,
        spo2=88,
        colour=Colour.BLUE_HANDS_AND_FEET,
        response=Response.WEAK,
        glucose=2.6,
        glucose_unit=GlucoseUnit.MMOL_L,
        convulsions=False,
    )
    assert summary_in_words(status) == (
        "95 min old, 2100 g, being ventilated for 90 min, bag and mask with air,"
        " 34 weeks, heart rate 142/min, SpO2 88 %, 35.8 °C, glucose 2.6 mmol/L,"
        " blue hands and feet, responds weakly, no convulsions"
    )


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (BabyStatus(), "nothing known yet"),
        (BabyStatus(minutes_since_birth=-3), "nothing known yet"),
        (BabyStatus(minutes_since_birth=125), "2 h 5 min old"),
        (BabyStatus(minutes_since_birth=3 * 24 * 60), "3 days old"),
        (BabyStatus(heart_rate=0), "heart rate 0/min"),
        (BabyStatus(heart_rate_band=HeartRateBand.UNDER_60), "heart rate under 60/min"),
        (BabyStatus(glucose=40), "glucose 40 (unit not known)"),
        (BabyStatus(convulsions=True), "convulsions"),
    ],
)
def test_the_summary_says_only_what_is_known(status: BabyStatus, words: str) -> None:
    assert summary_in_words(status) == words


def reading(minute: int, sequence: int = 0, **facts: Any) -> dict[str, Any]:
    return {"at": NOON + timedelta(minutes=minute), "sequence": sequence, **facts}


def test_each_field_keeps_its_own_newest_value_and_time() -> None:
    folded = fold_readings([reading(5, spo2=88), reading(0, spo2=70, heart_rate=90)])
    assert folded == {
        "spo2": (88, NOON + timedelta(minutes=5)),
        "heart_rate": (90, NOON),
    }


def test_a_newer_unknown_never_hides_an_older_value() -> None:
    assert fold_readings([reading(0, spo2=70), reading(5, spo2=None)])["spo2"] == (70, NOON)


def test_a_known_false_or_zero_is_a_value() -> None:
    folded = fold_readings([reading(0, convulsions=True), reading(1, convulsions=False)])
    assert folded["convulsions"][0] is False
    assert (
        fold_readings([reading(0, heart_rate=90), reading(1, heart_rate=0)])["heart_rate"][0] == 0
    )


def test_within_one_instant_the_sequence_of_the_device_decides() -> None:
    assert fold_readings([reading(0, 2, spo2=70), reading(0, 1, spo2=91)])["spo2"][0] == 70


def test_a_reading_without_a_sequence_comes_before_numbered_ones() -> None:
    bare = {"at": NOON, "spo2": 91}
    assert fold_readings([reading(0, 1, spo2=60), bare])["spo2"][0] == 60


def test_a_glucose_without_unit_never_takes_the_unit_of_an_older_one() -> None:
    """40 mg/dL followed by a bare 2.2 must not become 2.2 mg/dL."""
    older = reading(0, glucose=40, glucose_unit=GlucoseUnit.MG_DL)
    folded = fold_readings([older, reading(5, glucose=2.2)])
    assert folded["glucose"][0] == 2.2
    assert "glucose_unit" not in folded


def test_a_unit_without_a_glucose_changes_nothing() -> None:
    older = reading(0, glucose=40, glucose_unit=GlucoseUnit.MG_DL)
    folded = fold_readings([older, reading(5, glucose_unit=GlucoseUnit.MMOL_L)])
    assert folded["glucose_unit"] == (GlucoseUnit.MG_DL, NOON)


# Few instants and few sequence numbers, so that ties are common.
readings = st.builds(
    reading,
    st.integers(0, 3),
    st.integers(0, 2),
    spo2=st.none() | st.integers(60, 100),
    colour=st.none() | st.sampled_from(Colour),
    glucose=st.none() | st.integers(1, 60),
    glucose_unit=st.none() | st.sampled_from(GlucoseUnit),
)


@given(st.lists(readings, max_size=8), st.randoms(use_true_random=False))
def test_the_order_of_arrival_and_duplicates_change_nothing(
    received: list[dict[str, Any]], chance: Any
) -> None:
    shuffled = received + received[:3]
    chance.shuffle(shuffled)
    assert fold_readings(shuffled) == fold_readings(received)


@given(st.lists(readings, max_size=8))
def test_no_value_is_invented_and_none_is_older_than_another_known_one(
    received: list[dict[str, Any]],
) -> None:
    for field, (value, at) in fold_readings(received).items():
        assert any(each[field] == value and each["at"] == at for each in received)
        if field != "glucose_unit":
            assert at == max(each["at"] for each in received if each[field] is not None)
