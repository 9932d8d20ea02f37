"""A language of our own: every sentence of the catalogue in wide letters, all else as it was.

What a page shows in plain letters then is data (names, codes) or was never given to the catalogue.
"""

import ast
import re
from collections.abc import Collection, Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.utils import translation
from django.utils.translation import trans_real
from django.utils.translation.template import templatize

from referrals.management.commands import makemessages

PACKAGES = [Path(__file__).parents[1] / name for name in ("referrals", "transport")]
FUNCTIONS = {
    *("_", "gettext", "gettext_lazy", "ngettext", "ngettext_lazy"),
    *(keyword.partition(":")[0] for keyword in makemessages.KEYWORDS),
}
_QUOTED = r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\""
IN_TEMPLATES = re.compile(rf"(?:n?gettext|_)\((?:[^()'\"]|{_QUOTED})*\)")

KEPT = re.compile(
    r"%\(\w+\)[#0 +-]*[\d.]*[a-zA-Z]|%[#0+-]*[\d.]*[sdgrf]|%%|\{[^{}]*\}|<[^<>]*>|&\w+;"
)
"""Places and markup, which a translator must leave as they are."""

WORD = re.compile(r"(?<![\w@.+-])[A-Za-z]{2,}(?![\w@])")
"""A run of plain letters; with a digit or a point in it, it is a code, an address or a file."""

ADDRESS = re.compile(r"https?://\S+")

READ_ALOUD = ("alt", "aria-label", "placeholder", "title")
"""Attributes that people read or hear."""


SAID_LATER = {
    f"data-{name}"
    for name in (
        "on",
        "off",
        "text",
        "never",
        "now",
        "minutes",
        "queued",
        "denied",
        "live",
        "seconds",
    )
}
"""Attributes from which scripts take what they show."""


def wide(sentence: str) -> str:
    """A sentence as its translation: 'Ring %(name)s' is 'Ｒｉｎｇ %(name)s'."""
    parts, end = [], 0
    for kept in KEPT.finditer(sentence):
        parts += [_wide_letters(sentence[end : kept.start()]), kept.group()]
        end = kept.end()
    return "".join([*parts, _wide_letters(sentence[end:])])


def _wide_letters(text: str) -> str:
    return "".join(
        chr(ord(letter) + 0xFEE0) if letter.isascii() and letter.isalpha() else letter
        for letter in text
    )


def speak(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Let everything that asks Django for a translation get the wide one; what is asked is told."""
    asked: set[str] = set()

    def one(text: str) -> str:
        asked.add(str(text))
        return wide(str(text))

    def counted(single: str, many: str, number: float) -> str:
        asked.add(str(single))
        return wide(str(single if number == 1 else many))

    monkeypatch.setattr(translation._trans, "gettext", one)
    monkeypatch.setattr(translation._trans, "ngettext", counted)
    monkeypatch.setattr(translation._trans, "pgettext", lambda context, text: one(text))
    monkeypatch.setattr(
        translation._trans, "npgettext", lambda context, single, many, n: counted(single, many, n)
    )
    return asked


def catalogue() -> set[str]:
    """Every sentence that ``manage.py makemessages`` finds, read here without its tools."""
    found: set[str] = set()
    for package in PACKAGES:
        for path in package.rglob("*.py"):
            found.update(literals(path.read_text(), FUNCTIONS))
        for path in package.rglob("*.html"):
            for call in IN_TEMPLATES.findall(templatize(path.read_text())):
                found.update(literals(call, FUNCTIONS))
    return found


def literals(source: str, functions: Collection[str]) -> Iterator[str]:
    """The texts given to some functions."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and name_of(node) in functions:
            for told in node.args:
                if isinstance(told, ast.Constant) and isinstance(told.value, str):
                    yield told.value


def name_of(call: ast.Call) -> str:
    """The name by which a function is called, with or without its module."""
    return getattr(call.func, "id", "") or getattr(call.func, "attr", "")


def of_a_library(sentence: str) -> bool:
    """Whether Django or another library brings its own translation of a sentence."""
    known = trans_real.translation("fr")._catalog
    return sentence in known or (sentence, 0) in known


class _Read(HTMLParser):
    """Everything on a page that somebody reads or hears."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style"):
            self._silent += 1
        self.texts += [
            value
            for name, value in attrs
            if value and (name in READ_ALOUD or (name in SAID_LATER and " " in value))
        ]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._silent -= 1

    def handle_data(self, data: str) -> None:
        if not self._silent and data.strip():
            self.texts.append(data.strip())


def texts_of(html: str) -> list[str]:
    """The texts of a page, those in its attributes too."""
    reader = _Read()
    reader.feed(html)
    return reader.texts


def plain_words(texts: Iterable[str], data: set[str]) -> dict[str, str]:
    """The words that are neither wide nor data, each with a text in which it stands."""
    return {
        word: text
        for text in texts
        for word in WORD.findall(ADDRESS.sub("", text))
        if word.lower() not in data
    }


def words_in(texts: Iterable[str]) -> set[str]:
    """The plain words of what is data, in small letters."""
    return {word.lower() for text in texts for word in re.findall(r"[A-Za-z]{2,}", text)}
