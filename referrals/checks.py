"""Startup checks: what would make the service unsafe is said before it starts."""

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.checks import Warning as Caution


@register(Tags.security)
def base_url_is_safe(**_: Any) -> list[CheckMessage]:
    """Links to other machines must not go over plain http."""
    plain = settings.BASE_URL.startswith("http://") and settings.HTTPS
    if plain:
        return [
            Error(
                "LITTLEROAD_BASE_URL is plain http to other machines.",
                hint="Put the service behind a proxy with a certificate and use https://.",
                id="littleroad.E001",
            )
        ]
    return []


@register(Tags.security, deploy=True)
def links_have_an_address(**_: Any) -> list[CheckMessage]:
    """Without a base URL the links in messages lead nowhere."""
    if settings.BASE_URL:
        return []
    return [
        Caution(
            "LITTLEROAD_BASE_URL is not set: links in messages will not work.",
            hint="Set it to the address people reach, for example https://littleroad.example.",
            id="littleroad.W001",
        )
    ]


@register(deploy=True)
def a_gateway_is_set(**_: Any) -> list[CheckMessage]:
    """Without an SMS gateway nobody is woken at night."""
    if settings.SMS_GATEWAY["url"]:
        return []
    return [
        Caution(
            "LITTLEROAD_SMS_URL is not set: nobody can be reached by SMS.",
            hint="Describe the district's SMS gateway; README, Settings, says how.",
            id="littleroad.W002",
        )
    ]
