"""A message that a voice can say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.spoken import letters, spoken


def said(text: str) -> str:
    return spoken(text, "A8YX")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "A8YX: newborn at Mirrow Heights, ventilated by hand. About 55-90 min away. Yes or no:",
            "A, 8, Y, X: newborn at Mirrow Heights, ventilated by hand. About 55 to 90 minutes "
            "away. Yes or no",
        ),
        ("Ring +12025550100.", "Ring 1, 2, 0, 2, 5, 5, 5, 0, 1, 0, 0."),
        ("A8YX-2 is cold", "A, 8, Y, X, 2 is cold"),
        ("Answer: https://x.example/a/b1/", "Answer"),
        ("on the road near -22.3512,86.0214. Ring", "on the road near . Ring"),
        ("NA8YX stays", "NA8YX stays"),
    ],
)
def test_what_is_written_is_read_as_a_person_would(text, expected):
    assert said(text) == expected


@given(st.text(max_size=80), st.sampled_from(["http://a.example/x", "https://b.example/a/1-2/"]))
def test_no_address_is_ever_spoken(text, address):
    assert "://" not in said(f"{text.replace(':', ' ')} {address}")


@given(st.from_regex(r"[A-Z0-9]{4}", fullmatch=True))
def test_spelling_loses_no_letter(code):
    assert letters(code).replace(", ", "") == code
