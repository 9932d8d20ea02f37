"""The needs on the unit's page: what was worked out, what a person has set aside, and why."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals import recording
from referrals.access import stands
from referrals.pages.doors import TooLate, show
from referrals.pages.forms import PageForm, Words
from transport.pages.unit_question import Question, for_question


class SetAsideForm(PageForm):
    """Why a need does not hold for this baby."""

    reason = Words(
        gettext_lazy("Why, and which clinician in charge says so"), required=True, lines=2
    )


@for_question
def set_aside(request: HttpRequest, asked: Question, need: int) -> HttpResponse:
    """A need that was worked out does not hold: a person of the unit says why."""
    referral = asked.offer.referral
    if not referral.is_open or not stands(asked.offer):
        raise TooLate(
            _("This baby is not yours to answer for any more, so nothing was changed."),
            district=referral.district,
            back=asked.base,
        )
    row = get_object_or_404(referral.needs.filter(superseded_at=None), pk=need)
    form = SetAsideForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        recording.override_need(asked.by, row, form.cleaned_data["reason"])
        messages.success(request, _("The need is set aside. What was worked out stays in sight."))
        return redirect(asked.base)
    return show(
        request,
        "transport/unit/need.html",
        {"asked": asked, "referral": referral, "form": form, "need": row},
        district=referral.district,
        status=422 if form.is_bound else 200,
    )
