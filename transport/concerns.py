"""What about a journey needs a person: each concern worked out from rows, with its words.

A missed check is the desk's business, never that of the person ventilating; nothing here is ever
shown to a moving driver.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from referrals.calc.terms import Urgency
from referrals.calc.unaccepted import minutes_for
from referrals.messages import clock_time
from referrals.models import Referral
from referrals.ports import Concern
from referrals.watching import concern_key
from transport.calc.checks_due import next_check_due
from transport.calc.stages import TransferStage
from transport.estimating import collection_estimate, oxygen_plan
from transport.messages import waiting
from transport.models import Transfer

BEFORE_ARRIVAL = {
    TransferStage.ASSIGNED,
    TransferStage.COLLECTING,
    TransferStage.AT_ORIGIN,
    TransferStage.ON_THE_ROAD,
}

SETTING_OFF_MINUTES = 10.0
"""From assigning to setting off before the desk rings the driver; common practice, no source."""


def concerns_of_journey(referral: Referral, now: datetime) -> Iterator[Concern]:
    """Everything about the live journey of a referral that needs somebody, now or later."""
    transfer = (
        referral.transfers.live().select_related("vehicle__base", "destination__site").first()
    )
    if referral.alone:
        yield _concern(
            referral,
            "alone",
            "",
            referral.raised_at,
            f"Only one pair of hands at {referral.origin.name}. Ring on loudspeaker, stay on the "
            "line, and enter the checks yourself.",
        )
    if transfer is None:
        return
    transfer.referral = referral
    if transfer.left_post_at:
        yield from _checks(referral, transfer)
    yield from _not_accepted(referral, transfer)
    match TransferStage(transfer.stage):
        case TransferStage.WANTED:
            yield _no_vehicle(referral, transfer)
        case TransferStage.ASSIGNED:
            yield _not_set_off(referral, transfer)
        case TransferStage.COLLECTING:
            yield from _collection_overdue(referral, transfer, now)
        case TransferStage.AT_ORIGIN:
            yield _departure_overdue(referral, transfer)
        case TransferStage.ON_THE_ROAD:
            yield from _silence(referral, transfer)
            yield from _arrival_suggested(referral, transfer, now)
        case TransferStage.ARRIVED:
            yield _handover_unsigned(referral, transfer)
        case _:
            return
    yield from _oxygen(referral, transfer, now)


def _no_vehicle(referral: Referral, transfer: Transfer) -> Concern:
    minutes = referral.district.vehicle_search_minutes
    placed = referral.accepted_offer()
    where = f"{placed.unit} is waiting, but" if placed else "Still"
    if transfer.waits_on_the_road:
        where = f"Mother and baby wait {waiting(transfer)}, and"
    return _concern(
        referral,
        "no_vehicle",
        transfer.assignment,
        transfer.wanted_at + timedelta(minutes=minutes),
        f"{where} no vehicle for {referral.code} after {minutes:g} min. You are responsible now: "
        "ring other owners of a car, motorcycle or boat, and the next district.",
        supersedes=("vehicle_wanted",),
    )


def _not_accepted(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    """A vehicle is there and no unit: the desk may send it toward one, recorded as such."""
    if TransferStage(transfer.stage) not in BEFORE_ARRIVAL or transfer.destination_id:
        return
    minutes = minutes_for(referral.district.without_acceptance, Urgency(referral.urgency))
    standing = referral.district.standing_unit
    toward = str(standing) if standing else "a unit of your choice"
    since = transfer.assigned_at or transfer.wanted_at
    yield _concern(
        referral,
        "not_accepted",
        transfer.pk,
        max(referral.raised_at + timedelta(minutes=minutes), since),
        f"No unit has accepted {referral.code} after {minutes:g} min, and {transfer.vehicle} is "
        f"there. You may send it toward {toward} without an acceptance. Go on asking.",
    )


def _not_set_off(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.assigned_at or transfer.wanted_at
    return _concern(
        referral,
        "not_set_off",
        transfer.assignment,
        since + timedelta(minutes=SETTING_OFF_MINUTES),
        f"{transfer.vehicle} was sent for {referral.code} at {clock_time(since, referral)} and has "
        f"not set off. Ring {transfer.driver_name} {transfer.driver_phone}.",
    )


def _collection_overdue(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    kept = transfer.estimate_set.filter(purpose="collection").last()
    estimate = None if kept else collection_estimate(transfer, now)
    minutes = kept.p90_minutes if kept else (estimate.p90_minutes if estimate else None)
    if minutes is None or transfer.collecting_at is None:
        return
    grace = referral.district.check_grace_minutes
    yield _concern(
        referral,
        "collection_overdue",
        transfer.assignment,
        transfer.collecting_at + timedelta(minutes=minutes + grace),
        f"{transfer.vehicle} should have reached mother and baby {waiting(transfer)} by now. "
        f"Ring {transfer.driver_name} {transfer.driver_phone}.",
    )


def _departure_overdue(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.at_origin_at or transfer.wanted_at
    return _concern(
        referral,
        "departure_overdue",
        transfer.assignment,
        since + timedelta(minutes=referral.district.departure_minutes),
        f"{transfer.vehicle} is with mother and baby {waiting(transfer)} since "
        f"{clock_time(since, referral)} and has not left. Ring and ask what is needed.",
    )


def _checks(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    started = transfer.left_post_at
    if started is None:
        return
    ring = transfer.driver_phone or transfer.driver_name if transfer.vehicle else ""
    caller = referral.raised_by
    if not ring and caller and caller.phone:
        ring = caller.phone.as_e164
    grace = timedelta(minutes=referral.district.check_grace_minutes)
    for baby in referral.babies.filter(ending=""):
        # A stop told by the driver stands among the checks, but nobody has looked at the baby.
        made = transfer.checks.filter(baby=baby).exclude(observation=None, oxygen_bar=None)
        last = made.order_by("-checked_at").first()
        due = next_check_due(
            last_check_at=last.checked_at if last else None,
            started_at=started,
            interval_minutes=referral.district.check_minutes,
        )
        yield _concern(
            referral,
            "check_missed",
            f"{baby.pk}:{last.pk if last else 0}",
            due + grace,
            f"The {clock_time(due, referral)} check of {baby.code} has not come. Ring "
            f"{'mother and baby where they wait' if transfer.waits_on_the_road else 'the vehicle'} "
            f"on loudspeaker ({ring or referral.origin}) and enter it.",
        )


def _silence(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    heard = max(filter(None, [transfer.last_fix_at, transfer.on_the_road_at]), default=None)
    if heard is None:
        return
    yield _concern(
        referral,
        "vehicle_silent",
        f"{transfer.pk}:{heard.isoformat()}",
        heard + timedelta(minutes=referral.district.silence_minutes),
        f"No position from {transfer.vehicle} since {clock_time(heard, referral)}. It may be out "
        f"of coverage. Ring {transfer.driver_name} {transfer.driver_phone}.",
    )


def _arrival_suggested(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    if not (transfer.window or {}).get("arrived_suggested"):
        return
    yield _concern(
        referral,
        "arrival_suggested",
        transfer.assignment,
        now,
        f"{transfer.vehicle} seems to be at {transfer.destination}. Ask, then press 'arrived'.",
    )


def _handover_unsigned(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.arrived_at or transfer.wanted_at
    return _concern(
        referral,
        "handover_unsigned",
        transfer.assignment,
        since + timedelta(minutes=referral.district.handover_minutes),
        f"{referral.code} arrived at {clock_time(since, referral)}, but the handover is not signed "
        f"by both sides. Ring {transfer.destination}.",
    )


def _oxygen(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    plan = oxygen_plan(transfer, now)
    if plan is None or plan.enough:
        return
    yield _concern(
        referral,
        "oxygen_short",
        f"{transfer.assignment}:{transfer.destination_id}",
        now,
        " ".join(plan.words),
    )


def _concern(
    referral: Referral,
    kind: str,
    subject: object,
    due_at: datetime,
    sentence: str,
    *,
    supersedes: tuple[str, ...] = (),
) -> Concern:
    return Concern(
        key=concern_key(referral, kind, subject),
        kind=kind,
        due_at=due_at,
        sentence=sentence[:400],
        path=f"/desk/{referral.code}/",
        urgency=Urgency(referral.urgency),
        supersedes=supersedes,
    )
