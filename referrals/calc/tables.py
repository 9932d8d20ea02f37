"""A table of values as people look it up: each line with its value and its source beside it."""

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class TableLine:
    """One rule or value. ``words`` are translated when shown; ``value`` is in the reader's words.

    ``raw`` is the same value whatever the language, for the version.
    """

    code: str
    words: str
    value: str
    raw: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Table:
    """A set of lines that is adopted as one. ``about`` says in a sentence what it is used for.

    With ``for_units`` it is shown to units and the desk alone.
    """

    code: str
    title: str
    about: str
    lines: tuple[TableLine, ...]
    for_units: bool = False

    @property
    def version(self) -> str:
        """A mark of all values and sources: another value is another version."""
        told = "\n".join("\t".join((each.code, each.raw, each.source)) for each in self.lines)
        return hashlib.sha256(told.encode()).hexdigest()[:10]
