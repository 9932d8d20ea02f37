"""``manage.py doctor``: would an alert reach a person tonight?"""

from typing import Any

from django.core.management.base import CommandParser

from referrals.checkup import Finding, Judgement, look
from referrals.management.answers import AnswerCommand, fault_found

_SIGNS = {Judgement.GOOD: "  good", Judgement.CAUTION: "  LOOK", Judgement.FAULT: " FAULT"}


class Command(AnswerCommand):
    """Look at everything an alert needs on its way to a person; nothing is sent or changed."""

    help = (
        "Look at database, broker, clock, disk, address, channels, ladders and settings, and say "
        "what is wrong, why it matters and how to mend it. Exit 1 if there is a fault."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Only the form of the answer."""
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Look, then answer."""
        found = []
        for finding in look():
            self.note(f"looked at: {finding.subject}")
            found.append(finding)
        faults = sum(finding.judgement is Judgement.FAULT for finding in found)
        body = {
            "faults": faults,
            "findings": [
                {
                    "subject": finding.subject,
                    "judgement": finding.judgement.value,
                    "found": finding.found,
                    "why": finding.why,
                    "mend": finding.mend,
                }
                for finding in found
            ],
        }
        self.answer(body, as_json=options["json"], text=_text(found, faults))
        if faults:
            raise fault_found()


def _text(found: list[Finding], faults: int) -> str:
    lines = []
    for finding in found:
        lines.append(f"{_SIGNS[finding.judgement]}  {finding.subject}: {finding.found}")
        if finding.judgement is not Judgement.GOOD:
            lines.append(f"          because {finding.why}")
            lines.append(f"          mend: {finding.mend}")
    lines.append(f"{faults} to mend." if faults else "No fault was found.")
    return "\n".join(lines)
