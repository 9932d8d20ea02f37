"""The link in a message: what it is about, and the one thing its reader can do.

Opening a link changes nothing: phones and gateways open links by themselves.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from referrals import access, alerting, clock, links
from referrals.acting import By, by_staff
from referrals.calc.device_time import event_time
from referrals.calc.states import NotPossible, OfferStage
from referrals.calc.terms import EntryChannel
from referrals.links import LinkOver
from referrals.models import Alert, Delivery, Staff
from referrals.pages.doors import TooLate, open_page, show

VALID_AFTER_CLOSE = timedelta(hours=2)
NOTICE_VALID_AFTER_CLOSE = timedelta(hours=24)
"""A plain notice is never taken or closed; it ends a day after its referral, or after itself."""


@dataclass(frozen=True)
class LinkReader:
    """Who holds a link: the delivery it came with, and the account behind the contact, if any."""

    delivery: Delivery
    staff: Staff | None

    @property
    def alert(self) -> Alert:
        """What the message was about."""
        return self.delivery.alert

    def by(self, now: datetime) -> By:
        """The reader as the author of an event."""
        if self.staff:
            return by_staff(self.staff, channel=EntryChannel.LINK, now=now)
        return By(
            actor=f"link:{self.delivery.pk}",
            name=self.delivery.contact_name,
            channel=EntryChannel.LINK,
            when=event_time(received_at=now),
        )


def reader_of(token: str, now: datetime) -> LinkReader:
    """The reader of a link that is still valid.

    Raises:
        InvalidLink: when it is not one of ours.
        LinkOver: when the matter has been over for two hours, or the person has left.
    """
    number = links.require_valid("a", token)
    delivery = (
        Delivery.objects.select_related(
            "alert__referral__district", "alert__referral__origin", "alert__offer__unit__site"
        )
        .filter(pk=number)
        .first()
    )
    if delivery is None or _is_over(delivery.alert, now):
        raise LinkOver(_("This matter is over. Nothing more is needed from you. Thank you."))
    staff = None
    if delivery.username:
        staff = Staff.objects.filter(username=delivery.username, is_active=True).first()
        if staff is None:
            raise LinkOver(_("This link is no longer valid; ask the desk for a new one."))
    return LinkReader(delivery, staff)


@open_page
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """Show what a message was about; questions and journeys have pages of their own."""
    now = clock.now()
    reader = reader_of(token, now)
    alert = reader.alert
    if alert.path == "driver" and ":driver:" in alert.key:
        return redirect(reverse("driver_from_alert", args=[token]))
    if alert.kind in alerting.TO_UNITS and reader.alert.offer:
        return redirect(reverse("question_by_link", args=[token]))
    if request.method == "POST":
        return _pressed(request, reader, now)
    return show(
        request,
        "referrals/answer.html",
        {
            "alert": alert,
            "reader": reader,
            "page_path": _page_path(reader),
            "can_take": alert.needs_answer and alert.is_open,
            "can_give_back": alert.acknowledged_at is not None and alert.closed_at is None,
        },
        district=alert.district,
    )


def _pressed(request: HttpRequest, reader: LinkReader, now: datetime) -> HttpResponse:
    """I take it, or I cannot after all; the page then says which stands."""
    alert, by = reader.alert, reader.by(now)
    try:
        if "give_back" in request.POST:
            alerting.give_back(alert.pk, by)
        else:
            alerting.acknowledge(alert.pk, by)
    except NotPossible as refusal:
        raise TooLate(refusal.sentence, district=alert.district, back=request.path) from refusal
    return redirect(request.path)


def _page_path(reader: LinkReader) -> str:
    path = reader.alert.path
    return path if path.startswith("/") and reader.staff else ""


def _is_over(alert: Alert, now: datetime) -> bool:
    """Two hours after it was closed or taken; an acceptance stands as long as its referral."""
    offer = alert.offer
    if offer and offer.stage == OfferStage.ACCEPTED.value and offer.referral.is_open:
        return False
    if not alert.needs_answer:
        closed = alert.referral.closed_at if alert.referral else None
        # How it went is told days after the end, and its link must open then.
        return closed is not None and now - max(closed, alert.raised_at) > NOTICE_VALID_AFTER_CLOSE
    ended = alert.closed_at or alert.acknowledged_at
    return ended is not None and now - ended > VALID_AFTER_CLOSE


def may_answer(reader: LinkReader) -> bool:
    """Whether the contact still works for the unit that was asked."""
    offer = reader.alert.offer
    if offer is None:
        return False
    return (
        reader.staff is None or access.answerable_offers(reader.staff).filter(pk=offer.pk).exists()
    )
