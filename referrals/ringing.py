"""Everybody refused, or no vehicle at all: who rings whom, and what came of each call.

The calls are Entries and nothing else: what was tried is never changed and never lost.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from referrals import alerting, messages, timeline
from referrals.acting import By
from referrals.calc.terms import CameOf
from referrals.charge import put_in_charge
from referrals.models import Entry, PrivateText, Referral, Staff


@dataclass(frozen=True, kw_only=True)
class CallTold:
    """One call: whom (a key of the call list, as ``unit:KES-NB``), what came of it."""

    whom: str
    name: str
    came_of: CameOf
    words: str = ""


@dataclass(frozen=True)
class CallMade:
    """One call as it stands on the timeline."""

    at: datetime
    whom: str
    name: str
    came_of: CameOf
    words: str
    actor: str


def give_charge(by: By, referral: Referral, staff: Staff) -> Referral:
    """Somebody of the desk is responsible from now on, and is told of it by whoever else says so.

    Said twice it changes nothing.
    """
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        if put_in_charge(by, held, staff) and staff.username != by.actor:
            key = f"charge:{held.pk}:{held.head_seq}"
            alerting.tell_person(held, staff, by, "in_charge", key, messages.in_charge(held))
    return held


def log_call(by: By, referral: Referral, told: CallTold) -> Entry:
    """Write down a call and what came of it. The names of people stay outside the chain."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        body: dict[str, Any] = {
            "whom": told.whom,
            "callee": timeline.committed(timeline.keep_text(held, "rang", told.name)),
            "came_of": told.came_of.value,
        }
        if told.words:
            body["words"] = timeline.committed(timeline.keep_text(held, "rang", told.words))
        return timeline.append(held, "rang", by, body)


def calls_of(referral: Referral) -> list[CallMade]:
    """Every call written down, the newest first."""
    entries = list(referral.entries.filter(kind="rang").order_by("-seq"))
    texts = {text.pk: str(text) for text in PrivateText.objects.filter(referral=referral)}
    people = {
        staff.username: str(staff)
        for staff in Staff.objects.filter(username__in={entry.actor for entry in entries})
    }

    def said(entry: Entry, role: str) -> str:
        return texts.get(entry.body.get(role, {}).get("text"), "")

    return [
        CallMade(
            at=entry.corrected_at,
            whom=entry.body["whom"],
            name=said(entry, "callee"),
            came_of=CameOf(entry.body["came_of"]),
            words=said(entry, "words"),
            actor=people.get(entry.actor, entry.actor),
        )
        for entry in entries
    ]
