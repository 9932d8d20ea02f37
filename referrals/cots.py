"""Free cots of a unit: reported, held for babies on the way, released; never below zero.

Holding and releasing lock the unit's row after the referral's, so that the last cot goes once.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import timeline
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.calc.wording import words
from referrals.models import CotHold, CotReport, Offer, Referral, Unit

REPORTED = ["cots_free", "is_open", "cots_reported_at"]


def report_cots(by: By, unit: Unit, *, cots_free: int, is_open: bool = True) -> Unit:
    """A unit says how many cots are free, not counting those promised to babies on the way."""
    with transaction.atomic():
        locked = Unit.objects.select_for_update(of=("self",)).get(pk=unit.pk)
        told_at = locked.cots_reported_at
        before = {
            "cots_free": locked.cots_free,
            "is_open": locked.is_open,
            "cots_reported_at": told_at.isoformat() if told_at else None,
        }
        locked.cots_free, locked.is_open = cots_free, is_open
        locked.cots_reported_at = by.at
        locked.save(update_fields=REPORTED)
        CotReport.objects.create(
            unit=locked,
            cots_free=cots_free,
            is_open=is_open,
            reported_by=by.name,
            reported_at=by.at,
            before=before,
        )
    return locked


def withdraw_report(by: By, report: CotReport, *, why: str = "") -> Unit:
    """The newest report was wrong: what stood before stands again, less what was promised since.

    A second press changes nothing.

    Raises:
        NotPossible: ``not_the_last``, ``cots_promised`` or ``nothing_to_withdraw``.
    """
    with transaction.atomic():
        unit = Unit.objects.select_for_update(of=("self",)).get(pk=report.unit_id)
        report.refresh_from_db()
        if report.withdrawn_at is not None:
            return unit
        newest = unit.cot_reports.filter(withdrawn_at=None).order_by("-pk").first()
        if newest != report:
            raise NotPossible(
                _("The free cots were reported again since. Report them as they are now."),
                code="not_the_last",
            )
        if report.before is None:
            raise NotPossible(
                _("What stood before is not known. Report the free cots as they are now."),
                code="nothing_to_withdraw",
            )
        free = unit.cots_free + report.before["cots_free"] - report.cots_free
        if free < 0:
            raise NotPossible(
                _("Cots of this report were promised since. Report them as they are now."),
                code="cots_promised",
            )
        told_at = report.before["cots_reported_at"]
        unit.cots_free, unit.is_open = free, report.before["is_open"]
        unit.cots_reported_at = datetime.fromisoformat(told_at) if told_at else None
        unit.save(update_fields=REPORTED)
        report.withdrawn_at, report.withdrawn_by = by.received_at, by.name
        report.withdrawn_why = why[:200]
        report.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why"])
    return unit


def hold_cots(by: By, offer: Offer) -> None:
    """Take a cot for every baby on the way from the unit's free count, never below zero."""
    needed = offer.referral.babies.filter(ending="").count()
    unit = Unit.objects.select_for_update(of=("self",)).get(pk=offer.unit_id)
    if unit.cots_free < needed:
        raise NotPossible(
            words(
                "%(unit)s has %(free)d free cot(s) not promised to another baby, and %(needed)d "
                "needed. If there is room after all, report the free cots first, then accept.",
                unit=unit.name,
                free=unit.cots_free,
                needed=needed,
            ),
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


@dataclass(frozen=True)
class Fitted:
    """What an acceptance keeps after its cots were fitted to the babies."""

    kept: int
    missing: int
    changed: bool


def fit_hold(offer: Offer) -> Fitted:
    """Keep as many cots as babies need one, as far as any are free; give back what is too much."""
    hold = CotHold.objects.filter(offer=offer, released_at=None, used_at=None).first()
    if hold is None:
        return Fitted(0, 0, changed=False)
    unit = Unit.objects.select_for_update(of=("self",)).get(pk=hold.unit_id)
    more = min(cots_needed(offer.referral) - hold.cots, unit.cots_free)
    if more:
        unit.cots_free -= more
        unit.save(update_fields=["cots_free"])
        hold.cots += more
        hold.save(update_fields=["cots"])
    missing = max(cots_needed(offer.referral) - hold.cots, 0)
    return Fitted(hold.cots, missing, changed=bool(more))


def fit_cots(by: By, referral: Referral) -> int:
    """Keep as many cots as babies are on the way, as far as there are; how many are missing.

    The caller holds the referral's row.
    """
    offer = referral.accepted_offer()
    if offer is None:
        return 0
    offer.referral = referral
    fitted = fit_hold(offer)
    if fitted.changed:
        body = {"unit": offer.unit.code, "cots": fitted.kept, "missing": fitted.missing}
        timeline.append(referral, "cots_kept", by, body)
    return fitted.missing


def cots_needed(referral: Referral) -> int:
    """A cot for every baby on the way, and for every one that lies in it already."""
    return referral.babies.filter(ending__in=["", Ending.HANDED_OVER.value]).count()


def release_cots(offer: Offer, by: By) -> None:
    hold = CotHold.objects.filter(offer=offer, released_at=None, used_at=None).first()
    if hold is None:
        return
    unit = Unit.objects.select_for_update(of=("self",)).get(pk=hold.unit_id)
    unit.cots_free += hold.cots
    unit.save(update_fields=["cots_free"])
    hold.released_at = by.received_at
    hold.save(update_fields=["released_at"])
