"""``manage.py verify_timeline``: are all timelines whole?"""

from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from referrals.calc.chain import Fault
from referrals.heads import read_heads
from referrals.management.answers import AnswerCommand, bad_input, fault_found, similar
from referrals.models import Referral
from referrals.verifying import check_timelines

SAY_EVERY = 1000


class Command(AnswerCommand):
    """Check the hash chain of every referral, and its head against the one kept outside."""

    help = "Verify the timelines of all referrals, or of those named. Exit 1 if one is broken."

    def add_arguments(self, parser: CommandParser) -> None:
        """Case codes, or none for all."""
        parser.add_argument("codes", nargs="*", metavar="CODE", help="case code of a referral")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Check one timeline after the other, then answer."""
        heads = read_heads(settings.HEADS_FILE)
        if not heads:
            self.note(f"no heads are kept in {settings.HEADS_FILE}: a cut tail cannot be seen")
        codes = [code.upper() for code in options["codes"]] or None
        for code in codes or []:
            _require_known(code, heads)
        referrals, entries, faults = 0, 0, list[Fault]()
        for checked in check_timelines(heads, codes):
            referrals, entries = referrals + 1, entries + checked.entries
            faults += checked.faults
            if referrals % SAY_EVERY == 0:
                self.note(f"{referrals} referrals checked")
        body = {
            "referrals_checked": referrals,
            "entries_checked": entries,
            "faults": [
                {"referral": fault.referral, "seq": fault.seq, "sentence": fault.sentence}
                for fault in faults
            ],
        }
        self.answer(body, as_json=options["json"], text=_text(referrals, entries, faults))
        if faults:
            raise fault_found()


def _require_known(code: str, heads: dict[str, tuple[int, str]]) -> None:
    if code in heads or Referral.objects.filter(code=code).exists():
        return
    known = similar(code, Referral.objects.values_list("code", flat=True))
    raise bad_input(f"there is no referral {code}.{known}")


def _text(referrals: int, entries: int, faults: list[Fault]) -> str:
    lines = [f"{referrals} referrals checked, {entries} entries checked."]
    lines += [f"{fault.referral}, entry {fault.seq}: {fault.sentence}" for fault in faults]
    lines.append(f"{len(faults)} faults found." if faults else "Every timeline is whole.")
    return "\n".join(lines)
