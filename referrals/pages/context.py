"""What every page knows."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from referrals import access, clock
from referrals.models import Staff
from referrals.pages.from_phone import token_of


def shell(request: HttpRequest) -> dict[str, Any]:
    """The page shell's own facts: the server's clock, and whether this is the demo.

    The desk's number is looked up only by the pages that show it.
    """

    def the_desk_phone() -> str:
        return access.desk_phone(request.user if isinstance(request.user, Staff) else None)

    def phone_token() -> str:
        return token_of(request.user) if isinstance(request.user, Staff) else ""

    return {
        "phone_token": phone_token,
        "server_now": clock.now(),
        "clock_speed": clock.speed(),
        "is_demo": settings.DEMO,
        "the_desk_phone": the_desk_phone,
    }
