"""The way in: home by role, sign-in, sign-out, and the demo's one-press entrance."""

from typing import Any

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth import views as auth_views
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from referrals import access, links
from referrals.calc.chest_steps import (
    BEAT_FASTEST,
    BEAT_PER_MINUTE,
    BEAT_SLOWEST,
    BEAT_STEP,
    CHEST_STEPS,
)
from referrals.calc.codes import InvalidCode, normalise_code
from referrals.calc.terms import Role
from referrals.links import InvalidLink
from referrals.models import Staff
from referrals.pages import kept
from referrals.pages.doors import open_page, page, show, staff_of

FIRST_PAGE = {
    Role.ATTENDANT.value: "/post/",
    Role.UNIT.value: "/unit/",
    Role.DRIVER.value: "/drive/",
    Role.DESK.value: "/desk/",
    Role.LEAD.value: "/desk/",
}
"""Where each role begins; the journey side serves these pages, joined by path."""


class SignIn(auth_views.LoginView):
    """Sign-in by user name and password."""

    template_name = "referrals/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say when something typed waits behind the sign-in."""
        waiting = self.get_redirect_url().startswith("/kept/")
        return {**super().get_context_data(**kwargs), "something_waits": waiting}


sign_in = SignIn.as_view()
sign_out = auth_views.LogoutView.as_view()


@page
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """The first page of whoever is signed in."""
    staff = staff_of(request)
    roles = {role.role for role in staff.roles.all()}
    for role, path in FIRST_PAGE.items():
        if role in roles or (role == Role.DESK.value and staff.is_superuser):
            return redirect(path)
    return show(request, "referrals/no_role.html")


@page
@require_safe
def case(request: HttpRequest, code: str) -> HttpResponse:
    """The address printed on the paper slip: it leads to each role's own page of the case."""
    staff = staff_of(request)
    try:
        plain = normalise_code(code)
    except InvalidCode:
        plain = code[:8]  # type: ignore[assignment]
    scope = access.scope_of(staff)
    offers = access.visible_offers(staff).filter(referral__code=plain, unit__in=scope.units)
    referral = access.visible_referrals(staff).filter(code=plain).first()
    if referral and referral.origin_id in scope.sites:
        return redirect(f"/r/{referral.code}/")
    if offer := offers.last():
        return redirect(f"/unit/{offer.pk}/")
    if referral is None:
        raise Http404
    return redirect(f"/desk/{referral.code}/")


@open_page
def enter(request: HttpRequest, token: str) -> HttpResponse:
    """The demo's entrance: a page that says as whom, and one button. Refused outside the demo."""
    if not settings.DEMO:
        raise InvalidLink(_("Links that sign in work only in the demo. Sign in with your name."))
    staff = Staff.objects.filter(pk=links.require_valid("e", token), is_active=True).first()
    if staff is None:
        raise InvalidLink(_("This link is no longer valid; ask the desk for a new one."))
    if request.method == "POST":
        login(request, staff, backend="django.contrib.auth.backends.ModelBackend")
        return redirect("home")
    roles = staff.roles.select_related("site", "unit__site", "district")
    return show(request, "referrals/enter.html", {"person": staff, "roles": roles, "token": token})


def entrance_path(staff: Staff) -> str:
    """The path of the demo's sign-in link of a person."""
    return reverse("enter", args=[links.token("e", staff.pk)])


@page
@require_safe
def kept_form(request: HttpRequest, token: str) -> HttpResponse:
    """What was typed before the sign-in had run out: one press sends it."""
    try:
        saved = kept.find(token)
    except InvalidLink as refusal:
        return show(request, "referrals/link_over.html", {"sentence": str(refusal)}, status=404)
    fields = kept.fields_of(saved)
    context = {"saved": saved, "fields": fields, "told": kept.in_words(fields), "token": token}
    return show(request, "referrals/kept.html", context)


@open_page
@require_safe
def beat(request: HttpRequest) -> HttpResponse:
    """The ventilation beat: no patient on it, so it may be kept and opened without a network."""
    context = {
        "rates": range(BEAT_SLOWEST, BEAT_FASTEST + 1, BEAT_STEP),
        "usual": BEAT_PER_MINUTE,
        "steps": CHEST_STEPS,
    }
    response = show(request, "referrals/beat.html", context)
    response["Cache-Control"] = "private, max-age=86400"
    return response
