"""Parts of the record that several roles read: scores, temperature, trends."""

from datetime import datetime
from typing import Any

from django import template

from referrals import clock
from referrals.calc import scores
from referrals.calc.wording import words
from referrals.models import Baby, ScoreTaken
from transport.models import Transfer
from transport.pages.happening import BabyNow
from transport.pages.score_form import value_in_words
from transport.pages.trends import trends_of
from transport.pages.warmth import RoomForm, incubators, warmth_of

register = template.Library()


@register.inclusion_tag("transport/scores_taken.html")
def scores_taken(baby: Baby, base: str, *, take: bool = False, mends: bool = False) -> Any:
    """The scores of a baby, newest first, each item with who saw it and when.

    ``base`` is the address of the record; with ``take`` another one can be taken there.
    """
    rows = baby.scores.newest().select_related("withdrawn_why", "corrects").order_by("-scored_at")
    return {
        "baby": baby,
        "code": baby.code,
        "base": base,
        "take": take,
        "mends": mends,
        "rows": [_taken(row) for row in rows],
    }


@register.inclusion_tag("transport/trends.html")
def trends(baby: Baby) -> Any:
    """What was measured of a baby over time, drawn and as a table."""
    return trends_of(baby)


@register.inclusion_tag("transport/warmth.html")
def warmth(baby: Baby, transfer: Transfer | None) -> Any:
    """Class and trend of the temperature, and where it would be on arrival."""
    return warmth_of(baby, transfer or None, clock.now())


@register.inclusion_tag("transport/unit/incubator.html", takes_context=True)
def incubator(context: Any, babies: list[BabyNow], arrives: datetime | None) -> Any:
    """Where to begin an incubator; the room's temperature is in the address."""
    asked = context["request"].GET
    form = RoomForm(asked if "room_c" in asked else None)
    room = form.cleaned_data.get("room_c") if form.is_bound and form.is_valid() else None
    coming = [each.baby for each in babies if not each.baby.ending]
    return {"form": form, **incubators(coming, arrives or clock.now(), room)}


def _taken(row: ScoreTaken) -> dict[str, Any]:
    score = row.score()
    return {
        "taken": row,
        "score": score,
        "words": row.in_words(),
        "items": [_item(row, item) for item in score.items],
    }


def _item(row: ScoreTaken, item: scores.Item) -> dict[str, Any]:
    found = row.items.get(item.code)
    shown: dict[str, Any] = {"name": words(item.words), "value": ""}
    if found:
        shown |= {
            "value": value_in_words(item, found),
            "points": row.points[item.code],
            "by": found["by"],
            "at": datetime.fromisoformat(found["at"]),
        }
    return shown
