"""What stood on the list when a unit was asked, as it was shown then."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_safe

from referrals.pages.doors import page, show, staff_of
from transport.pages.desk_referral import referral_of


@page
@require_safe
def index(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """The list that is kept with an offer; there is none of a question older than the lists."""
    found = referral_of(staff_of(request), code)
    offer = get_object_or_404(found.offers.select_related("unit__site"), pk=number)
    kept = found.rankings.filter(pk=offer.shown.get("ranking") or 0).first()
    if kept is None:
        raise Http404
    context = {
        "referral": found,
        "offer": offer,
        "made_at": parse_datetime(offer.shown.get("made_at", "")) or kept.made_at,
        "passed_over": offer.shown.get("passed_over", []),
        "list": kept.body,
    }
    return show(request, "transport/desk/shown.html", context, district=found.district)
