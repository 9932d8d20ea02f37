"""The check on the way: the short set, one question a screen, each answered by one press.

It is for whoever is not ventilating. Every answer is written down at once; those of one person
within a few minutes are one check.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from referrals import clock
from referrals.calc.states import NotPossible
from referrals.models import Baby, Referral
from referrals.models.observations import BABY_FACTS
from referrals.pages.doors import by_of, page
from referrals.pages.from_phone import phone_page
from referrals.pages.undo import done
from referrals.reading import babies_on_the_way, intervals_of, known_facts
from referrals.saying import in_record_language
from transport import cylinders, on_the_way
from transport.calc.checks_due import temperature_due
from transport.models import Transfer
from transport.pages.cases import baby_of, case_of
from transport.pages.happening import newest_transfer
from transport.pages.mending import told_done
from transport.pages.one_question import one_question
from transport.pages.questions import (
    GAUGE,
    MORE_OF_A_CHECK,
    SHORT_CHECK,
    TEMPERATURE,
    Asked,
    Of,
    Step,
    steps_of,
    unanswered,
)
from transport.pages.words import STOP_REASONS, word


@page
@require_safe
def check(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The first question of the check that this person has not answered just now."""
    case = _Case(request, code, birth_order)
    steps = case.steps()
    return _ask(request, case, steps, next(unanswered(steps), steps[0]))


@phone_page
def check_question(
    request: HttpRequest, code: str, birth_order: int, question: str
) -> HttpResponse:
    """One question of the check, or one of what can be told beside it."""
    case = _Case(request, code, birth_order)
    steps = case.steps()
    for step in [*steps, *case.more()]:
        if step.question.code == question:
            return _ask(request, case, steps if step in steps else [step], step)
    raise Http404


@phone_page
def stopped(request: HttpRequest, code: str) -> HttpResponse:
    """We stop because ...: one press of whoever travels with them; the desk is told at once."""
    referral = case_of(request, code)
    transfer = require_transfer(referral, newest_transfer(referral))
    reason = request.POST.get("reason", "")
    babies = babies_on_the_way(referral)
    if request.method == "POST" and reason in STOP_REASONS and babies:
        with in_record_language():
            why = word(STOP_REASONS, reason)
        told = on_the_way.CheckTold(facts={}, stopped_because=why)
        row = on_the_way.check(by_of(request), transfer, babies[0], told)
        words = _("The desk knows that you have stopped, and why.")
        told_done(request, words, f"/r/{referral.code}/", "check", row)
    return redirect("attendant_case", code=referral.code)


class _Case:
    """One baby on its journey, and what was told of it in the check that is under way."""

    def __init__(self, request: HttpRequest, code: str, birth_order: int) -> None:
        self.referral = case_of(request, code)
        self.baby = baby_of(self.referral, birth_order)
        self.transfer = newest_transfer(self.referral)
        self.by = by_of(request)
        self.begun = (
            on_the_way.check_under_way(self.by, self.transfer, self.baby) if self.transfer else None
        )

    def steps(self) -> list[Step]:
        """The short set; the temperature when an hour has passed."""
        known = self.known()
        due = temperature_is_due(self.referral, self.baby, self.transfer)
        asked = due or "temperature_c" in known
        short = [each for each in SHORT_CHECK if asked or each is not TEMPERATURE]
        units = cylinders.units_of_gauges(self.transfer)
        gauge = replace(GAUGE, fields=tuple(f"oxygen_{unit}" for unit in units))
        return self._steps([gauge if each is GAUGE else each for each in short], known)

    def more(self) -> list[Step]:
        """What can be told beside it."""
        return self._steps(MORE_OF_A_CHECK, self.known())

    def known(self) -> dict[str, Any]:
        """What was told in the check that is under way."""
        if self.begun is None:
            return {}
        rows = self.baby.observations.filter(observed_at__gte=self.begun.checked_at)
        facts = {name: value for name, (value, _at) in known_facts(rows).items()}
        return {
            **facts,
            "oxygen_bar": self.begun.oxygen_bar,
            "oxygen_psi": self.begun.oxygen_psi,
        }

    def _steps(self, questions: Sequence[Any], known: Mapping[str, Any]) -> list[Step]:
        asked = Asked(Of.BABY, str(self.baby.birth_order), self.baby.code, known, self.baby)
        path = reverse("check_question", args=[self.referral.code, self.baby.birth_order, "Q"])
        return steps_of(questions, [asked], path.replace("/Q/", "/{question}/"), clock.now())


def _ask(request: HttpRequest, case: _Case, steps: Sequence[Step], step: Step) -> HttpResponse:
    def write(answers: Mapping[str, Any]) -> str:
        facts = {name: value for name, value in answers.items() if name in BABY_FACTS}
        told = on_the_way.CheckTold(
            facts={name: value for name, value in facts.items() if value != ""},
            oxygen_bar=answers.get("oxygen_bar"),
            oxygen_psi=answers.get("oxygen_psi"),
            stopped_because=answers.get("stopped_because") or "",
        )
        if any(value not in (None, "") for value in answers.values()) or step.is_answered:
            on_the_way.answer_of_check(
                case.by, require_transfer(case.referral, case.transfer), case.baby, told
            )
        return _after(request, case, step)

    context = {"of_check": True, "more": [] if step not in steps else case.more()}
    return one_question(request, case.referral, steps, step, write, context)


def _after(request: HttpRequest, case: _Case, step: Step) -> str:
    """The next question of the set, else what happens now."""
    fresh = _Case(request, case.referral.code, case.baby.birth_order)
    steps = fresh.steps()
    places = [each.place for each in steps]
    if step.place in places:
        left = list(unanswered(steps[places.index(step.place) + 1 :]))
        if left:
            return left[0].path
    here = reverse("attendant_case", args=[case.referral.code])
    words = _("The check of %s is written down.") % case.baby.code
    if fresh.begun:
        told_done(request, words, here, "check", fresh.begun)
    elif step.place not in places:
        done(request, words)
    return here


def temperature_is_due(referral: Referral, baby: Baby, transfer: Transfer | None) -> bool:
    """Whether the district's interval has passed since it was taken, or nobody has taken it."""
    started = transfer.left_post_at if transfer else None
    every = intervals_of(baby, clock.now())
    last = (
        baby.observations.standing()
        .filter(temperature_c__isnull=False)
        .order_by("-observed_at")
        .first()
    )
    due = temperature_due(
        last_taken_at=last.observed_at if last else None,
        started_at=started or referral.raised_at,
        interval_minutes=every.check,
        temperature_minutes=every.temperature,
    )
    return last is None or due <= clock.now()


def require_transfer(referral: Referral, transfer: Transfer | None) -> Transfer:
    """The journey of a referral, or the sentence that there is none."""
    if transfer is None:
        raise NotPossible(
            _("%s has no journey yet. Ring the desk.") % referral.code, code="no_journey"
        )
    return transfer
