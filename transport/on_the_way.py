"""Facts of a journey: checks on the way, bands, a vehicle found by phone.

As in ``referrals/recording.py`` a fact is stored whenever it comes, holds the referral's row, and
appends its Entry in the same transaction; no stage changes here.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, correcting, recording, timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.calc.states import NotPossible
from referrals.ending_rules import require_band
from referrals.models import Baby, District, Observation, Referral
from referrals.models.told import Withdrawable
from transport import gauges, lifecycle, messages, tracking
from transport.calc.places import Place
from transport.models import (
    BandReading,
    Check,
    Cylinder,
    Transfer,
    Vehicle,
)


@dataclass(frozen=True, kw_only=True)
class CheckTold:
    """One check on the way as told: any of it may be missing."""

    facts: Mapping[str, Any]
    oxygen_bar: float | None = None
    oxygen_psi: float | None = None
    stopped_because: str = ""

    def gauges(self) -> dict[str, float]:
        """What was read, by the name of its field."""
        told = {"oxygen_bar": self.oxygen_bar, "oxygen_psi": self.oxygen_psi}
        return {name: pressure for name, pressure in told.items() if pressure is not None}


def check(by: By, transfer: Transfer, baby: Baby, told: CheckTold) -> Check:
    """Record one check of one baby; what the gauge shows goes to the cylinder in use."""
    _require_gauge(told)
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        observation = recording.observe(by, baby, told.facts) if told.facts else None
        referral = timeline.hold(referral.pk)
        made = Check(transfer=transfer, baby=baby, observation=observation, checked_at=by.at)
        return _keep_check(by, referral, made, told)


def correct_check(by: By, old: Check, told: CheckTold, *, why: str = "") -> Check:
    """Correct a check: its reading, its gauge, or the stop that was told with it.

    Raises:
        NotPossible: ``corrected_since``.
    """
    _require_gauge(told)
    with transaction.atomic():
        referral, transfer = lifecycle.held(old.transfer)
        correcting.require_newest(old)
        readings = _corrected_readings(by, old, told, why)
        referral = timeline.hold(referral.pk)
        _forget(referral, by, old, _("the check was corrected"))
        made = Check(
            transfer=transfer,
            baby=old.baby,
            observation=readings[0] if readings else None,
            checked_at=old.checked_at,
            corrects=old,
        )
        made = _keep_check(by, referral, made, told, old=old, why=why)
        made.more.set(readings[1:])
    return made


def withdraw(by: By, row: Check | BandReading, *, reason: str) -> Check | BandReading:
    """It was not so: take it back with a reason, with the reading of the baby that was its part.

    Raises:
        NotPossible: ``corrected_since``.
    """
    with transaction.atomic():
        referral, _transfer = lifecycle.held(row.transfer)
        kind = KINDS[type(row)]
        readings = row.readings() if isinstance(row, Check) else []
        if not correcting.mark_withdrawn(referral, by, row, kind, reason):
            return row
        if isinstance(row, Check):
            _forget(referral, by, row, _("the check was taken back"))
            for reading in readings:
                correcting.withdraw(by, reading, reason=reason)
    return row


KINDS: dict[type[Withdrawable], str] = {Check: "check", BandReading: "band"}
"""The stable word of each kind, beside those of ``referrals/correcting.py``."""


def answer_of_check(by: By, transfer: Transfer, baby: Baby, told: CheckTold) -> Check:
    """One answer of a check that is told answer by answer: it joins the check it belongs to."""
    begun = check_under_way(by, transfer, baby)
    if begun is None or told.stopped_because:
        known = {name: value for name, value in told.facts.items() if value is not None}
        return check(by, transfer, baby, replace(told, facts=known))
    _require_gauge(told)
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        begun.more.add(*correcting.tell_facts(by, baby, told.facts, since=begun.checked_at))
        changed = {
            name: pressure
            for name, pressure in told.gauges().items()
            if pressure != getattr(begun, name)
        }
        if changed:
            for name, pressure in changed.items():
                setattr(begun, name, pressure)
            gauges.read_off(begun)
            begun.save()
            body = {"baby": baby.birth_order, **changed, **_of_cylinder(begun)}
            timeline.append(timeline.hold(referral.pk), "checked", by, body)
    return begun


def check_under_way(by: By, transfer: Transfer, baby: Baby) -> Check | None:
    """The check of this baby that this person has begun a moment ago."""
    lately = transfer.checks.standing().filter(
        baby=baby,
        checked_by=by.name,
        checked_at__gt=by.at - gauges.ONE_CHECK,
        checked_at__lte=by.at,
        stopped_because=None,
    )
    return lately.last()


def read_band(by: By, transfer: Transfer, baby: Baby, band: str) -> BandReading:
    """The code on a baby's band was read aloud or typed before leaving.

    Raises:
        NotPossible: ``band_needed`` or ``wrong_band``; the vehicle may leave all the same.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        require_band(baby, band)
        reading = BandReading.objects.create(
            transfer=transfer, baby=baby, read_at=by.at, read_by=by.name
        )
        body = {"baby": baby.birth_order, "band": baby.code, "transfer": transfer.pk}
        timeline.append(referral, "band_read", by, body)
    return reading


