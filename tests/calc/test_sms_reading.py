"""Our own short language by SMS: what is understood, and that nothing is dropped or changed."""

import re
import string
from collections import Counter
from itertools import chain

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from referrals.calc.quantities import QUANTITIES
from referrals.calc.sms import gsm, words
from referrals.calc.sms.reading import LONGEST_READ, read
from referrals.calc.sms.record import BabyRead, Moment, Reading
from referrals.calc.sms.tokens import tokens_of
from referrals.calc.sms.writing import in_words
from referrals.calc.terms import Breathing, Colour, HeartRateBand, Response, Support

FULL = (
    "baby girl vent bag oxygen flow 2 hr 110 sat 84 temp 36.2 weight 2900 weeks 38 age 20 blue "
    "weak no fits chest yes mother bleeding placenta out bp 90/60 drowsy"
)
FACTS = {
    "breathing": "ventilated", "support": "bag_and_mask_oxygen", "oxygen_flow_l_min": 2.0,
    "heart_rate": 110, "spo2": 84, "temperature_c": 36.2, "weight_g": 2900,
    "gestation_weeks": 38.0, "colour": "blue_or_pale", "response": "weak", "convulsions": False,
    "chest_moving": True,
}  # fmt: skip


def facts(text: str) -> dict:
    """What is told of the one baby."""
    return read(text).babies.get(None, BabyRead()).facts


def left(text: str) -> list[str]:
    return [each.words for each in read(text).not_read]


class TestAWholeReferral:
    def test_fits_one_sms_and_is_understood_whole(self):
        assert gsm.septets(FULL) <= gsm.ONE_SMS
        reading = read(FULL)
        assert reading.calls
        assert reading.babies == {
            None: BabyRead(facts=FACTS, sex="girl", born=Moment(minutes_ago=20))
        }
        assert reading.mother == {
            "bleeding": "heavy", "placenta": "delivered", "systolic_mmhg": 90,
            "diastolic_mmhg": 60, "consciousness": "drowsy",
        }  # fmt: skip
        assert reading.not_read == ()

    @pytest.mark.parametrize("text", ["baby", "BABY", " Baby! ", "help", "baby,", "bbaby"])
    def test_one_word_calls_for_help(self, text):
        reading = read(text)
        assert reading.calls is (text != "bbaby")  # five letters: "bbaby" is too near to nothing
        assert not reading.has_facts

    @given(st.permutations(FULL.split(" mother ")[0].replace("no fits", "nofits")
                           .replace("chest yes", "chest_yes").split()))  # fmt: skip
    def test_order_does_not_matter(self, tokens):
        # A name and its number stay together; everything else may stand anywhere.
        pairs = {"flow": "2", "hr": "110", "sat": "84", "temp": "36.2", "weight": "2900",
                 "weeks": "38", "age": "20"}  # fmt: skip
        text = " ".join(
            f"{token} {pairs.get(token, '')}" for token in tokens if token not in pairs.values()
        )
        assert facts(text.replace("_", " ")) == FACTS

    def test_case_commas_and_missing_spaces_do_not_matter(self):
        text = "VENT,Bag/Oxygen;HR:110 Sat=84%,temp36,2C 2.9kg 38wk\nflow 2l/min"
        assert facts(text) == {
            name: value
            for name, value in FACTS.items()
            if name not in ("colour", "response", "convulsions", "chest_moving")
        }
        assert left(text) == []


