"""Codes that survive being read aloud, typed in a hurry and written on a band."""

import random
import re
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.codes import (
    ALPHABET,
    ONE_TIME_LENGTH,
    InvalidCode,
    make_code,
    normalise_code,
    one_time_code,
)

seeds = st.integers(min_value=0, max_value=2**32)
lengths = st.integers(min_value=4, max_value=8)


def test_the_alphabet_leaves_out_what_is_mistaken_for_something_else() -> None:
    assert not set(ALPHABET) & set("0O1IL5S")
    assert len(set(ALPHABET)) == len(ALPHABET) == 29


@given(seeds, lengths)
def test_a_made_code_is_its_own_normal_form(seed: int, length: int) -> None:
    code = make_code(random.Random(seed), length)
    assert len(code) == length
    assert normalise_code(code) == code


@given(seeds, st.sampled_from([" ", "-", "–", "\u00a0", "\u200b", ""]))
def test_case_spaces_and_hyphens_do_not_matter(seed: int, between: str) -> None:
    code = make_code(random.Random(seed))
    assert normalise_code(f" {between.join(code.lower())} ") == code


def test_the_same_seed_makes_the_same_code() -> None:
    assert make_code(random.Random(7)) == make_code(random.Random(7))


@given(seeds, lengths)
def test_a_made_code_is_no_number_measurement_or_word(seed: int, length: int) -> None:
    code = make_code(random.Random(seed), length)
    assert not re.fullmatch(r"\d+|[A-Z]+|[A-Z]+\d+|\d+[A-Z]+|\d+E\d+", code)


@pytest.mark.parametrize("text", ["2346", "HEAT", "W2346", "234G", "2E34", "88-92"])
def test_what_reads_as_something_else_is_not_a_code(text: str) -> None:
    with pytest.raises(InvalidCode):
        normalise_code(text)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "4 to 8"),
        ("K7Q", "4 to 8"),
        ("K7Q4K7Q4K", "4 to 8"),
        ("KOQ4", "never hold O"),
        ("K7Q5", "never hold 5"),
        ("K7Q4?", r"never hold \?"),
        ("7777", "mixed"),
    ],
)
def test_a_refusal_repeats_the_text_and_says_why(text: str, reason: str) -> None:
    with pytest.raises(InvalidCode, match=f"^'{re.escape(text)}'.*{reason}"):
        normalise_code(text)


@given(st.text(max_size=12))
def test_any_text_is_a_code_or_refused_and_nothing_else(text: str) -> None:
    try:
        code = normalise_code(text)
    except InvalidCode:
        return
    assert set(code) <= set(ALPHABET)
    assert normalise_code(code) == code


def test_digits_of_other_scripts_and_wide_letters_are_understood() -> None:
    assert normalise_code("K٧Q٤") == normalise_code("Ｋ７Ｑ４") == "K7Q4"


@given(seeds)
def test_a_one_time_code_has_six_characters_and_can_be_typed_back(seed: int) -> None:
    code = one_time_code(random.Random(seed).randbytes)
    assert len(code) == ONE_TIME_LENGTH == 6
    assert normalise_code(code.lower()) == code


def test_bytes_that_would_favour_some_characters_are_not_used() -> None:
    """256 is no multiple of 29: bytes from 232 on are thrown away, or A to Z would come oftener."""
    drawn = count()

    def unfair_then_fair(size: int) -> bytes:
        return bytes([255] * size if next(drawn) == 0 else [0, 28, 1, 27, 232, 2, 26, *[3] * size])

    assert one_time_code(unfair_then_fair) == "A9B8C7"


@pytest.mark.parametrize("length", [0, 3, 9])
def test_a_length_outside_the_limits_is_refused(length: int) -> None:
    with pytest.raises(ValueError, match="4 to 8"):
        make_code(random.Random(1), length)
