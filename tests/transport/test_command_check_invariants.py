"""``manage.py check_invariants``: silent on a sound database, a sentence for each violation."""

from datetime import timedelta
from pathlib import Path

import pytest
from commands import run
from django.conf import settings
from django.db import connection
from world import a_journey, a_placed_referral, a_referral, an_offer, told_by

from referrals import cots, endings, lifecycle, reopening
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, CotHold, Delivery, Referral, SweepRun, Unit
from transport import handing_over
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.models import Milestone, Vehicle


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nobody else writes here: the second look need not wait, and no head is kept."""
    monkeypatch.setattr("transport.invariants.LOOK_AGAIN_SECONDS", 0)
    monkeypatch.setattr(settings, "HEADS_FILE", tmp_path / "heads.log")


@pytest.fixture
def sweep_lives(district, now) -> None:
    """A sweep has just finished."""
    SweepRun.objects.create(name="test", finished_at=now)


def violated() -> dict[str, list[str]]:
    """Sentences by invariant, and the exit code must agree."""
    answer = run("check_invariants", "--json")
    found: dict[str, list[str]] = {}
    for violation in answer.json["violations"]:
        found.setdefault(violation["invariant"], []).append(violation["sentence"])
    assert answer.code == (1 if found else 0)
    return found


def behind_the_back(statement: str, *values: object) -> None:
    """Write past every verb, as a slip in the code would."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def test_an_empty_database_is_sound(db):
    assert violated() == {}


def test_every_branch_of_a_journey_is_sound(district, intensive, ward, now, sweep_lives):
    a_referral(now)
    a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    handed_over = a_journey(now, ward, stage=TransferStage.ARRIVED, vehicle="AMB-2")
    baby = handed_over.referral.babies.get()
    for side in ("giver", "receiver"):
        handing_over.hand_over(
            told_by("hana.wendorra", now), handed_over, baby,
            handing_over.Signature(side=side, name="A name"),
        )  # fmt: skip
    assert violated() == {}


def test_taking_back_reversing_and_diverting_are_sound(district, intensive, ward, now, sweep_lives):
    by = told_by("leena.morrastad", now)
    transfer = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    journeys.unassign(by, transfer, why="a flat tyre", broken=True)
    journeys.assign(by, transfer, Vehicle.objects.get(code="AMB-2"))
    lifecycle.divert(by, transfer.referral, why="no power")
    assert violated() == {}
    other = a_placed_referral(now, ward)
    offer = other.accepted_offer()
    lifecycle.decline(by, offer, reason=DeclineReason.NO_STAFF)
    baby = other.babies.get()
    endings.end_baby(by, baby, Ending.PLACED_ELSEWHERE)
    assert violated() == {}
    reopening.reverse_ending(by, baby, reason="the wrong baby")
    assert violated() == {}


def test_a_stage_written_past_the_verbs_is_found(district, intensive, now):
    referral = a_placed_referral(now, intensive)
    behind_the_back("UPDATE referrals_referral SET stage = 'asking' WHERE id = %s", referral.pk)
    assert violated() == {
        "stages_follow_entries": [f"{referral.code} is asking, but its entries say placed."]
    }


def test_an_offer_written_past_the_verbs_is_found(district, intensive, now):
    offer = an_offer(a_referral(now), intensive, now)
    behind_the_back("UPDATE referrals_offer SET stage = 'accepted' WHERE id = %s", offer.pk)
    found = violated()
    assert f"offer {offer.pk} is accepted, but its entries say open" in found[
        "stages_follow_entries"][0]  # fmt: skip
    assert "no cot is held" in found["acceptances_hold_cots"][0]


def test_a_second_acceptance_is_found_even_without_its_index(district, intensive, ward, now):
    referral = a_placed_referral(now, intensive)
    other = referral.offers.create(unit=ward, asked_at=now)
    behind_the_back("DROP INDEX one_accepted_offer")
    behind_the_back("UPDATE referrals_offer SET stage = 'accepted' WHERE id = %s", other.pk)
    assert violated()["one_acceptance"] == [f"{referral.code} has 2 accepted offers."]


def test_more_cots_than_there_can_be_are_found(district, intensive, now):
    Unit.objects.filter(pk=intensive.pk).update(cots_free=9)
    assert "9 cots free and 0 held" in violated()["cots_add_up"][0]


def test_a_report_above_the_total_is_believed(district, intensive, now):
    cots.report_cots(told_by("hana.wendorra", now), intensive, cots_free=12)
    assert violated() == {}


