"""What was told, in words, and whether it was corrected or taken back."""

from datetime import datetime
from typing import Any

from django import template
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from referrals.calc.terms import OutcomeMoment, OutcomeState
from referrals.labels import fact_in_words, word_of
from referrals.models import (
    Advice,
    Examination,
    MotherObservation,
    Observation,
    Outcome,
    ScoreTaken,
    TreatmentGiven,
)
from transport.models import Check

register = template.Library()


@register.filter
def told_words(row: Any) -> str:
    """What a row says, in one line."""
    match row:
        case Observation() | MotherObservation():
            facts = [fact_in_words(name, value) for name, value in row.facts().items()]
            return "; ".join([*facts, *([str(row.note)] if row.note else [])])
        case TreatmentGiven():
            return str(row.told)
        case Advice():
            return f"{row.given_by}: {row.text}"
        case Outcome():
            return _words_of_outcome(row)
        case Examination():
            return _words_of_examination(row)
        case ScoreTaken():
            return row.in_words()
        case Check():
            return _words_of_check(row)
        case _:
            return str(row)


@register.inclusion_tag("transport/mended.html")
def mended(row: Any) -> dict[str, Any]:
    """Whether a row was taken back, or what it corrects; by whom and when."""
    who, when = _who_and_when(row)
    return {"row": row, "who": who, "when": when, "corrects": getattr(row, "corrects", None)}


def _words_of_outcome(row: Outcome) -> str:
    said = f"{word_of(OutcomeState, row.state)}. {row.words}"
    if row.moment:
        moment = word_of(OutcomeMoment, row.moment)
        said = _("%(moment)s: %(said)s") % {"moment": moment, "said": said}
    if row.learn:
        said = _("%(said)s To learn from it: %(learn)s") % {"said": said, "learn": row.learn}
    return said


def _words_of_examination(row: Examination) -> str:
    at = date_format(localtime(row.examined_at), "j M H:i")
    said = _("examined by %(who)s, %(at)s") % {"who": row.examined_by, "at": at}
    if row.findings:
        said = _("%(said)s: %(found)s") % {"said": said, "found": row.findings}
    return said


def _words_of_check(row: Check) -> str:
    seen = "; ".join(fact_in_words(name, value) for name, value in row.facts().items())
    gauge = fact_in_words("oxygen_bar", row.oxygen_bar) if row.oxygen_bar is not None else ""
    stopped = _("stopped: %s") % row.stopped_because if row.stopped_because else ""
    return "; ".join(words for words in (seen, gauge, stopped) if words)


def _who_and_when(row: Any) -> tuple[str, datetime | None]:
    match row:
        case Observation() | MotherObservation():
            return row.observed_by, row.received_at
        case TreatmentGiven() | Advice():
            return row.recorded_by, row.recorded_at
        case Outcome():
            return row.told_by, row.told_at
        case Examination():
            return row.told_by, row.recorded_at
        case ScoreTaken():
            return row.scored_by, row.received_at
        case Check():
            return row.checked_by, row.recorded_at
        case _:
            return "", None
