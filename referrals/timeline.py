"""The timeline of a referral. Entries are appended here and nowhere else.

A verb of a lifecycle module holds the referral's row, changes what it changes, and appends the
Entry that says so, all in one transaction. The row held is what keeps the chain in one line.
"""

import json
import secrets
from collections.abc import Iterable
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction

from referrals.acting import By
from referrals.calc import chain
from referrals.models import Entry, PrivateText, Referral

BOOKKEEPING = ("needs_derived", "alert_raised", "alert_escalated", "alert_acknowledged",
               "alert_given_back")  # fmt: skip
"""Kinds of Entry that only follow from others; people read them in the whole timeline alone."""


def hold(referral_id: int) -> Referral:
    """The referral's row, locked until the transaction ends.

    Raises:
        Referral.DoesNotExist: when there is no such referral.
        RuntimeError: when called outside a transaction, where a lock would mean nothing.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a referral is held only inside a transaction")
    return (
        Referral.objects.select_for_update(of=("self",))
        .select_related("district", "origin")
        .get(pk=referral_id)
    )


def append(referral: Referral, kind: str, by: By, body: dict[str, Any] | None = None) -> Entry:
    """Append one Entry to the chain of a referral that the caller holds.

    ``body`` is plain JSON without identifying text; such text goes through ``keep_text`` and
    stands in the body as its commitment. Who told it by voice is added here, for every verb.
    """
    body = dict(body or {})
    if by.said_by and kind not in BOOKKEEPING:
        body["said_by"] = committed(_said_by(referral, by.said_by))
    content = json.loads(json.dumps(body, cls=DjangoJSONEncoder))
    link = chain.Link(
        referral=referral.code,
        seq=referral.head_seq + 1,
        kind=kind,
        actor=by.actor,
        channel=by.channel.value,
        happened_at=by.when.happened_at,
        received_at=by.when.received_at,
        corrected_at=by.when.corrected_at,
        body=content,
        previous_hash=referral.head_hash,
    )
    entry = Entry.objects.create(
        referral=referral,
        seq=link.seq,
        kind=kind,
        actor=link.actor,
        channel=link.channel,
        happened_at=link.happened_at,
        received_at=link.received_at,
        corrected_at=link.corrected_at,
        body=content,
        previous_hash=link.previous_hash,
        hash=chain.link_hash(link),
    )
    referral.head_seq, referral.head_hash = entry.seq, entry.hash
    referral.next_look_at = (
        by.received_at
        if referral.next_look_at is None
        else min(referral.next_look_at, by.received_at)
    )
    referral.save(update_fields=["head_seq", "head_hash", "next_look_at"])
    return entry


def keep_text(referral: Referral, kind: str, text: str) -> PrivateText:
    """Keep words that may name a person, apart from the timeline, under a key of their own."""
    return PrivateText.objects.create(
        referral=referral, kind=kind, text=text, key=secrets.token_bytes(32)
    )


def _said_by(referral: Referral, name: str) -> PrivateText:
    """The name of who told something by voice, kept once a referral and not once an Entry."""
    kept = referral.texts.filter(kind="said_by", text=name, erased_at=None).first()
    return kept or keep_text(referral, "said_by", name)


def committed(text: PrivateText) -> dict[str, Any]:
    """What stands in an Entry for a private text."""
    return {"text": text.pk, "commitment": chain.commitment(bytes(text.key), text.text)}


def links_of(referral: Referral) -> Iterable[tuple[chain.Link, str]]:
    """The chain of a referral as it is stored, in order, each with its stored hash."""
    for entry in referral.entries.order_by("seq").iterator(chunk_size=500):
        link = chain.Link(
            referral=referral.code,
            seq=entry.seq,
            kind=entry.kind,
            actor=entry.actor,
            channel=entry.channel,
            happened_at=entry.happened_at,
            received_at=entry.received_at,
            corrected_at=entry.corrected_at,
            body=entry.body,
            previous_hash=entry.previous_hash,
        )
        yield link, entry.hash


def faults_of(referral: Referral, kept_head: tuple[int, str] | None = None) -> list[chain.Fault]:
    """Every fault of a referral's timeline.

    The chain itself, the head stored on the row, the head kept outside the database
    (``kept_head``: sequence and hash), and the commitments to texts that were not erased.
    """
    stored = list(links_of(referral))
    faults = chain.faults_in(stored)
    hashes = {link.seq: stored_hash for link, stored_hash in stored}
    last = (stored[-1][0].seq, stored[-1][1]) if stored else (0, chain.GENESIS)
    if last != (referral.head_seq, referral.head_hash):
        faults.append(
            chain.Fault(referral.code, last[0], "the chain does not end at the head on its row")
        )
    if kept_head and hashes.get(kept_head[0]) != kept_head[1]:
        faults.append(
            chain.Fault(
                referral.code, kept_head[0], "the chain does not hold the head kept outside"
            )
        )
    return faults + _broken_commitments(referral, stored)


def _broken_commitments(
    referral: Referral, stored: list[tuple[chain.Link, str]]
) -> list[chain.Fault]:
    texts = {text.pk: text for text in referral.texts.filter(erased_at__isnull=True)}
    faults = []
    for link, _ in stored:
        for value in link.body.values():
            if not (isinstance(value, dict) and "commitment" in value):
                continue
            text = texts.get(value["text"])
            if text and chain.commitment(bytes(text.key), text.text) != value["commitment"]:
                faults.append(
                    chain.Fault(referral.code, link.seq, "a text differs from what was committed")
                )
    return faults
