"""Builders with plain verbs, for tests that begin in the middle of a journey."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from referrals import describing, lifecycle
from referrals.acting import By, by_staff
from referrals.calc.escalation import Ladder, Reach
from referrals.calc.terms import EntryChannel
from referrals.models import Offer, Referral, Staff, Unit
from transport import lifecycle as journeys
from transport import milestones
from transport.calc.stages import MILESTONES, TransferStage
from transport.models import Transfer, Vehicle

BAGGED = {"breathing": "ventilated", "support": "bag_and_mask_oxygen", "oxygen_flow_l_min": 5.0}


def a_ladder(*rungs: list[Reach]) -> Ladder:
    """The contacts of a team without a rota."""
    return Ladder(rungs=rungs, begins=datetime(2026, 3, 2, tzinfo=UTC), zone=ZoneInfo("UTC"))


def told_by(username: str, at: datetime) -> By:
    """Something a person of the district tells on a page at a time."""
    return by_staff(Staff.objects.get(username=username), channel=EntryChannel.PAGE, now=at)


def a_referral(at: datetime, *, babies: int = 1, attendant: str = "tomasi.bellaqua") -> Referral:
    """A referral of a newborn (or twins) being ventilated by hand, nobody asked yet."""
    by = told_by(attendant, at)
    staff = Staff.objects.get(username=attendant)
    site = staff.roles.get().site
    assert site is not None
    return lifecycle.raise_referral(
        by,
        origin=site,
        raised_by=staff,
        babies=[describing.BabyTold(facts=dict(BAGGED)) for _ in range(babies)],
    )


def an_offer(referral: Referral, unit: Unit, at: datetime) -> Offer:
    """The question to one unit, asked by the desk."""
    return lifecycle.ask(told_by("leena.morrastad", at), referral, unit)


def a_placed_referral(at: datetime, unit: Unit, *, babies: int = 1) -> Referral:
    """A referral that a unit has accepted."""
    referral = a_referral(at, babies=babies)
    offer = an_offer(referral, unit, at)
    lifecycle.accept(told_by("hana.wendorra", at), offer)
    return lifecycle.timeline_row(referral.pk)


def a_journey(
    at: datetime, unit: Unit, *, stage: TransferStage, vehicle: str = "AMB-1", babies: int = 1
) -> Transfer:
    """A placed referral whose vehicle has come to a stage, ten minutes from one to the next."""
    referral = a_placed_referral(at, unit, babies=babies)
    transfer = referral.transfers.get()
    by = told_by("leena.morrastad", at)
    journeys.assign(by, transfer, Vehicle.objects.get(code=vehicle))
    for number, milestone in enumerate(MILESTONES, start=1):
        if stage in MILESTONES and MILESTONES.index(stage) >= MILESTONES.index(milestone):
            moment = at + timedelta(minutes=10 * number)
            milestones.reach(told_by("mateus.dunnaway", moment), transfer, milestone)
    return Transfer.objects.get(pk=transfer.pk)
