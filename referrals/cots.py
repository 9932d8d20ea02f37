"""Free cots of a unit: reported, held for babies on the way, released; never below zero.

Holding and releasing lock the unit's row after the referral's, so that the last cot goes once.
"""

from django.db import transaction

from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.models import CotHold, CotReport, Offer, Unit


def report_cots(by: By, unit: Unit, *, cots_free: int, is_open: bool = True) -> Unit:
    """A unit says how many cots are free, not counting those promised to babies on the way."""
    with transaction.atomic():
        locked = Unit.objects.select_for_update(of=("self",)).get(pk=unit.pk)
        locked.cots_free, locked.is_open = cots_free, is_open
        locked.cots_reported_at = by.at
        locked.save(update_fields=["cots_free", "is_open", "cots_reported_at"])
        CotReport.objects.create(
            unit=locked,
            cots_free=cots_free,
            is_open=is_open,
            reported_by=by.name,
            reported_at=by.at,
        )
    return locked


def hold_cots(by: By, offer: Offer) -> None:
    """Take a cot for every baby on the way from the unit's free count, never below zero."""
    needed = offer.referral.babies.filter(ending="").count()
    unit = Unit.objects.select_for_update(of=("self",)).get(pk=offer.unit_id)
    if unit.cots_free < needed:
        raise NotPossible(
            f"{unit.name} has {unit.cots_free} free cot(s) not promised to another baby, and "
            f"{needed} needed. If there is room after all, report the free cots first, "
            "then accept.",
            code="no_cot",
        )
    unit.cots_free -= needed
    unit.save(update_fields=["cots_free"])
    CotHold.objects.update_or_create(
        offer=offer,
        defaults={
            "unit": unit,
            "cots": needed,
            "held_at": by.received_at,
            "released_at": None,
        },
    )


def release_cots(offer: Offer, by: By) -> None:
    hold = CotHold.objects.filter(offer=offer, released_at=None, used_at=None).first()
    if hold is None:
        return
    unit = Unit.objects.select_for_update(of=("self",)).get(pk=hold.unit_id)
    unit.cots_free += hold.cots
    unit.save(update_fields=["cots_free"])
    hold.released_at = by.received_at
    hold.save(update_fields=["released_at"])
