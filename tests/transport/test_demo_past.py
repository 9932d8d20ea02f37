"""The demo's invented past: closed, whole, as its files say, and in sight of those it concerns."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from fixtures_demo.past import load_past
from fixtures_demo.past_cast import Past
from referrals import clock, sweeping, timeline
from referrals.models import (
    Alert,
    Baby,
    Delivery,
    District,
    Entry,
    Examination,
    Offer,
    Outcome,
    Referral,
    Unit,
)
from transport import invariants
from transport.models import Check, Cylinder, Handover, Milestone, Transfer, Vehicle
from transport.pages.entry_words import lines_of

pytestmark = pytest.mark.django_db
# Read at midnight, as early after the past as it can be looked at.
ZONE = ZoneInfo("Etc/GMT-6")


@pytest.fixture(scope="module")
def written(django_db_setup: None, django_db_blocker: Any) -> Iterator[datetime]:
    """The past, written once for all of these tests and undone after them."""
    with django_db_blocker.unblock(), transaction.atomic():
        midnight = clock.now().astimezone(ZONE).replace(hour=0, minute=5)
        assert load_past(District.objects.get(), midnight) == 66
        yield midnight
        transaction.set_rollback(True)


@pytest.fixture
def past(written, monkeypatch, settings, tmp_path):
    settings.HEADS_FILE = tmp_path / "heads"
    monkeypatch.setattr(clock, "now", lambda: written)
    return written


def test_every_referral_is_closed_and_ended_before_today(past):
    assert Referral.objects.open().count() == 0
    assert not Baby.objects.filter(ending="").exists()
    assert not Entry.objects.filter(received_at__gte=past).exists()
    oldest, newest = (Referral.objects.order_by(f"{sign}raised_at").first() for sign in ("", "-"))
    assert timedelta(days=50) < past - oldest.raised_at <= timedelta(days=61)
    assert past - newest.raised_at < timedelta(days=2)


def test_every_chain_holds_and_is_told_in_the_order_of_time(past):
    for referral in Referral.objects.all():
        assert timeline.faults_of(referral) == []
        times = list(referral.entries.order_by("seq").values_list("received_at", flat=True))
        assert times == sorted(times)
        assert times[0] == referral.raised_at


def test_all_invariants_hold_over_the_past(past):
    assert [str(found) for found in invariants.violations(5)] == []


def test_the_past_is_what_the_files_say(past, district):
    rows = [row for _, row in Past(district, past).referrals()]
    told = {ending for row in rows for ending in (row.get("endings") or row["ending"]).split(";")}
    assert set(Baby.objects.values_list("ending", flat=True)) == told
    assert Transfer.objects.exclude(vehicle=None).count() == 60
    arrived = Transfer.objects.exclude(arrived_at=None)
    minutes = sorted((row.arrived_at - row.on_the_road_at) / timedelta(minutes=1)
                     for row in arrived)  # fmt: skip
    assert minutes == sorted(
        int(row["minutes"]) for row in rows if "handed_over" in row.get("endings", "")
    )
    assert Offer.objects.filter(stage="declined").exclude(decline_reason="").exists()
    assert Handover.objects.filter(received_at=None).count() == 0
    assert Handover.objects.count() == Examination.objects.count() == 61
    assert Baby.objects.exclude(outcomes=None).count() == 61
    assert set(Outcome.objects.values_list("moment", flat=True)) == {
        "at_24_hours", "at_7_days", "at_discharge",
    }  # fmt: skip


def test_every_line_of_the_past_can_be_read(past):
    kinds = set(Entry.objects.values_list("kind", flat=True))
    for referral in Referral.objects.filter(entries__kind__in=kinds).distinct()[:20]:
        for line in lines_of(referral):
            assert line.sentence
            assert "_" not in line.sentence


def test_checks_were_made_every_quarter_of_an_hour_on_the_road(past):
    assert Milestone.objects.filter(kind="on_the_road").count() == 60
    for transfer in Transfer.objects.exclude(arrived_at=None)[:20]:
        road = transfer.arrived_at - transfer.on_the_road_at
        checks = Check.objects.filter(transfer=transfer, baby__birth_order=1).count()
        assert checks == int(road / timedelta(minutes=14))


def test_nothing_of_the_past_is_sent_and_nobody_is_alarmed(past):
    sweeping.sweep("test", send=False)
    assert Alert.objects.count() == Delivery.objects.count() == 0
    assert not Referral.objects.filter(next_look_at__lte=past).exists()
    waiting = Referral.objects.exclude(next_look_at=None)
    assert all(past - row.closed_at < timedelta(days=17) for row in waiting)


def test_cots_gauges_and_vehicles_are_left_as_they_were(district, past):
    assert set(Vehicle.objects.values_list("state", flat=True)) == {"free"}
    assert Unit.objects.get(code="ORL-NB").cots_free == 2
    assert Cylinder.objects.get(label="A1").bar == 130


def test_a_demo_that_has_referrals_keeps_them_and_gets_no_past(past, district):
    assert load_past(district, past) == 0
    assert Referral.objects.count() == 66
