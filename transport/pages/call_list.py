"""Whom the desk can still ring for one referral, why each of them, and what came of it so far.

Units first, the standing one before the others and those nearer before those farther; then who
drives or owns something; then the desk's own deputies; then whoever is outside the district; at
the end the post, which wants to hear how it stands.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from referrals import ringing
from referrals.calc.states import OfferStage
from referrals.calc.terms import DeclineReason, Role
from referrals.labels import inside_a_sentence, word_of
from referrals.messages import clock_time
from referrals.models import District, Offer, Referral, Staff, Unit
from referrals.on_call import first_at_desk
from referrals.ringing import CallMade
from transport import choosing
from transport.models import Vehicle
from transport.pages.words import VEHICLE_STATES, word

POST, UNITS, VEHICLES, DESK, OUTSIDE = "post", "units", "vehicles", "desk", "outside"
GROUPS = (UNITS, VEHICLES, DESK, OUTSIDE, POST)


@dataclass(frozen=True)
class Callee:
    """Somebody who can be rung. ``whom`` is the key of the calls made to them."""

    whom: str
    group: str
    name: str
    phone: str
    why: tuple[str, ...]
    calls: tuple[CallMade, ...]

    @property
    def last(self) -> CallMade | None:
        """What came of the last call."""
        return self.calls[0] if self.calls else None


def callees_of(referral: Referral, now: datetime) -> list[Callee]:
    """Everybody who has a number, in the order in which they are rung."""
    calls: dict[str, list[CallMade]] = {}
    for call in ringing.calls_of(referral):
        calls.setdefault(call.whom, []).append(call)
    district = referral.district
    found = (*_units(referral, now), *_vehicles(referral, now), *_desk(district, now),
             *_outside(district), *_post(referral))  # fmt: skip
    return [
        Callee(
            whom, group, name, _plain(phone), tuple(filter(None, why)), tuple(calls.get(whom, ()))
        )
        for whom, group, name, phone, why in found
        if phone
    ]


_Row = tuple[str, str, str, Any, Iterable[str]]


def _post(referral: Referral) -> Iterator[_Row]:
    name, phone = referral.who_called()
    yield "caller", POST, name or _("who called"), phone, (_("called for help"),)
    yield f"site:{referral.origin.code}", POST, referral.origin.name, referral.origin.phone, ()


def _units(referral: Referral, now: datetime) -> Iterator[_Row]:
    units = Unit.objects.filter(site__district=referral.district).select_related("site")
    offers = {offer.unit_id: offer for offer in referral.offers.order_by("asked_at", "pk")}
    ranked = choosing.ranking_for(referral, now).candidates if referral.is_open else ()
    places = {each.key: number for number, each in enumerate(ranked)}
    against = {each.key: each.reasons_against for each in ranked if not each.possible}
    standing = referral.district.standing_unit_id

    def order(unit: Unit) -> tuple[bool, int, str]:
        return unit.pk != standing, places.get(unit.code, len(places)), unit.code

    for unit in sorted(units, key=order):
        why = [_("standing unit")] if unit.pk == standing else []
        offer = offers.get(unit.pk)
        why += [_answer(offer, referral)] if offer else list(against.get(unit.code, ()))[:2]
        if not offer and not why:
            why.append(_("not asked yet"))
        yield f"unit:{unit.code}", UNITS, str(unit), unit.phone, why


def _answer(offer: Offer, referral: Referral) -> str:
    at = clock_time(offer.answered_at or offer.asked_at, referral)
    if offer.stage == OfferStage.DECLINED.value:
        reason = inside_a_sentence(word_of(DeclineReason, offer.decline_reason))
        return _("said no at %(at)s: %(reason)s") % {"at": at, "reason": reason}
    if offer.stage == OfferStage.ACCEPTED.value:
        return _("takes the baby, said so at %s") % at
    if offer.stage == OfferStage.WITHDRAWN.value:
        return _("asked at %s, then told that it is not needed") % at
    return _("asked at %s, has not answered") % at


def _vehicles(referral: Referral, now: datetime) -> Iterator[_Row]:
    free = choosing.vehicle_choices(referral, now) if referral.is_open else []
    against = {choice.vehicle.pk: choice.against for choice in free}
    others = referral.district.vehicles.exclude(pk__in=against).select_related("driver")
    for vehicle in (*(choice.vehicle for choice in free), *others.order_by("code")):
        who, phone = vehicle.who_drives()
        name = f"{who}, {vehicle.name}" if who else vehicle.name
        why = [word(VEHICLE_STATES, vehicle.state), *against.get(vehicle.pk, ()), *_owned(vehicle)]
        yield f"vehicle:{vehicle.code}", VEHICLES, name, phone, why


def _owned(vehicle: Vehicle) -> Iterator[str]:
    if not vehicle.registered:
        yield _("found by phone")
    if vehicle.owner:
        yield _("belongs to %s") % vehicle.owner


def _desk(district: District, now: datetime) -> Iterator[_Row]:
    on_list = [contact.staff for contact in district.contacts.select_related("staff")]
    on_duty, by_rota = first_at_desk(district, now)
    leads = Staff.objects.filter(roles__district=district, roles__role=Role.LEAD.value)
    for number, staff in enumerate(dict.fromkeys([*on_list, *leads.order_by("pk")]), start=1):
        place = (
            _("%d. on the desk's list") % number if staff in on_list else _("leads the district")
        )
        duty = _("on duty now") if by_rota and staff == on_duty else ""
        yield f"person:{staff.username}", DESK, str(staff), staff.phone, (duty, place)


def _outside(district: District) -> Iterator[_Row]:
    kinds = {"unit": _("unit elsewhere"), "vehicle": _("has a vehicle"), "person": ""}
    for reserve in district.reserves.all():
        why = (kinds[reserve.kind], reserve.words)
        yield f"reserve:{reserve.pk}", OUTSIDE, reserve.name, reserve.phone, why
    for other in District.objects.exclude(pk=district.pk).order_by("name"):
        yield (
            f"district:{other.code}",
            OUTSIDE,
            other.name,
            other.desk_phone,
            (_("desk of another district"),),
        )


def _plain(phone: Any) -> str:
    return getattr(phone, "as_e164", str(phone))
