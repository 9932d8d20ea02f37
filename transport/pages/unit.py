"""The receiving unit's first page: its questions, the babies on the way, its free cots."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from referrals import clock
from referrals.access import scope_of, visible_units
from referrals.calc.states import NotPossible, OfferStage
from referrals.cots import report_cots, withdraw_report
from referrals.models import CotReport, Staff
from referrals.pages.doors import TooLate, by_of, page, show, staff_of, unless_the_same
from referrals.pages.undo import done
from referrals.saying import for_the_record, to_tell
from transport.pages.happening import arrival_shown, newest_transfer
from transport.pages.unit_forms import CotsForm
from transport.pages.unit_question import offers_of

HISTORY = 20


@page
@require_safe
def units(request: HttpRequest) -> HttpResponse:
    """The unit's first page: questions first, then babies on the way, then its cots."""
    return show(request, "transport/unit/units.html", _of_units(staff_of(request)))


@page
@require_safe
def units_now(request: HttpRequest) -> HttpResponse:
    """The part of the first page that changes; 304 while it is the same."""
    context = _of_units(staff_of(request))
    return unless_the_same(request, show(request, "transport/unit/units_now.html", context))


@page
def cots(request: HttpRequest, unit: int) -> HttpResponse:
    """Report the free cots of one's own unit."""
    staff = staff_of(request)
    row = get_object_or_404(visible_units(staff).filter(pk__in=scope_of(staff).units), pk=unit)
    told = {"cots_free": row.cots_free, "is_open": row.is_open}
    form = CotsForm(request.POST or None, initial=told)
    if request.method == "POST" and form.is_valid():
        report_cots(by_of(request), row, **form.cleaned_data)
        report = row.cot_reports.latest("pk")
        words = _("Thank you. The desk and the search know it now.")
        done(request, words, reverse("cots_undo", args=[report.pk]))
        return redirect("units")
    status = 422 if form.is_bound else 200
    return show(request, "transport/unit/cots.html", {"unit": row, "form": form}, status=status)


@page
@require_POST
def cots_undo(request: HttpRequest, report: int) -> HttpResponse:
    """The report of free cots was a slip: what stood before stands again."""
    rows = CotReport.objects.filter(unit__in=scope_of(staff_of(request)).units)
    row = get_object_or_404(rows.select_related("unit__site__district"), pk=report)
    try:
        withdraw_report(by_of(request), row, why=for_the_record(to_tell("a slip, undone at once")))
    except NotPossible as refusal:
        district = row.unit.site.district
        raise TooLate(refusal.sentence, district=district, back=reverse("units")) from refusal
    done(request, _("Taken back: the cots stand as they were told before."))
    return redirect("units")


def _of_units(staff: Staff) -> dict[str, Any]:
    now, offers = clock.now(), offers_of(staff)
    open_word, accepted = OfferStage.OPEN.value, OfferStage.ACCEPTED.value
    coming = offers.filter(stage=accepted, referral__closed_at=None)
    earlier = offers.exclude(stage=open_word).exclude(pk__in=coming)
    return {
        "units": visible_units(staff).filter(pk__in=scope_of(staff).units).order_by("name"),
        "questions": offers.filter(stage=open_word).order_by("asked_at"),
        "coming": [
            (offer, arrival_shown(offer, newest_transfer(offer.referral), now)) for offer in coming
        ],
        "shift_changed": [offer.pk for offer in coming if offer.shift_to_confirm(now)],
        "history": earlier.order_by("-asked_at")[:HISTORY],
    }
