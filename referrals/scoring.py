"""Scores are taken, corrected and withdrawn like anything that is told of a baby.

What recorded readings already say is offered for each item, with who saw it and when; whoever
takes the score confirms it or tells something else.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from referrals import timeline
from referrals.acting import By
from referrals.calc import score_findings, scores
from referrals.calc.score_tables import score_named
from referrals.calc.scores import NotAFinding, ScoreKind
from referrals.calc.wording import words
from referrals.models import Baby, Observation, ScoreTaken
from referrals.reading import known_facts
from referrals.recording import UnknownFact


@dataclass(frozen=True, kw_only=True)
class Found:
    """What was found of one item, by whom and when."""

    told: scores.Told
    by: str
    at: datetime


@dataclass(frozen=True, kw_only=True)
class ScoreTold:
    """A score as it is told: what was found of each item; anything may be missing.

    ``minute`` is that of the Apgar score, after birth.
    """

    kind: ScoreKind
    items: Mapping[str, scores.Told] = field(default_factory=dict)
    minute: int | None = None
    help_given: bool | None = None


def score_of(baby: Baby, kind: ScoreKind) -> scores.Score:
    """The table of a score, with the limits of the baby's district."""
    return score_named(kind, _limits_for(baby, kind))


def _limits_for(baby: Baby, kind: ScoreKind) -> dict[str, float]:
    return dict(baby.referral.district.tops_limits) if kind is ScoreKind.TOPS else {}


def already_told(
    baby: Baby, kind: ScoreKind, now: datetime, minute: int | None = None
) -> dict[str, Found]:
    """What recorded readings say of the items: of the last half hour, or of the set minute."""
    rows = _readings_about(baby, now, minute)
    known = known_facts(rows)
    values = {name: value for name, (value, _at) in known.items()}
    found = {}
    for code, told in score_findings.findings_from(kind, values).items():
        seen = [known[name] for name in score_findings.FACTS_OF[code] if name in known]
        at = max(when for _value, when in seen)
        found[code] = Found(told=told, by=_who_saw(rows, code, at), at=at)
    return found


def help_told(baby: Baby, now: datetime, minute: int | None = None) -> bool | None:
    """Whether readings of that time say that the baby was helped to breathe."""
    known = known_facts(_readings_about(baby, now, minute))
    return score_findings.help_given({name: value for name, (value, _at) in known.items()})


def _readings_about(baby: Baby, now: datetime, minute: int | None) -> list[Observation]:
    if minute is None:
        first, last = now - timedelta(minutes=score_findings.FRESH_MINUTES), now
    elif baby.born_at is None:
        return []
    else:
        middle = baby.born_at + timedelta(minutes=minute)
        apart = timedelta(minutes=score_findings.AT_THE_MINUTE)
        first, last = middle - apart, middle + apart
    return list(baby.observations.standing().filter(observed_at__range=(first, last)))


def _who_saw(rows: list[Observation], code: str, at: datetime) -> str:
    facts = set(score_findings.FACTS_OF[code])
    seen = [row for row in rows if row.observed_at == at and facts & set(row.facts())]
    return seen[-1].observed_by if seen else ""


def take(
    by: By,
    baby: Baby,
    told: ScoreTold,
    *,
    corrects: ScoreTaken | None = None,
    why: str = "",
) -> ScoreTaken:
    """Keep a score with what was found of each item; it needs nothing and orders nothing.

    An item that says what a recent reading says keeps who saw it and when; so does an item that
    a correction leaves as it was.

    Raises:
        ImpossibleQuantity: for a number outside its possible bounds.
        UnknownFact: for an item, a word, a unit or a minute that the score does not have.
    """
    score = corrects.score() if corrects else score_of(baby, told.kind)
    require_minute(score, told.minute)
    try:
        counted = scores.count(score, told.items)
    except NotAFinding as error:
        raise UnknownFact(error.field, str(error)) from error
    items = {code: _with_quantity(score.item(code), found) for code, found in told.items.items()}
    known = already_told(baby, told.kind, by.at, told.minute)
    before = corrects.items if corrects else {}
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        row = ScoreTaken.objects.create(
            baby=baby,
            kind=told.kind.value,
            minute=told.minute,
            scored_at=corrects.scored_at if corrects else by.at,
            received_at=by.received_at,
            scored_by=by.name,
            items={
                code: _kept(by, found, known.get(code), before.get(code))
                for code, found in items.items()
            },
            points=dict(counted.points),
            total=counted.total,
            limits=corrects.limits if corrects else _limits_for(baby, told.kind),
            help_given=told.help_given,
            corrects=corrects,
        )
        body: dict[str, Any] = {
            "baby": baby.birth_order,
            "score": row.kind,
            "minute": row.minute,
            "items": row.facts(),
            "total": row.total,
            "missing": list(counted.missing),
            "help_given": row.help_given,
        }
        if corrects:
            body |= {"what": "score", "corrects": corrects.pk}
            body |= {"items_were": corrects.facts(), "total_was": corrects.total}
            if why:
                body["why"] = timeline.committed(timeline.keep_text(referral, "why", why))
        timeline.append(referral, "corrected" if corrects else "scored", by, body)
    return row


def require_minute(score: scores.Score, minute: int | None) -> None:
    """Refuse a minute that the score is not taken at, and none where it needs one.

    Raises:
        UnknownFact: beside ``minute``.
    """
    if score.minutes and minute not in score.minutes:
        known = ", ".join(str(each) for each in score.minutes)
        raise UnknownFact("minute", words("say at which minute: %(known)s", known=known))
    if minute is not None and not score.minutes:
        raise UnknownFact("minute", words("this score is taken at no set minute"))


def _with_quantity(item: scores.Item, told: scores.Told) -> scores.Told:
    """A number without its unit is one in the usual unit."""
    return replace(told, quantity=told.quantity or item.quantity)


def _kept(
    by: By, told: scores.Told, known: Found | None, before: dict[str, Any] | None
) -> dict[str, Any]:
    """What is stored of one item: the value, its quantity, who saw it and when."""
    said: dict[str, Any] = {"value": told.value}
    if told.quantity:
        said["quantity"] = told.quantity
    if before and {name: before.get(name) for name in said} == said:
        return before
    if known and known.told == told:
        return said | {"by": known.by, "at": known.at.isoformat()}
    return said | {"by": by.name, "at": by.at.isoformat()}
