"""A page with one form: show it, or take it; whatever is refused, what was typed stays."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse

from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.models import Referral
from referrals.pages.doors import show
from referrals.pages.forms import PageForm
from referrals.recording import UnknownFact


def form_page(
    request: HttpRequest,
    referral: Referral,
    form: PageForm,
    tell: Callable[[], HttpResponse],
    template: str,
    context: dict[str, Any],
) -> HttpResponse:
    """Show a form, or take it; a refusal is shown above the form, which keeps what was typed."""
    if request.method != "POST" or not form.is_valid():
        return shown(request, referral, form, template, context)
    try:
        return tell()
    except NotPossible as refusal:
        return shown(request, referral, form, template, context, problem=refusal.sentence)
    except (ImpossibleQuantity, UnknownFact) as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return shown(request, referral, form, template, context)


def shown(
    request: HttpRequest,
    referral: Referral,
    form: PageForm,
    template: str,
    context: dict[str, Any],
    problem: str = "",
) -> HttpResponse:
    status = 409 if problem else 422 if form.is_bound and form.errors else 200
    return show(
        request,
        template,
        {"referral": referral, "form": form, "problem": problem, **context},
        district=referral.district,
        status=status,
    )
