"""Checklists as rows: the version that counts, what is answered, what is open, what comes next.

Nothing here keeps a vehicle from leaving: an unanswered item asks, and an emergency goes first.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q

from referrals.calc.needs import DerivedNeed
from referrals.calc.terms import Capability
from referrals.models import District, Site
from transport.calc.shipped_lists import SHIPPED
from transport.models import ChecklistAnswer, ChecklistTemplate, LeftAllTheSame, Transfer

READY_FOR = timedelta(hours=24)
"""How long a test of the equipment before a birth counts; common practice, no source."""
SEEN_TO = ("yes", "not_needed")


def load_templates() -> None:
    """Put the shipped templates in place; versions that are there are kept as they are."""
    for each in SHIPPED:
        ChecklistTemplate.objects.get_or_create(
            code=each.code,
            version=each.version,
            defaults={
                "title": each.title,
                "when": each.when,
                "items": [item.as_dict() for item in each.items],
            },
        )


def newest(when: str, district: District) -> ChecklistTemplate | None:
    """The template that counts for a moment: the district's own newest one, else the shipped."""
    rows = ChecklistTemplate.objects.filter(Q(district=district) | Q(district=None), when=when)
    return max(
        rows, key=lambda row: (row.district_id is not None, row.version, row.pk), default=None
    )


def template_named(code: str, version: int, district: District) -> ChecklistTemplate | None:
    """A version of a list that this district may answer, however old."""
    rows = ChecklistTemplate.objects.filter(Q(district=district) | Q(district=None))
    return rows.filter(code=code, version=version).first()


def newest_answers(
    of: Transfer | Site, when: str, *, since: datetime | None = None
) -> dict[str, ChecklistAnswer]:
    """The newest answer to each item, whichever version of the list it answered."""
    rows = of.answers.filter(template__when=when).select_related("template", "note")
    if since:
        rows = rows.filter(answered_at__gte=since)
    return {row.item: row for row in rows}


def open_musts(transfer: Transfer, template: ChecklistTemplate | None) -> list[dict[str, Any]]:
    """The items that must be seen to and are not: unanswered, or answered with no."""
    if template is None:
        return []
    answers = newest_answers(transfer, template.when)
    seen_to = {item for item, row in answers.items() if row.answer in SEEN_TO}
    return [each for each in template.items if each.get("must") and each["code"] not in seen_to]


@dataclass(frozen=True)
class Leaving:
    """Before departure: which must-items are open, and whether somebody said why they go first."""

    template: ChecklistTemplate | None
    open: list[dict[str, Any]]
    left: LeftAllTheSame | None

    @property
    def asks(self) -> bool:
        """Whether there is something that nobody has answered for."""
        codes = {item["code"] for item in self.open}
        return bool(codes - set(self.left.items if self.left else []))


def leaving(transfer: Transfer) -> Leaving:
    """How the list before leaving stands."""
    template = newest("departure", transfer.referral.district)
    left = transfer.left_with.select_related("reason").last()
    return Leaving(template, open_musts(transfer, template), left)


def preparation_items(
    template: ChecklistTemplate, needed: Iterable[Capability]
) -> list[dict[str, Any]]:
    """The preparation list for the care that is needed: the general items and those it asks for."""
    asked = {each.value for each in needed}
    return [item for item in template.items if item.get("needs", "") in {"", *asked}]


def because(item: dict[str, Any], needs: Iterable[DerivedNeed]) -> list[str]:
    """The words of the needs that put an item on a unit's list."""
    wanted = item.get("needs")
    return [
        need.words
        for need in needs
        if wanted in {each.value for each in need.capabilities | need.preferred_capabilities}
    ]
