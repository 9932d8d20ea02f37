"""The timeline in words: each Entry as one sentence, old values of a correction beside the new."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from referrals.calc.terms import DeclineReason, Ending, EntryChannel
from referrals.labels import (
    FIELDS,
    fact_in_words,
    inside_a_sentence,
    value_in_words,
    word_of,
)
from referrals.models import Entry, PrivateText, Referral, Staff, Unit
from transport.models import Vehicle
from transport.pages.words import CLOSURE_CHANGES, CLOSURE_KINDS, MILESTONES_TOLD, word

Body = Mapping[str, Any]


@dataclass(frozen=True)
class Line:
    """One line of the timeline as the desk reads it. ``changes`` are (field, was, is)."""

    seq: int
    at: datetime
    received_at: datetime
    came_late: bool
    clock_was_off: bool
    who: str
    channel: str
    sentence: str
    said: tuple[str, ...]
    changes: tuple[tuple[str, str, str], ...]
    hash: str


IN_SENTENCE = ("given_by", "asked_by")
"""Private texts that stand in the sentence itself, not below it."""
LATE_SECONDS = 120
CLOCK_OFF_SECONDS = 300


def lines_of(referral: Referral) -> list[Line]:
    """The whole timeline, newest first."""
    entries = list(referral.entries.order_by("-seq"))
    book = _Book.of(referral, entries)
    return [_line(entry, book) for entry in entries]


@dataclass(frozen=True)
class _Book:
    """The names behind the codes of the entries, read once for all of them."""

    people: Mapping[str, str]
    places: Mapping[str, str]
    texts: Mapping[int, str]

    @classmethod
    def of(cls, referral: Referral, entries: Iterable[Entry]) -> "_Book":
        actors = {entry.actor for entry in entries}
        people = {staff.username: str(staff) for staff in Staff.objects.filter(username__in=actors)}
        district = referral.district
        units = Unit.objects.filter(site__district=district).select_related("site")
        places = {unit.code: str(unit) for unit in units}
        places |= dict(Vehicle.objects.filter(district=district).values_list("code", "name"))
        places |= dict(district.sites.values_list("code", "name"))
        texts = {text.pk: str(text) for text in PrivateText.objects.filter(referral=referral)}
        return cls(people, places, texts)

    def who(self, actor: str) -> str:
        if actor == "system":
            return _("the service")
        if actor.startswith("link:transfer:"):
            return _("the driver")
        if actor.startswith("link:"):
            return _("somebody without account")
        return self.people.get(actor, actor)

    def place(self, code: str | None) -> str:
        return self.places.get(code or "", code or _("nobody"))


def _line(entry: Entry, book: _Book) -> Line:
    late = (entry.received_at - entry.corrected_at).total_seconds()
    off = abs((entry.happened_at - entry.corrected_at).total_seconds())
    make = _SENTENCES.get(entry.kind)
    return Line(
        seq=entry.seq,
        at=entry.corrected_at,
        received_at=entry.received_at,
        came_late=late > LATE_SECONDS,
        clock_was_off=off > CLOCK_OFF_SECONDS,
        who=book.who(entry.actor),
        channel=word_of(EntryChannel, entry.channel),
        sentence=make(entry.body, book) if make else entry.kind.replace("_", " "),
        said=tuple(_said(entry.body, book)),
        changes=tuple(_changes(entry)),
        hash=entry.hash[:12],
    )


def _said(body: Body, book: _Book) -> Iterable[str]:
    """Texts kept apart from the chain; an erased one says so."""
    for role, value in body.items():
        if role not in IN_SENTENCE and isinstance(value, dict) and "commitment" in value:
            yield book.texts.get(value["text"], _("(erased)"))


def _changes(entry: Entry) -> Iterable[tuple[str, str, str]]:
    """The old value beside the new one; a first telling has no old value."""
    was, facts = entry.body.get("was"), entry.body.get("facts")
    if not isinstance(was, dict) or not isinstance(facts, dict):
        return
    for name in dict.fromkeys([*was, *facts]):
        if was.get(name) != facts.get(name) and was.get(name) not in (None, ""):
            before, after = value_in_words(name, was[name]), value_in_words(name, facts.get(name))
            yield str(FIELDS.get(name, name)), before, after


def _whose(body: Body) -> str:
    return _("mother") if body.get("mother") else _("baby %s") % body.get("baby", "?")


def _facts(body: Body) -> str:
    told = body.get("facts") or {}
    return ", ".join(fact_in_words(name, told[name]) for name in told)


def _observed(body: Body, book: _Book) -> str:
    return f"{_whose(body)}: {_facts(body) or _('a note')}"


def _corrected(body: Body, book: _Book) -> str:
    return _("corrected, %(whose)s: %(facts)s") % {"whose": _whose(body), "facts": _facts(body)}


def _checked(body: Body, book: _Book) -> str:
    bar = body.get("oxygen_bar")
    gauge = _(", oxygen gauge %g bar") % bar if bar is not None else ""
    stopped = _(", stopped on the road") if "stopped_because" in body else ""
    return _("check of %s") % _whose(body) + gauge + stopped


def _reconfirmed(body: Body, book: _Book) -> str:
    words = _("%s is still ready after its shift changed") % book.place(body.get("unit"))
    changed = body.get("changed") or ()
    if "entrance" in changed:
        words += _(", entrance now: %s") % body.get("entrance", "")
    return words + (_(", another person receives") if "receiver" in changed else "")


def _asked(body: Body, book: _Book) -> str:
    unit, plan = book.place(body.get("unit")), (body.get("shown") or {}).get("plan")
    if not plan:
        return _("%s asked") % unit
    onward = book.place(plan.get("onward_key"))
    return _("%(unit)s asked for a stop, then onward to %(onward)s") % {
        "unit": unit,
        "onward": onward,
    }


def _declined(body: Body, book: _Book) -> str:
    words = _("%(unit)s cannot take the baby: %(reason)s") % {
        "unit": book.place(body.get("unit")),
        "reason": inside_a_sentence(word_of(DeclineReason, body.get("reason", ""))),
    }
    return words + (_(" (after having accepted)") if body.get("after_acceptance") else "")


def _assigned(body: Body, book: _Book) -> str:
    words = _("%s sent") % book.place(body.get("vehicle"))
    instead = body.get("instead_of")
    return words + (_(" instead of %s") % book.place(instead) if instead else "")


def _taken_back(body: Body, book: _Book) -> str:
    vehicle = book.place(body.get("vehicle"))
    return (_("%s has broken down") if body.get("broken") else _("%s taken back")) % vehicle


def _milestone(body: Body, book: _Book) -> str:
    words = word(MILESTONES_TOLD, body.get("milestone", ""))
    late = "" if body.get("applied", True) else _(" (after the end of the journey: a late note)")
    return _("the vehicle %s") % words + late


def _roads_changed(body: Body, book: _Book) -> str:
    what = word(CLOSURE_KINDS, body.get("kind", ""))
    change = word(CLOSURE_CHANGES, body.get("change", ""))
    words = _("%(what)s %(change)s; ranked and estimated anew") % {"what": what, "change": change}
    return words + (_(" (this way passes it)") if body.get("touched") else "")


def _destination(body: Body, book: _Book) -> str:
    if not body.get("unit"):
        return _("no destination for now")
    return _("the journey goes to %s") % book.place(body["unit"])


def _handover(body: Body, book: _Book) -> str:
    side = _("giving") if body.get("side") == "giver" else _("receiving")
    words = _("handover of %(whose)s signed by the one %(side)s") % {
        "whose": _whose(body),
        "side": side,
    }
    return words + (_(", band read") if body.get("band_checked") else _(", band not read"))


def _ended(body: Body, book: _Book) -> str:
    words = f"{_whose(body)}: {word_of(Ending, body.get('ending', ''))}"
    if not body.get("band"):
        return words
    at = timezone.localtime(datetime.fromisoformat(body["ended_at"]))
    return _("%(words)s at %(at)s, band %(band)s") % {
        "words": words,
        "at": f"{at:%H:%M}",
        "band": body["band"],
    }


def _alert(body: Body, book: _Book) -> str:
    told = ", ".join(body.get("told") or ())
    about = body.get("kind", "").replace("_", " ")
    return _("told about '%(about)s': %(told)s") % {"about": about, "told": told or _("nobody yet")}


def _needs(body: Body, book: _Book) -> str:
    added, gone = len(body.get("added") or ()), len(body.get("gone") or ())
    return _("needs worked out: %(added)d new, %(gone)d no longer") % {"added": added, "gone": gone}


def _joined(body: Body, book: _Book) -> str:
    if "into" in body:
        return _("the same baby as %(code)s: it goes on as %(code)s") % {"code": body["into"]}
    return _("%s is the same baby; what was told there can be read here") % body.get("from", "")


def _treatment(body: Body, book: _Book) -> str:
    words = _("treatment given, %s") % _whose(body)
    if body.get("given_at"):
        at = timezone.localtime(datetime.fromisoformat(body["given_at"]))
        words += _(", at %s") % f"{at:%H:%M}"
    return words + _named(body, book, "given_by", _(", by %s"))


def _advice(body: Body, book: _Book) -> str:
    words = _("advice, read back") if body.get("read_back") else _("advice, not read back")
    words += _named(body, book, "asked_by", _(", asked by %s"))
    return words + _named(body, book, "given_by", _(", given by %s"))


def _named(body: Body, book: _Book, role: str, words: str) -> str:
    """Who did it, in the sentence; an erased name says so."""
    value = body.get(role)
    return words % book.texts.get(value["text"], _("(erased)")) if value else ""


def _about(text: str) -> str:
    return text.replace("_", " ")


_SENTENCES: dict[str, Callable[[Body, _Book], str]] = {
    "raised": lambda b, k: _("called for at %s") % k.place(b.get("site")),
    "baby_added": lambda b, k: _("another baby: %s") % _whose(b),
    "unit_asked": _asked,
    "accepted": lambda b, k: _("%s takes the baby") % k.place(b.get("unit")),
    "reconfirmed": _reconfirmed,
    "declined": _declined,
    "lapsed": lambda b, k: _("%s never answered") % k.place(b.get("unit")),
    "withdrawn": lambda b, k: (
        _("question to %(unit)s taken back: %(why)s")
        % {"unit": k.place(b.get("unit")), "why": b.get("why", "")}
    ),
    "ended": _ended,
    "ending_reversed": lambda b, k: _("ending of %s taken back") % _whose(b),
    "joined": _joined,
    "parted": lambda b, k: _("not the same baby as %s after all") % b.get("other", ""),
    "reopened": lambda b, k: _("open again"),
    "closed": lambda b, k: _("closed"),
    "observed": _observed,
    "corrected": _corrected,
    "described": _observed,
    "named": lambda b, k: _("name of %s kept") % _whose(b),
    "hands": lambda b, k: _("one person alone") if b.get("alone") else _("who does what was told"),
    "treatment_given": _treatment,
    "advice": _advice,
    "need_overridden": lambda b, k: _("a need was set aside"),
    "needs_derived": _needs,
    "outcome_told": lambda b, k: _("outcome told, %s") % _whose(b),
    "outcome_read": lambda b, k: _("the attendant has read how it went, %s") % _whose(b),
    "alert_raised": _alert,
    "alert_acknowledged": lambda b, k: _("taken over: %s") % _about(b.get("kind", "")),
    "alert_escalated": lambda b, k: (
        _("told again, step %(step)s: %(about)s")
        % {"step": b.get("step", 0) + 1, "about": _about(b.get("kind", ""))}
    ),
    "transfer_wanted": lambda b, k: _("a vehicle is wanted"),
    "transfer_assigned": _assigned,
    "transfer_handed_over": lambda b, k: _("the journey ended with the handover"),
    "transfer_stood_down": lambda b, k: _("the vehicle is stood down"),
    "vehicle_taken_back": _taken_back,
    "vehicle_ready": lambda b, k: (
        _("%s is ready again: escort home, cylinders filled, clean") % k.place(b.get("vehicle"))
    ),
    "milestone": _milestone,
    "milestone_withdrawn": lambda b, k: (
        _("taken back, it was a mistake: the vehicle %s")
        % word(MILESTONES_TOLD, b.get("milestone", ""))
    ),
    "sent_without_acceptance": lambda b, k: (
        _("sent toward %s, which has not accepted yet") % k.place(b.get("unit"))
    ),
    "destination": _destination,
    "roads_changed": _roads_changed,
    "checked": _checked,
    "checklist": lambda b, k: _("checklist answered: %d items") % len(b.get("answers") or ()),
    "handover_signed": _handover,
    "band_read": lambda b, k: _("band %s read before leaving") % b.get("band", "?"),
}
