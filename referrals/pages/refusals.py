"""A form whose cross-site check failed: refused, but what was typed is kept and shown."""

from urllib.parse import urlsplit

from django.http import HttpRequest, HttpResponse

from referrals import clock
from referrals.pages import kept
from referrals.pages.doors import show


def csrf_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Refuse, keep and show; sending again is offered only for a form of our own pages.

    A form that another site has sent is kept for a person to look at, and never one press away.
    """
    saved = kept.keep(request, clock.now(), problem=f"the check of the form failed: {reason}"[:400])
    told = [(name, value) for name, value in kept.fields_of(saved) if name != "key" and value]
    return show(
        request,
        "referrals/form_refused.html",
        {
            "told": told,
            "path": request.path,
            "token": kept.token_of(saved) if is_our_own(request) else "",
        },
        status=403,
    )


def is_our_own(request: HttpRequest) -> bool:
    """Whether the browser says that the form came from one of our own pages."""
    site = request.headers.get("Sec-Fetch-Site")
    if site:
        return site == "same-origin"
    origin = request.headers.get("Origin") or request.headers.get("Referer") or ""
    return urlsplit(origin).netloc == request.get_host()