def test_a_hold_released_behind_the_back_is_found(district, intensive, now):
    referral = a_placed_referral(now, intensive)
    CotHold.objects.update(released_at=now)
    (sentence,) = violated()["acceptances_hold_cots"]
    assert referral.code in sentence


def test_an_overdue_look_counts_only_while_a_sweep_lives(district, now):
    referral = a_referral(now)
    Referral.objects.update(next_look_at=now - timedelta(minutes=10))
    assert violated() == {}
    assert "no sweep finished" in run("check_invariants").err
    SweepRun.objects.create(name="test", finished_at=now)
    assert violated()["open_referrals_are_looked_at"] == [
        f"{referral.code} is open and its next look is overdue."
    ]
    assert run("check_invariants", "--grace", 60).code == 0


def test_an_open_referral_nobody_will_look_at_is_found(district, now):
    a_referral(now)
    Referral.objects.update(next_look_at=None)
    assert "nobody will look" in violated()["open_referrals_are_looked_at"][0]


def test_an_unanswered_alert_without_a_next_step_is_found(district, intensive, now):
    offer = an_offer(a_referral(now), intensive, now)
    alert = Alert.objects.get(offer=offer)
    Alert.objects.filter(pk=alert.pk).update(due_at=None)
    assert violated()["alerts_go_on"] == [f"Alert {alert.key} is unanswered and has no next step."]


def test_a_message_nobody_tried_to_send_is_found(district, intensive, now):
    an_offer(a_referral(now), intensive, now)
    Delivery.objects.update(due_at=now - timedelta(minutes=3))
    assert len(violated()["deliveries_are_tried"]) == Delivery.objects.count() > 0
    Delivery.objects.update(tries=1)
    assert violated() == {}


def test_a_closed_referral_with_a_baby_that_has_no_ending_is_found(district, intensive, now):
    referral = a_placed_referral(now, intensive)
    endings.take_back(told_by("leena.morrastad", now), referral, reason="a slip")
    assert violated() == {}
    referral.babies.update(ending="")
    found = violated()
    assert f"{referral.code} is closed" in found["closed_means_ended"][0]
    assert "baby 1 is nothing" in found["stages_follow_entries"][0]


def test_an_open_referral_whose_babies_have_all_ended_is_found(district, now):
    referral = a_referral(now)
    referral.babies.update(ending="recovered")
    assert violated()["closed_means_ended"] == [
        f"{referral.code} is open, but every baby has an ending."
    ]


def test_a_vehicle_that_is_not_what_its_journey_says_is_found(district, intensive, now):
    a_journey(now, intensive, stage=TransferStage.COLLECTING)
    Vehicle.objects.filter(code="AMB-1").update(state="free")
    Vehicle.objects.filter(code="AMB-2").update(state="busy")
    assert violated()["one_journey_per_vehicle"] == [
        "AMB-1 is on a journey, but it is called free.",
        "AMB-2 is called busy, but it is on no journey.",
    ]


def test_a_milestone_the_stage_does_not_know_is_found(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    Milestone.objects.create(
        transfer=transfer, assignment=transfer.assignment, kind="arrived", reached_at=now,
        received_at=now, reported_by="nobody",
    )  # fmt: skip
    assert "its milestones say arrived" in violated()["stages_follow_milestones"][0]


def test_a_broken_chain_is_found(district, now):
    referral = a_referral(now)
    Referral.objects.filter(pk=referral.pk).update(head_hash="0" * 64)
    assert "does not end at the head" in violated()["chains_hold"][0]


def test_what_is_gone_at_the_second_look_is_no_violation(district, now, monkeypatch):
    looks = iter([["half a change"], []])
    monkeypatch.setattr("transport.invariants.LOOKS", {"racing": lambda at: next(looks)})
    assert violated() == {}


@pytest.mark.parametrize("grace", ["-1", "nan", "inf"])
def test_a_grace_that_cannot_be_exits_2(db, grace):
    assert run("check_invariants", f"--grace={grace}").code == 2


def test_nothing_is_written(district, intensive, now, django_assert_num_queries):
    a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    written = []

    def only_reading(execute, sql, *rest):
        if not sql.lstrip().upper().startswith("SELECT"):
            written.append(sql)
        return execute(sql, *rest)

    with connection.execute_wrapper(only_reading):
        run("check_invariants")
    assert written == []
