"""Forms that a phone has kept while it had no network, and sends when it has one again.

A kept emergency depends on no session and no cookie: it is sent with a token of the person who
pressed it. The token opens no page, only these forms, and it is void when the person's password
changes or the account ends. A header that a page of another site cannot set stands for the check
of a form's own token.
"""

from collections.abc import Callable
from functools import wraps
from hashlib import sha256
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from referrals import clock, links
from referrals.links import InvalidLink
from referrals.models import Staff
from referrals.pages import kept
from referrals.pages.doors import page

SCHEME = "Phone "


def token_of(staff: Staff) -> str:
    """What a phone sends with everything this person pressed."""
    return links.token("p", staff.pk, _version(staff))


def phone_page(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A page whose form may also come from a phone that has kept it (``outbox.js``).

    What is taken is answered with the address that a browser would be sent to; what is not, with
    the page that says why.
    """
    inside = page(view)
    by_browser = csrf_protect(inside)

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        told = request.headers.get("Authorization", "")
        if request.method != "POST" or not told.startswith(SCHEME):
            return by_browser(request, *args, **kwargs)
        staff = _staff_of(told.removeprefix(SCHEME))
        if staff is None:
            sentence = _("Sign in again: then what is saved on this phone is sent.")
            return JsonResponse({"sentence": sentence}, status=401)
        request.user = staff
        answer = inside(request, *args, **kwargs)
        if isinstance(answer, HttpResponseRedirect):
            return JsonResponse({"next": answer.url})
        if answer.status_code == 409:
            # Nobody may be looking at the phone any more: the desk sees it too.
            kept.keep(request, clock.now(), problem=_("sent later by a phone and not possible"))
        return answer

    return login_not_required(csrf_exempt(wrapped))


def _staff_of(token: str) -> Staff | None:
    try:
        staff = Staff.objects.filter(pk=links.number_in("p", token), is_active=True).first()
        if staff:
            links.require_valid("p", token, _version(staff))
    except InvalidLink:
        return None
    return staff


def _version(staff: Staff) -> int:
    return int.from_bytes(sha256(staff.password.encode()).digest()[:6], "big")
