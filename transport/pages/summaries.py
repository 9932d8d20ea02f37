"""The summary of one baby, on a screen and as a page to keep: for the bringer and the receiver."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from referrals import clock
from referrals.access import scope_of
from referrals.models import Baby
from referrals.pages.doors import as_read, page, show, staff_of
from transport.pages.cases import baby_of, case_of
from transport.pages.summary import Summary, summary_of
from transport.pages.summary_paper import paper_of
from transport.pages.unit_question import Question, for_question, require_journey


@page
@require_safe
def of_post(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """For who brings the baby, and for the desk."""
    baby = baby_of(case_of(request, code), birth_order)
    at_desk = scope_of(staff_of(request)).is_desk
    back = reverse("desk_referral" if at_desk else "attendant_case", args=[baby.referral.code])
    paper = reverse("summary_on_paper", args=[baby.referral.code, birth_order])
    return _screen(request, baby, paper, back)


@page
@require_safe
def of_post_on_paper(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The same as a file that stays on the phone."""
    return _paper(request, baby_of(case_of(request, code), birth_order))


@for_question
def of_unit(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """For who receives the baby, once the unit has said yes."""
    require_journey(asked)
    baby = baby_of(asked.offer.referral, birth_order)
    return _screen(request, baby, f"{asked.base}summary/{birth_order}/paper/", asked.base)


@for_question
def of_unit_on_paper(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The same as a file."""
    require_journey(asked)
    return _paper(request, baby_of(asked.offer.referral, birth_order))


def _screen(request: HttpRequest, baby: Baby, paper: str, back: str) -> HttpResponse:
    context = {"summary": _summary(request, baby), "paper": paper, "back": back}
    return show(request, "transport/summary.html", context, district=baby.referral.district)


def _paper(request: HttpRequest, baby: Baby) -> HttpResponse:
    summary = _summary(request, baby)
    base = settings.BASE_URL or request.build_absolute_uri("/").rstrip("/")
    with as_read(request, baby.referral.district):
        content = paper_of(summary, f"{base}{summary.address}")
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="{summary.baby}.pdf"',
            "Cache-Control": "no-store",
        },
    )


def _summary(request: HttpRequest, baby: Baby) -> Summary:
    with as_read(request, baby.referral.district):
        return summary_of(baby, clock.now())
