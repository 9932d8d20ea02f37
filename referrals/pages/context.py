"""What every page knows."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from referrals import clock


def shell(request: HttpRequest) -> dict[str, Any]:
    """The page shell's own facts: the server's clock, and whether this is the demo."""
    return {"server_now": clock.now(), "clock_speed": clock.speed(), "is_demo": settings.DEMO}
