"""The heads of all timelines, kept in a file outside the database.

A hash chain cannot see that its newest part was cut off. The sweep appends the head of every
timeline that grew, one JSON line each; ``verify_timeline`` compares.
"""

import json
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from referrals.models import Referral

_kept_here: dict[tuple[Path, str], int] = {}
"""What this process has written already; a second copy of a head does no harm, only takes room."""


def keep_heads(path: Path, referrals: Iterable[Referral], now: datetime) -> int:
    """Append the heads of these referrals that grew since this process last kept them."""
    grown = [
        referral
        for referral in referrals
        if _kept_here.get((path, referral.code), 0) < referral.head_seq
    ]
    lines = [
        json.dumps(
            {
                "referral": referral.code,
                "seq": referral.head_seq,
                "hash": referral.head_hash,
                "kept_at": now.isoformat(),
            }
        )
        for referral in grown
    ]
    if lines:
        with path.open("a") as file:
            # A crash may have left a torn last line; it must not swallow the next one.
            file.write("\n" + "\n".join(lines) + "\n")
    _kept_here.update({(path, referral.code): referral.head_seq for referral in grown})
    return len(lines)


def read_heads(path: Path) -> dict[str, tuple[int, str]]:
    """The newest head kept of each referral, as sequence and hash; a torn last line is passed."""
    heads: dict[str, tuple[int, str]] = {}
    if not path.exists():
        return heads
    for line in filter(None, path.read_text().splitlines()):
        try:
            record = json.loads(line)
        except ValueError:
            continue
        if record["seq"] >= heads.get(record["referral"], (0, ""))[0]:
            heads[record["referral"]] = (record["seq"], record["hash"])
    return heads
