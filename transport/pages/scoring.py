"""Taking a published score: which ones there are, and the form of one.

Opened by the unit that takes the baby, and from the post's record by whoever travels with it.
"""

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from referrals import clock, scoring
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.scores import Score, ScoreKind
from referrals.models import Baby
from referrals.pages.doors import by_of, page, show
from referrals.recording import UnknownFact
from transport.pages.cases import baby_of, case_of
from transport.pages.mending import Door, told_done
from transport.pages.score_form import ScoreForm
from transport.pages.unit_question import Question, for_question, require_journey


@for_question
@require_safe
def unit_scores(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The scores the receiving unit can take of one baby."""
    return _which(request, *_at_unit(asked, birth_order))


@for_question
def unit_score(request: HttpRequest, asked: Question, birth_order: int, kind: str) -> HttpResponse:
    """One score of one baby, at the unit."""
    return _one(request, *_at_unit(asked, birth_order), kind)


@page
@require_safe
def escort_scores(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The scores a trained escort can take."""
    return _which(request, *_on_the_way(request, code, birth_order))


@page
def escort_score(request: HttpRequest, code: str, birth_order: int, kind: str) -> HttpResponse:
    """One score of one baby, by the escort."""
    return _one(request, *_on_the_way(request, code, birth_order), kind)


@dataclass(frozen=True)
class Choice:
    """One score that can be taken, with an address for each of its minutes."""

    score: Score
    paths: list[tuple[str, int | None]]


def _at_unit(asked: Question, birth_order: int) -> tuple[Door, Baby]:
    require_journey(asked)
    referral = asked.offer.referral
    return Door(referral, asked.by, asked.base), _baby(referral, birth_order)


def _on_the_way(request: HttpRequest, code: str, birth_order: int) -> tuple[Door, Baby]:
    referral = case_of(request, code)
    return Door(referral, by_of(request), f"/r/{referral.code}/"), _baby(referral, birth_order)


def _baby(referral: Any, birth_order: int) -> Baby:
    baby = baby_of(referral, birth_order)
    baby.referral = referral
    return baby


def _which(request: HttpRequest, door: Door, baby: Baby) -> HttpResponse:
    here = f"{door.base}scores/{baby.birth_order}/"
    choices = [
        Choice(
            score,
            [(f"{here}{kind.value}/?minute={each}", each) for each in score.minutes]
            or [(f"{here}{kind.value}/", None)],
        )
        for kind in ScoreKind
        for score in [scoring.score_of(baby, kind)]
    ]
    context = {"referral": door.referral, "baby": baby, "choices": choices, "back": door.base}
    return show(request, "transport/scores.html", context, district=door.referral.district)


def _one(request: HttpRequest, door: Door, baby: Baby, kind: str) -> HttpResponse:
    if kind not in set(ScoreKind):
        raise Http404
    score, now = scoring.score_of(baby, ScoreKind(kind)), clock.now()
    minute = _minute_in(request, score)
    form = ScoreForm(
        score,
        request.POST or None,
        found=scoring.already_told(baby, score.kind, now, minute),
        minute=minute,
        help_given=scoring.help_told(baby, now, minute),
    )
    if request.method == "POST" and form.is_valid():
        try:
            row = scoring.take(door.by, baby, form.told())
            told_done(request, _("The score is written down."), door.base, "score", row)
            return redirect(door.base)
        except (ImpossibleQuantity, UnknownFact) as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
    context = {
        "referral": door.referral,
        "baby": baby,
        "score": score,
        "minute": minute,
        "form": form,
        "back": f"{door.base}scores/{baby.birth_order}/",
    }
    status = 422 if form.is_bound else 200
    return show(
        request, "transport/score.html", context, district=door.referral.district, status=status
    )


def _minute_in(request: HttpRequest, score: Score) -> int | None:
    """The minute of the address, for a score that is taken at set minutes."""
    if not score.minutes:
        return None
    asked = request.GET.get("minute", "")
    if not asked.isdigit() or int(asked) not in score.minutes:
        raise Http404
    return int(asked)
