"""The attendant's pages: one press calls for help; then what happens now, until it is over."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import segno
from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from referrals import clock, endings, lifecycle, recording
from referrals.access import scope_of
from referrals.calc.states import NotPossible
from referrals.calc.terms import OutcomeState
from referrals.labels import word_of
from referrals.models import Outcome, Referral, Site, Staff
from referrals.pages.doors import by_of, page, show, staff_of, unless_the_same
from referrals.pages.from_phone import phone_page
from referrals.timeline import BOOKKEEPING
from transport.checklists import Leaving, leaving, newest
from transport.models import Check
from transport.pages.attendant_questions import can_add
from transport.pages.cases import case_of, told_referrals
from transport.pages.entry_words import Line, lines_of
from transport.pages.happening import newest_transfer, what_happens
from transport.pages.questions import AFTER_THE_CALL, NOBODY_YET, steps_of
from transport.pages.told_too import told_of, told_too
from transport.pages.words import STOP_REASONS

WITHOUT_CODE = "/r/NEW/details/{whose}/{question}/"
OUTCOMES_SHOWN_FOR = timedelta(days=30)


@phone_page
def post(request: HttpRequest) -> HttpResponse:
    """The post's first page: one large button, and every referral that is still open."""
    staff = staff_of(request)
    if request.method == "POST":
        return _call_for_help(request, staff)
    sites = _posts_of(staff)
    rows = told_referrals(staff).filter(origin__in=sites)
    open_rows = list(rows.filter(closed_at=None).order_by("-raised_at"))
    now = clock.now()
    return show(
        request,
        "transport/attendant/post.html",
        {
            # For a phone that loses its network on this page: it asks on, with no code yet.
            "steps": steps_of(AFTER_THE_CALL, NOBODY_YET, WITHOUT_CODE, now) if sites else [],
            "sites": sites,
            "open_cases": open_rows,
            "closed_cases": rows.filter(closed_at__gte=now - timedelta(days=7)).order_by(
                "-closed_at"
            )[:10],
            "outcomes": _outcomes(staff, rows, now),
        },
    )


@page
@require_POST
def outcome_read(request: HttpRequest, outcome: int) -> HttpResponse:
    """The attendant who called has read how it went."""
    staff = staff_of(request)
    told = Outcome.objects.filter(baby__referral__origin__in=_posts_of(staff))
    row = get_object_or_404(told.select_related("baby__referral"), pk=outcome)
    if not row.is_for(staff):
        raise Http404
    recording.read_outcome(by_of(request), row)
    messages.success(request, _("Thank you. The desk sees that you have read it."))
    return redirect("post")


@page
@require_safe
def case(request: HttpRequest, code: str) -> HttpResponse:
    """What happens now for one referral, and everything that can be told about it."""
    referral = case_of(request, code)
    context = _context(referral)
    return show(request, "transport/attendant/case.html", context, district=referral.district)


@page
@require_safe
def happening(request: HttpRequest, code: str) -> HttpResponse:
    """The part of the page that changes; 304 while it is the same."""
    referral = case_of(request, code)
    context = _context(referral)
    response = show(request, "transport/attendant/now.html", context, district=referral.district)
    return unless_the_same(request, response)


@page
@require_safe
def timeline(request: HttpRequest, code: str) -> HttpResponse:
    """Everything that was told and done, in words, newest first."""
    referral = case_of(request, code)
    return show(
        request,
        "transport/attendant/timeline.html",
        {"referral": referral, "lines": lines_of(referral)},
        district=referral.district,
    )


@page
@require_safe
def slip(request: HttpRequest, code: str) -> HttpResponse:
    """The paper slip that travels with the baby."""
    referral = case_of(request, code)
    link = f"{settings.BASE_URL or request.build_absolute_uri('/').rstrip('/')}/c/{referral.code}/"
    return show(
        request,
        "transport/attendant/slip.html",
        {
            **_context(referral),
            "link": link,
            "departure": newest("departure", referral.district),
            "qr": _qr(link),
            "observations": _observations(referral),
        },
        district=referral.district,
    )


