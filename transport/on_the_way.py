"""Facts of a journey: checks on the way, checklist answers, a vehicle found by phone.

As in ``referrals/recording.py`` a fact is stored whenever it comes, holds the referral's row, and
appends its Entry in the same transaction; no stage changes here.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from referrals import alerting, recording, timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.ending_rules import require_band
from referrals.models import Baby, District
from transport import lifecycle, messages
from transport.models import (
    BandReading,
    Check,
    ChecklistAnswer,
    ChecklistTemplate,
    Cylinder,
    Transfer,
    Vehicle,
)


@dataclass(frozen=True, kw_only=True)
class CheckTold:
    """One check on the way as told: any of it may be missing."""

    facts: Mapping[str, Any]
    oxygen_bar: float | None = None
    stopped_because: str = ""


def check(by: By, transfer: Transfer, baby: Baby, told: CheckTold) -> Check:
    """Record one check of one baby; what the gauge shows goes to the cylinder in use."""
    if told.oxygen_bar is not None:
        require_possible("oxygen_bar", told.oxygen_bar)
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        observation = recording.observe(by, baby, told.facts) if told.facts else None
        referral = timeline.hold(referral.pk)
        stopped = (
            timeline.keep_text(referral, "stopped", told.stopped_because)
            if told.stopped_because
            else None
        )
        made = Check.objects.create(
            transfer=transfer,
            baby=baby,
            observation=observation,
            checked_at=by.at,
            checked_by=by.name,
            oxygen_bar=told.oxygen_bar,
            stopped_because=stopped,
        )
        _read_gauge(transfer, told.oxygen_bar, by.at)
        body: dict[str, Any] = {"baby": baby.birth_order, "oxygen_bar": told.oxygen_bar}
        if stopped:
            body["stopped_because"] = timeline.committed(stopped)
        timeline.append(referral, "checked", by, body)
        if stopped:
            alerting.tell_desk(
                referral,
                by,
                "stopped",
                f"transfer:{transfer.pk}:stopped:{made.pk}",
                messages.stopped(transfer, told.stopped_because),
            )
    return made


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


def answer_checklist(
    by: By, transfer: Transfer, template: ChecklistTemplate, answers: Mapping[str, str]
) -> list[ChecklistAnswer]:
    """Keep answers to a checklist under the version they answered; later answers are added."""
    known = {item["code"] for item in template.items}
    unknown = sorted(set(answers) - known)
    if unknown:
        raise recording.UnknownFact(
            unknown[0], f"{template} has no item {unknown[0]}; it has: {', '.join(sorted(known))}"
        )
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        rows = [
            ChecklistAnswer.objects.create(
                transfer=transfer,
                template=template,
                item=item,
                answer=answer,
                answered_by=by.name,
                answered_at=by.at,
            )
            for item, answer in answers.items()
        ]
        timeline.append(
            referral,
            "checklist",
            by,
            {"template": template.code, "version": template.version, "answers": dict(answers)},
        )
    return rows


@dataclass(frozen=True, kw_only=True)
class FoundVehicle:
    """A car, motorcycle or boat that somebody found by phone."""

    name: str
    kind: str
    driver_name: str
    driver_phone: str
    owner: str = ""
    fuel: str = ""
    who_pays: str = ""


def add_found_vehicle(by: By, district: District, found: FoundVehicle, now: datetime) -> Vehicle:
    """Write down an unregistered vehicle, so that it can be assigned like any other."""
    code = f"found-{now:%y%m%d}-{secrets.token_hex(3)}"
    return Vehicle.objects.create(
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
    )


def _read_gauge(transfer: Transfer, bar: float | None, at: datetime) -> None:
    """The first metric cylinder of the vehicle is taken as the one in use."""
    if bar is None or transfer.vehicle is None:
        return
    in_use = Cylinder.objects.filter(vehicle=transfer.vehicle, us_size="").order_by("label").first()
    if in_use and (in_use.read_at is None or in_use.read_at <= at):
        in_use.bar, in_use.read_at = bar, at
        in_use.save(update_fields=["bar", "read_at"])
