"""Hands for the pages: sign in, open, press. Forms are read from the page, as a browser does."""

from html.parser import HTMLParser
from typing import Any

from django.http import HttpResponse
from django.test import Client

from referrals.models import Staff

BACKEND = "django.contrib.auth.backends.ModelBackend"


def browser_of(staff: Staff | None = None, **options: Any) -> Client:
    """A browser without scripts, signed in as somebody or nobody."""
    client = Client(**options)
    if staff:
        client.force_login(staff, backend=BACKEND)
    return client


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "form":
            self.forms.append({"action": told.get("action") or "", "fields": {}})
        if tag == "input" and self.forms and told.get("name"):
            self._take(told)

    def _take(self, told: dict[str, str | None]) -> None:
        if told.get("type") in ("radio", "checkbox") and "checked" not in told:
            return
        empty = "on" if told.get("type") == "checkbox" else ""
        self.forms[-1]["fields"][told["name"]] = told.get("value") or empty


def forms_on(response: HttpResponse) -> list[dict[str, Any]]:
    """The forms of a page with what stands in them; the sign-out form is left out."""
    reader = _Forms()
    reader.feed(response.content.decode())
    return [form for form in reader.forms if not form["action"].endswith("/sign-out/")]


def press(
    client: Client, path: str, number: int = 0, *, action: str = "", **told: Any
) -> HttpResponse:
    """Open a page, fill in one of its forms (by place, or the end of its address), send it."""
    forms = forms_on(client.get(path))
    if action:
        forms = [form for form in forms if form["action"].endswith(action)]
    form = forms[number]
    return client.post(form["action"] or path, form["fields"] | told)


def text_of(response: HttpResponse) -> str:
    """The page as text."""
    return response.content.decode()
