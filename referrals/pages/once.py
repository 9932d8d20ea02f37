"""A form pressed twice counts once: the second press shows the result of the first.

Every form carries a hidden ``key`` made when the page was rendered. The key is taken in the same
transaction as what the form does, so there is never a key without its result: a second press
waits for the first and is then sent to where the first one went. A form that was refused gives
its key back. Coming back to a sent form and changing it is a new telling, not a repeat, so the
words of the form are part of the key.
"""

import hashlib
import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from referrals import clock
from referrals.models import DeviceRequest

View = Callable[..., HttpResponse]
NOT_PART_OF_THE_FORM = ("csrfmiddlewaretoken", "key", "kept")


class _Refused(Exception):
    def __init__(self, response: HttpResponse) -> None:
        super().__init__()
        self.response = response


def new_key() -> str:
    """A key for one form on one page."""
    return str(uuid.uuid4())


def once(view: View) -> View:
    """Honour the key of a form; a form without one works too, only without this protection."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        key = request.POST.get("key", "")[:64] if request.method == "POST" else ""
        if not key:
            return view(request, *args, **kwargs)
        return _first_answer(request, key) or _answer_and_keep(
            request, key, lambda: view(request, *args, **kwargs)
        )

    return wrapped


def _answer_and_keep(
    request: HttpRequest, key: str, answer: Callable[[], HttpResponse]
) -> HttpResponse:
    try:
        with transaction.atomic():
            row = DeviceRequest.objects.create(
                caller=_caller(request),
                key=_full_key(request, key),
                fingerprint=_fingerprint(request),
                method="POST",
                path=request.path[:300],
                received_at=clock.now(),
            )
            response = answer()
            if not isinstance(response, HttpResponseRedirect):
                raise _Refused(response)
            row.finished_at, row.status = clock.now(), response.status_code
            row.answer = {"location": response.url}
            row.save(update_fields=["finished_at", "status", "answer"])
    except _Refused as refused:
        return refused.response
    except IntegrityError:
        # On two presses at once the database lets one in; the other finds its answer here.
        first = _first_answer(request, key)
        if first is None:
            raise
        return first
    return response


def _first_answer(request: HttpRequest, key: str) -> HttpResponse | None:
    row = DeviceRequest.objects.filter(
        caller=_caller(request), key=_full_key(request, key), finished_at__isnull=False
    ).first()
    return HttpResponseRedirect(row.answer["location"]) if row and row.answer else None


def _caller(request: HttpRequest) -> str:
    if request.user.is_authenticated:
        return f"page:{request.user.get_username()}"[:170]
    # Without an account the address holds the token, which is the caller.
    return f"page:{request.path}"[:170]


def _full_key(request: HttpRequest, key: str) -> str:
    return f"{key}:{_fingerprint(request)[:16]}"


def _fingerprint(request: HttpRequest) -> str:
    told = sorted(
        (name, values) for name, values in request.POST.lists() if name not in NOT_PART_OF_THE_FORM
    )
    return hashlib.sha256(repr((request.path, told)).encode()).hexdigest()
