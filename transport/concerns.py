"""What about a journey needs a person: each concern worked out from rows, with its words.

A missed check is the desk's business, never that of the person ventilating; nothing here is ever
shown to a moving driver.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from referrals.calc.terms import Urgency
from referrals.calc.unaccepted import minutes_for
from referrals.calc.wording import marked
from referrals.contact_with_post import last_contact
from referrals.messages import clock_time, responsible_person
from referrals.models import Referral
from referrals.ports import Concern
from referrals.saying import to_tell, to_tell_counted
from transport.calc.stages import TransferStage
from transport.checklists import leaving
from transport.concerns_of_meeting import SETTING_OFF_MINUTES, concerns_of_meeting
from transport.concerns_on_the_road import (
    checks_on_the_road,
    concerns_on_the_road,
    oxygen_short,
)
from transport.estimating import collection_estimate
from transport.messages import waiting
from transport.models import Transfer

BEFORE_ARRIVAL = {
    TransferStage.ASSIGNED,
    TransferStage.COLLECTING,
    TransferStage.AT_ORIGIN,
    TransferStage.ON_THE_ROAD,
}

AT_THE_POST = BEFORE_ARRIVAL - {TransferStage.ON_THE_ROAD} | {TransferStage.WANTED}
"""Stages in which mother and baby have not left, unless an earlier vehicle took them."""


def concerns_of_journey(referral: Referral, now: datetime) -> Iterator[Concern]:
    """Everything about the live journey of a referral that needs somebody, now or later."""
    transfer = (
        referral.transfers.live().select_related("vehicle__base", "destination__site").first()
    )
    yield from _alone(referral)
    if transfer is None:
        return
    transfer.referral = referral
    if transfer.left_post_at:
        yield from checks_on_the_road(referral, transfer, now)
        yield from _list_open(transfer)
    elif transfer.stage in AT_THE_POST:
        yield _post_silent(referral)
    yield from _not_accepted(referral, transfer)
    match TransferStage(transfer.stage):
        case TransferStage.WANTED:
            yield _no_vehicle(referral, transfer, now)
        case TransferStage.ASSIGNED:
            yield _not_set_off(referral, transfer)
        case TransferStage.COLLECTING:
            yield from _collection_overdue(referral, transfer, now)
        case TransferStage.AT_ORIGIN:
            yield _departure_overdue(referral, transfer)
        case TransferStage.ON_THE_ROAD:
            yield from concerns_on_the_road(referral, transfer, now)
        case TransferStage.ARRIVED:
            yield _at_the_door(referral, transfer, now)
        case _:
            return
    yield from concerns_of_meeting(referral, transfer)
    yield from oxygen_short(referral, transfer, now)


def _list_open(transfer: Transfer) -> Iterator[Concern]:
    """They left with must-items nobody answered for: known to the desk, no reason to turn back.

    It stands until each is answered, or somebody has said why they went first.
    """
    before = leaving(transfer)
    if before.template is None or not before.asks or transfer.left_post_at is None:
        return
    said = to_tell_counted(
        "%(code)s left with %(count)d thing of the list not answered. Ask whoever is not "
        "ventilating, and write it down.",
        "%(code)s left with %(count)d things of the list not answered. Ask whoever is not "
        "ventilating, and write it down.",
        len(before.open),
        code=transfer.referral.code,
    )
    yield Concern.about(
        transfer.referral, "list_open", transfer.pk, transfer.left_post_at, said, told_once=True
    )


def _alone(referral: Referral) -> Iterator[Concern]:
    if referral.alone:
        yield Concern.about(
            referral,
            "alone",
            "",
            referral.raised_at,
            to_tell(
                "Only one pair of hands at %(site)s. Ring on loudspeaker, stay on the line, and "
                "enter the checks yourself.",
                site=referral.origin.name,
            ),
        )


def _post_silent(referral: Referral) -> Concern:
    """Before mother and baby leave: afterwards a missed check says it."""
    heard = last_contact(referral)
    minutes = referral.district.post_silent_minutes
    origin = referral.origin
    ring = referral.who_called()[1] or (origin.phone.as_e164 if origin.phone else origin.name)
    return Concern.about(
        referral,
        "post_silent",
        heard.isoformat(),
        heard + timedelta(minutes=minutes),
        to_tell(
            "Nothing heard of %(site)s about %(code)s since %(at)s, %(minutes)d min and more. The "
            "phone may be out of coverage, or both hands are busy. Ring %(phone)s.",
            site=origin.name,
            code=referral.code,
            at=clock_time(heard, referral),
            minutes=minutes,
            phone=ring,
        ),
    )


def _no_vehicle(referral: Referral, transfer: Transfer, now: datetime) -> Concern:
    minutes = referral.district.vehicle_search_minutes
    placed = referral.accepted_offer()
    if transfer.waits_on_the_road:
        sentence = marked(
            "Mother and baby wait %(place)s, and no vehicle for %(code)s after %(minutes)g min. "
            "Responsible for finding one: %(who)s. Ring the owners of a car, motorcycle or boat "
            "on the call list, and the next district."
        )
    elif placed:
        sentence = marked(
            "%(unit)s is waiting, but no vehicle for %(code)s after %(minutes)g min. Responsible "
            "for finding one: %(who)s. Ring the owners of a car, motorcycle or boat on the call "
            "list, and the next district."
        )
    else:
        sentence = marked(
            "Still no vehicle for %(code)s after %(minutes)g min. Responsible for finding one: "
            "%(who)s. Ring the owners of a car, motorcycle or boat on the call list, and the next "
            "district."
        )
    return Concern.about(
        referral,
        "no_vehicle",
        transfer.assignment,
        transfer.wanted_at + timedelta(minutes=minutes),
        to_tell(
            sentence,
            place=waiting(transfer),
            unit=placed.unit if placed else "",
            code=referral.code,
            minutes=minutes,
            who=responsible_person(referral, now),
        ),
        supersedes=("vehicle_wanted",),
    )


def _not_accepted(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    """A vehicle is there and no unit: the desk may send it toward one, recorded as such."""
    if TransferStage(transfer.stage) not in BEFORE_ARRIVAL or transfer.destination_id:
        return
    minutes = minutes_for(referral.district.without_acceptance, Urgency(referral.urgency))
    standing = referral.district.standing_unit
    since = transfer.assigned_at or transfer.wanted_at
    yield Concern.about(
        referral,
        "not_accepted",
        transfer.pk,
        max(referral.raised_at + timedelta(minutes=minutes), since),
        to_tell(
            "No unit has accepted %(code)s after %(minutes)g min, and %(vehicle)s is there. You "
            "may send it toward %(toward)s without an acceptance. Go on asking.",
            code=referral.code,
            minutes=minutes,
            vehicle=transfer.vehicle,
            toward=standing or to_tell("a unit of your choice"),
        ),
    )


def _not_set_off(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.assigned_at or transfer.wanted_at
    return Concern.about(
        referral,
        "not_set_off",
        transfer.assignment,
        since + timedelta(minutes=SETTING_OFF_MINUTES),
        to_tell(
            "%(vehicle)s was sent for %(code)s at %(at)s and has not set off. Ring %(driver)s "
            "%(phone)s.",
            vehicle=transfer.vehicle,
            code=referral.code,
            at=clock_time(since, referral),
            driver=transfer.driver_name,
            phone=transfer.driver_phone,
        ),
    )


def _collection_overdue(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    kept = transfer.estimate_set.filter(purpose="collection").last()
    estimate = None if kept else collection_estimate(transfer, now)
    minutes = kept.p90_minutes if kept else (estimate.p90_minutes if estimate else None)
    if minutes is None or transfer.collecting_at is None:
        return
    grace = referral.district.check_grace_minutes
    yield Concern.about(
        referral,
        "collection_overdue",
        transfer.assignment,
        transfer.collecting_at + timedelta(minutes=minutes + grace),
        to_tell(
            "%(vehicle)s should have reached mother and baby %(place)s by now. Ring %(driver)s "
            "%(phone)s.",
            vehicle=transfer.vehicle,
            place=waiting(transfer),
            driver=transfer.driver_name,
            phone=transfer.driver_phone,
        ),
    )


def _departure_overdue(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.at_origin_at or transfer.wanted_at
    return Concern.about(
        referral,
        "departure_overdue",
        transfer.assignment,
        since + timedelta(minutes=referral.district.departure_minutes),
        to_tell(
            "%(vehicle)s is with mother and baby %(place)s since %(since)s and has not left. Ring "
            "and ask what is needed.",
            vehicle=transfer.vehicle,
            place=waiting(transfer),
            since=clock_time(since, referral),
        ),
    )


def _at_the_door(referral: Referral, transfer: Transfer, now: datetime) -> Concern:
    if not transfer.is_turned_away:
        return _handover_unsigned(referral, transfer)
    sentence = (
        marked(
            "Mother and baby of %(code)s stand at %(here)s, where they do not stay, and %(there)s"
            " has said yes. Ring %(driver)s: they drive on."
        )
        if transfer.destination
        else marked(
            "Mother and baby of %(code)s stand at %(here)s, where they do not stay, and no unit "
            "has said yes. Find a place, and ring %(driver)s."
        )
    )
    said = to_tell(
        sentence,
        code=referral.code,
        here=transfer.stands_at,
        there=transfer.destination,
        driver=f"{transfer.driver_name} {transfer.driver_phone}",
    )
    return Concern.about(
        referral,
        "turned_away",
        f"{transfer.assignment}:{transfer.stretch}:{transfer.destination_id}",
        now,
        said,
        supersedes=("handover_unsigned",),
    )


def _handover_unsigned(referral: Referral, transfer: Transfer) -> Concern:
    since = transfer.arrived_at or transfer.wanted_at
    return Concern.about(
        referral,
        "handover_unsigned",
        transfer.assignment,
        since + timedelta(minutes=referral.district.handover_minutes),
        to_tell(
            "%(code)s arrived at %(at)s, but the handover is not signed by both sides. Ring "
            "%(unit)s.",
            code=referral.code,
            at=clock_time(since, referral),
            unit=transfer.destination,
        ),
    )
