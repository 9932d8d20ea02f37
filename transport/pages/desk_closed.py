"""What is over: the closed referrals of a district, the newest first, a page at a time."""

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from referrals.calc.terms import Ending
from referrals.labels import word_of
from referrals.models import Referral
from referrals.pages.doors import page, show
from transport.pages.desk import district_of_desk

A_PAGE = 30


@page
@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """The list; a page number that cannot be shows the nearest page."""
    district = district_of_desk(request)
    rows = (
        Referral.objects.filter(district=district, closed_at__isnull=False)
        .select_related("origin")
        .prefetch_related("babies", "transfers__vehicle", "transfers__destination")
        .order_by("-closed_at", "-pk")
    )
    shown = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    context = {"shown": shown, "rows": [_row(referral) for referral in shown]}
    return show(request, "transport/desk/closed.html", context, district=district)


def _row(referral: Referral) -> dict[str, Any]:
    transfer = max(referral.transfers.all(), key=lambda each: each.pk, default=None)
    return {
        "referral": referral,
        "endings": [word_of(Ending, baby.ending) for baby in referral.babies.all() if baby.ending],
        "unit": transfer.destination if transfer else None,
        "vehicle": transfer.vehicle if transfer else None,
    }