@dataclass(frozen=True, kw_only=True)
class FoundVehicle:
    """A car, motorcycle or boat that somebody found by phone.

    ``place`` is where it stands now; ``water_litres`` and ``bar`` are of the cylinder that goes
    along, if one does; ``range_km`` is how far the fuel in it reaches.
    """

    name: str
    kind: str
    driver_name: str
    driver_phone: str
    owner: str = ""
    fuel: str = ""
    who_pays: str = ""
    place: Place | None = None
    water_litres: float | None = None
    bar: float | None = None
    range_km: float | None = None


def add_found_vehicle(by: By, district: District, found: FoundVehicle, now: datetime) -> Vehicle:
    """Write down an unregistered vehicle, so that it can be assigned like any other.

    Raises:
        NotPossible: ``half_a_cylinder``.
        ImpossibleQuantity: for a pressure or a size that cannot be.
    """
    if (found.water_litres is None) != (found.bar is None):
        raise NotPossible(
            _("Say both of the cylinder: litres of water and bar, or neither."),
            code="half_a_cylinder",
        )
    if found.bar is not None:
        require_possible("oxygen_bar", found.bar)
    code = f"found-{now:%y%m%d}-{secrets.token_hex(3)}"
    with transaction.atomic():
        vehicle = Vehicle.objects.create(
            district=district,
            code=code,
            name=found.name,
            kind=found.kind,
            driver_name=found.driver_name,
            driver_phone=found.driver_phone,
            owner=found.owner,
            fuel=found.fuel,
            who_pays=found.who_pays,
            registered=False,
            range_km=found.range_km,
            latitude=found.place.latitude if found.place else None,
            longitude=found.place.longitude if found.place else None,
            seen_at=now if found.place else None,
        )
        if found.water_litres is not None:
            Cylinder.objects.create(
                district=district,
                label=code[-12:],
                vehicle=vehicle,
                water_litres=found.water_litres,
                bar=found.bar,
                read_at=now,
            )
    return vehicle


def stands_at(by: By, vehicle: Vehicle, place: Place) -> Vehicle:
    """Somebody has said on the phone where a vehicle is now.

    On a journey it counts as a position of that vehicle, else only as its place.
    """
    told = tracking.PositionTold(
        key=f"told-{secrets.token_hex(8)}",
        happened_at=by.at,
        latitude=place.latitude,
        longitude=place.longitude,
    )
    meeting = vehicle.meetings.standing().select_related("transfer").first()
    transfer = meeting.transfer if meeting else vehicle.transfers.live().first()
    if transfer:
        tracking.record(transfer, [told], received_at=by.received_at, meeting=meeting)
    else:
        tracking.seen(vehicle.pk, told, by.at)
    vehicle.refresh_from_db()
    return vehicle


def _require_gauge(told: CheckTold) -> None:
    for name, pressure in told.gauges().items():
        require_possible(name, pressure)


def _keep_check(
    by: By,
    referral: Referral,
    made: Check,
    told: CheckTold,
    *,
    old: Check | None = None,
    why: str = "",
) -> Check:
    """Store a check, first told or corrected, and what follows from it; the caller holds."""
    words = told.stopped_because
    made.checked_by, made.recorded_at = by.name, by.received_at
    made.oxygen_bar, made.oxygen_psi = told.oxygen_bar, told.oxygen_psi
    made.stopped_because = timeline.keep_text(referral, "stopped", words) if words else None
    gauges.read_off(made)
    made.save()
    body: dict[str, Any] = {"baby": made.baby.birth_order, "oxygen_bar": told.oxygen_bar}
    body |= told.gauges() | _of_cylinder(made)
    if made.stopped_because:
        body["stopped_because"] = timeline.committed(made.stopped_because)
    if old:
        read = {"was": dict(old.gauges()), "facts": dict(told.gauges())}
        body |= {"what": "check", "corrects": old.pk, **read}
        if old.stopped_because:
            body["stopped_because_was"] = timeline.committed(old.stopped_because)
        if why:
            body["why"] = timeline.committed(timeline.keep_text(referral, "why", why))
    timeline.append(referral, "corrected" if old else "checked", by, body)
    if words:
        key = f"transfer:{made.transfer_id}:stopped:{made.pk}"
        text = messages.stopped(made.transfer, words)
        alerting.tell_desk(referral, by, "stopped", key, text)
    return made


def _corrected_readings(by: By, old: Check, told: CheckTold, why: str) -> list[Observation]:
    """The readings of a corrected check: kept, corrected, taken back, or told now for its time."""
    left, kept = dict(told.facts), []
    for row in old.readings():
        facts = {name: left.pop(name) for name in row.facts() if name in left}
        if facts == row.facts():
            kept.append(row)
        elif facts:
            note = str(row.note or "")
            kept.append(correcting.observation(by, row, facts, note=note, why=why))
        else:
            correcting.withdraw(by, row, reason=why or _("the check was corrected"))
    if left:
        at_the_check = replace(by, when=replace(by.when, corrected_at=old.checked_at))
        kept.append(recording.observe(at_the_check, old.baby, left))
    return kept


def _forget(referral: Referral, by: By, row: Check, why: str) -> None:
    """What had followed from a check that was wrong: the gauge, and the stop the desk sees to."""
    told_of_stop = referral.alerts.unsettled().filter(
        key=f"transfer:{row.transfer_id}:stopped:{row.pk}"
    )
    alerting.settle(told_of_stop, why, by)
    gauges.forget(row)


def _of_cylinder(made: Check) -> dict[str, str]:
    return {"cylinder": made.cylinder.label} if made.cylinder else {}
