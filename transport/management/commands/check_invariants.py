"""``manage.py check_invariants``: does everything hold that must always hold?"""

import math
from typing import Any

from django.core.management.base import CommandParser

from referrals.management.answers import AnswerCommand, bad_input, fault_found
from transport.invariants import LOOKS, moment, violations


class Command(AnswerCommand):
    """Look at the whole database, read-only, beside the running service."""

    help = "Check what must hold at every moment. Changes nothing. Exit 1 if something does not."

    def add_arguments(self, parser: CommandParser) -> None:
        """How late something may be."""
        parser.add_argument("--grace", type=float, default=2.0, metavar="MINUTES")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Look, and name every violation in a sentence."""
        grace = options["grace"]
        if not 0 <= grace < math.inf:
            raise bad_input(f"--grace must be minutes from 0 up, not {grace}")
        if not moment(grace).sweep_lives:
            self.note("no sweep finished in the last 60 s: what is overdue is not counted")
        found = list(violations(grace))
        body = {
            "checked": list(LOOKS),
            "violations": [{"invariant": one.invariant, "sentence": one.sentence} for one in found],
        }
        lines = [one.sentence for one in found]
        lines.append(f"{len(found)} violations." if found else f"All {len(LOOKS)} invariants hold.")
        self.answer(body, as_json=options["json"], text="\n".join(lines))
        if found:
            raise fault_found()
