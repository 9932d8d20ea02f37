"""The doors of the pages: who comes in, how a page is shown, and what a refusal looks like."""

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.cache import get_conditional_response
from django.views.decorators.gzip import gzip_page

from referrals import access, clock
from referrals.acting import By, by_staff
from referrals.calc.terms import EntryChannel
from referrals.links import InvalidLink, LinkOver
from referrals.models import District, Staff
from referrals.pages import kept
from referrals.pages.once import new_key, once
from referrals.saying import for_the_record, offered, to_tell

View = Callable[..., HttpResponse]


class TooLate(Exception):
    """A page cannot take this any more; its sentence says what is possible now.

    Raised inside a view and answered by its door: there, outside the transaction that a refused
    form rolls back (``referrals/pages/once.py``), what was typed is kept.
    """

    def __init__(
        self, sentence: str, *, district: District | None = None, back: str = "", keep: bool = True
    ) -> None:
        super().__init__(sentence)
        self.sentence, self.district, self.back, self.keep = sentence, district, back, keep


def page(view: View) -> View:
    """A page for people who are signed in.

    A form sent after the sign-in has run out is kept, and offered again after signing in.
    """

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return _sign_in_first(request)
        with translation.override(_language_of(request)), timezone.override(_zone_of(request)):
            try:
                response = _shown(request, once(view)(request, *args, **kwargs))
            except TooLate as refusal:
                response = _too_late(request, refusal)
        kept.settle(request, response, clock.now())
        return response

    return gzip_page(login_not_required(wrapped))


def open_page(view: View) -> View:
    """A page for whoever holds its link; a link that is no longer valid is shown as such."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            response = _shown(request, once(view)(request, *args, **kwargs))
        except TooLate as refusal:
            return _too_late(request, refusal)
        except InvalidLink as refusal:
            return _link_over(request, refusal)
        kept.settle(request, response, clock.now())
        return response

    return gzip_page(login_not_required(wrapped))


def by_of(
    request: HttpRequest, channel: EntryChannel = EntryChannel.PAGE, *, said_by: str = ""
) -> By:
    """The person as the author of what the page does; ``said_by`` told it by voice.

    With the phone's own times where it told them.
    """
    return by_staff(
        staff_of(request),
        channel=channel,
        now=clock.now(),
        said_by=said_by,
        happened_at=moment_in(request.POST.get("happened_at", "")),
        # In a header, so that sending the same press again is the same form.
        sent_at=moment_in(request.headers.get("Sent-At", "")),
    )


def moment_in(text: str) -> datetime | None:
    """A phone's time; one that cannot be read is left out, since the press itself counts."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else None


def staff_of(request: HttpRequest) -> Staff:
    """The person who is signed in."""
    if not isinstance(request.user, Staff):
        raise Http404
    return request.user


@contextmanager
def as_read(request: HttpRequest, district: District | None) -> Iterator[None]:
    """The person's language and the district's time, for words that are made before a page."""
    zone = ZoneInfo(district.time_zone) if district else timezone.get_current_timezone()
    with timezone.override(zone), translation.override(_language_of(request)):
        yield


def show(
    request: HttpRequest,
    template: str,
    context: dict[str, Any] | None = None,
    *,
    district: District | None = None,
    status: int = 200,
) -> HttpResponse:
    """Render a page in the person's language and the district's time; never stored on the way."""
    with as_read(request, district):
        response = render(
            request,
            template,
            {"district": district or _own_district(request), "key": new_key(), **(context or {})},
            status=status,
        )
    response["Cache-Control"] = "no-store"
    return response


def unless_the_same(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """The changing part of a page, or 304 when the reader has it already."""
    etag = f'"{hashlib.sha256(response.content).hexdigest()[:20]}"'
    answer = get_conditional_response(request, etag=etag, response=response) or response
    answer["ETag"] = etag
    answer["Cache-Control"] = "no-store"
    return answer


def _shown(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """The answer itself; the address of a form that somebody opens to read gets a page too.

    Browsers show a page of their own for an answer without a body, and it reads like an outage.
    """
    if not isinstance(response, HttpResponseNotAllowed):
        return response
    answer = show(request, "405.html", status=response.status_code)
    answer["Allow"] = response["Allow"]
    return answer


def _too_late(request: HttpRequest, refusal: TooLate) -> HttpResponse:
    context = {
        "sentence": refusal.sentence,
        "back": refusal.back,
        **_typed(request, refusal.sentence, keep=refusal.keep),
    }
    status = 409 if request.method == "POST" else 404
    return show(
        request, "referrals/too_late.html", context, district=refusal.district, status=status
    )


def _link_over(request: HttpRequest, refusal: InvalidLink) -> HttpResponse:
    """Only what comes through a link that once was right is kept: strangers fill no table."""
    typed = _typed(request, str(refusal), keep=isinstance(refusal, LinkOver))
    context = {"sentence": str(refusal), **typed}
    return show(request, "referrals/link_over.html", context, status=refusal.status)


def _typed(request: HttpRequest, problem: str, *, keep: bool) -> dict[str, Any]:
    told = kept.in_words(kept.sent(request)) if request.method == "POST" else []
    if keep and told:
        kept.keep(request, clock.now(), problem=problem)
    return {"told": told, "kept": keep and bool(told)}


def _zone_of(request: HttpRequest) -> ZoneInfo:
    """The zone of the person's district, in which times are typed and shown."""
    district = access.districts_of(staff_of(request)).first()
    return ZoneInfo(district.time_zone if district else "UTC")


def _own_district(request: HttpRequest) -> District | None:
    """The district of the person who is signed in, whose desk can be rung from every page."""
    user = request.user
    return access.districts_of(user).first() if isinstance(user, Staff) else None


def _language_of(request: HttpRequest) -> str:
    own = getattr(request.user, "language", "")
    return offered(own or translation.get_language() or "")


def _sign_in_first(request: HttpRequest) -> HttpResponse:
    where = request.get_full_path()
    if request.method == "POST":
        problem = for_the_record(to_tell("sent after the sign-in had run out"))
        saved = kept.keep(request, clock.now(), problem=problem)
        where = reverse("kept", args=[kept.token_of(saved)])
    response = redirect(f"{reverse('sign_in')}?next={where}")
    response["Cache-Control"] = "no-store"
    return response