class TestNumbers:
    @pytest.mark.parametrize(
        ("text", "field", "value"),
        [
            ("hr 110", "heart_rate", 110), ("hr110", "heart_rate", 110),
            ("110 bpm", "heart_rate", 110), ("hr ١١٠", "heart_rate", 110),
            ("temp 36,2", "temperature_c", 36.2), ("36.2c", "temperature_c", 36.2),
            ("weight 2.9", "weight_g", 2900), ("weight 2,900", "weight_g", 2900),
            ("2900 g", "weight_g", 2900), ("2.9 kg", "weight_g", 2900),
            ("weeks 38+3", "gestation_weeks", 38.43), ("38 weeks", "gestation_weeks", 38),
            ("fio2 40", "fio2", 0.4), ("fio2 0.4", "fio2", 0.4),
            ("breath 40", "respiratory_rate", 40),
            ("sugar 45 mg", "glucose", 45), ("sat 84 %", "spo2", 84),
            ("flow 2 l", "oxygen_flow_l_min", 2),
        ],
    )  # fmt: skip
    def test_each_way_of_writing_one(self, text, field, value):
        assert facts(text)[field] == value
        assert left(text) == []

    @pytest.mark.parametrize(
        ("text", "named"),
        [
            ("hr 800", "hr 800"), ("temp 97", "temp 97"), ("hr 11 0", "hr 11 0"),
            ("temp 36 .2", "temp 36 .2"), ("flow .5", "flow .5"),
            ("weight 29 00", "weight 29 00"), ("2 900 g", "2 900 g"),
            ("hr 11,0", "hr 11,0"), ("hr 1k0", "hr 1k0"),
            ("110 hr 84 sat", "110 hr 84 sat"),
            ("sat 8%4", "sat 8 % 4"), ("hr -110", "hr -110"), ("sugar 45", "sugar 45"),
            ("sat 84.5", "sat 84.5"), ("110", "110"), ("weight", "weight"),
            ("bp 60/90", "bp 60/90"),
            ("hr 110 hr 84", "hr 110 hr 84"), ("born 25:70", "born 25:70"),
            ("pos 91 10", "pos 91 10"),
        ],
    )  # fmt: skip
    def test_what_cannot_be_told_is_named_whole_and_not_recorded(self, text, named):
        reading = read(text)
        assert (reading.babies, reading.mother, reading.position) == ({}, {}, None)
        assert [each.words for each in reading.not_read] == [named]

    def test_a_hint_says_what_is_possible(self):
        assert read("hr 800").not_read[0].hint == "0 to 350"
        assert read("sugar 45").not_read[0].hint == "mg or mmol after it"
        assert read("oxygen").not_read[0].hint == "bag oxygen, prongs or cpap"

    def test_times_are_told_as_minutes_or_by_the_clock(self):
        assert read("age 2 h").babies[None].born == Moment(minutes_ago=120)
        assert read("born 14:05").babies[None].born == Moment(clock=(14, 5))
        assert read("since 1350").babies[None].ventilated_since == Moment(clock=(13, 50))

    def test_a_place_is_told_in_degrees(self):
        assert read("pos -22.41,85.93").position == (-22.41, 85.93)
        assert read("pos 22,41s 85,93e").position == (-22.41, 85.93)

    def test_a_gauge_in_psi_is_kept_in_bar(self):
        assert read("gauge 1800 psi").oxygen_bar == pytest.approx(124.1)
        assert read("120 bar").oxygen_bar == 120


