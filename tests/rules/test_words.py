"""What people are told is given to the catalogue as one whole sentence, where it is written."""

import ast
import re
from collections.abc import Iterator

import pytest

from referrals.calc.need_rules import MOTHER_RULES, RULES
from referrals.calc.spelled import SPELLED, plain
from referrals.calc.states import OfferStage, ReferralStage
from referrals.calc.terms import Capability, DeclineReason, Ending
from tests import pseudo
from transport.calc import spelled as of_journeys
from transport.calc.stages import TransferStage

SAYING: dict[str, tuple[int | str, ...]] = {
    "NotPossible": (0,),
    "TooLate": (0,),
    "InvalidLink": (0,),
    "LinkOver": (0,),
    "ValidationError": (0,),
    "UnknownFact": (1,),
    "Refused": (0,),
    "TryLater": (0,),
    "InvalidCode": (0,),
    "InvalidPlace": (0,),
    "NotAClockTime": (0,),
    "Reasons": (0, 1, "on_its_side", "against"),
    "Concern": ("sentence",),
    "Text": ("sentence", "message"),
    "settle": (1,),
    "Action": (1, "label"),
    "PermissionDenied": (0,),
}
"""Where a sentence stands among the arguments of what carries it to a person."""


def _plain_texts(node: ast.AST) -> Iterator[str]:
    """Texts with letters below a node that no function of the catalogue has been given."""
    if isinstance(node, ast.Call) and pseudo.name_of(node) in pseudo.FUNCTIONS:
        return
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        if re.search("[A-Za-z]", node.value):
            yield node.value
        return
    for name, field in ast.iter_fields(node):
        if name in ("slice", "keys", "keywords", "format_spec"):
            continue
        for inner in field if isinstance(field, list) else [field]:
            if isinstance(inner, ast.AST):
                yield from _plain_texts(inner)


def _told(call: ast.Call) -> Iterator[ast.AST]:
    for place in SAYING.get(pseudo.name_of(call), ()):
        if isinstance(place, int) and place < len(call.args):
            yield call.args[place]
        yield from (told.value for told in call.keywords if told.arg == place)


def untold_to_the_catalogue(source: str) -> list[str]:
    """Sentences that reach people and no translator."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    return [text for call in calls for told in _told(call) for text in _plain_texts(told)]


def put_together(source: str) -> list[int]:
    """Lines where a sentence is put together before it is looked up, so that nobody finds it."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and pseudo.name_of(node) in pseudo.FUNCTIONS
        and node.args
        and isinstance(node.args[0], ast.JoinedStr | ast.BinOp)
    ]


SOURCES = [path for package in pseudo.PACKAGES for path in sorted(package.rglob("*.py"))]


def test_nothing_is_told_to_people_that_no_translator_sees() -> None:
    found = {str(path): untold_to_the_catalogue(path.read_text()) for path in SOURCES}
    assert {path: texts for path, texts in found.items() if texts} == {}


def test_no_sentence_is_put_together_before_it_is_looked_up() -> None:
    found = {str(path): put_together(path.read_text()) for path in SOURCES}
    assert {path: lines for path, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "source",
    [
        'raise NotPossible("The journey has ended.", code="closed")',
        'raise NotPossible(f"{code} is closed.")',
        'Concern(sentence="Ring them." if late else words("No."), key="x")',
        'alerting.settle(rows, "it is over", by)',
        'Reasons(against=("no cot free",))',
    ],
)
def test_the_rule_finds_a_plain_sentence(source: str) -> None:
    assert untold_to_the_catalogue(source)


@pytest.mark.parametrize(
    "source",
    [
        'raise NotPossible(words("%(code)s is closed.", code=code), code="closed")',
        'raise ValidationError(_("%s is not a number.") % told["weight"])',
        'TryLater(f"{kind}: {error}")',
    ],
)
def test_the_rule_leaves_a_marked_sentence_alone(source: str) -> None:
    assert untold_to_the_catalogue(source) == []


def test_a_sentence_put_together_is_found() -> None:
    assert put_together('x = 1\nwords(f"{unit} is closed")\n_("a" + unit)') == [2, 3]


def test_every_code_that_a_sentence_may_hold_is_in_the_catalogue() -> None:
    kinds = (ReferralStage, OfferStage, DeclineReason, Ending, Capability, TransferStage)
    codes = {plain(member.value) for kind in kinds for member in kind}
    codes |= {plain(rule.code) for rule in (*RULES, *MOTHER_RULES)}
    assert codes <= SPELLED | of_journeys.SPELLED


def other_names(source: str) -> list[str]:
    """Names under which the functions of the catalogue are hidden from the tool that reads it."""
    return [
        name.asname
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom)
        for name in node.names
        if name.name in pseudo.FUNCTIONS and name.asname and name.asname not in pseudo.FUNCTIONS
    ]


def test_no_function_of_the_catalogue_goes_by_a_name_that_is_not_looked_for() -> None:
    assert other_names("from django.utils.translation import gettext_lazy as later") == ["later"]
    assert [name for path in SOURCES for name in other_names(path.read_text())] == []
