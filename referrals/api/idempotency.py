"""A repeat from a person's device gets the first answer: the key is made on the device.

How it is kept, the same on PostgreSQL and SQLite and over any number of processes:

1. A row *claims* the key and is committed at once. Its unique constraint lets one request in;
   whoever comes while it is unfinished is told 409 with ``Retry-After``.
2. The verb, its Entry and the finished answer are one transaction. So there is never a change
   without its answer, and a crash leaves neither; it can only leave the claim behind.
3. A fault gives the claim back. A claim that is a minute old belongs to a process that died, and
   the next repeat takes it over. Should the first one live after all, its own finishing finds the
   claim taken and rolls everything back: ``received_at`` is the fence.

Refusals (400 to 410) are answers too: what was refused once is refused again under the same key,
and a corrected request needs a new one. Faults, 401 and 503 are never kept as answers.

The fingerprint is taken of the parsed body without ``sent_at``, which changes at every sending.
"""

import json
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from hashlib import sha256
from typing import Any

from django.db import DatabaseError, transaction
from django.utils.translation import gettext as _
from rest_framework import exceptions, status
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import clock
from referrals.api import kept
from referrals.api.errors import PROBLEM_TYPE, REFUSALS, as_problem
from referrals.models import DeviceRequest
from referrals.saying import for_the_record, to_tell

HEADER = "Idempotency-Key"
LONGEST_KEY = 200
DEAD_AFTER = timedelta(seconds=60)


class KeyMissing(exceptions.APIException):
    """A device must name each thing it sends, or a repeat could not be told from a new one."""

    status_code = status.HTTP_400_BAD_REQUEST
    default_code = "key_missing"


class KeyReused(exceptions.APIException):
    """The key already stands for something else."""

    status_code = status.HTTP_422_UNPROCESSABLE_ENTITY
    default_code = "key_reused"


class InFlight(exceptions.APIException):
    """The same request is being worked on at this moment."""

    status_code = status.HTTP_409_CONFLICT
    default_code = "in_flight"
    wait = 1


Handler = Callable[..., Response]


def once(handler: Handler) -> Handler:
    """Make a POST of a view answer a repeat with its first answer.

    The view has ``caller`` (whose keys these are). Where it has ``follow_up(response)``, that is
    called after the commit, for what must never undo the verb; what it returns is the answer.
    """

    @wraps(handler)
    def wrapped(view: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
        return answer_once(
            request,
            view.caller,
            lambda: handler(view, request, *args, **kwargs),
            getattr(view, "follow_up", None),
        )

    return wrapped


def answer_once(
    request: Request,
    caller: str,
    perform: Callable[[], Response],
    follow_up: Callable[[Response], Response] | None = None,
) -> Response:
    """The first answer to this key, now or again."""
    key = _key_of(request, caller)
    print_of_it = _readable(request, caller)
    claim, mine = _claim(request, caller, key, print_of_it)
    if not mine:
        return _standing(request, claim, print_of_it)
    try:
        response = _perform(request, claim, perform)
    except InFlight:
        raise
    except BaseException:
        _give_back(claim)
        raise
    if follow_up and response.status_code < 300:
        response = follow_up(response)
        DeviceRequest.objects.filter(pk=claim.pk).update(answer=_plain(response.data))
    return response


def fingerprint(request: Request) -> str:
    """What the request asks for, whenever it was sent."""
    body = request.data
    if isinstance(body, dict):
        body = {name: value for name, value in body.items() if name != "sent_at"}
    whole = json.dumps([request.method, request.path, body], sort_keys=True, default=str)
    return sha256(whole.encode()).hexdigest()


def _readable(request: Request, caller: str) -> str:
    """The fingerprint; what cannot be read is kept as it came, and its key stays free."""
    try:
        return fingerprint(request)
    except (exceptions.ParseError, exceptions.UnsupportedMediaType) as error:
        kept.keep(request, caller, str(error.detail))
        raise


def _key_of(request: Request, caller: str) -> str:
    key = request.headers.get(HEADER, "").strip()
    if key and len(key) <= LONGEST_KEY and key.isprintable() and key.isascii():
        return key
    problem = _("Idempotency-Key is missing or longer than %(most)s characters.") % {
        "most": LONGEST_KEY
    }
    kept.keep(request, caller, problem)
    raise KeyMissing(
        _(
            "%(problem)s Send the same again with a key made on the device; "
            "what you sent has been kept for the desk."
        )
        % {"problem": problem}
    )


def _claim(request: Request, caller: str, key: str, print_of_it: str) -> tuple[DeviceRequest, bool]:
    now = clock.now()
    claim, mine = DeviceRequest.objects.get_or_create(
        caller=caller,
        key=key,
        defaults={
            "fingerprint": print_of_it,
            "method": request.method or "",
            "path": request.path[:300],
            "received_at": now,
        },
    )
    if mine or claim.finished_at or claim.fingerprint != print_of_it:
        return claim, mine
    if now - claim.received_at <= DEAD_AFTER * clock.speed():
        return claim, False
    taken = _unfinished(claim).update(received_at=now)
    claim.received_at = now
    return claim, taken == 1


def _standing(request: Request, claim: DeviceRequest, print_of_it: str) -> Response:
    if claim.fingerprint != print_of_it:
        problem = to_tell("key %(key)s was used before for something else", key=claim.key)
        kept.keep(request, claim.caller, for_the_record(problem))
        raise KeyReused(
            _(
                "This key was used before for something else. Send it again under a new key; "
                "what you sent has been kept for the desk."
            )
        )
    if claim.finished_at is None or claim.status is None:
        raise InFlight(_("The same is being worked on. Ask again in a second."))
    return Response(
        claim.answer,
        status=claim.status,
        headers={"Idempotency-Replayed": "true"},
        content_type=PROBLEM_TYPE if claim.status >= 400 else None,
    )


def _perform(request: Request, claim: DeviceRequest, perform: Callable[[], Response]) -> Response:
    with transaction.atomic():
        response = _verb_or_refusal(request, claim.caller, perform)
        finished = _unfinished(claim).update(
            finished_at=clock.now(), status=response.status_code, answer=_plain(response.data)
        )
        if not finished:
            raise InFlight(_("The same is being worked on. Ask again in a second."))
    return response


def _verb_or_refusal(request: Request, caller: str, perform: Callable[[], Response]) -> Response:
    try:
        with transaction.atomic():
            return perform()
    except REFUSALS as error:
        response = as_problem(error, {})
        if response is None or response.status_code >= 500:
            raise
        if response.status_code == status.HTTP_400_BAD_REQUEST:
            kept.keep(request, caller, str(response.data["detail"]))
        return response


def _unfinished(claim: DeviceRequest) -> Any:
    """The row as long as it is still ours: the fence against a claim taken over."""
    return DeviceRequest.objects.filter(
        pk=claim.pk, received_at=claim.received_at, finished_at__isnull=True
    )


def _give_back(claim: DeviceRequest) -> None:
    try:
        _unfinished(claim).delete()
    except DatabaseError:
        return  # the claim grows old by itself, and the next repeat takes it over


def _plain(data: Any) -> Any:
    return json.loads(JSONRenderer().render(data)) if data is not None else None
