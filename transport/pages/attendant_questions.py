"""One question a screen after the call; every answer is written down at once.

Where somebody leaves, the first question that is not answered waits for them. An answer given
before is shown with its question, and another one corrects it.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from referrals import adding, clock, correcting, describing, endings, recording
from referrals.acting import By
from referrals.calc.terms import Ending
from referrals.models import Baby, Referral
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.doors import by_of, page, show
from referrals.pages.from_phone import phone_page
from transport.pages.cases import baby_of, case_of
from transport.pages.one_question import one_question
from transport.pages.questions import (
    AFTER_THE_CALL,
    Of,
    Step,
    everybody_of,
    steps_of,
    unanswered,
)

MOST_BABIES = 4
ONLY = {"mother": Of.MOTHER}
"""Parts of the questions that can be asked alone (``?only=``)."""


@page
@require_safe
def details(request: HttpRequest, code: str) -> HttpResponse:
    """The first question that is not answered; with none left, everything that was told."""
    referral = case_of(request, code)
    steps = _steps(request, referral)
    step = next(unanswered(steps), None)
    return _ask(request, referral, steps, step) if step else redirect("told", code=referral.code)


@phone_page
def question(request: HttpRequest, code: str, whose: str, question: str) -> HttpResponse:
    """One question, answered before or not."""
    referral = case_of(request, code)
    steps = _steps(request, referral)
    for step in steps:
        if (step.whose, step.question.code) == (whose, question):
            return _ask(request, referral, steps, step)
    raise Http404


@page
@require_safe
def told(request: HttpRequest, code: str) -> HttpResponse:
    """Everything that was told, each answer one press away from its correction."""
    referral = case_of(request, code)
    steps = [step for step in _steps(request, referral) if step.is_asked or step.is_answered]
    context = {"referral": referral, "steps": steps, "can_add": can_add(referral)}
    template = "transport/attendant/told_so_far.html"
    return show(request, template, context, district=referral.district)


@phone_page
@require_POST
def another_baby(request: HttpRequest, code: str) -> HttpResponse:
    """A twin: one press, and its questions begin."""
    referral = case_of(request, code)
    if not can_add(referral):
        return redirect("attendant_case", code=referral.code)
    baby = adding.add_baby(by_of(request), referral, describing.BabyTold())
    sentence = _("%s is added. The desk and the units are told.") % baby.code
    messages.success(request, sentence)
    return redirect("question", code=referral.code, whose=baby.birth_order, question="breathing")


@page
@require_POST
def no_such_baby(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """A twin was added by mistake: that baby alone is taken back."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    if _added_by_mistake(baby):
        endings.end_baby(by_of(request), baby, Ending.RAISED_IN_ERROR, words=_("added by mistake"))
        messages.success(request, _("%s is taken back. Everybody is told.") % baby.code)
    return redirect("attendant_case", code=referral.code)


def _steps(request: HttpRequest, referral: Referral) -> list[Step]:
    only = ONLY.get(request.GET.get("only", ""))
    path = reverse("question", args=[referral.code, "WHOSE", "QUESTION"])
    path = path.replace("WHOSE", "{whose}").replace("QUESTION", "{question}")
    questions = [each for each in AFTER_THE_CALL if only in (None, each.of)]
    address = f"{path}?only={request.GET['only']}" if only else path
    return steps_of(questions, everybody_of(referral), address, clock.now())


def _ask(
    request: HttpRequest, referral: Referral, steps: Sequence[Step], step: Step
) -> HttpResponse:
    def write(answers: Mapping[str, Any]) -> str:
        _tell(by_of(request), referral, step, answers)
        here = reverse("attendant_case", args=[referral.code])
        return here if answers.get("alone") else _next_path(request, referral, step)

    context = {
        "just_called": not any(each.is_answered for each in steps),
        "can_add": can_add(referral),
        "takes_back": step.baby if step.baby and _added_by_mistake(step.baby) else None,
    }
    return one_question(request, referral, steps, step, write, context)


def _next_path(request: HttpRequest, referral: Referral, step: Step) -> str:
    """The next question nobody has answered, else what happens now."""
    fresh = _steps(request, Referral.objects.get(pk=referral.pk))
    places = [each.place for each in fresh]
    following = next(unanswered(fresh[places.index(step.place) + 1 :]), None)
    return following.path if following else reverse("attendant_case", args=[referral.code])


def _tell(by: By, referral: Referral, step: Step, answers: Mapping[str, Any]) -> None:
    """Write the answers down where they belong; what is not known is taken back."""
    if step.question.of is Of.ALL:
        names = {name: value or "" for name, value in answers.items() if name != "alone"}
        describing.say_who_ventilates(
            by, referral, describing.Hands(**names, alone=answers["alone"])
        )
    elif step.baby:
        facts = _some(answers, BABY_FACTS)
        if _same_minute("support_since", step, facts):
            facts["support_since"] = step.known.get("support_since")
        correcting.tell_facts(by, step.baby, facts)
        describing.describe_baby(by, step.baby, _details_of(step, answers))
    else:
        correcting.tell_facts(by, referral.mother, _some(answers, MOTHER_FACTS))
        describing.describe_mother(by, referral.mother, _some(answers, ("age_years", "travels")))
        if (note := answers.get("note")) and note != step.known.get("note"):
            recording.observe_mother(by, referral.mother, {}, note=note)


def _some(answers: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    return {
        name: None if value == "" else value for name, value in answers.items() if name in names
    }


def _details_of(step: Step, answers: Mapping[str, Any]) -> dict[str, Any]:
    told: dict[str, Any] = {}
    if "sex" in answers:
        told["sex"] = answers["sex"] or ""
    for name in ("born_at", "ventilated_since"):
        if name in answers and not _same_minute(name, step, answers):
            told[name] = answers[name]
    if "weight_guessed" in answers:
        told["weight_guessed"] = bool(answers["weight_guessed"] and answers["weight_g"])
    return told


def _same_minute(name: str, step: Step, answers: Mapping[str, Any]) -> bool:
    """Whether a time is sent as it stood in its field: that is no change."""
    return name in answers and _minute(answers[name]) == _minute(step.known.get(name))


def _minute(moment: Any) -> str:
    return f"{timezone.localtime(moment):%H:%M}" if moment else ""


def can_add(referral: Referral) -> bool:
    """Whether one more baby can be told of."""
    return referral.is_open and referral.babies.count() < MOST_BABIES


def _added_by_mistake(baby: Baby) -> bool:
    """Whether a baby can be taken back alone: a later one, of whom nothing was told yet."""
    return baby.birth_order > 1 and not baby.ending and not baby.observations.exists()
