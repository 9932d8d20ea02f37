"""The driver without an account: who asks through the link of one journey, and what they see."""

from dataclasses import dataclass
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import (
    BaseAuthentication,
    SessionAuthentication,
    TokenAuthentication,
    get_authorization_header,
)
from rest_framework.request import Request

from referrals import clock
from transport import driver_links
from transport.models import Meeting, Transfer

KEYWORD = b"driver"


@dataclass(frozen=True)
class DriverOnTheRoad:
    """Somebody who holds the link of one journey; nothing else of the record opens for them.

    ``meeting``: they drive the vehicle that is to meet the first, and have no baby yet.
    """

    transfer: Transfer
    meeting: Meeting | None = None

    is_authenticated = True
    is_anonymous = False
    is_active = True
    is_staff = False
    is_superuser = False

    @property
    def caller(self) -> str:
        """Whose idempotency keys are used: those of this vehicle's link."""
        return f"link:transfer:{self.transfer.pk}:{(self.meeting or self.transfer).assignment}"


class DriverLinkAuthentication(BaseAuthentication):
    """``Authorization: Driver <token>`` with the token of the driver's link."""

    @staticmethod
    def found(number: int) -> Transfer | None:
        """The journey with all that its answers show."""
        return driver_links.whole(number)

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        """The driver of the one journey; nothing for other kinds of caller.

        Raises:
            InvalidLink: answered 404, and 410 when the journey is long over.
        """
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != KEYWORD:
            return None
        token = b" ".join(parts[1:]).decode("ascii", "replace")
        return DriverOnTheRoad(*driver_links.opened_by(token, clock.now(), self.found)), token

    def authenticate_header(self, request: Request) -> str:
        """What to sign in with."""
        return "Driver"


class BareLinkAuthentication(DriverLinkAuthentication):
    """The same, with no more of the journey than shows that the link is good."""

    @staticmethod
    def found(number: int) -> Transfer | None:
        """The journey with little more than its number."""
        return driver_links.bare(number)


class DriverLinkScheme(OpenApiAuthenticationExtension):
    """The driver's link in the published schema."""

    target_class = "transport.api.driver.DriverLinkAuthentication"
    match_subclasses = True
    name = "driverLink"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """A header of its own kind."""
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Driver <token>`: the token of the driver's link, for one journey.",
        }


ACCOUNT_OR_LINK = [TokenAuthentication, SessionAuthentication, DriverLinkAuthentication]
ACCOUNT_OR_BARE_LINK = [TokenAuthentication, SessionAuthentication, BareLinkAuthentication]
