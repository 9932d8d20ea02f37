"""Beside values of a table: whether the district has adopted them, and one press to the source."""

from typing import Any

from django import template
from django.template import Context

from referrals.models import District
from referrals.tables import standing_of, table_named

register = template.Library()


@register.inclusion_tag("referrals/adoption.html", takes_context=True)
def source_of(context: Context, code: str) -> dict[str, Any]:
    """``{% source_of "needs" %}``: 'adopted by ...' or 'not yet adopted locally', with its link.

    Nothing where the district of the page is not known.
    """
    district = context.get("district")
    table = table_named(district, code) if isinstance(district, District) else None
    if not isinstance(district, District) or table is None:
        return {}
    [standing] = standing_of(district, [table])
    return {"code": code, "district": district, "adopted": standing.adopted}
