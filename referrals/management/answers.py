"""What the service's own commands share: the answer alone on stdout, and the exit codes.

Exit 0: done. Exit 1: a fault was found. Exit 2: bad input or usage.
"""

import difflib
import json
import re
from collections.abc import Iterable
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

_NUMBER_OR_PLACE = re.compile(r"-\.?\d\S*$")


class AnswerCommand(BaseCommand):
    """A command whose stdout is the answer and nothing else; the rest goes to stderr."""

    # The answer must come without a gateway, a base URL or even a database being set up.
    requires_system_checks: list[str] = []

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """A parser that takes ``-22.5,86.1`` for a place south of the equator, not an option."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser._negative_number_matcher = _NUMBER_OR_PLACE
        return parser

    def answer(self, body: Any, *, as_json: bool, text: str) -> None:
        """Write the answer, as one JSON document or as text."""
        self.stdout.write(json.dumps(body, ensure_ascii=False) if as_json else text)

    def note(self, sentence: str) -> None:
        """Say something beside the answer."""
        self.stderr.write(sentence)


def bad_input(sentence: str) -> CommandError:
    """The error to raise for input that cannot be used: exit 2."""
    return CommandError(sentence, returncode=2)


def bad_rows(faults: Iterable[object]) -> CommandError:
    """The error to raise for a file with faults: each on a line of its own, nothing was done."""
    return bad_input("\n".join(["nothing was done, because:", *map(str, faults)]))


def fault_found() -> SystemExit:
    """What to raise after the answer has named a fault: exit 1."""
    return SystemExit(1)


def similar(word: str, known: Iterable[str]) -> str:
    """Words that say which known ones look like the one asked for; empty if none does."""
    by_lower = {one.lower(): one for one in known}
    near = difflib.get_close_matches(word.lower(), by_lower, n=3, cutoff=0.5)
    return f" Similar: {', '.join(by_lower[one] for one in near)}." if near else ""
