"""What stands in place of a page that could not be made; what was typed is kept and shown."""

import sys
from contextlib import suppress
from typing import Any
from urllib.parse import urlsplit

from django.db import Error as DatabaseFault
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string

from referrals import access, clock
from referrals.api import errors
from referrals.models import Staff
from referrals.pages import kept
from referrals.pages.doors import show
from referrals.saying import for_the_record, to_tell


def csrf_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Refuse, keep and show; sending again is offered only for a form of our own pages.

    A form that another site has sent is kept for a person to look at, and never one press away.
    """
    problem = to_tell("the check of the form failed: %(reason)s", reason=reason)
    saved = kept.keep(request, clock.now(), problem=for_the_record(problem))
    told = kept.in_words(kept.fields_of(saved))
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


def fault(request: HttpRequest) -> HttpResponse:
    """The answer to an exception that nothing else has answered, called while it is handled.

    Below the API it is problem details. On a page the form that was sent stands there again, with
    its own key and its own cross-site token, so that one press sends it once more. Nothing here
    needs the database, which may be what has failed.
    """
    error = sys.exc_info()[1] or RuntimeError("no exception is being handled")
    status, body = errors.fault_of(error)
    if request.path.startswith("/api/"):
        answer: HttpResponse = JsonResponse(body, status=status)
        answer["Content-Type"] = errors.PROBLEM_TYPE
    else:
        answer = HttpResponse(_fault_page(request, status), status=status)
    for name, value in errors.headers_of(error, status).items():
        answer[name] = value
    answer["Cache-Control"] = "no-store"
    return answer


def _fault_page(request: HttpRequest, status: int) -> str:
    is_busy = status == errors.NOT_AVAILABLE
    context: dict[str, Any] = {"path": request.get_full_path(), "is_busy": is_busy}
    if request.method == "POST" and not any("password" in name for name in request.POST):
        context["fields"] = [
            (name, value) for name, values in request.POST.lists() for value in values
        ]
        context["told"] = kept.in_words(kept.sent(request))
        if not is_busy:
            context["token"] = _kept_for_the_desk(request)
    with suppress(DatabaseFault):
        person = request.user if isinstance(request.user, Staff) else None
        context["desk_phone"] = access.desk_phone(person)
    return render_to_string("500.html", context)


def _kept_for_the_desk(request: HttpRequest) -> str:
    """The token of what was sent, so that sending it again settles it; empty when not even that."""
    with suppress(DatabaseFault), transaction.atomic():
        problem = for_the_record(to_tell("the service made a mistake with it; its log says which"))
        return kept.token_of(kept.keep(request, clock.now(), problem=problem))
    return ""


def is_our_own(request: HttpRequest) -> bool:
    """Whether the browser says that the form came from one of our own pages."""
    site = request.headers.get("Sec-Fetch-Site")
    if site:
        return site == "same-origin"
    origin = request.headers.get("Origin") or request.headers.get("Referer") or ""
    return urlsplit(origin).netloc == request.get_host()
