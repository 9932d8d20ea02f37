"""The doctor names what would keep an alert from a person, and nothing where all is well."""

import socket
from datetime import timedelta

import pytest
from commands import run
from django.conf import settings
from django.core import checks
from gateway import Gateway
from servers import redis

from referrals import clock
from referrals.checkup import stores
from referrals.checkup.machine import check_clock, check_disk
from referrals.checkup.stores import check_broker, check_database
from referrals.models import Contact, Shift, Staff, SweepRun

pytestmark = pytest.mark.django_db


@pytest.fixture
def mail_server():
    from aiosmtpd.controller import Controller
    from aiosmtpd.handlers import Sink

    server = Controller(Sink(), hostname="127.0.0.1", port=_free_port())
    server.start()
    yield server
    server.stop()


@pytest.fixture
def gateway():
    with Gateway() as running:
        yield running


@pytest.fixture
def well(monkeypatch, gateway, mail_server, district):
    """A set-up in which nothing is wrong."""
    monkeypatch.setitem(settings.SMS_GATEWAY, "url", gateway.url)
    monkeypatch.setitem(settings.VOICE_GATEWAY, "url", gateway.url)
    monkeypatch.setattr(settings, "BASE_URL", "https://littleroad.example")
    monkeypatch.setattr(settings, "INBOUND_TOKENS", ["secret"])
    monkeypatch.setattr(settings, "EMAIL_BACKEND", "django.core.mail.backends.smtp.EmailBackend")
    monkeypatch.setattr(settings, "EMAIL_HOST", "127.0.0.1")
    monkeypatch.setattr(settings, "EMAIL_PORT", mail_server.port)
    monkeypatch.setattr(checks, "run_checks", lambda **_: [])
    SweepRun.objects.create(name="one", finished_at=clock.now())


def _free_port():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def doctor():
    answer = run("doctor", "--json")
    return answer, answer.json["findings"]


def faults(subject):
    answer, found = doctor()
    assert answer.code == 1
    named = [each for each in found if each["judgement"] == "fault" and each["subject"] == subject]
    assert named, found
    assert all(each["why"] and each["mend"] for each in named)
    return " | ".join(each["found"] for each in named)


def test_where_all_is_well_it_says_so_and_sends_nothing(well, gateway):
    answer, found = doctor()
    assert answer.code == 0, found
    assert answer.json["faults"] == 0
    assert gateway.taken == []
    assert {"database", "migrations", "broker", "clock", "disk", "address", "settings", "sms"} <= {
        each["subject"] for each in found
    }
    assert "No fault was found." in run("doctor").out


def test_a_gateway_that_is_away_is_a_fault(well, monkeypatch):
    monkeypatch.setitem(settings.SMS_GATEWAY, "url", f"http://127.0.0.1:{_free_port()}/send")
    assert "does not answer" in faults("sms")


def test_a_channel_that_contacts_need_and_nobody_set_up(well, monkeypatch):
    monkeypatch.setitem(settings.VOICE_GATEWAY, "url", "")
    assert Contact.objects.filter(channel="voice").exists()
    assert "no gateway is set" in faults("voice")


def test_a_mail_server_that_is_away_is_a_fault_once_somebody_is_reached_by_it(
    well, monkeypatch, nurse
):
    Contact.objects.filter(staff=nurse).update(channel="email")
    Staff.objects.filter(pk=nurse.pk).update(email="hana@orlime.example")
    assert run("doctor").code == 0
    monkeypatch.setattr(settings, "EMAIL_PORT", _free_port())
    assert "does not take us" in faults("email")


def test_messages_without_a_link_or_without_https(well, monkeypatch):
    monkeypatch.setattr(settings, "BASE_URL", "")
    assert "LITTLEROAD_BASE_URL is not set" in faults("address")
    monkeypatch.setattr(settings, "BASE_URL", "http://littleroad.example")
    assert "without HTTPS" in faults("address")


def test_djangos_own_findings_are_named(well, monkeypatch):
    found = checks.Warning("the secret is short", hint="make a longer one", id="security.W009")
    monkeypatch.setattr(checks, "run_checks", lambda **_: [found])
    assert "security.W009" in faults("settings")


def test_a_sweep_that_stopped(well):
    SweepRun.objects.update(finished_at=clock.now() - timedelta(minutes=5))
    assert "none in the last 60 s" in faults("sweep")


def test_a_unit_without_contacts(well, intensive):
    intensive.contacts.all().delete()
    assert f"{intensive.code} has no contacts" in faults("ladder")


def test_a_contact_whose_number_is_not_known(well, nurse):
    Staff.objects.filter(pk=nurse.pk).update(phone="")
    assert str(nurse) in faults("ladder")


def test_a_contact_who_may_no_longer_sign_in(well, nurse):
    Staff.objects.filter(pk=nurse.pk).update(is_active=False)
    assert "may no longer sign in" in faults("ladder")


def test_hours_in_the_coming_days_that_nobody_holds(well, intensive):
    Shift.objects.filter(unit=intensive).first().delete()
    assert "nobody on duty" in faults("rota")


def test_no_district_at_all(empty):
    answer = run("doctor", "--json")
    assert answer.code == 1
    assert any("there is no district" in each["found"] for each in answer.json["findings"])


def test_a_disk_that_is_nearly_full(well, monkeypatch):
    monkeypatch.setattr("referrals.checkup.machine.DISK_FREE_BYTES", 10**18)
    [finding] = check_disk()
    assert finding.judgement.value == "fault"


def test_a_database_whose_commits_do_not_wait_for_the_disk(db, monkeypatch):
    plain = stores._value
    weak = {"PRAGMA synchronous": "1", "SHOW fsync": "off"}
    monkeypatch.setattr(stores, "_value", lambda statement: weak.get(statement) or plain(statement))
    assert next(iter(check_database())).judgement.value == "fault"


@pytest.mark.postgresql
def test_the_clock_is_compared_with_the_database_servers(db, monkeypatch):
    [finding] = check_clock()
    assert finding.judgement.value == "good"
    monkeypatch.setattr("referrals.checkup.machine.CLOCKS_MAY_DIFFER", timedelta(0))
    [finding] = check_clock()
    assert finding.judgement.value == "fault"


@pytest.mark.services
def test_a_broker_that_forgets_and_one_that_keeps(tmp_path, monkeypatch):
    from redis import Redis

    with redis(tmp_path) as (url, process):
        monkeypatch.setattr(settings, "REDIS_URL", url)
        client = Redis.from_url(url)
        for kept, policy, judged in (
            ("yes", "noeviction", ["good"]),
            ("no", "noeviction", ["caution"]),
            ("yes", "allkeys-lru", ["good", "caution"]),
        ):
            client.config_set("appendonly", kept)
            client.config_set("maxmemory-policy", policy)
            assert [each.judgement.value for each in check_broker()] == judged
        process.kill()
        process.wait()
        assert [each.judgement.value for each in check_broker()] == ["fault"]
