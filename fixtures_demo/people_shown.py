"""Whose pages the demo offers first: the people of the journey that is under way."""

from datetime import datetime

from referrals.calc.states import OfferStage
from referrals.models import District, Offer, Referral, Staff, Unit
from referrals.on_call import teams_of
from transport.models import Transfer

USUALLY = {
    "attendant": "wezi.oranday",
    "unit": "hana.wendorra",
    "driver": "mateus.dunnaway",
    "desk": "leena.morrastad",
    "lead": "adaeze.wintermoor",
}
"""One person a role, for as long as no journey says otherwise."""


def people_shown(now: datetime) -> dict[str, Staff]:
    """One person a role: each sees the oldest open journey from their own side."""
    known = Staff.objects.filter(is_active=True).in_bulk(USUALLY.values(), field_name="username")
    shown = {role: known[name] for role, name in USUALLY.items() if name in known}
    referral = Referral.objects.open().exclude(raised_by=None).order_by("pk").first()
    if referral is None or referral.raised_by is None:
        return shown
    unit, driver = _who_takes(referral, now), _who_drives(referral)
    desk = on_duty(referral.district, now)
    of_journey = {"attendant": referral.raised_by, "unit": unit, "driver": driver, "desk": desk}
    return shown | {role: staff for role, staff in of_journey.items() if staff}


def on_duty(district: District, now: datetime, unit: Unit | None = None) -> Staff | None:
    """Who of the desk is on duty, or of a unit; somebody of the ladder where nobody is."""
    team = next(team for team in teams_of(district, now) if team.unit == unit)
    if team.on_duty:
        return team.on_duty[0].staff
    contact = (unit or district).contacts.select_related("staff").first()
    return contact.staff if contact else None


def _who_takes(referral: Referral, now: datetime) -> Staff | None:
    """Who accepted, else who is asked just now."""
    live = referral.offers.filter(stage__in=[OfferStage.ACCEPTED, OfferStage.OPEN])
    offer: Offer | None = live.select_related("unit__site").order_by("stage", "pk").first()
    if offer is None:
        return None
    team = Staff.objects.filter(roles__unit=offer.unit)
    answered = team.filter(display_name=offer.answered_by).first() if offer.answered_by else None
    return answered or on_duty(referral.district, now, offer.unit)


def _who_drives(referral: Referral) -> Staff | None:
    transfer: Transfer | None = referral.transfers.live().select_related("vehicle__driver").first()
    return transfer.vehicle.driver if transfer and transfer.vehicle else None
