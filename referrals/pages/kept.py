"""What was typed and could not be taken is kept, shown, and offered again."""

from datetime import datetime
from urllib.parse import parse_qsl, urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.translation import gettext as _

from referrals import links
from referrals.calc.spelled import spelled
from referrals.labels import FIELDS
from referrals.models import KeptInput, Staff

TOKEN_FIELD = "kept"  # noqa: S105 - the name of a form field
_NEVER_KEPT = {"csrfmiddlewaretoken", "password", TOKEN_FIELD}


def keep(request: HttpRequest, now: datetime, *, problem: str) -> KeptInput:
    """Store the fields of a form that could not be taken; passwords and tokens are left out."""
    caller = request.user.username if isinstance(request.user, Staff) else ""
    return KeptInput.objects.create(
        received_at=now,
        channel="page",
        caller=caller,
        path=request.path[:300],
        body=urlencode(sent(request)),
        problem=problem[:400],
    )


def sent(request: HttpRequest) -> list[tuple[str, str]]:
    """The fields of a form as they came, without passwords and the form's own tokens."""
    return [
        (name, value)
        for name, values in request.POST.lists()
        if name not in _NEVER_KEPT
        for value in values
    ]


def in_words(fields: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """What a person filled in, each with the name of its field, to be read again."""
    return [
        (str(FIELDS.get(name, spelled(name))), value)
        for name, value in fields
        if value.strip() and name != "key" and not name.startswith("asked_")
    ]


def token_of(saved: KeptInput) -> str:
    """The token under which the person who typed it finds it again."""
    return links.token("k", saved.pk)


def find(token: str) -> KeptInput:
    """What is kept under a token.

    Raises:
        InvalidLink: when the token is not ours, or it was sent again already.
    """
    number = links.require_valid("k", token)
    saved = KeptInput.objects.filter(pk=number, dealt_with_at=None).first()
    if saved is None:
        raise links.InvalidLink(_("this was sent already"))
    return saved


def fields_of(saved: KeptInput) -> list[tuple[str, str]]:
    """The fields as they were typed."""
    return parse_qsl(saved.body, keep_blank_values=True)


def settle(request: HttpRequest, response: HttpResponse, now: datetime) -> None:
    """A kept form was sent again and taken: nobody has to look at it any more."""
    token = request.POST.get(TOKEN_FIELD, "") if request.method == "POST" else ""
    if not token or not isinstance(response, HttpResponseRedirect):
        return
    try:
        saved = find(token)
    except links.InvalidLink:
        return
    saved.dealt_with_at = now
    # Without an account it is the link in the path that sent it again.
    saved.dealt_with_by = request.user.get_username() or saved.path[:150]
    saved.save(update_fields=["dealt_with_at", "dealt_with_by"])
