"""Two people at the same instant, on a database with real concurrency (the PostgreSQL pass)."""

import threading
from collections.abc import Callable

import pytest
from django.db import connections
from world import a_journey, a_placed_referral, a_referral, an_offer, told_by

from fixtures_demo.load import load_district
from referrals import clock, cots, lifecycle, recording, timeline
from referrals.calc.states import NotPossible
from referrals.models import Offer, Referral, Unit
from transport import lifecycle as journeys
from transport import milestones
from transport.calc.stages import TransferStage
from transport.models import Milestone, Transfer, Vehicle

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def district():
    return load_district(clock.now())


def at_once(*verbs: Callable[[], object]) -> list[object]:
    """Run all verbs at the same instant; gives each one's answer or the refusal it got."""
    gate = threading.Barrier(len(verbs))
    answers: list[object] = [None] * len(verbs)

    def run(number: int, verb: Callable[[], object]) -> None:
        gate.wait()
        try:
            answers[number] = verb()
        except NotPossible as refusal:
            answers[number] = refusal
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(verbs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return answers


def refusals(answers: list[object]) -> list[NotPossible]:
    return [answer for answer in answers if isinstance(answer, NotPossible)]


@pytest.mark.parametrize("round_", range(5))
def test_two_units_accept_at_the_same_instant_and_one_is_told_no(round_):
    now = clock.now()
    referral = a_referral(now)
    offers = [
        an_offer(referral, unit, now) for unit in Unit.objects.filter(code__in=["ORL-NB", "KES-NB"])
    ]
    answers = at_once(
        *(
            lambda offer=offer: lifecycle.accept(told_by("hana.wendorra", now), offer)
            for offer in offers
        )
    )
    assert len(refusals(answers)) == 1
    assert Offer.objects.filter(referral=referral, stage="accepted").count() == 1
    assert timeline.faults_of(Referral.objects.get(pk=referral.pk)) == []


@pytest.mark.parametrize("round_", range(5))
def test_two_referrals_take_the_last_cot_and_one_gets_it(round_):
    now = clock.now()
    unit = Unit.objects.get(code="ORL-NB")
    cots.report_cots(told_by("hana.wendorra", now), unit, cots_free=1)
    offers = [an_offer(a_referral(now), unit, now) for _ in range(2)]
    answers = at_once(
        *(
            lambda offer=offer: lifecycle.accept(told_by("hana.wendorra", now), offer)
            for offer in offers
        )
    )
    assert len(refusals(answers)) == 1
    unit.refresh_from_db()
    assert unit.cots_free == 0


def test_two_referrals_are_sent_the_same_vehicle_and_one_gets_it():
    now = clock.now()
    unit, vehicle = Unit.objects.get(code="KES-NB"), Vehicle.objects.get(code="AMB-1")
    transfers = [a_placed_referral(now, unit).transfers.get() for _ in range(2)]
    answers = at_once(
        *(
            lambda transfer=transfer: journeys.assign(
                told_by("leena.morrastad", now), transfer, vehicle
            )
            for transfer in transfers
        )
    )
    assert len(refusals(answers)) == 1
    assert Transfer.objects.filter(vehicle=vehicle, stage="assigned").count() == 1


def test_a_milestone_pressed_twice_at_once_is_one_milestone():
    now = clock.now()
    transfer = a_journey(now, Unit.objects.get(code="ORL-NB"), stage=TransferStage.COLLECTING)

    def press() -> object:
        return milestones.reach(told_by("mateus.dunnaway", now), transfer, TransferStage.AT_ORIGIN)

    answers = at_once(press, press, press)
    assert refusals(answers) == []
    assert Milestone.objects.filter(transfer=transfer, kind="at_origin").count() == 1
    assert transfer.referral.entries.filter(kind="milestone").count() == 2


def test_accept_and_decline_at_the_same_instant_leave_one_story():
    now = clock.now()
    referral = a_referral(now)
    offer = an_offer(referral, Unit.objects.get(code="ORL-NB"), now)
    at_once(
        lambda: lifecycle.accept(told_by("hana.wendorra", now), offer),
        lambda: lifecycle.decline(
            told_by("kofi.brantelle", now), offer, reason=lifecycle.DeclineReason.NO_COT
        ),
    )
    referral = Referral.objects.get(pk=referral.pk)
    offer.refresh_from_db()
    assert timeline.faults_of(referral) == []
    assert (referral.stage == "placed") == (offer.stage == "accepted")
    assert Unit.objects.get(code="ORL-NB").cots_free == (1 if offer.stage == "accepted" else 2)


def test_many_observations_at_once_make_one_unbroken_chain():
    now = clock.now()
    referral = a_referral(now)
    baby = referral.babies.get()
    at_once(
        *(
            lambda rate=rate: recording.observe(
                told_by("tomasi.bellaqua", now), baby, {"heart_rate": rate}
            )
            for rate in range(100, 116)
        )
    )
    referral = Referral.objects.get(pk=referral.pk)
    assert referral.entries.filter(kind="observed").count() == 17
    assert timeline.faults_of(referral) == []
