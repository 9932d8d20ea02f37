"""Proposes a vehicle for every journey that wants one, over all of a district at once.

Nothing is sent from here: a person at the desk sends what is proposed, or another vehicle
(``lifecycle.assign``). What is proposed is stored, so that everybody sees the same and it stays as
it is while a change would save little.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, transaction
from django.db.models import Q

from referrals import timeline
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.wording import words
from referrals.models import District
from referrals.saying import in_record_language
from transport.calc import proposals as calc
from transport.calc.stages import TransferStage
from transport.calc.vehicle_costs import Cell, cell_of
from transport.models import Proposal, Transfer, Vehicle
from transport.proposal_facts import (
    JourneyFacts,
    Roads,
    VehicleFacts,
    journey_facts,
    mark_of,
    vehicles_in,
    wanting,
)

log = logging.getLogger(__name__)


def keep_up(now: datetime) -> None:
    """Bring the proposals of every district up to date that has journeys without a vehicle.

    A fault in one is logged and keeps neither the others nor the sweep: alerts come first.
    """
    stage = TransferStage.WANTED.value
    rows = District.objects.filter(Q(referral__transfers__stage=stage) | Q(proposals__isnull=False))
    for district in rows.distinct():
        try:
            refresh(district, now)
        except Exception:
            log.exception("no vehicles could be proposed in district %s", district.code)


def refresh(district: District, now: datetime) -> None:
    """Bring the proposals of one district up to date.

    The costs of a journey and a vehicle of which nothing has changed are taken from the row; the
    choice itself is always made anew over all of them, so it is the same as from nothing.
    """
    with transaction.atomic():
        held = _held(district)
        if held is None:
            return
        district = held
        stored = {row.transfer_id: row for row in district.proposals.select_related("vehicle")}
        transfers = wanting(district)
        over = set(stored) - {transfer.pk for transfer in transfers}
        Proposal.objects.filter(transfer__in=over).delete()
        if transfers:
            with in_record_language():
                _write(district, stored, _work_out(district, transfers, stored, now), now)


def proposal_for(transfer: Transfer, now: datetime) -> Proposal | None:
    """What is proposed for a journey, brought up to date; nothing when it wants no vehicle."""
    if transfer.stage != TransferStage.WANTED.value:
        return None
    refresh(transfer.referral.district, now)
    rows = Proposal.objects.select_related("vehicle__base", "vehicle__driver")
    return rows.filter(transfer=transfer).first()


def keep_for(by: By, transfer: Transfer, vehicle: Vehicle) -> Proposal:
    """A person keeps a vehicle for a journey: it is proposed for no other until let go or sent.

    Raises:
        NotPossible: ``has_vehicle`` when the journey wants none, ``kept_for_another``.
    """
    with transaction.atomic():
        referral = timeline.hold(transfer.referral_id)
        _held(referral.district, wait=True)
        transfer = Transfer.objects.get(pk=transfer.pk)
        if transfer.stage != TransferStage.WANTED.value:
            raise NotPossible(
                words("%(code)s wants no vehicle now.", code=referral.code), code="has_vehicle"
            )
        standing = Proposal.objects.filter(vehicle=vehicle).exclude(transfer=transfer)
        other = standing.select_related("transfer__referral").first()
        if other and other.pinned_by:
            raise NotPossible(
                words(
                    "%(vehicle)s is kept for %(code)s. Let it go there first.",
                    vehicle=vehicle.name,
                    code=other.transfer.referral.code,
                ),
                code="kept_for_another",
            )
        row = Proposal.objects.filter(transfer=transfer).first()
        proposed = row.vehicle.code if row and row.vehicle else None
        standing.update(vehicle=None)
        row, _made = Proposal.objects.update_or_create(
            transfer=transfer,
            defaults={
                "district": referral.district,
                "vehicle": vehicle,
                "since": by.received_at,
                "made_at": by.received_at,
                "pinned_by": by.name,
                "pinned_at": by.received_at,
            },
        )
        body = {"vehicle": vehicle.code, "proposed": proposed}
        timeline.append(referral, "vehicle_kept", by, body)
    refresh(referral.district, by.received_at)
    return row


def let_go(by: By, transfer: Transfer) -> None:
    """The vehicle is not kept for this journey any more."""
    with transaction.atomic():
        referral = timeline.hold(transfer.referral_id)
        _held(referral.district, wait=True)
        row = Proposal.objects.filter(transfer=transfer).exclude(pinned_by="").first()
        if row is None:
            return
        code = row.vehicle.code if row.vehicle else None
        row.pinned_by, row.pinned_at = "", None
        row.save(update_fields=["pinned_by", "pinned_at"])
        timeline.append(referral, "vehicle_let_go", by, {"vehicle": code})
    refresh(referral.district, by.received_at)


@dataclass(frozen=True)
class _WorkedOut:
    journeys: Sequence[JourneyFacts]
    vehicles: Sequence[VehicleFacts]
    bodies: Sequence[dict[str, Any]]
    proposals: calc.Proposals


def _work_out(
    district: District, transfers: Sequence[Transfer], stored: dict[int, Proposal], now: datetime
) -> _WorkedOut:
    roads = Roads(district, now)
    vehicles = vehicles_in(district, now)
    journeys, cells, bodies = [], [], []
    for transfer in transfers:
        before = stored[transfer.pk].body if transfer.pk in stored else {}
        facts = journey_facts(transfer, before.get("facts", {}), now)
        row = _row_of_cells(facts, vehicles, roads, before.get("costs", {}))
        journeys.append(facts)
        cells.append([cell for cell, _mark in row])
        bodies.append(_body(facts, vehicles, row))
    code_of = {transfer.pk: transfer.referral.code for transfer in transfers}
    earlier = {
        code_of[pk]: row.vehicle.code for pk, row in stored.items() if pk in code_of and row.vehicle
    }
    # One that was sent elsewhere since is kept no more: that was a person's choice too.
    pinned = {
        code_of[pk]: row.vehicle.code
        for pk, row in stored.items()
        if pk in code_of and row.pinned_by and row.vehicle and row.vehicle.state != "busy"
    }
    chosen = calc.propose(
        [facts.wanted for facts in journeys],
        [facts.going for facts in vehicles],
        cells,
        calc.Before(proposed=earlier, pinned=pinned, threshold=district.swap_minutes),
    )
    return _WorkedOut(journeys, vehicles, bodies, chosen)


def _row_of_cells(
    journey: JourneyFacts,
    vehicles: Sequence[VehicleFacts],
    roads: Roads,
    kept: dict[str, Any],
) -> list[tuple[Cell, str]]:
    """The costs of one journey; only of vehicles of which something has changed, anew."""
    row = []
    for vehicle in vehicles:
        key = vehicle.going.key
        mark = mark_of(journey.mark, journey.start, journey.care, vehicle.mark, roads.mark)
        before = kept.get(key)
        if before and before["mark"] == mark:
            cell = Cell.from_dict(before["cell"])
        else:
            cell = cell_of(journey.wanted, vehicle.going, roads.ways(journey, vehicle))
        row.append((cell, mark))
    return row


def _body(
    journey: JourneyFacts, vehicles: Sequence[VehicleFacts], row: Sequence[tuple[Cell, str]]
) -> dict[str, Any]:
    return {
        "facts": journey.kept(),
        "costs": {
            vehicle.going.key: {"mark": mark, "cell": cell.as_dict()}
            for vehicle, (cell, mark) in zip(vehicles, row, strict=True)
        },
        "weight": journey.wanted.weight,
        "why_it_counts": calc.why_it_counts(journey.wanted),
    }


def _write(
    district: District, stored: dict[int, Proposal], made: _WorkedOut, now: datetime
) -> None:
    rows = {facts.going.key: facts.vehicle for facts in made.vehicles}
    changed = []
    for facts, body, told in zip(made.journeys, made.bodies, made.proposals.each, strict=True):
        vehicle = rows[told.vehicle] if told.vehicle else None
        row = stored.get(facts.transfer.pk)
        if row is None:
            row = Proposal(district=district, transfer=facts.transfer, since=now)
        elif _says_the_same(row, vehicle, told, body):
            continue
        elif row.vehicle_id != (vehicle.pk if vehicle else None):
            row.since = now
        row.vehicle, row.made_at, row.saves = vehicle, now, told.saves
        if not told.pinned:
            row.pinned_by, row.pinned_at = "", None
        row.reasons, row.body = list(told.reasons), body
        changed.append(row)
    # Two that change places would each meet the other's old vehicle.
    gone = [row.pk for row in changed if row.pk]
    Proposal.objects.filter(pk__in=gone).update(vehicle=None)
    for row in changed:
        row.save()


def _says_the_same(
    row: Proposal, vehicle: Vehicle | None, told: calc.Proposal, body: dict[str, Any]
) -> bool:
    same_vehicle = row.vehicle_id == (vehicle.pk if vehicle else None)
    same = same_vehicle and bool(row.pinned_by) == told.pinned and abs(row.saves - told.saves) < 0.1
    return same and row.reasons == list(told.reasons) and row.body == body


def _held(district: District, *, wait: bool = False) -> District | None:
    """The district as it stands, its proposals ours to write; None while another sweep is at it."""
    rows = District.objects.filter(pk=district.pk)
    if connection.features.has_select_for_no_key_update:
        rows = rows.select_for_update(no_key=True, skip_locked=not wait)
    return rows.first()
