"""'I take care of it' pressed by mistake, or too early: the alert goes on as if nobody had."""

from datetime import timedelta

import pytest

from referrals import alerting
from referrals.calc.states import NotPossible
from referrals.models import Alert, Entry, Referral
from tests.api_world import device_of
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_referral, told_by
from transport import lifecycle as journeys
from transport.models import Vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture
def alert(now, district):
    """The desk must send a vehicle, and Leena has taken it."""
    referral = a_referral(now)
    wanted = referral.alerts.get(kind="vehicle_wanted")
    return alerting.acknowledge(wanted.pk, told_by("leena.morrastad", now))


def give_back(alert, at):
    return alerting.give_back(alert.pk, told_by("leena.morrastad", at))


def test_others_are_told_at_once_and_the_ladder_runs_on(alert, now):
    before, step = alert.deliveries.count(), alert.step
    later = now + timedelta(minutes=3)
    back = give_back(alert, later)
    assert back.is_open
    assert (back.acknowledged_by, back.acknowledged_channel) == ("", "")
    assert back.step + back.round == step + 1
    assert back.due_at > later
    new = alert.deliveries.filter(created_at=later)
    assert alert.deliveries.count() > before
    assert set(new.values_list("state", flat=True)) == {"queued"}


def test_the_timeline_keeps_who_had_taken_it(alert, now):
    give_back(alert, now)
    kinds = list(Entry.objects.filter(kind__startswith="alert_").values_list("kind", flat=True))
    assert kinds[-3:] == ["alert_acknowledged", "alert_given_back", "alert_escalated"]
    assert Entry.objects.get(kind="alert_given_back").body["taken_at"]


def test_given_back_twice_it_changes_nothing(alert, now):
    give_back(alert, now)
    give_back(alert, now)
    assert Entry.objects.filter(kind="alert_given_back").count() == 1


def test_a_matter_that_is_settled_is_not_given_back(alert, now):
    referral = Referral.objects.get(pk=alert.referral_id)
    by = told_by("leena.morrastad", now)
    journeys.assign(by, referral.transfers.get(), Vehicle.objects.get(code="AMB-1"))
    assert Alert.objects.get(pk=alert.pk).closed_at == now
    with pytest.raises(NotPossible, match="is sent") as refusal:
        give_back(alert, now)
    assert refusal.value.code == "alert_settled"


def test_the_desk_undoes_it_on_the_line_that_says_done(alert, officer, now):
    give_back(alert, now)
    desk = browser_of(officer)
    press(desk, "/desk/", action=f"/alerts/{alert.pk}/take/")
    page = desk.get("/desk/")
    assert "You take care of it" in text_of(page)
    undo = next(f for f in forms_on(page) if f["action"].endswith(f"/{alert.pk}/give-back/"))
    page = desk.post(undo["action"], undo["fields"], follow=True)
    assert "needs a person again" in text_of(page)
    assert Alert.objects.get(pk=alert.pk).is_open
    assert "Undo" not in text_of(desk.get("/desk/"))


def test_who_took_it_by_the_link_of_a_message_gives_it_back_there(alert, now):
    give_back(alert, now)
    delivery = alert.deliveries.exclude(channel="screen").last()
    path, anybody = alerting.link_of(delivery).split("/", 3)[-1], browser_of()
    press(anybody, f"/{path}")
    assert not Alert.objects.get(pk=alert.pk).is_open
    answer = press(anybody, f"/{path}", give_back="1")
    assert answer.status_code == 302
    assert Alert.objects.get(pk=alert.pk).is_open
    assert "I take care of it" in text_of(anybody.get(f"/{path}"))


def test_over_the_api(alert, officer):
    body = device_of("leena.morrastad").post(f"alerts/{alert.pk}/give_back/").json()
    assert body["acknowledged_at"] is None
    assert body["due_at"]
