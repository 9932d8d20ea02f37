"""The ways out: is each set up, and does its other side answer? Nothing is sent."""

import socket
import ssl
from collections.abc import Iterator
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import get_connection
from django.db import DatabaseError

from referrals.checkup.finding import Finding, caution, fault, good
from referrals.models import Contact

SECONDS = 5.0


def check_channels() -> Iterator[Finding]:
    """SMS, voice and e-mail, and the way in for SMS."""
    used = _channels_of_contacts()
    for name, gateway, setting in (
        ("sms", settings.SMS_GATEWAY, "LITTLEROAD_SMS_URL"),
        ("voice", settings.VOICE_GATEWAY, "LITTLEROAD_VOICE_URL"),
    ):
        yield _gateway(name, gateway["url"], setting, contacts=used.get(name, 0))
    if used.get("email"):
        yield _mail_server()
    else:
        yield good("email", "no contact is reached by it")
    yield _way_in()


def _channels_of_contacts() -> dict[str, int]:
    found: dict[str, int] = {}
    try:
        for name in Contact.objects.values_list("channel", flat=True):
            found[name] = found.get(name, 0) + 1
    except DatabaseError:  # said by the database's own finding
        return {}
    return found


def _gateway(name: str, url: str, setting: str, *, contacts: int) -> Finding:
    if not url:
        said = f"no gateway is set; {contacts} contacts are reached by it"
        why = "every message by it is refused, and the ladder goes on without"
        mend = f"set {setting} (README, Settings)"
        # Voice is what wakes a person at night, SMS what carries the link: without contacts by it
        # it is still worth a word.
        wrong = fault if contacts else caution
        return wrong(name, said, why=why, mend=mend)
    problem = _no_answer(url)
    place = urlsplit(url).netloc
    if problem:
        return fault(
            name,
            f"the gateway at {place} does not answer: {problem}",
            why="messages by it are tried again and again while the ladder goes on",
            mend=f"start it, or correct {setting}",
        )
    return good(name, f"the gateway at {place} takes connections (nothing was sent)")


def _no_answer(url: str) -> str:
    """Why no connection to the host of ``url`` can be made; empty when one can."""
    parts = urlsplit(url)
    host, secure = parts.hostname or "", parts.scheme == "https"
    try:
        with socket.create_connection(
            (host, parts.port or (443 if secure else 80)), SECONDS
        ) as raw:
            if secure:
                with ssl.create_default_context().wrap_socket(raw, server_hostname=host):
                    pass
    except (OSError, ValueError) as error:
        return str(error) or type(error).__name__
    return ""


def _mail_server() -> Finding:
    mail = get_connection(fail_silently=False)
    try:
        mail.open()
    except OSError as error:  # smtplib's own errors are OSErrors too
        return fault(
            "email",
            f"the mail server at {settings.EMAIL_HOST}:{settings.EMAIL_PORT} does not take us: "
            f"{error}",
            why="messages by e-mail are tried again and again while the ladder goes on",
            mend="correct LITTLEROAD_EMAIL_URL",
        )
    else:
        return good("email", f"the mail server at {settings.EMAIL_HOST} takes us")
    finally:
        mail.close()


def _way_in() -> Finding:
    if settings.INBOUND_TOKENS:
        return good("messages in", "a gateway with the secret may bring SMS and missed calls")
    return caution(
        "messages in",
        "LITTLEROAD_INBOUND_TOKEN is not set",
        why="no SMS, answer by SMS or missed call reaches the service",
        mend="set it, and the same secret at the gateway (README, Settings)",
    )
