"""From the link in a message to the page that belongs to it on the journey side."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from referrals import clock
from referrals.links import LinkOver
from referrals.pages.answering import reader_of
from referrals.pages.doors import open_page
from transport.driver_links import token_for
from transport.models import Transfer


@open_page
@require_safe
def question(request: HttpRequest, token: str) -> HttpResponse:
    """The question of the message, under the address that keeps its link."""
    reader_of(token, clock.now())
    return redirect(f"/u/{token}/")


@open_page
@require_safe
def driver(request: HttpRequest, token: str) -> HttpResponse:
    """The driver's own page; nothing for a driver whose journey went to another vehicle."""
    alert = reader_of(token, clock.now()).alert
    _kind, number, _driver, assignment, *_changed = alert.key.split(":")
    transfer = Transfer.objects.select_related("vehicle").filter(pk=int(number)).first()
    meeting = transfer.standing_meeting() if transfer else None
    if transfer and meeting and meeting.assignment == int(assignment):
        return redirect(f"/d/{token_for(transfer, meeting)}/")
    if transfer is None or transfer.vehicle is None or transfer.assignment != int(assignment):
        raise LinkOver(_("This journey went to another vehicle. Thank you; nothing is needed."))
    return redirect(f"/d/{token_for(transfer)}/")
