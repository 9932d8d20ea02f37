"""The demo's links lead to the people of the journey under way, each to their own side of it."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from fixtures_demo import running
from fixtures_demo.people_shown import people_shown
from fixtures_demo.players import Unexpected
from fixtures_demo.story import Story
from referrals import endings
from referrals.calc.terms import Ending
from referrals.models import Referral
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, a_referral, an_offer, told_by
from transport.calc.stages import TransferStage

pytestmark = pytest.mark.django_db


def names(now: datetime) -> dict[str, str]:
    return {role: staff.username for role, staff in people_shown(now).items()}


def test_without_a_journey_there_is_one_person_a_role(district, now):
    assert set(names(now)) == {"attendant", "unit", "driver", "desk", "lead"}


def test_each_of_them_opens_that_journey(district, ward, now):
    transfer = a_journey(now, ward, stage=TransferStage.COLLECTING, vehicle="AMB-2")
    code, shown = transfer.referral.code, people_shown(now)
    assert shown["attendant"].username == "tomasi.bellaqua"
    assert shown["driver"].username == "ilse.kambarra"
    assert shown["unit"].roles.get().unit == ward
    for role, page in (("attendant", "/post/"), ("unit", "/unit/"), ("driver", "/drive/"),
                       ("desk", "/desk/"), ("lead", "/desk/")):  # fmt: skip
        assert code in text_of(browser_of(shown[role]).get(page)), role


def test_while_a_unit_is_asked_it_is_whoever_is_on_duty_there(district, ward, now):
    an_offer(a_referral(now), ward, now)
    assert names(now)["unit"] == "miriam.castowell"


def test_a_journey_that_has_ended_is_nobodys(district, ward, now):
    before = names(now)
    transfer = a_journey(now, ward, stage=TransferStage.COLLECTING, vehicle="AMB-2")
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=40))
    endings.end_baby(by, transfer.referral.babies.get(), Ending.FAMILY_DECLINED)
    assert names(now) == before


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch, district: Any) -> list[str]:
    """The parts of the story that were played, without a service."""
    done: list[str] = []
    for part in ("call_for_help", "find_a_place", "send_a_vehicle", "drive_to_the_post", "load",
                 "drive_to_the_unit"):  # fmt: skip
        monkeypatch.setattr(Story, part, lambda story, part=part: done.append(part))
    monkeypatch.setattr(running.threading.Thread, "start", lambda thread: done.append("thread"))
    return done


def test_the_links_wait_until_a_vehicle_is_sent_and_the_driving_goes_on_beside(played):
    running.begin(8000)
    assert played == ["call_for_help", "find_a_place", "send_a_vehicle", "thread"]


def test_a_story_that_stops_keeps_no_demo_from_starting(played, monkeypatch):
    def nobody(story: Story) -> None:
        raise Unexpected("no question came")

    monkeypatch.setattr(Story, "find_a_place", nobody)
    running.begin(8000)
    assert played == ["call_for_help"]


def test_a_demo_with_an_open_journey_begins_no_second_one(played, now):
    a_referral(now)
    running.begin(8000)
    assert played == []
    assert Referral.objects.count() == 1
