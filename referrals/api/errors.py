"""Every refusal of the API in one shape: problem details (RFC 9457) with a stable code.

``detail`` is a sentence that says what can be done next; ``errors`` puts sentences beside fields.
"""

from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.response import Response

from referrals.calc.quantities import QUANTITIES, ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.links import InvalidLink
from referrals.recording import UnknownFact

PROBLEM_TYPE = "application/problem+json"
SECONDS_UNTIL_RETRY = 2
NOT_AVAILABLE = 503

REFUSALS = (
    exceptions.APIException,
    Http404,
    PermissionDenied,
    NotPossible,
    ImpossibleQuantity,
    UnknownFact,
    InvalidLink,
)
"""What a verb or a door raises when it says no; everything else is a fault."""


class WrongRole(exceptions.PermissionDenied):
    """The thing is in the person's scope, the deed is not."""

    default_code = "not_your_role"


def as_problem(error: Exception, context: dict[str, Any]) -> Response | None:
    """The answer to an exception; nothing for a fault of the program, which fails loudly."""
    known = problem_of(error)
    if known is None:
        return None
    status, body = known
    headers = headers_of(error, status)
    return Response(body, status=status, content_type=PROBLEM_TYPE, headers=headers)


def problem_of(error: Exception) -> tuple[int, dict[str, Any]] | None:
    """Status and problem details of an exception; nothing when it is not a refusal."""
    if isinstance(error, exceptions.ValidationError):
        return 400, _body(400, "invalid", _invalid_sentence(), errors=list(_by_field(error.detail)))
    if isinstance(error, exceptions.APIException):
        return error.status_code, _body(error.status_code, _code(error), str(error.detail))
    if isinstance(error, NotPossible):
        return 409, _body(409, error.code, error.sentence)
    if isinstance(error, ImpossibleQuantity | UnknownFact):
        return 400, _body(400, _fact_code(error), _invalid_sentence(), errors=[_beside(error)])
    if isinstance(error, InvalidLink):
        status = error.status
        return status, _body(status, "link_invalid" if status == 404 else "link_closed", str(error))
    return _of_the_frame(error)


def fault_of(error: BaseException) -> tuple[int, dict[str, Any]]:
    """Status and problem details of what no view has answered."""
    known = problem_of(error) if isinstance(error, Exception) else None
    if known and known[0] == NOT_AVAILABLE:
        return known
    sentence = _("The service made a mistake. Send the same again; if it stays, ring the desk.")
    return 500, _body(500, "fault", sentence)


def _of_the_frame(error: Exception) -> tuple[int, dict[str, Any]] | None:
    """What Django itself raises."""
    if isinstance(error, Http404):
        return 404, _body(
            404, "not_found", _("There is nothing here for you. Check the code and try again.")
        )
    if isinstance(error, PermissionDenied):
        return 403, _body(403, "not_your_role", str(error) or _("Ask the desk to do this."))
    if isinstance(error, RequestDataTooBig):
        return 413, _body(413, "too_large", _("Too much was sent at once. Send it in parts."))
    if isinstance(error, OperationalError | InterfaceError):
        sentence = _("The record cannot be written just now. Send the same again in a moment.")
        return NOT_AVAILABLE, _body(NOT_AVAILABLE, "not_available", sentence)
    return None


def _body(
    status: int, code: str, detail: str, errors: list[dict[str, str]] | None = None
) -> dict[str, Any]:
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "code": code,
        "detail": detail,
    }
    return body | {"errors": errors} if errors else body


def headers_of(error: BaseException, status: int) -> dict[str, str]:
    """The header lines that belong to a refusal: how to sign in, when to try again."""
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    wait = getattr(error, "wait", None) or (
        SECONDS_UNTIL_RETRY if status == NOT_AVAILABLE else None
    )
    if wait:
        headers["Retry-After"] = str(int(wait))
    return headers


def _code(error: exceptions.APIException) -> str:
    names = {
        exceptions.NotAuthenticated: "sign_in_needed",
        exceptions.AuthenticationFailed: "sign_in_failed",
        exceptions.ParseError: "unreadable",
        exceptions.NotFound: "not_found",
        exceptions.MethodNotAllowed: "method_not_allowed",
        exceptions.UnsupportedMediaType: "not_json",
    }
    return names.get(type(error)) or str(error.get_codes())


def _invalid_sentence() -> str:
    return _("Something in it cannot be used. Correct it and send it again under a new key.")


def _fact_code(error: ImpossibleQuantity | UnknownFact) -> str:
    return "impossible_quantity" if isinstance(error, ImpossibleQuantity) else "unknown_fact"


def _beside(error: ImpossibleQuantity | UnknownFact) -> dict[str, str]:
    beside = {"field": error.field, "sentence": str(error)}
    if isinstance(error, ImpossibleQuantity):
        beside["bound"] = QUANTITIES[error.field].sentence()
    return beside


def _by_field(detail: Any, field: str = "") -> Iterator[dict[str, str]]:
    """Nested messages as a flat list; ``babies.0.heart_rate`` names the first baby's field."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            deeper = field if name == "non_field_errors" else f"{field}.{name}" if field else name
            yield from _by_field(inner, str(deeper))
    elif isinstance(detail, list):
        for position, inner in enumerate(detail):
            is_row = isinstance(inner, dict | list)
            yield from _by_field(inner, f"{field}.{position}" if is_row and field else field)
    else:
        yield {"field": field, "sentence": str(detail)}
