"""Every code has words, so that nobody ever reads a code."""

import inspect
from enum import StrEnum

import pytest

from referrals import labels
from referrals.calc import states, terms
from referrals.calc.status import quantity_of
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from transport.calc.stages import TransferStage
from transport.labels import STAGES

LISTS = [
    kind
    for module in (terms, states)
    for _, kind in inspect.getmembers(module, inspect.isclass)
    if issubclass(kind, StrEnum) and kind is not StrEnum
]


@pytest.mark.parametrize("kind", LISTS, ids=lambda kind: kind.__name__)
def test_every_code_has_words(kind):
    assert set(labels.LABELS[kind]) == set(kind)
    words = [labels.word(member) for member in kind]
    assert all(words)
    assert len(set(words)) == len(words)  # two codes never read alike


def test_every_stage_of_a_journey_has_words():
    assert set(STAGES) == set(TransferStage)


def test_every_fact_has_a_name():
    assert set(BABY_FACTS) | set(MOTHER_FACTS) <= set(labels.FIELDS)


def test_a_measured_fact_is_shown_with_its_unit():
    assert labels.fact_in_words("temperature_c", 36.4) == "Temperature: 36.4 °C"
    assert labels.value_in_words("spo2", None) == "not known"
    assert labels.value_in_words("chest_moving", False) == "no"
    assert quantity_of("temperature_c") in labels.FIELDS


def test_a_code_of_another_version_is_shown_as_it_is():
    assert labels.word_of(terms.DeclineReason, "no_roof") == "no roof"
