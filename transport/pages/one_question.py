"""The page of one question: shown with what was told before, or answered and led on from."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from referrals import clock
from referrals.access import scope_of
from referrals.models import Referral
from referrals.pages.doors import show, staff_of
from transport.pages.form_page import form_page
from transport.pages.questions import QuestionForm, Step, unanswered

Write = Callable[[Mapping[str, Any]], str]
"""Writes the answers down, nothing (``None``) for what is not known, and says where to go on."""


def one_question(
    request: HttpRequest,
    referral: Referral,
    steps: Sequence[Step],
    step: Step,
    write: Write,
    context: Mapping[str, Any],
) -> HttpResponse:
    """Ask, or take the answer. Whoever is alone with the baby is asked nothing."""
    if request.method != "POST" and referral.alone and _is_at_the_post(request, referral):
        alone = "transport/attendant/alone.html"
        return show(request, alone, {"referral": referral}, district=referral.district)
    data = request.POST or None
    prefix = f"{step.whose}-"
    form = QuestionForm(step.question, data, now=clock.now(), known=step.known, prefix=prefix)
    skipped = "skip" in request.POST

    def tell() -> HttpResponse:
        answers = {name: None if skipped else form.cleaned_data[name] for name in form.fields}
        return redirect(write(answers))

    at = steps.index(step)
    before = [each for each in steps[:at] if each.is_asked]
    here = reverse("attendant_case", args=[referral.code])
    following = next(unanswered(steps[at + 1 :]), None)
    asked = {
        "step": step,
        "before": before[-1] if before else None,
        "onward": following.path if following else here,
        # For a script, which goes on by itself; without one each answer leads to the next page.
        "following": [each for each in steps[at + 1 :] if not each.is_answered],
    }
    template = "transport/attendant/question.html"
    return form_page(request, referral, form, tell, template, {**asked, **context})


def _is_at_the_post(request: HttpRequest, referral: Referral) -> bool:
    return referral.origin_id in scope_of(staff_of(request)).sites
