"""What every operation has in common, added once to the published schema."""

from http import HTTPStatus
from typing import Any

from referrals.api.errors import PROBLEM_TYPE
from referrals.calc.quantities import QUANTITIES

PROBLEM = {
    "type": "object",
    "description": "Problem details (RFC 9457). `code` is stable; `detail` says what to do next.",
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "code": {"type": "string"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "field": {"type": "string"},
                    "sentence": {"type": "string"},
                    "bound": {"type": "string"},
                },
                "required": ["field", "sentence"],
            },
        },
    },
    "required": ["type", "title", "status", "code", "detail"],
}
MEANINGS = {
    400: "Something in it cannot be used, or the key is missing. A device's body is kept.",
    401: "Not signed in.",
    403: "It is in your scope and not for your role.",
    404: "There is nothing here for you.",
    409: "Not possible now, with what is possible; or the same is being worked on (Retry-After).",
    410: "The link was right; its journey is long over.",
    413: "Too much at once.",
    415: "The body is not JSON.",
    422: "The key was used before for something else. The body is kept.",
    500: "The service made a mistake; the key stays free, so the same may be sent again.",
    503: "The record cannot be reached just now; send the same again (Retry-After).",
}
EVERYWHERE = (400, 401, 403, 404, 409, 422, 500, 503)
WITH_BODY = (413, 415)
BY_LINK = (410,)
KEY_PARAMETER = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": True,
    "description": (
        "Made on the device, one for each thing it sends. A repeat gets the first answer, with "
        "`Idempotency-Replayed: true`. `sent_at` may differ in a repeat."
    ),
    "schema": {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[!-~]+$"},
}
PAGE_PARAMETERS = [
    {
        "name": name,
        "in": "query",
        "required": False,
        "description": words,
        "schema": {"type": "integer", "minimum": least},
    }
    for name, words, least in (
        ("limit", "Rows a page; 100, and 500 at most.", 1),
        ("offset", "Rows to pass over.", 0),
    )
]
WITHOUT_KEY = ("/positions/", "/inbound/sms/", "/inbound/missed_calls/", "/inbound/reports/")
"""What machines send: deduplicated by its own keys."""


def add_problem_answers(result: dict[str, Any], **context: Any) -> dict[str, Any]:
    """Document the refusals of every operation, and the key that a device's POST needs."""
    shapes = result.setdefault("components", {}).setdefault("schemas", {})
    for name, shape in shapes.items():
        if name.endswith("Told") and "properties" in shape:
            _say_what_is_refused(shape)
    shapes["Problem"] = PROBLEM
    for path, operations in result.get("paths", {}).items():
        for method, operation in operations.items():
            if not isinstance(operation, dict) or "responses" not in operation:
                continue
            _add_answers(operation, _statuses(path, method))
            if _is_page(operation):
                operation.setdefault("parameters", []).extend(PAGE_PARAMETERS)
            if method == "post" and not path.endswith(WITHOUT_KEY):
                operation.setdefault("parameters", []).append(KEY_PARAMETER)
    return result


def _say_what_is_refused(shape: dict[str, Any]) -> None:
    """Fields nobody knows, and numbers that cannot be true."""
    shape["additionalProperties"] = False
    for name, field in shape["properties"].items():
        if name in QUANTITIES:
            bounds = QUANTITIES[name]
            field["minimum"], field["maximum"] = bounds.possible_low, bounds.possible_high


def _is_page(operation: dict[str, Any]) -> bool:
    content = operation["responses"].get("200", {}).get("content", {})
    shape = content.get("application/json", {}).get("schema", {})
    return str(shape.get("$ref", "")).endswith("Page")


def _statuses(path: str, method: str) -> tuple[int, ...]:
    link = BY_LINK if "/transfers/" in path else ()
    body = WITH_BODY if method == "post" else ()
    return (*EVERYWHERE, *link, *body)


def _add_answers(operation: dict[str, Any], statuses: tuple[int, ...]) -> None:
    for status in statuses:
        operation["responses"].setdefault(
            str(status),
            {
                "description": f"{HTTPStatus(status).phrase}. {MEANINGS[status]}",
                "content": {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
            },
        )
