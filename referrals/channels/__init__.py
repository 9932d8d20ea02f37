"""How a message leaves the service, one small module a way."""

from django.conf import settings
from django.utils.translation import gettext as _

from referrals.channels.base import Channel, Refused
from referrals.channels.email import Email
from referrals.channels.http_gateway import HttpGateway
from referrals.channels.screen import Screen


def channel(name: str) -> Channel:
    """The channel of that name.

    Raises:
        Refused: when there is none; the ladder then goes on.
    """
    seconds = settings.SEND_TIMEOUT_SECONDS
    if name == "sms":
        return HttpGateway(settings.SMS_GATEWAY, timeout_seconds=seconds)
    if name == "voice":
        return HttpGateway(settings.VOICE_GATEWAY, timeout_seconds=seconds)
    if name == "email":
        return Email()
    if name == "screen":
        return Screen()
    raise Refused(_("there is no channel called %s") % name)
