"""Calls and who is responsible, over the API."""

import pytest
from api_world import device_of
from world import a_referral

from referrals.models import Alert

OFFICER = "leena.morrastad"


@pytest.fixture
def referral(district, now):
    return a_referral(now)


def test_a_call_is_written_down_and_read_back(referral):
    desk, path = device_of(OFFICER), f"referrals/{referral.code}/calls/"
    body = {"name": "Kesawari", "whom": "unit:KES-NB", "came_of": "no", "words": "no ventilator"}
    made = desk.post(path, body)
    assert made.status_code == 201
    desk.post(path, {"name": "A neighbour with a boat", "came_of": "rings_back"})
    newest, first = desk.get(path).json()
    assert (newest["whom"], newest["came_of"]) == ("other", "rings_back")
    assert {key: first[key] for key in body} == body
    kept = referral.entries.get(kind="rang", body__whom="other").body
    assert "neighbour" not in str(kept)


def test_somebody_of_the_desk_is_made_responsible_and_told(referral):
    path = f"referrals/{referral.code}/charge/"
    desk = device_of(OFFICER)
    assert desk.get(path).json()["since"] is None
    told = desk.post(path, {"staff": "adaeze.wintermoor"}).json()
    assert told["name"] == "Adaeze Wintermoor"
    assert told["since"]
    assert Alert.objects.filter(kind="in_charge", referral=referral).exists()


@pytest.mark.parametrize("name", ["hana.wendorra", "nobody"])
def test_nobody_else_can_be(referral, name):
    answer = device_of(OFFICER).post(f"referrals/{referral.code}/charge/", {"staff": name})
    assert answer.status_code == 400
    assert referral.entries.filter(kind="in_charge").count() == 0


def test_what_came_of_it_must_be_said(referral):
    answer = device_of(OFFICER).post(f"referrals/{referral.code}/calls/", {"name": "Kesawari"})
    assert answer.status_code == 400
