"""The desk sees who is on call now, and is pointed to the hours at which nobody would be."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from referrals import clock
from referrals.models import Shift
from referrals.on_call import teams_of
from tests.pages_world import browser_of, text_of

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 3, 2, 12, tzinfo=ZoneInfo("Etc/GMT-6"))
DAY, NIGHT = (time(7), time(19)), (time(19), time(7))


@pytest.fixture
def rota(ward, other_nurse):
    """Miriam by day at Kesawari, all week; by night nobody on Thursday; no other team has hours."""
    Shift.objects.all().delete()
    for weekday in range(7):
        for starts, ends in (DAY, NIGHT):
            if (weekday, starts) != (3, NIGHT[0]):
                Shift.objects.create(
                    unit=ward, staff=other_nurse, weekday=weekday, starts=starts, ends=ends
                )


@pytest.fixture
def page(officer, rota, monkeypatch):
    """``page(moment)``: the desk's page as text at a moment."""

    def shown(moment: datetime) -> str:
        monkeypatch.setattr(clock, "now", lambda: moment)
        return " ".join(text_of(browser_of(officer).get("/desk/rows/")).split())

    return shown


def test_whoever_is_on_duty_is_named_with_the_number_and_until_when(page):
    told = page(NOON)
    assert "Miriam Castowell <span" in told
    assert "until Mon 19:00" in told
    assert 'href="tel:+12025550131"' in told


def test_a_gap_in_the_coming_seven_days_is_pointed_out_until_it_is_filled(page, ward):
    assert "nobody from Thu 5 Mar 19:00 to Fri 6 Mar 07:00" in page(NOON)
    second = ward.contacts.exclude(staff__username="miriam.castowell").first().staff
    Shift.objects.create(unit=ward, staff=second, weekday=3, starts=NIGHT[0], ends=NIGHT[1])
    assert "nobody from" not in page(NOON)


def test_a_gap_now_says_that_messages_go_to_the_whole_team(page):
    told = page(NOON + timedelta(days=3, hours=9))
    assert "nobody until Fri 6 Mar 07:00" in told
    assert "nobody: messages go to the whole team" in told


def test_a_team_without_a_rota_is_told_as_a_whole(page):
    assert page(NOON).count("no rota: messages go to the whole team") == 4


def test_a_shift_of_somebody_who_is_on_no_ladder_leaves_a_gap(district, ward, rota):
    ward.contacts.all().delete()
    (team,) = [team for team in teams_of(district, NOON) if team.unit == ward]
    assert team.on_duty == []
    assert [gap.ends - gap.begins for gap in team.gaps] == [timedelta(days=7)]
