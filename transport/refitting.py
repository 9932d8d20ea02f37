"""Learning anew after something was brought in or taken out, and what to say of it."""

from typing import Any

from referrals import clock
from referrals.models import District
from transport import experience
from transport.models import TravelModel


def refit_after(district: District | None) -> tuple[dict[str, Any], list[str]]:
    """The answer's keys and its sentences. What belongs to no district teaches every district."""
    districts = [district] if district else [None, *District.objects.order_by("pk")]
    rows = {each: experience.refit(each, clock.now()) for each in districts}
    row = rows[district]
    body = {
        "model": str(row) if row else None,
        "adopted": row.adopted if row else None,
        "reason": row.reason if row else "",
    }
    return body, [_sentence(each, made) for each, made in rows.items()]


def _sentence(district: District | None, row: TravelModel | None) -> str:
    whose = str(district) if district else "No district"
    if row is None:
        return f"{whose}: no journey is left to learn from; travel times are without experience."
    return f"{whose}: learned from {row.journeys} journeys; {row.reason}."
