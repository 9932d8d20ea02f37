"""A drill reaches the people on call by a real gateway, says what it is, and ends."""

import re
from datetime import timedelta

import pytest
from commands import run
from django.conf import settings
from django.test import Client
from gateway import Gateway
from pages_world import browser_of, text_of

from referrals import clock, sending
from referrals.management.commands import drill
from referrals.models import Alert, Delivery

pytestmark = pytest.mark.django_db


@pytest.fixture
def gateway(monkeypatch):
    with Gateway() as running:
        monkeypatch.setitem(settings.SMS_GATEWAY, "url", running.url)
        monkeypatch.setitem(settings.VOICE_GATEWAY, "url", running.url)
        monkeypatch.setattr(settings, "BASE_URL", "https://littleroad.example")
        # One database connection, that of the test: sent from here instead of from threads.
        monkeypatch.setattr(sending, "send_due", lambda: list(map(sending.send_one, _queued())))
        yield running


def _queued():
    due = Delivery.objects.filter(state="queued", due_at__lte=clock.now())
    return list(due.order_by("pk").values_list("pk", flat=True))


@pytest.fixture
def people(monkeypatch, gateway):
    """``people(what)``: what somebody does while the drill waits, once a look."""

    def doing(what):
        monkeypatch.setattr(drill.time, "sleep", lambda _: what())

    return doing


def said(gateway):
    """The words of every SMS and call."""
    return [each.get("text") or each["say"] for each in gateway.taken]


def links(gateway):
    return [found[0] for text in said(gateway) if (found := re.findall(r"/a/[^/\s]+/", text))]


def press(path):
    """Open the link as its reader does, read, and press."""
    phone = Client(headers={"x-forwarded-proto": "https"})
    page = phone.get(path, secure=True)
    assert "DRILL, there is no baby" in text_of(page)
    assert phone.post(path, secure=True).status_code == 302
    return path


def test_the_first_who_presses_ends_it_for_everybody(district, intensive, gateway, people):
    people(lambda: press(links(gateway)[0]))
    answer = run("drill", intensive.code, "--json")
    assert answer.code == 0
    [team] = answer.json["teams"]
    assert team["team"] == intensive.code
    assert team["answered_by"] == intensive.contacts.first().staff.display_name
    assert team["answered_by_way_of"] == "link"
    assert 0 <= team["seconds"] < 60
    assert team["messages"]
    assert all(message["state"] == "accepted" for message in team["messages"])
    assert said(gateway)
    assert all("DRILL" in text for text in said(gateway))
    alert = Alert.objects.get(kind="drill")
    assert alert.closed_reason == "the drill is over"
    assert "takes care of it" in text_of(Client().get(links(gateway)[0], secure=True))


def test_a_team_that_nobody_answers_for_climbs_its_ladder_and_is_a_fault(
    district, intensive, gateway, people, monkeypatch
):
    def later():
        Alert.objects.filter(kind="drill").update(due_at=clock.now() - timedelta(seconds=1))

    people(later)
    answer = run("drill", intensive.code, "--minutes", "0.02", "--json")
    assert answer.code == 1
    [team] = answer.json["teams"]
    assert team["seconds"] is None
    assert team["step"] > 0
    told = {message["to"] for message in team["messages"]}
    assert {str(one.staff) for one in intensive.contacts.all()} <= told
    before = len(gateway.taken)
    assert any("say" in each for each in gateway.taken)
    assert all("drill" in text.lower() for text in said(gateway))
    assert not Alert.objects.open().filter(kind="drill").exists()
    sending.send_due()
    assert len(gateway.taken) == before
    assert "Nothing more is needed" in text_of(Client().get(links(gateway)[0], secure=True))
    assert "NOBODY" in run("drill", intensive.code, "--minutes", "0.001").out


def test_a_desks_drill_stands_on_its_page_and_is_taken_there(district, officer, gateway, people):
    seen = []

    def at_the_desk():
        seen.append(text_of(browser_of(officer).get("/desk/")))
        press(links(gateway)[0])

    people(at_the_desk)
    answer = run("drill", "desk", "--json")
    assert answer.code == 0
    assert "DRILL, there is no baby" in seen[0]
    assert "settled since" in text_of(browser_of(officer).get("/desk/"))


def test_stopped_by_hand_it_ends_and_nobody_is_rung_after(district, intensive, gateway, people):
    def stopped():
        raise KeyboardInterrupt

    people(stopped)
    answer = run("drill", intensive.code)
    assert answer.code == 1
    assert "the drill was stopped" in answer.err
    assert not Alert.objects.open().exists()


def test_a_number_the_gateway_refuses_is_named(district, intensive, gateway, people):
    gateway.status = 422
    people(lambda: None)
    answer = run("drill", intensive.code, "--minutes", "0.02")
    assert answer.code == 1
    assert "the gateway answered 422" in answer.out


def test_a_preview_names_who_would_be_told_and_tells_nobody(district, gateway):
    answer = run("drill", "--preview", "--json")
    assert answer.code == 0
    teams = {one["team"]: one["first"] for one in answer.json["teams"]}
    assert teams["desk"]
    assert teams["ORL-NB"]
    assert gateway.taken == []
    assert not Alert.objects.filter(kind="drill").exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["ORL-NX"], "Similar: ORL-NB"),
        (["--district", "nowhere"], "there is no district nowhere"),
        (["--minutes", "0"], "--minutes is more than 0"),
    ],
)
def test_what_cannot_be_used_is_said_and_tells_nobody(district, gateway, arguments, says):
    answer = run("drill", *arguments)
    assert answer.code == 2
    assert says in answer.err
    assert gateway.taken == []
