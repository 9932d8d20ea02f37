"""Whose number an SMS or a missed call came from. A sender can be forged: it is a claim."""

from dataclasses import dataclass
from datetime import datetime

import phonenumbers
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from referrals import ports
from referrals.access import Scope, scope_of
from referrals.acting import By, by_staff
from referrals.calc.device_time import event_time
from referrals.calc.terms import EntryChannel
from referrals.models import District, Referral, Site, Staff, Unit

LONGEST_SENDER = 40


@dataclass(frozen=True)
class Sender:
    """Everybody and every place whose number it is; nobody, for an unknown one."""

    number: str
    people: tuple[Staff, ...]
    post: Site | None
    driven: tuple[Referral, ...]
    scope: Scope

    @property
    def is_known(self) -> bool:
        """Whether the number stands anywhere in the record."""
        return bool(self.people or self.post or self.driven)

    @property
    def can_be_rung(self) -> bool:
        """A telephone number in international form; a short code or a name is none."""
        return self.number.startswith("+")

    @property
    def person(self) -> Staff | None:
        """The one person whose number it is; nobody where several share the phone."""
        return self.people[0] if len(self.people) == 1 else None

    @property
    def name(self) -> str:
        """How people call whoever sent it."""
        if self.people:
            return _(" or ").join(str(staff) for staff in self.people)
        return str(self.post) if self.post else _("the driver")

    def by(self, now: datetime, sent_at: datetime | None) -> By:
        """The author of what is told; the gateway's time stands for the device's."""
        if self.person:
            return by_staff(self.person, channel=EntryChannel.SMS, now=now, happened_at=sent_at)
        return By(
            actor=self._actor(),
            name=self.name,
            channel=EntryChannel.SMS,
            when=event_time(received_at=now, happened_at=sent_at),
        )

    def posts(self) -> QuerySet[Site]:
        """The posts from which this number may call for help."""
        own = Q(pk__in=self.scope.sites)
        if self.post:
            own |= Q(pk=self.post.pk)
        return Site.objects.filter(own).select_related("district").order_by("pk")

    def units(self) -> QuerySet[Unit]:
        """The units for which a person with this number answers."""
        return Unit.objects.filter(pk__in=self.scope.units)

    def districts(self) -> list[District]:
        """Whose desks must know of it: of a number nobody knows, all of them."""
        rows = District.objects.order_by("pk")
        if self.people:
            return list(rows.filter(pk__in=District.objects.filter(
                staffrole__staff__in=self.people)))  # fmt: skip
        if self.post:
            return [self.post.district]
        if self.driven:
            return [referral.district for referral in self.driven]
        return list(rows)

    def _actor(self) -> str:
        if self.people:
            return "shared:" + "+".join(staff.username for staff in self.people)[:140]
        if self.post:
            return f"post:{self.post.code}"
        return f"phone:{self.driven[0].code}"


def sender_of(number: str) -> Sender:
    """Who has this number, as a gateway wrote it."""
    known = international(number)
    if not known:
        return Sender(number.strip()[:LONGEST_SENDER], (), None, (), Scope())
    people = tuple(Staff.objects.filter(phone=known, is_active=True).order_by("pk"))
    post = Site.objects.filter(phone=known).select_related("district").first()
    driven = tuple(ports.journeys().driven_from(known))
    scopes = [scope_of(staff) for staff in people]
    scope = Scope(
        sites=frozenset().union(*(each.sites for each in scopes)),
        units=frozenset().union(*(each.units for each in scopes)),
        districts=frozenset().union(*(each.districts for each in scopes)),
        drives=any(each.drives for each in scopes),
    )
    return Sender(known, people, post, driven, scope)


def international(number: str) -> str:
    """A number in international form (E.164); nothing for a short code, a name, or no number.

    Gateways leave out the plus sign, or write two noughts for it, or the form used at home.
    """
    regions = [*District.objects.exclude(phone_region="").values_list("phone_region", flat=True)]
    digits = number.strip()
    tries: list[tuple[str, str | None]] = [(digits, None)]
    if not digits.startswith("+"):
        tries += [(f"+{digits.removeprefix('00')}", None)]
        tries += [(digits, region) for region in dict.fromkeys(regions)]
    for text, region in tries:
        try:
            parsed = phonenumbers.parse(text, region)
        except phonenumbers.NumberParseException:
            continue
        if phonenumbers.is_valid_number(parsed):
            return phonenumbers.format_number(parsed, phonenumbers.PhoneNumberFormat.E164)
    return ""