@page
def take_back(request: HttpRequest, code: str) -> HttpResponse:
    """Called for by mistake: every unit and the driver get a second message."""
    referral = case_of(request, code)
    problem, reason = "", request.POST.get("reason", "").strip()
    if request.method == "POST" and not reason:
        problem = _("Write in a few words why; the units are told that it is over.")
    elif request.method == "POST":
        try:
            endings.take_back(by_of(request), referral, reason=reason)
            messages.success(request, _("%s is taken back. Everybody is told.") % referral.code)
            return redirect("post")
        except NotPossible as refusal:
            problem = refusal.sentence
    return show(
        request,
        "transport/attendant/take_back.html",
        {"referral": referral, "problem": problem, "reason": reason},
        district=referral.district,
        status=409 if problem else 200,
    )


def _call_for_help(request: HttpRequest, staff: Staff) -> HttpResponse:
    sites = _posts_of(staff)
    chosen = request.POST.get("site", "")
    first = sites.first()
    site = get_object_or_404(sites, pk=chosen if chosen.isdigit() else first.pk if first else 0)
    by = by_of(request)
    referral = lifecycle.raise_referral(by, origin=site, raised_by=staff)
    # Asking comes after the raise is safe; if it fails, the sweep asks within seconds.
    transaction.on_commit(partial(lifecycle.ask_best, referral.pk, by.received_at), robust=True)
    return redirect("details", code=referral.code)


@dataclass(frozen=True)
class ToldBack:
    """What a unit told back: the words for its state, and whether this reader may say 'read'."""

    row: Outcome
    state: str
    can_read: bool


def _outcomes(staff: Staff, referrals: QuerySet[Referral], now: datetime) -> list[ToldBack]:
    """What units have told back, newest first."""
    told = Outcome.objects.newest().filter(
        baby__referral__in=referrals, told_at__gte=now - OUTCOMES_SHOWN_FOR
    )
    return [
        ToldBack(
            outcome,
            word_of(OutcomeState, outcome.state),
            outcome.read_at is None and not outcome.withdrawn_at and outcome.is_for(staff),
        )
        for outcome in told.select_related(
            "baby__referral", "words", "learn", "withdrawn_why", "corrects__words"
        ).order_by("-told_at")[:10]
    ]


def _posts_of(staff: Staff) -> QuerySet[Site]:
    scope = scope_of(staff)
    return Site.objects.filter(pk__in=scope.sites).order_by("name")


def _context(referral: Referral) -> dict[str, object]:
    now = clock.now()
    return {
        "referral": referral,
        "now": now,
        **what_happens(referral, now),
        "lines": _newest_lines(referral),
        **told_of(referral),
        "mend": f"/r/{referral.code}/",
        "mends": ("treatment", "advice"),
        "checks": _checks(referral),
        "told_too": told_too(referral, now),
        "leaving": _leaving(referral),
        "can_add": can_add(referral),
        "stop_reasons": STOP_REASONS.items(),
    }


def _newest_lines(referral: Referral, count: int = 8) -> list[Line]:
    quiet = set(referral.entries.filter(kind__in=BOOKKEEPING).values_list("seq", flat=True))
    return [line for line in lines_of(referral) if line.seq not in quiet][:count]


def _leaving(referral: Referral) -> Leaving | None:
    """What is open of the list before leaving, while mother and baby have not left."""
    transfer = newest_transfer(referral)
    return (
        leaving(transfer) if transfer and transfer.is_live and not transfer.left_post_at else None
    )


def _checks(referral: Referral) -> QuerySet[Check]:
    """Every check of every journey, as it stands or was taken back."""
    rows = Check.objects.newest().filter(transfer__referral=referral)
    return rows.select_related("observation", "stopped_because", "withdrawn_why", "corrects")


def _observations(referral: Referral) -> list[object]:
    return [
        observation
        for baby in referral.babies.all()
        for observation in baby.observations.standing()
    ]


def _qr(link: str) -> SafeString:
    """The link as an SVG drawing; its only content is made here."""
    drawing = segno.make(link, error="m", micro=False)
    return mark_safe(drawing.svg_inline(border=2, omitsize=True))  # noqa: S308
