"""The driver's link: one journey, void when another vehicle comes, dead two hours after the end."""

from datetime import datetime, timedelta

import pytest
import time_machine

from referrals import links
from referrals.models import District, Entry, Unit
from tests import world
from tests.api_world import Device, device_of, driver_device
from transport import driver_links, lifecycle, milestones
from transport.calc.stages import TransferStage
from transport.models import Milestone, Transfer, Vehicle


@pytest.fixture
def journey(district: District, intensive: Unit, now: datetime) -> Transfer:
    return world.a_journey(now, intensive, stage=TransferStage.ASSIGNED)


def test_a_milestone_by_link_is_written_under_the_link(journey: Transfer) -> None:
    answer = driver_device(journey).post(
        f"transfers/{journey.pk}/milestones/", {"milestone": "collecting"}
    )

    assert answer.status_code == 200
    assert answer.json()["next_milestone"] == "at_origin"
    entry = Entry.objects.get(kind="milestone")
    assert (entry.actor, entry.channel) == (f"link:transfer:{journey.pk}", "link")
    assert answer.json()["entry_seq"] == Entry.objects.order_by("-seq").first().seq
    assert Milestone.objects.get().reported_by == "Mateus Dunnaway"


@pytest.mark.parametrize("token", ["", "d1", "d1-short", "x1-AAAAAAAAAAAAAAAAAAAAAA", "dé-1"])
def test_a_link_that_is_not_ours_opens_nothing(journey: Transfer, token: str) -> None:
    answer = Device(f"Driver {token}").get("transfers/")
    assert (answer.status_code, answer.json()["code"]) == (404, "link_invalid")


def test_a_link_of_another_kind_opens_no_journey(journey: Transfer) -> None:
    other = links.token("a", journey.pk, journey.assignment)
    assert Device(f"Driver {other}").get("transfers/").status_code == 404


def test_the_link_of_one_journey_does_not_open_another(
    journey: Transfer, ward: Unit, now: datetime
) -> None:
    other = world.a_journey(now, Unit.objects.get(code="ORL-NB"), stage=TransferStage.ASSIGNED,
                            vehicle="AMB-2")  # fmt: skip
    device = driver_device(journey)

    assert device.get(f"transfers/{other.pk}/").status_code == 404
    body = {"milestone": "arrived"}
    assert device.post(f"transfers/{other.pk}/milestones/", body).status_code == 404
    assert [row["id"] for row in device.get("transfers/").json()["results"]] == [journey.pk]


def test_another_vehicle_makes_the_old_link_void(journey: Transfer, now: datetime) -> None:
    old = driver_device(journey)
    by = world.told_by("leena.morrastad", now)
    lifecycle.assign(by, journey, Vehicle.objects.get(code="AMB-2"))

    assert old.get("transfers/").status_code == 404
    journey.refresh_from_db()
    assert driver_device(journey).get("transfers/").status_code == 200


def test_without_a_vehicle_the_link_is_void(journey: Transfer, now: datetime) -> None:
    old = driver_device(journey)
    lifecycle.unassign(world.told_by("leena.morrastad", now), journey, why="no fuel")

    assert old.get("transfers/").status_code == 404


def test_the_link_lives_two_hours_after_the_arrival(journey: Transfer, now: datetime) -> None:
    device = driver_device(journey)
    arrived = now + timedelta(minutes=90)
    milestones.reach(world.told_by("mateus.dunnaway", arrived), journey, TransferStage("arrived"))

    with time_machine.travel(arrived + timedelta(minutes=119), tick=False):
        assert device.get("transfers/").status_code == 200
    with time_machine.travel(arrived + timedelta(minutes=121), tick=False):
        answer = device.get("transfers/")
    assert (answer.status_code, answer.json()["code"]) == (410, "link_closed")


def test_a_dead_link_raises_its_own_error(journey: Transfer, now: datetime) -> None:
    token = driver_links.token_for(journey)
    journey.finished_at = now - timedelta(hours=3)
    journey.save(update_fields=["finished_at"])

    with pytest.raises(driver_links.DeadLink):
        driver_links.transfer_for(token, now)


def test_keys_of_the_link_and_of_an_account_are_apart(journey: Transfer) -> None:
    path, body = f"transfers/{journey.pk}/checks/", {"heart_rate": 120}
    by_link = driver_device(journey).post(path, body, key="k1")
    by_desk = device_of("leena.morrastad").post(path, body, key="k1")

    assert (by_link.status_code, by_desk.status_code) == (201, 201)
    assert by_link.json()["id"] != by_desk.json()["id"]
