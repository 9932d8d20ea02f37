"""Where a journey goes: to which unit, to which door, and on to another one."""

from dataclasses import replace

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, timeline
from referrals import lifecycle as referral_lifecycle
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason
from referrals.calc.wording import words
from referrals.messages import reception_changed
from referrals.models import Offer, Referral, Unit
from transport import drivers_told, lifecycle, messages
from transport.calc.stages import TransferStage
from transport.models import Milestone, Transfer


def set_destination(referral: Referral, unit: Unit | None, by: By) -> None:
    """A unit has accepted, or can no longer: the live journey follows. The caller holds the row."""
    transfer = referral.transfers.live().first()
    if transfer is None:
        return
    was = transfer.destination
    if was == unit and not transfer.without_acceptance:
        return
    transfer.destination, transfer.without_acceptance = unit, False
    transfer.save(update_fields=["destination", "without_acceptance"])
    timeline.append(
        referral,
        "destination",
        by,
        {"unit": unit.code if unit else None, "was": was.code if was else None},
    )
    if transfer.vehicle:
        drivers_told.tell_driver(referral, transfer, by, changed=True)
    meeting = transfer.standing_meeting()
    if meeting:
        drivers_told.tell_of_meeting(referral, transfer, meeting, by, "second")


def send_toward(by: By, transfer: Transfer, unit: Unit) -> Transfer:
    """The desk sends the vehicle toward a unit that has not accepted yet; recorded as such."""
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        placed = referral.accepted_offer()
        if placed:
            raise NotPossible(
                words(
                    "%(code)s is placed at %(unit)s; the vehicle goes there.",
                    code=referral.code,
                    unit=placed.unit,
                ),
                code="already_placed",
            )
        transfer.destination, transfer.without_acceptance = unit, True
        transfer.save(update_fields=["destination", "without_acceptance"])
        timeline.append(
            referral, "sent_without_acceptance", by, {"unit": unit.code, "transfer": transfer.pk}
        )
        if transfer.vehicle:
            drivers_told.tell_driver(referral, transfer, by, changed=True)
        if not referral.offers.filter(unit=unit, stage="open").exists():
            referral_lifecycle.ask(by, referral, unit)
    return transfer


def not_toward(by: By, transfer: Transfer) -> Transfer:
    """Not toward that unit after all: the driver is told; the question to the unit stands.

    Raises:
        NotPossible: ``not_sent_toward``, when it goes to no unit, or to one that has accepted.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        if not transfer.is_live or not transfer.without_acceptance:
            raise NotPossible(
                _("%s is not sent toward a unit without its yes, so there is nothing to change.")
                % referral.code,
                code="not_sent_toward",
            )
        set_destination(referral, None, by)
    return Transfer.objects.get(pk=transfer.pk)


def unit_refused(referral: Referral, unit: Unit, by: By) -> None:
    """A unit said no that the vehicle was sent toward without a yes: it does not go there now."""
    transfer = referral.transfers.live().first()
    if transfer and transfer.without_acceptance and transfer.destination_id == unit.pk:
        set_destination(referral, None, by)


def tell_reception(referral: Referral, offer: Offer, by: By) -> None:
    """Entrance or receiver has changed: tell who drives there. The caller holds the row."""
    transfer = referral.transfers.live().select_related("vehicle").first()
    if transfer is None or transfer.vehicle is None:
        return
    alerting.tell_phone(
        referral,
        transfer.driver_name,
        transfer.driver_phone,
        by,
        f"transfer:{transfer.pk}:driver:{transfer.assignment}:{referral.head_seq}",
        replace(reception_changed(offer), path="driver"),
    )


def go_on(by: By, transfer: Transfer, *, why: str) -> Transfer:
    """The unit does not take the baby at its door: back on the road, to another unit.

    What that unit had promised is taken back in the same transaction, so that others are asked; a
    unit that has accepted since stays where it goes. The checks go on as before.

    Raises:
        NotPossible: ``not_arrived``, when it stands at no unit's door.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        if transfer.stage != TransferStage.ARRIVED.value:
            raise NotPossible(
                _("%s stands at no unit's door now. Where it goes is for the desk to change.")
                % referral.code,
                code="not_arrived",
            )
        unit = transfer.stands_at or transfer.destination
        if unit:
            _said_no_at_the_door(by, referral, unit, why)
        # The verb above has held the row anew, and may have taken the destination away.
        referral, transfer = lifecycle.held(transfer)
        transfer.stretch += 1
        transfer.waits_latitude = unit.site.latitude if unit else None
        transfer.waits_longitude = unit.site.longitude if unit else None
        transfer.window = transfer.window_at = None
        transfer.save(
            update_fields=["stretch", "waits_latitude", "waits_longitude", "window", "window_at"]
        )
        Milestone.objects.create(
            transfer=transfer,
            assignment=transfer.assignment,
            stretch=transfer.stretch,
            kind=TransferStage.ON_THE_ROAD.value,
            reached_at=by.at,
            received_at=by.received_at,
            reported_by=by.name,
        )
        kept = timeline.keep_text(referral, "reason", why)
        body = {
            "transfer": transfer.pk,
            "stretch": transfer.stretch,
            "why": timeline.committed(kept),
        }
        timeline.append(referral, "went_on", by, body | {"unit": unit.code if unit else None})
        lifecycle.fold_milestones(transfer)
        alerting.tell_desk_quietly(
            referral,
            by,
            "went_on",
            f"transfer:{transfer.pk}:went_on:{transfer.assignment}:{referral.head_seq}",
            messages.went_on(transfer, unit),
        )
    return transfer


def _said_no_at_the_door(by: By, referral: Referral, unit: Unit, why: str) -> None:
    said_yes_or_asked = referral.offers.filter(unit=unit, stage__in=referral_lifecycle.LIVE_OFFERS)
    for offer in said_yes_or_asked:
        referral_lifecycle.decline(by, offer, reason=DeclineReason.OTHER, words=why)
