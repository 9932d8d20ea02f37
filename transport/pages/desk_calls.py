"""The call list of one referral: who is responsible, whom to ring, what came of each call.

A call is one press to ring and one press to write down what came of it.
"""

from datetime import datetime
from itertools import groupby
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from referrals import clock, ringing
from referrals.access import people_of_desk
from referrals.calc.terms import CameOf, EntryChannel
from referrals.charge import TAKES_CHARGE, in_charge
from referrals.labels import choices, word_of
from referrals.models import Referral, Staff
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.pages.undo import done
from referrals.watching import concerns_of
from transport.pages import call_list
from transport.pages.call_list import Callee
from transport.pages.desk_referral import calls_made, referral_of
from transport.pages.words import CALL_GROUPS, word


class MadeForm(forms.Form):
    """What came of a call: which number of the list, one of four answers, perhaps words."""

    whom = forms.CharField(max_length=80)
    came_of = forms.ChoiceField(choices=lambda: choices(CameOf))
    words = forms.CharField(max_length=300, required=False)


class ChargeForm(forms.Form):
    """Who is responsible for finding a way: somebody of the district's desk."""

    staff = forms.ModelChoiceField(
        Staff.objects.none(),
        to_field_name="username",
        label=gettext_lazy("Responsible"),
        empty_label=None,
    )

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        field = self.fields["staff"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared above
        field.queryset = people_of_desk(referral.district)


@page
@require_safe
def index(request: HttpRequest, code: str) -> HttpResponse:
    """The page."""
    return _shown(request, referral_of(staff_of(request), code))


@page
@require_POST
def made(request: HttpRequest, code: str) -> HttpResponse:
    """Write a call down."""
    referral = referral_of(staff_of(request), code)
    form = MadeForm(request.POST)
    whom = request.POST.get("whom", "")
    callees = call_list.callees_of(referral, clock.now())
    callee = next((each for each in callees if each.whom == whom), None)
    if not form.is_valid() or callee is None:
        problem = _("This was not written down: say what came of the call, once more.")
        return _shown(request, referral, problem=problem, status=400)
    told = ringing.CallTold(
        whom=callee.whom,
        name=callee.name,
        came_of=CameOf(form.cleaned_data["came_of"]),
        words=form.cleaned_data["words"],
    )
    ringing.log_call(by_of(request, EntryChannel.DESK), referral, told)
    said = word_of(CameOf, told.came_of.value)
    done(request, _("Written down: %(who)s: %(said)s.") % {"who": told.name, "said": said})
    return redirect("desk_calls", code=referral.code)


@page
@require_POST
def charge(request: HttpRequest, code: str) -> HttpResponse:
    """Somebody is responsible from now on."""
    referral = referral_of(staff_of(request), code)
    form = ChargeForm(referral, request.POST)
    if not form.is_valid():
        return _shown(request, referral, charge_form=form, status=400)
    staff, was = form.cleaned_data["staff"], referral.responsible
    ringing.give_charge(by_of(request, EntryChannel.DESK), referral, staff)
    words = _("%s is responsible now.") % staff
    if was and was != staff:
        undo = reverse("desk_charge", args=[referral.code])
        done(request, words, undo, staff=was.username)
    else:
        done(request, words)
    return redirect("desk_calls", code=referral.code)


def stuck_because(referral: Referral, now: datetime) -> list[str]:
    """Why nothing goes on by itself any more, in sentences; nothing while something does."""
    if not referral.is_open:
        return []
    return [
        str(concern.sentence)
        for concern in concerns_of(referral, now)
        if concern.kind in TAKES_CHARGE and concern.due_at <= now
    ]


def _shown(
    request: HttpRequest,
    referral: Referral,
    *,
    problem: str = "",
    charge_form: ChargeForm | None = None,
    status: int = 200,
) -> HttpResponse:
    now, me = clock.now(), staff_of(request)
    rows = [
        _row(callee, referral)
        for callee in call_list.callees_of(referral, now)
        if callee.whom != f"person:{me.username}"
    ]
    context = {
        "referral": referral,
        "now": now,
        "problem": problem,
        "typed": request.POST if problem else {},
        "stuck": stuck_because(referral, now),
        "in_charge": in_charge(referral, now),
        "is_mine": referral.responsible_id == me.pk,
        "me": me,
        "charge_form": charge_form or ChargeForm(referral, initial={"staff": me.username}),
        "answers": choices(CameOf),
        "groups": [
            {"group": group, "title": word(CALL_GROUPS, group), "rows": list(members)}
            for group, members in groupby(rows, key=lambda row: row["callee"].group)
        ],
        "calls": calls_made(referral),
    }
    return show(
        request, "transport/desk/calls.html", context, district=referral.district, status=status
    )


def _row(callee: Callee, referral: Referral) -> dict[str, Any]:
    last = callee.last
    return {
        "callee": callee,
        "last": last,
        "came_of": word_of(CameOf, last.came_of.value) if last else "",
        "next": _next_step(callee, referral) if last and last.came_of is CameOf.YES else None,
    }


def _next_step(callee: Callee, referral: Referral) -> tuple[str, str] | None:
    """After a yes: the form that makes it count. A call alone commits nobody."""
    kind, _colon, code = callee.whom.partition(":")
    if not referral.is_open:
        return None
    if kind == "unit" and not referral.accepted_offer():
        if referral.offers.filter(unit__code=code).exists():
            return _("Write down that it takes the baby"), "?open=accept#units"
        return _("Ask it, then write its yes down"), "#units"
    if kind == "vehicle" and referral.transfers.live().filter(vehicle=None).exists():
        return _("Send it"), "#vehicle"
    if kind == "reserve" and referral.transfers.live().filter(vehicle=None).exists():
        return _("Write the vehicle down and send it"), "?open=found#vehicle"
    return None
