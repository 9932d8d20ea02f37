"""The timeline in words: each Entry as one sentence, old values of a correction beside the new."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from referrals.calc import wording
from referrals.calc.chest_steps import STEP_OF
from referrals.calc.score_tables import SCORES
from referrals.calc.scores import ScoreKind, named
from referrals.calc.spelled import spelled
from referrals.calc.terms import CameOf, DeclineReason, Ending, EntryChannel, OutcomeMoment
from referrals.labels import (
    FIELDS,
    TOLD_KINDS,
    fact_in_words,
    inside_a_sentence,
    value_in_words,
    word_of,
)
from referrals.models import Entry, PrivateText, Referral, Staff, Unit
from transport.models import Vehicle
from transport.pages.words import (
    CLOSURE_CHANGES,
    CLOSURE_KINDS,
    MEETING_TOLD,
    MILESTONES_TOLD,
    READY_STEPS_DONE,
    word,
)

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


IN_SENTENCE = ("given_by", "asked_by", "callee", "said_by", "escort", "examined_by")
"""Private texts that stand in the sentence itself, not below it."""
WAS = "_was"
"""Ends the name of a text that another one replaces."""
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

    def text(self, committed: Mapping[str, Any]) -> str:
        return self.texts.get(committed["text"], _("(erased)"))

    def who(self, actor: str) -> str:
        if actor == "system":
            return _("the service")
        if actor.startswith("link:transfer:"):
            return _("the driver")
        if actor.startswith("link:"):
            return _("somebody without account")
        if actor.startswith("phone:"):
            return _("the driver, by telephone")
        if actor.startswith("post:"):
            return self.place(actor.removeprefix("post:"))
        if actor.startswith("shared:"):
            return _("a phone that several people share")
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
        who=_author(entry, book),
        channel=word_of(EntryChannel, entry.channel),
        sentence=make(entry.body, book) if make else spelled(entry.kind),
        said=tuple(_said(entry.body, book)),
        changes=tuple(_changes(entry, book)),
        hash=entry.hash[:12],
    )


def _author(entry: Entry, book: _Book) -> str:
    """Who wrote it down, and who told it by voice."""
    return book.who(entry.actor) + _named(entry.body, book, "said_by", _(", told by %s"))


def _said(body: Body, book: _Book) -> Iterable[str]:
    """Texts kept apart from the chain; an erased one says so."""
    for role, value in body.items():
        beside = role.endswith(WAS) or f"{role}{WAS}" in body
        if role not in IN_SENTENCE and not beside and _is_text(value):
            yield book.text(value)


def _is_text(value: object) -> bool:
    return isinstance(value, dict) and "commitment" in value


def _changes(entry: Entry, book: _Book) -> Iterable[tuple[str, str, str]]:
    """The old value beside the new one; a first telling has no old value."""
    for role, before in entry.body.items():
        if role.endswith(WAS) and _is_text(before):
            after = entry.body.get(role.removesuffix(WAS))
            yield _("words"), book.text(before), book.text(after) if after else _("none")
    if "total_was" in entry.body and entry.body["total_was"] != entry.body.get("total"):
        yield _("total"), _total(entry.body["total_was"]), _total(entry.body.get("total"))
    was, facts = entry.body.get("was"), entry.body.get("facts")
    if not isinstance(was, dict) or not isinstance(facts, dict):
        return
    for name in dict.fromkeys([*was, *facts]):
        if was.get(name) != facts.get(name) and was.get(name) not in (None, ""):
            before, after = value_in_words(name, was[name]), value_in_words(name, facts.get(name))
            yield str(FIELDS.get(name, name)), before, after


def _total(total: int | None) -> str:
    return _("no number") if total is None else str(total)


def _whose(body: Body) -> str:
    return _("mother") if body.get("mother") else _("baby %s") % body.get("baby", "?")


def _facts(body: Body) -> str:
    told = body.get("facts") or {}
    return ", ".join(fact_in_words(name, told[name]) for name in told)


def _observed(body: Body, book: _Book) -> str:
    return f"{_whose(body)}: {_facts(body) or _('a note')}"


def _corrected(body: Body, book: _Book) -> str:
    if "score" in body:
        return _("corrected: %s") % _scored(body, book)
    if "what" in body:
        return _("corrected: %s") % TOLD_KINDS[body["what"]]
    return _("corrected, %(whose)s: %(facts)s") % {"whose": _whose(body), "facts": _facts(body)}


def _checked(body: Body, book: _Book) -> str:
    bar = body.get("oxygen_bar")
    gauge = _(", oxygen gauge %g bar") % bar if bar is not None else ""
    psi = body.get("oxygen_psi")
    gauge += _(", oxygen gauge %g psi") % psi if psi is not None else ""
    cylinder = body.get("cylinder")
    gauge += _(" (cylinder %s)") % cylinder if cylinder else ""
    stopped = _(", stopped on the road") if "stopped_because" in body else ""
    return _("check of %s") % _whose(body) + gauge + stopped


def _outcome_told(body: Body, book: _Book) -> str:
    if not body.get("moment"):
        return _("outcome told, %s") % _whose(body)
    return _("outcome told, %(whose)s: %(moment)s") % {
        "whose": _whose(body),
        "moment": inside_a_sentence(word_of(OutcomeMoment, body["moment"])),
    }


def _reconfirmed(body: Body, book: _Book) -> str:
    words = _("%s is still ready after its shift changed") % book.place(body.get("unit"))
    changed = body.get("changed") or ()
    if "entrance" in changed:
        words += _(", entrance now: %s") % body.get("entrance", "")
    return words + (_(", another person receives") if "receiver" in changed else "")


def _asked(body: Body, book: _Book) -> str:
    unit, plan = book.place(body.get("unit")), (body.get("shown") or {}).get("plan")
    if not plan:
        return _chosen(unit, (body.get("shown") or {}).get("passed_over") or [])
    onward = book.place(plan.get("onward_key"))
    return _("%(unit)s asked for a stop, then onward to %(onward)s") % {
        "unit": unit,
        "onward": onward,
    }


def _chosen(unit: str, passed_over: list[Body]) -> str:
    """Whom a person preferred to the first of the list is part of what happened."""
    if not passed_over:
        return _("%s asked") % unit
    return _("%(unit)s asked; before it in the list stood %(others)s") % {
        "unit": unit,
        "others": "; ".join(each["name"] for each in passed_over[:3]),
    }


def _cots_kept(body: Body, book: _Book) -> str:
    words = _("%(unit)s keeps cots for the babies: %(cots)d") % {
        "unit": book.place(body.get("unit")),
        "cots": body.get("cots", 0),
    }
    missing = body.get("missing")
    return words + (_(", missing: %d") % missing if missing else "")


def _declined(body: Body, book: _Book) -> str:
    words = _("%(unit)s cannot take the baby: %(reason)s") % {
        "unit": book.place(body.get("unit")),
        "reason": inside_a_sentence(word_of(DeclineReason, body.get("reason", ""))),
    }
    return words + (_(" (after having accepted)") if body.get("after_acceptance") else "")


def _assigned(body: Body, book: _Book) -> str:
    words = _("%s sent") % book.place(body.get("vehicle"))
    instead = body.get("instead_of")
    words += _(" instead of %s") % book.place(instead) if instead else ""
    proposed = body.get("proposed")
    words += _(" (proposed was %s)") % book.place(proposed) if _another(proposed, body) else ""
    return words + _named(body, book, "escort", _(", %s goes along"))


def _another(proposed: Any, body: Body) -> bool:
    return bool(proposed) and proposed != body.get("vehicle")


def _kept(body: Body, book: _Book) -> str:
    words = _("%s is kept for this journey") % book.place(body.get("vehicle"))
    proposed = body.get("proposed")
    return words + (
        _(" (proposed was %s)") % book.place(proposed) if _another(proposed, body) else ""
    )


def _step(body: Body, book: _Book) -> str:
    sentence = word(READY_STEPS_DONE, body.get("step", ""))
    return sentence % book.place(body.get("vehicle")) + _gauges(body)


def _taken_back(body: Body, book: _Book) -> str:
    vehicle = book.place(body.get("vehicle"))
    return (_("%s has broken down") if body.get("broken") else _("%s taken back")) % vehicle


def _milestone(body: Body, book: _Book) -> str:
    words = word(MILESTONES_TOLD, body.get("milestone", ""))
    late = "" if body.get("applied", True) else _(" (after the end of the journey: a late note)")
    return _("the vehicle %s") % words + late


def _meeting_set(body: Body, book: _Book) -> str:
    return _("%(vehicle)s is to meet them at %(site)s and take them on") % {
        "vehicle": book.place(body.get("vehicle")),
        "site": book.place(body.get("site")),
    }


def _meeting_reached(body: Body, book: _Book) -> str:
    words = word(MEETING_TOLD, body.get("what", ""))
    return _("taken back, it was a mistake: %s") % words if body.get("withdrawn") else words


def _meeting_off(body: Body, book: _Book) -> str:
    vehicle = book.place(body.get("vehicle"))
    return (
        _("no meeting: %s has broken down") if body.get("broken") else _("no meeting with %s")
    ) % vehicle


def _roads_changed(body: Body, book: _Book) -> str:
    what = word(CLOSURE_KINDS, body.get("kind", ""))
    change = word(CLOSURE_CHANGES, body.get("change", ""))
    words = _("%(what)s %(change)s; ranked and estimated anew") % {"what": what, "change": change}
    return words + (_(" (this way passes it)") if body.get("touched") else "")


def _destination(body: Body, book: _Book) -> str:
    if not body.get("unit"):
        return _("no destination for now")
    return _("the journey goes to %s") % book.place(body["unit"])


def _ready(body: Body, book: _Book) -> str:
    words = (
        _("%s is ready again: escort home, cylinders filled, clean")
        if body.get("filled", True)
        else _("%s is ready again: escort home, clean")
    )
    return words % book.place(body.get("vehicle")) + _gauges(body)


def _gauges(body: Body) -> str:
    read = [f"{label} {pressure:g}" for label, pressure in (body.get("gauges") or {}).items()]
    return _("; gauges: %s") % ", ".join(read) if read else ""


def _arrival_told(body: Body, book: _Book) -> str:
    early, late = (timezone.localtime(datetime.fromisoformat(body[p])) for p in ("p10", "p90"))
    return _("%(unit)s told when to expect the baby: %(early)s to %(late)s") % {
        "unit": book.place(body.get("unit")),
        "early": f"{early:%H:%M}",
        "late": f"{late:%H:%M}",
    }


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
    about = spelled(body.get("kind", ""))
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
    if body.get("decision"):
        words = _("a decision, read back") if body.get("read_back") else _("a decision")
        return words + _named(body, book, "given_by", _(", by %s"))
    words = _("advice, read back") if body.get("read_back") else _("advice, not read back")
    words += _named(body, book, "asked_by", _(", asked by %s"))
    return words + _named(body, book, "given_by", _(", given by %s"))


def _checklist(body: Body, book: _Book) -> str:
    told = {"count": len(body.get("answers") or ()), "version": body.get("version", 1)}
    return _("checklist answered, version %(version)s: %(count)d items") % told


def _chest_tried(body: Body, book: _Book) -> str:
    step = STEP_OF.get(body.get("step", ""))
    told = {"whose": _whose(body), "step": wording.words(step.words) if step else body.get("step")}
    if body.get("chest_moves"):
        return _("the chest moves, %(whose)s, after: %(step)s") % told
    return _("the chest does not move, %(whose)s, tried: %(step)s") % told


def _named(body: Body, book: _Book, role: str, words: str) -> str:
    """Who did it, in the sentence; an erased name says so."""
    value = body.get(role)
    return words % book.texts.get(value["text"], _("(erased)")) if value else ""


def _rang(body: Body, book: _Book) -> str:
    words = _("rang")
    words += _named(body, book, "callee", " %s")
    return f"{words}: {inside_a_sentence(word_of(CameOf, body.get('came_of', '')))}"


def _scored(body: Body, book: _Book) -> str:
    """A score as it was counted then: the total, or how many items were missing."""
    score = SCORES[ScoreKind(body["score"])]
    name = named(score, minute=body.get("minute"), assisted=body.get("help_given"))
    if body.get("total") is None:
        said = _("no number, items missing: %d") % len(body.get("missing") or ())
    else:
        said = str(body["total"])
    return _("%(whose)s: %(score)s: %(said)s") % {
        "whose": _whose(body),
        "score": name,
        "said": said,
    }


_SENTENCES: dict[str, Callable[[Body, _Book], str]] = {
    "raised": lambda b, k: _("called for at %s") % k.place(b.get("site")),
    "baby_added": lambda b, k: _("another baby: %s") % _whose(b),
    "cots_kept": _cots_kept,
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
    "scored": _scored,
    "described": _observed,
    "named": lambda b, k: _("name of %s kept") % _whose(b),
    "hands": lambda b, k: _("one person alone") if b.get("alone") else _("who does what was told"),
    "treatment_given": _treatment,
    "advice": _advice,
    "told_withdrawn": lambda b, k: _("taken back: %s") % TOLD_KINDS[b["what"]],
    "need_restored": lambda b, k: _("a need counts again that was set aside"),
    "need_overridden": lambda b, k: _("a need was set aside: %s") % spelled(b.get("rule", "")),
    "needs_derived": _needs,
    "outcome_told": _outcome_told,
    "outcome_read": lambda b, k: _("the attendant has read how it went, %s") % _whose(b),
    "alert_raised": _alert,
    "alert_acknowledged": lambda b, k: _("taken over: %s") % spelled(b.get("kind", "")),
    "alert_given_back": lambda b, k: _("given back: %s") % spelled(b.get("kind", "")),
    "alert_escalated": lambda b, k: (
        _("told again, step %(step)s: %(about)s")
        % {"step": b.get("step", 0) + 1, "about": spelled(b.get("kind", ""))}
    ),
    "transfer_wanted": lambda b, k: _("a vehicle is wanted"),
    "transfer_assigned": _assigned,
    "transfer_handed_over": lambda b, k: _("the journey ended with the handover"),
    "transfer_stood_down": lambda b, k: _("the vehicle is stood down"),
    "meeting_set": _meeting_set,
    "meeting_reached": _meeting_reached,
    "moved_over": lambda b, k: (
        _("mother, baby and escort changed vehicles at %s, seen by:") % k.place(b.get("site"))
    ),
    "moved_back": lambda b, k: _("they had not changed vehicles: that was a mistake"),
    "meeting_off": _meeting_off,
    "vehicle_taken_back": _taken_back,
    "vehicle_ready": _ready,
    "vehicle_kept": _kept,
    "vehicle_let_go": lambda b, k: (
        _("%s is not kept for this journey any more") % k.place(b.get("vehicle"))
    ),
    "vehicle_step": _step,
    "vehicle_step_undone": lambda b, k: _("taken back, it was a mistake: %s") % _step(b, k),
    "vehicle_not_ready": lambda b, k: (
        _("%s is not ready after all") % k.place(b.get("vehicle")) + _gauges(b)
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
    "arrival_told": _arrival_told,
    "roads_changed": _roads_changed,
    "checked": _checked,
    "checklist": _checklist,
    "left_all_the_same": lambda b, k: (
        _("they leave with %d of the list open") % len(b.get("open") or ())
    ),
    "chest_tried": _chest_tried,
    "examined": lambda b, k: (
        _("first full examination of %s") % _whose(b) + _named(b, k, "examined_by", _(", by %s"))
    ),
    "handover_signed": _handover,
    "signature_withdrawn": lambda b, k: _("signature taken back, handover of %s") % _whose(b),
    "escort_named": lambda b, k: (
        _("who travels with mother and baby") + _named(b, k, "escort", ": %s")
    ),
    "went_on": lambda b, k: _("left %s: on the road again") % k.place(b.get("unit")),
    "in_charge": lambda b, k: _("%s is responsible for finding a way") % k.who(b.get("staff", "")),
    "rang": _rang,
    "band_read": lambda b, k: _("band %s read before leaving") % b.get("band", "?"),
}
