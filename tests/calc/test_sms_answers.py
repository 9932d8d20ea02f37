"""The answer of a unit by SMS, and the length of what goes back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.sms import gsm
from referrals.calc.sms.answering import Answer, read_answer
from referrals.calc.terms import DeclineReason


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("yes 7KQ2AB", Answer(yes=True, codes=("7KQ2AB",))),
        ("YES, 7kq2ab.", Answer(yes=True, codes=("7KQ2AB",))),
        ("Yes 7KQ 2AB", Answer(yes=True, codes=("7KQ2AB",))),
        ("y K7Q4 7KQ2AB", Answer(yes=True, codes=("7KQ2AB",))),
        ("yes 7KQ2AB door Blue gate, left", Answer(yes=True, codes=("7KQ2AB",),
                                                   door="Blue gate, left")),
        ("no 7KQ2AB cot", Answer(yes=False, codes=("7KQ2AB",), reason=DeclineReason.NO_COT)),
        ("NO 7kq2ab no power", Answer(yes=False, codes=("7KQ2AB",), reason=DeclineReason.NO_POWER,
                                      not_read="no")),
        ("no cot", Answer(yes=False, reason=DeclineReason.NO_COT)),
        ("yes", Answer(yes=True)),
        ("yes we are ready", Answer(yes=True, not_read="are ready")),
        ("no 7KQ2AB cot staff", Answer(yes=False, codes=("7KQ2AB",))),
    ],
)  # fmt: skip
def test_a_yes_and_a_no_are_read_with_what_belongs_to_them(text, answer):
    assert read_answer(text) == answer


@pytest.mark.parametrize("text", ["", "baby", "can we say yes?", "7KQ2AB yes", "nope 7KQ2AB"])
def test_only_a_message_that_begins_so_is_an_answer(text):
    assert read_answer(text) is None


@given(st.text(max_size=200))
def test_whatever_follows_nothing_breaks(text):
    answer = read_answer(f"yes {text}")
    assert answer is not None
    assert answer.yes
    assert all(len(code) == 6 for code in answer.codes)


def test_a_text_is_measured_and_cut_as_a_phone_does():
    assert gsm.septets("abc€") == 5
    assert gsm.in_alphabet("naïve й") == "na?ve ?"
    cut = gsm.shortened_to("word " * 100, gsm.ONE_SMS)
    assert gsm.septets(cut) <= gsm.ONE_SMS
    assert cut.endswith("...")
    assert gsm.shortened_to("short", gsm.ONE_SMS) == "short"
