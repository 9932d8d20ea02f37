"""The hash chain of a timeline: what each Entry commits to, and how a chain is checked.

SHA-256 (FIPS 180-4) over canonical JSON: sorted keys, no spaces, UTF-8. Each Entry holds the hash
of the one before it in the same referral, so a changed, removed or inserted Entry breaks every
hash after it. A chain cannot see its own cut tail; heads kept elsewhere do that.

Identifying text is never in an Entry, only a commitment to it: HMAC-SHA256 (RFC 2104) under a
random key that is kept beside the text and destroyed with it, so that the text can be erased
and the chain still verifies.
"""

import hashlib
import hmac
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

GENESIS = "0" * 64


@dataclass(frozen=True, kw_only=True)
class Link:
    """One Entry as its hash sees it."""

    referral: str
    seq: int
    kind: str
    actor: str
    channel: str
    happened_at: datetime
    received_at: datetime
    corrected_at: datetime
    body: Mapping[str, Any]
    previous_hash: str


@dataclass(frozen=True)
class Fault:
    """Where and how a chain is broken."""

    referral: str
    seq: int
    sentence: str


def link_hash(link: Link) -> str:
    """The hash of an Entry, 64 hexadecimal digits."""
    content = {
        "referral": link.referral,
        "seq": link.seq,
        "kind": link.kind,
        "actor": link.actor,
        "channel": link.channel,
        "happened_at": _instant(link.happened_at),
        "received_at": _instant(link.received_at),
        "corrected_at": _instant(link.corrected_at),
        "body": link.body,
        "previous_hash": link.previous_hash,
    }
    canonical = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def commitment(key: bytes, text: str) -> str:
    """The keyed commitment to an identifying text, 64 hexadecimal digits."""
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()


def faults_in(links: Iterable[tuple[Link, str]]) -> list[Fault]:
    """Every fault of one referral's chain, given in order with the hash stored for each."""
    faults: list[Fault] = []
    expected_seq, expected_previous = 1, GENESIS
    for link, stored in links:
        if link.seq != expected_seq:
            faults.append(
                Fault(link.referral, link.seq, f"entry {expected_seq} is missing before this one")
            )
        if link.previous_hash != expected_previous:
            faults.append(
                Fault(link.referral, link.seq, "does not carry the hash of the entry before it")
            )
        if link_hash(link) != stored:
            faults.append(Fault(link.referral, link.seq, "its content does not match its hash"))
        expected_seq, expected_previous = link.seq + 1, stored
    return faults


def _instant(moment: datetime) -> str:
    return f"{moment.timestamp():.6f}"