class TestWords:
    @pytest.mark.parametrize(
        ("text", "field", "value"),
        [
            ("bag air", "support", Support.BAG_AND_MASK_AIR),
            ("bag flow 2", "support", Support.BAG_AND_MASK_OXYGEN),
            ("bag", "breathing", Breathing.VENTILATED), ("no breath", "breathing", Breathing.NONE),
            ("breath ok", "breathing", Breathing.REGULAR),
            ("gasping", "breathing", Breathing.SLOW_OR_GASPING),
            ("no heartbeat", "heart_rate_band", HeartRateBand.NONE_DETECTED),
            ("hr<60", "heart_rate_band", HeartRateBand.UNDER_60),
            ("hr 60-99", "heart_rate_band", HeartRateBand.FROM_60_TO_99),
            ("blue hands", "colour", Colour.BLUE_HANDS_AND_FEET),
            ("limp", "response", Response.NONE),
            ("fits", "convulsions", True), ("fits no", "convulsions", False),
            ("pink no fits", "convulsions", False),
            ("ventilaetd", "breathing", Breathing.VENTILATED),
            ("gasing", "breathing", Breathing.SLOW_OR_GASPING), ("wieght 2900", "weight_g", 2900),
        ],
    )  # fmt: skip
    def test_each_way_of_saying_one(self, text, field, value):
        assert facts(text)[field] == value
        assert left(text) == []

    @pytest.mark.parametrize(
        "text",
        ["not pink", "pink not", "fits no breath", "breath bad", "breathing", "weak breath",
         "alone", "arrived", "left", "height 50", "breast 10", "not regular", "cord round neck"],
    )  # fmt: skip
    def test_a_doubt_is_never_read_as_a_fact(self, text):
        reading = read(text)
        assert set(chain(*(each.facts for each in reading.babies.values()))) <= {"response"}
        assert reading.alone is None
        assert reading.milestone == ""
        assert reading.not_read

    def test_one_sign_of_ventilation_is_enough_and_the_rest_is_named(self):
        assert facts("vent gasp")["breathing"] == Breathing.VENTILATED
        assert left("vent gasp") == ["gasp"]

    def test_a_mothers_number_is_never_a_babys(self):
        reading = read("mother bleeding hr 130")
        assert reading.babies == {}
        assert reading.mother == {"bleeding": "heavy"}
        assert reading.not_read[0].hint == "baby hr 130"

    def test_each_twin_has_its_own_facts(self):
        reading = read("twins baby 1 vent hr 90 baby 2 breath ok hr 140")
        assert reading.how_many == 2
        assert reading.babies[1].facts == {"breathing": "ventilated", "heart_rate": 90}
        assert reading.babies[2].facts == {"breathing": "regular", "heart_rate": 140}

    def test_words_about_what_an_sms_never_does_are_found(self):
        assert read("K7Q4 baby has died").grave == ("died",)
        assert read("cancel please").grave == ("cancel",)
        assert read("baby dried and warm").grave == ()

    @pytest.mark.parametrize(
        ("text", "milestone"),
        [("coming", "collecting"), ("At post.", "at_origin"), ("on the road", "on_the_road"),
         ("K7Q4 at unit", "arrived")],
    )  # fmt: skip
    def test_what_a_driver_says(self, text, milestone):
        assert read(text).milestone == milestone

    def test_a_code_is_found_wherever_it_stands(self):
        assert read("hr 120 k7q4").codes == ("K7Q4",)
        assert read("4h7d sat 90").codes == ("4H7D",)

    def test_no_word_means_two_things_and_no_slip_reaches_a_grave_one(self):
        for word in words.VOCABULARY:
            assert words.known_word(word) == word
        for word in ("dried", "tired", "bread", "breast", "height"):
            assert words.known_word(word) not in words.GRAVE


def accounted(text: str, reading: Reading) -> None:
    """Every word is used, a filler, the guess of a weight, or named."""
    named = " ".join(each.words for each in reading.not_read).split()
    passed = [t for t in tokens_of(text[:LONGEST_READ])
              if words.known_word(t) in words.FILLERS | words.GUESSES]  # fmt: skip
    there = Counter(chain(reading.used, named, passed))
    missing = Counter(tokens_of(text[:LONGEST_READ])) - there
    assert not missing, (text, missing)


PIECES = st.sampled_from(
    [*words.VOCABULARY, "110", "36.2", "2900", "38", "k7q4", "no", "<", "60", "%", "-", "1k0",
     "90/60", "0", "2", "baby 2", "\n", "🙂", "й", "x" * 40]
)  # fmt: skip


