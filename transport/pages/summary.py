"""The summary of one baby for whoever takes over: on one screen and on one page of paper.

Its parts follow the order in which a handover is spoken: situation, background, assessment,
recommendation (SBAR; WHO, Patient safety solutions, number 3, 2007; value from memory). It
says what was told and worked out, each with its time or source, and never what to do to a baby.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from referrals.calc.status import summary_in_words
from referrals.calc.terms import Capability, ConditionOnArrival, Urgency
from referrals.calc.thermal import classes_in_words, classes_of
from referrals.calc.wording import words
from referrals.examining import standing_examination
from referrals.labels import FIELDS, fact_in_words, inside_a_sentence, value_in_words, word_of
from referrals.models import Baby, Referral
from referrals.reading import assess, baby_status, known_facts
from transport.models import Handover, Transfer
from transport.oxygen_ahead import oxygen_plan
from transport.pages.breaths import tried_lines
from transport.pages.happening import Between, arrival, missing_words, need_lines, newest_transfer

MOST_ROWS = 5
"""Of each kind of row the newest are on the page; the others are counted, never left out unsaid."""

MOST_CHARACTERS = 220
"""Of each text somebody wrote, so that everything stays on one page."""

MEASURED = (
    "breathing", "heart_rate", "heart_rate_band", "spo2", "temperature_c", "respiratory_rate",
    "oxygen_flow_l_min", "fio2", "glucose",
)  # fmt: skip
"""What the table of readings shows, in this order."""


@dataclass(frozen=True)
class Line:
    """One line: what it is about, what is known, and where from."""

    about: str
    text: str
    source: str = ""


@dataclass(frozen=True)
class Part:
    """One part of the spoken order with its lines."""

    code: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class ReadingRow:
    """One reading: when, by whom, and what was seen."""

    at: datetime
    by: str
    text: str


@dataclass(frozen=True)
class Summary:
    """Everything on the page. ``address`` is the path of the live record."""

    baby: str
    referral: str
    made_at: datetime
    address: str
    parts: tuple[Part, ...]
    readings: tuple[ReadingRow, ...]
    earlier_readings: int
    to_ring: tuple[Line, ...]
    caution: str


def summary_of(baby: Baby, now: datetime) -> Summary:
    """The summary of one baby as it stands now.

    The caller has made sure that whoever reads it may see the referral.
    """
    referral = baby.referral
    transfer = newest_transfer(referral)
    rows = [row for row in baby.observations.standing() if _measured(row.facts())]
    newest = rows[::-1][:MOST_ROWS]
    return Summary(
        baby=baby.code,
        referral=referral.code,
        made_at=now,
        address=f"/c/{referral.code}/",
        parts=(
            Part("situation", _("Situation"), tuple(_situation(baby, transfer, now))),
            Part("background", _("Background"), tuple(_background(baby))),
            Part("assessment", _("Assessment"), tuple(_assessment(baby, now))),
            Part("recommendation", _("Recommendation"), tuple(_asked(baby, transfer, now))),
        ),
        readings=tuple(
            ReadingRow(row.observed_at, row.observed_by, _measured(row.facts())) for row in newest
        ),
        earlier_readings=len(rows) - len(newest),
        to_ring=tuple(_to_ring(referral)),
        caution=_(
            "What was told may be old or wrong: look at the baby and ask who brings it. Local "
            "protocol and the clinician in charge come first."
        ),
    )


def _situation(baby: Baby, transfer: Transfer | None, now: datetime) -> Iterator[Line]:
    status = baby_status(baby, now)
    yield Line(_("Now"), summary_in_words(status))
    if not baby.ending:
        yield Line(_("Urgency"), word_of(Urgency, baby.referral.urgency))
    if baby.ventilated_since and status.minutes_ventilated is not None:
        yield Line(
            _("Ventilated"),
            _("since %(at)s, %(minutes)d min")
            % {"at": _at(baby.ventilated_since), "minutes": status.minutes_ventilated},
        )
    referral = baby.referral
    hands = (
        (_("ventilates"), referral.ventilates),
        (_("can relieve"), referral.relieves),
        (_("reports"), referral.reports),
    )
    told = [f"{role}: {name}" for role, name in hands if name]
    if told:
        yield Line(_("Whose hands"), "; ".join(told))
    if transfer and transfer.arrived_at:
        yield Line(_("Arrived"), _at(transfer.arrived_at))
    elif between := arrival(transfer, now):
        yield Line(_("Expected"), _between(between))
    handover = _handover(baby)
    if handover and handover.is_signed:
        yield Line(_("Handed over"), _handed_over(handover))


def _background(baby: Baby) -> Iterator[Line]:
    referral = baby.referral
    yield Line(
        _("Help called"),
        _("%(site)s, %(at)s") % {"site": referral.origin, "at": _at(referral.raised_at)},
    )
    yield Line(_("Born"), _at(baby.born_at) if baby.born_at else _("the time of birth is not told"))
    known = known_facts(baby.observations.all())
    weight = known.get("weight_g", (baby.weight_g, None))[0]
    guessed = f" ({_('a guess')})" if weight and baby.weight_guessed else ""
    yield Line(_name("weight_g"), f"{value_in_words('weight_g', weight)}{guessed}")
    weeks = known.get("gestation_weeks", (baby.gestation_weeks, None))[0]
    yield Line(_name("gestation_weeks"), value_in_words("gestation_weeks", weeks))
    yield Line(_name("sex"), value_in_words("sex", baby.sex))
    yield from _mother(referral)
    given = referral.treatments.standing().select_related("told", "baby").order_by("pk")
    yield from _newest(
        _("Given, as told"),
        [
            _told(row.told, row.given_by, row.given_at)
            for row in given
            if row.baby_id in (None, baby.pk)
        ],
    )
    advice = referral.advice.standing().select_related("text").order_by("pk")
    yield from _newest(
        _("Advice and decisions"), [f"{row.given_by}: {_short(row.text)}" for row in advice]
    )
    yield from _newest(
        _("Tried so that the chest moves"),
        [
            f"{_at(one.at)} {words(one.words)} "
            + (_("The chest moved.") if one.moves else _("The chest did not move."))
            for one in tried_lines(baby)
        ],
    )


def _mother(referral: Referral) -> Iterator[Line]:
    mother = getattr(referral, "mother", None)
    if mother is None:
        return
    known = known_facts(mother.observations.all())
    told = [fact_in_words(name, value) for name, (value, _when) in known.items()]
    if mother.age_years is not None:
        told.append(fact_in_words("age_years", mother.age_years))
    if mother.travels is False:
        told.append(_("does not travel with the baby"))
    yield Line(_("Mother"), "; ".join(told) or _("nothing told yet"))


def _assessment(baby: Baby, now: datetime) -> Iterator[Line]:
    referral = baby.referral
    assessment = assess(referral, now)
    for need in need_lines(referral, assessment, now):
        if need.row is None or not need.row.overridden_by:
            yield Line(_("Need"), words(need.words), words(need.source))
        else:
            yield Line(
                _("Set aside"),
                _("%(need)s (%(who)s: %(why)s)")
                % {
                    "need": words(need.words),
                    "who": need.row.overridden_by,
                    "why": _short(need.row.override_reason),
                },
            )
    if missing := missing_words(assessment):
        yield Line(_("Would change this if it were known"), ", ".join(missing))
    celsius, at = known_facts(baby.observations.all()).get("temperature_c", (None, None))
    if celsius is not None and at is not None and classes_of(celsius):
        yield Line(
            _name("temperature_c"),
            _("%(value)s at %(at)s: %(classes)s")
            % {
                "value": value_in_words("temperature_c", celsius),
                "at": _at(at),
                "classes": classes_in_words(celsius),
            },
        )
    scores = baby.scores.standing().order_by("pk")
    yield from _newest(_("Score"), [f"{_at(row.scored_at)} {row.in_words()}" for row in scores])


def _asked(baby: Baby, transfer: Transfer | None, now: datetime) -> Iterator[Line]:
    if not baby.ending:
        care = [
            inside_a_sentence(word_of(Capability, each))
            for each in sorted(assess(baby.referral, now).capabilities)
        ]
        yield Line(_("A cot with"), ", ".join(care) or _("nothing beyond warmth and watching"))
    live = transfer if transfer and transfer.is_live and not baby.ending else None
    if live and (plan := oxygen_plan(live, now)):
        yield Line(
            _("Oxygen"),
            _("about %(left)d min left at %(flow)s L/min")
            % {"left": plan.minutes_left, "flow": f"{plan.flow_l_min:g}"}
            if plan.flow_l_min
            else _("none flows"),
        )
    handover = _handover(baby)
    if handover and handover.disagreement:
        yield Line(_("Not as it was told"), _short(handover.disagreement))
    yield Line(_("First full examination"), _examined(baby))
    yield Line(_("Bands"), _bands(baby, handover))


def _examined(baby: Baby) -> str:
    """One that is not done yet is carried over to whoever receives."""
    done = standing_examination(baby)
    if done is None:
        return _("not done yet")
    found = f": {_short(done.findings)}" if done.findings else ""
    return f"{done.examined_by}, {_at(done.examined_at)}{found}"


def _bands(baby: Baby, handover: Handover | None) -> str:
    if handover and handover.band_checked:
        return _("both sides have read %s") % baby.code
    return _("read %s aloud from the band before it changes hands") % baby.code


def _handed_over(handover: Handover) -> str:
    said = _("given by %(giver)s, received by %(receiver)s at %(at)s") % {
        "giver": handover.given_by,
        "receiver": handover.received_by,
        "at": _at(handover.received_at),
    }
    if handover.condition:
        said += f"; {inside_a_sentence(word_of(ConditionOnArrival, handover.condition))}"
    if handover.temperature_c is not None:
        said += f", {value_in_words('temperature_c', handover.temperature_c)}"
    return said


def _to_ring(referral: Referral) -> Iterator[Line]:
    accepted = referral.accepted_offer()
    told: Sequence[tuple[str, Any]] = (
        (str(referral.origin), referral.origin.phone),
        (_("Desk"), referral.district.desk_phone),
        *([(str(accepted.unit), accepted.unit.phone)] if accepted else []),
    )
    for who, phone in told:
        if phone:
            yield Line(who, str(phone))


def _name(fact: str) -> str:
    return str(FIELDS[fact])


def _handover(baby: Baby) -> Handover | None:
    return Handover.objects.select_related("disagreement").filter(baby=baby).first()


def _newest(about: str, texts: list[str]) -> Iterator[Line]:
    """The newest rows of a kind, oldest of them first, and how many are in the record only."""
    for text in texts[-MOST_ROWS:]:
        yield Line(about, text)
    earlier = len(texts) - MOST_ROWS
    if earlier > 0:
        said = ngettext(
            "%(count)d earlier one is in the live record.",
            "%(count)d earlier ones are in the live record.",
            earlier,
        )
        yield Line(about, said % {"count": earlier})


def _measured(facts: dict[str, Any]) -> str:
    return "; ".join(fact_in_words(name, facts[name]) for name in MEASURED if name in facts)


def _told(text: object, by: str, at: datetime | None) -> str:
    beside = [*([by] if by else []), *([_at(at)] if at else [])]
    return ", ".join([_short(text), *beside])


def _short(text: object) -> str:
    whole = str(text)
    return whole if len(whole) <= MOST_CHARACTERS else f"{whole[: MOST_CHARACTERS - 1]}…"


def _between(between: Between) -> str:
    return _("between %(early)s and %(late)s") % {
        "early": _at(between.early),
        "late": _at(between.late),
    }


def _at(moment: datetime | None) -> str:
    """Date and time: a page that was kept may be read on another day."""
    return f"{timezone.localtime(moment):%d.%m. %H:%M}" if moment else _("a time not known")
