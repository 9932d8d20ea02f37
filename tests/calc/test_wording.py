"""Sentences are translated before their places are filled, by whatever is installed."""

from collections.abc import Iterator

import pytest

from referrals.calc import wording
from referrals.calc.wording import counted, marked, words

FRENCH = {
    "%(unit)s is closed": "%(unit)s est fermé",
    "one cot": "un lit",
    "%(count)s cots": "%(count)s lits",
}


@pytest.fixture
def french() -> Iterator[None]:
    before = wording._translate, wording._translate_counted
    wording.install(FRENCH.__getitem__, lambda one, many, count: FRENCH[one if count < 2 else many])
    yield
    wording.install(*before)


def test_a_sentence_is_filled_in() -> None:
    assert words("%(unit)s is closed", unit="Inner Bay") == "Inner Bay is closed"


def test_a_percent_sign_stays_where_nothing_is_filled_in() -> None:
    assert words("95 % in range") == "95 % in range"


def test_the_form_follows_the_number() -> None:
    forms = [counted("one cot", "%(count)s cots", count) for count in (0, 1, 2)]
    assert forms == ["0 cots", "one cot", "2 cots"]


def test_the_sentence_is_translated_before_it_is_filled(french: None) -> None:
    assert words("%(unit)s is closed", unit="Inner Bay") == "Inner Bay est fermé"


def test_the_language_decides_which_form_a_number_takes(french: None) -> None:
    assert counted("one cot", "%(count)s cots", 0) == "un lit"


def test_a_constant_is_translated_when_it_is_shown(french: None) -> None:
    kept = marked("%(unit)s is closed")
    assert (kept, words(kept, unit="X")) == ("%(unit)s is closed", "X est fermé")
