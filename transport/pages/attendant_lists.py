"""The attendant's lists: ready before a birth, and what to see to before leaving.

A form carries the version of the list it was made from, so that one that a phone has kept is taken
under the version it answered. Nothing here keeps anybody from leaving.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from referrals import clock
from referrals.access import scope_of
from referrals.calc.states import NotPossible
from referrals.models import Baby, District, Referral, Site
from referrals.pages.doors import by_of, show, staff_of
from referrals.pages.from_phone import phone_page
from referrals.pages.undo import done
from transport import on_the_way, ticking
from transport.checklists import READY_FOR, leaving, newest, newest_answers, template_named
from transport.models import BandReading, ChecklistAnswer, ChecklistTemplate, Transfer
from transport.pages.attendant_check import require_transfer
from transport.pages.cases import case_of
from transport.pages.happening import newest_transfer

Answers = Mapping[str, ChecklistAnswer]


@dataclass(frozen=True)
class ItemLine:
    """One item as a page shows it; ``starts`` is the heading that begins with it."""

    code: str
    words: str
    must: bool
    ticked: bool
    answer: ChecklistAnswer | None
    starts: str = ""


def item_lines(
    items: list[dict[str, Any]], answers: Answers, pressed: set[str] | None = None
) -> list[ItemLine]:
    """The items in their groups; ``pressed`` is what was ticked in a form that was refused."""
    lines, group = [], ""
    for item in items:
        code, now = item["code"], item.get("group", "")
        row = answers.get(code)
        ticked = code in pressed if pressed is not None else bool(row and row.answer == "yes")
        starts = now if now != group else ""
        lines.append(ItemLine(code, item["words"], bool(item.get("must")), ticked, row, starts))
        group = now
    return lines


def list_lines(transfer: Transfer) -> list[ItemLine]:
    """The list before leaving as it stands, for whoever only reads it."""
    template = newest("departure", transfer.referral.district)
    return item_lines(template.items, newest_answers(transfer, "departure")) if template else []


def changed_answers(
    request: HttpRequest, items: list[dict[str, Any]], before: Answers
) -> dict[str, str]:
    """What was ticked or unticked since; an item never ticked is no answer."""
    ticked = set(request.POST.getlist("item"))
    answers = {}
    for item in items:
        now = "yes" if item["code"] in ticked else "no"
        row = before.get(item["code"])
        if now != (row.answer if row else "no"):
            answers[item["code"]] = now
    return answers


def template_answered(
    request: HttpRequest, when: str, district: District
) -> ChecklistTemplate | None:
    """The version that a form says it was made from; without a word of it, the newest."""
    code, _at, version = request.POST.get("list", "").rpartition(":")
    if code and version.isdigit():
        row = template_named(code, int(version), district)
        if row and row.when == when:
            return row
    return newest(when, district)


@phone_page
def before_leaving(request: HttpRequest, code: str) -> HttpResponse:
    """What to bring. Nothing here keeps the vehicle from leaving."""
    referral = case_of(request, code)
    transfer = newest_transfer(referral)
    template = template_answered(request, "departure", referral.district)
    items = template.items if template else []
    answers = newest_answers(transfer, "departure") if transfer else {}
    problem, pressed, bands = "", None, _bands(request, referral, transfer)
    if request.method == "POST":
        told = changed_answers(request, items, answers)
        try:
            with transaction.atomic():
                _write(request, require_transfer(referral, transfer), template, told, bands)
            return redirect("attendant_case", code=referral.code)
        except NotPossible as refusal:
            problem, pressed = refusal.sentence, set(request.POST.getlist("item"))
    return show(
        request,
        "transport/attendant/before_leaving.html",
        {
            "referral": referral,
            "template": template,
            "lines": item_lines(items, answers, pressed),
            "bands": bands,
            "problem": problem,
            "reason": request.POST.get("reason", ""),
            "leaving": leaving(transfer) if transfer else None,
            "is_leaving": "leave" in request.POST or "leave" in request.GET,
        },
        district=referral.district,
        status=409 if problem else 200,
    )


def _write(
    request: HttpRequest,
    transfer: Transfer,
    template: ChecklistTemplate | None,
    told: dict[str, str],
    bands: list["Band"],
) -> None:
    by, reason = by_of(request), request.POST.get("reason", "").strip()
    for band in bands:
        if band.typed:
            on_the_way.read_band(by, transfer, band.baby, band.typed)
    if told and template:
        ticking.answer_checklist(by, transfer, template, told)
    if reason and template:
        ticking.leave_all_the_same(by, transfer, template, reason=reason)
        done(request, _("Written down why you leave now. Go."))


@dataclass(frozen=True)
class Band:
    """The band of one baby before leaving: when it was read last, and what is typed now."""

    baby: Baby
    reading: BandReading | None
    typed: str

    @property
    def field(self) -> str:
        """The name of its input."""
        return f"band_{self.baby.birth_order}"


def _bands(request: HttpRequest, referral: Referral, transfer: Transfer | None) -> list[Band]:
    bands = []
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        read = transfer.band_readings.standing().filter(baby=baby).last() if transfer else None
        typed = request.POST.get(f"band_{baby.birth_order}", "").strip()
        bands.append(Band(baby, read, typed))
    return bands


@phone_page
def ready(request: HttpRequest, site: str) -> HttpResponse:
    """What is ready at a post before any birth: tried by whom, and when."""
    sites = Site.objects.filter(pk__in=scope_of(staff_of(request)).sites)
    post = get_object_or_404(sites.select_related("district"), code=site)
    template = template_answered(request, "birth", post.district)
    items, now = (template.items if template else []), clock.now()
    answers = newest_answers(post, "birth", since=now - READY_FOR)
    if request.method == "POST":
        told = changed_answers(request, items, answers)
        if told and template:
            ticking.answer_at_post(by_of(request), post, template, told)
            done(request, _("Written down: what is ready."))
        return redirect("ready_before_birth", site=post.code)
    context = {
        "site": post,
        "template": template,
        "lines": item_lines(items, answers),
        "hours": READY_FOR.total_seconds() / 3600,
    }
    return show(request, "transport/attendant/ready.html", context, district=post.district)