@given(st.one_of(st.text(max_size=200), st.lists(PIECES, max_size=14).map(" ".join)))
@example("no")
@example("fits no")
@example("\x00\ud800")
def test_whatever_is_sent_nothing_breaks_and_nothing_is_dropped(text):
    reading = read(text)
    accounted(text, reading)
    for baby in reading.babies.values():
        for name, value in baby.facts.items():
            if name in QUANTITIES:
                assert QUANTITIES[name].possible_low <= value <= QUANTITIES[name].possible_high


def test_the_rest_of_an_endless_text_is_named():
    assert read("hr 110 " + " " * LONGEST_READ + "vent").not_read[-1].words == "vent"


def values_in(reading: Reading) -> dict[str, float]:
    baby = reading.babies.get(None, BabyRead())
    born = {"age": baby.born.minutes_ago} if baby.born and baby.born.minutes_ago else {}
    numbers = {**baby.facts, **reading.mother, **born}
    return {
        name: float(value)
        for name, value in numbers.items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }


WHOLE_NUMBER = re.compile(r"\d[\d.,/:+]*\d|\d")
TYPED = string.ascii_lowercase + string.digits + " .,-/:;+%<\n"


def edits(text: str) -> set[str]:
    """Every text one character away: typed too much, too little, or wrong."""
    places = range(len(text) + 1)
    return {
        *(text[:at] + text[at + 1 :] for at in places[:-1]),
        *(text[:at] + each + text[at:] for at in places for each in TYPED),
        *(text[:at] + each + text[at + 1 :] for at in places[:-1] for each in TYPED),
    }


def test_no_slip_of_a_finger_shortens_or_joins_a_number():
    """After one wrong character each number recorded stands whole in the text, or none is."""
    text = "vent hr 110 sat 84 temp 36.2 weight 2900 weeks 38 flow 2 age 20 bp 90/60"
    before = values_in(read(text))
    tried = 0
    for edited in edits(text):
        typed = {
            float(part.replace(",", "."))
            for number in WHOLE_NUMBER.findall(edited)
            for part in re.split("[/]", number)
            if re.fullmatch(r"\d+([.,]\d+)?", part)
        }
        in_kilos = {round(value * 1000) for value in typed}
        hours_and_days = {value * unit for value in typed for unit in (60, 1440)}
        for name, value in values_in(read(edited)).items():
            tried += 1
            there = typed | (in_kilos if name == "weight_g" else set())
            there |= hours_and_days if name == "age" else set()
            clear = value in there or value == before.get(name)
            assert clear or re.search(r"\d\d\+\d", edited), (edited, name, value)
    assert tried > 10_000


SINGLE = [
    (name, value)
    for name, kind in (
        ("breathing", Breathing), ("heart_rate_band", HeartRateBand), ("colour", Colour),
        ("response", Response),
    )
    for value in (member.value for member in kind)
]  # fmt: skip


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "heart_rate": st.integers(0, 350),
            "spo2": st.integers(0, 100),
            "respiratory_rate": st.integers(0, 150),
            "temperature_c": st.integers(200, 450).map(lambda tenth: tenth / 10),
            "weight_g": st.integers(200, 8000),
            "gestation_weeks": st.integers(20, 46).map(float),
            "oxygen_flow_l_min": st.integers(0, 30).map(float),
            "convulsions": st.booleans(),
            "chest_moving": st.booleans(),
            "colour": st.sampled_from([each.value for each in Colour]),
            "response": st.sampled_from([each.value for each in Response]),
        },
    )
)
def test_what_is_read_back_is_read_the_same_again(told):
    text = " ".join(in_words(told)).replace("?", "")
    assert facts(text) == told


@pytest.mark.parametrize(("name", "value"), SINGLE)
def test_each_word_of_the_record_has_a_word_by_sms(name, value):
    assert facts(" ".join(in_words({name: value}))) == {name: value}


def test_what_is_unusual_is_read_back_with_a_question_mark():
    assert in_words({"heart_rate": 30, "spo2": 84}) == ["hr 30?", "sat 84"]
