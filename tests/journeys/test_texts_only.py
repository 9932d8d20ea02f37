"""A whole journey on phones that know nothing but SMS, through the demo's telephone exchange.

Everything goes over real HTTP: the service's messages to the exchange, what people write and ring
from the exchange to the service, and the exchange's delivery reports.
"""

import re
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from fixtures_demo.load import load_district
from fixtures_demo.phones import exchange
from fixtures_demo.phones.models import Behaviour, PhoneMessage
from referrals import clock, timeline
from referrals.models import Alert, Delivery, District, Offer, Referral, Staff, Unit
from referrals.sending import send_one
from tests.world import an_offer, told_by
from transport import lifecycle as journeys
from transport.models import Transfer, Vehicle


class Phones:
    """Everybody's phone, as the demo's page shows them; messages go out when it is told to."""

    def __init__(self, url: str) -> None:
        self.browser = Client(headers={"host": urlsplit(url).netloc})
        self.reports: list[tuple[str, str, str]] = []

    def write(self, who: Staff, text: str) -> None:
        self._press("demo_write", who, text=text)

    def ring(self, who: Staff) -> None:
        self._press("demo_ring", who)

    def newest(self, who: Staff) -> str:
        """What has come to a phone last, once everything that is due has left the service."""
        self.send()
        came = PhoneMessage.objects.filter(to=who.phone.as_e164, kind="sms")
        return came.order_by("-pk")[0].text

    def send(self) -> None:
        due = Delivery.objects.filter(state="queued", channel="sms", due_at__isnull=False)
        for delivery in due.order_by("pk"):
            send_one(delivery.pk)
        # One at a time: here all threads share one connection to a database in memory.
        while self.reports:
            message, state, address = self.reports.pop(0)
            assert exchange.tell_service(address, {"message": message, "state": state}) == ""

    def _press(self, name: str, who: Staff, **told: str) -> None:
        answer = self.browser.post(reverse(name), {"number": who.phone.as_e164, **told})
        assert answer.status_code == 302
        row = PhoneMessage.objects.filter(to=who.phone.as_e164, kind__in=["wrote", "rang"]).first()
        assert row is not None
        assert row.answer == ""  # the service took it


@pytest.fixture
def phones(transactional_db, live_server, monkeypatch) -> Phones:
    load_district(clock.now())
    District.objects.update(rainy_season=False)
    address = live_server.url + reverse("demo_gateway_sms")
    monkeypatch.setitem(settings.SMS_GATEWAY, "url", address)
    phones = Phones(live_server.url)
    monkeypatch.setattr(exchange, "report", lambda *told: phones.reports.append(told))
    return phones


def person(username: str) -> Staff:
    return Staff.objects.get(username=username)


def test_from_the_first_text_to_the_door_of_the_unit_with_texts_alone(phones):
    attendant, driver = person("tomasi.bellaqua"), person("mateus.dunnaway")
    phones.write(attendant, "Baby vent bag oxygen hr 110, sat 84 temp 36.2 weight 2900 weeks 38")
    referral = Referral.objects.get()
    assert phones.newest(attendant).startswith(f"{referral.code}: help is called")

    offer = Offer.objects.get(stage="open")
    nurse = Staff.objects.get(phone=Delivery.objects.filter(
        alert__offer=offer, channel="sms").first().address)  # fmt: skip
    question = phones.newest(nurse)
    code = re.search(r"YES (\w{6})", question)[1]
    phones.write(nurse, f"yes {code}")
    assert "your yes is written down" in phones.newest(nurse)
    assert f"{offer.unit} takes the baby" in phones.newest(attendant)

    journey = Transfer.objects.get()
    journeys.assign(told_by("leena.morrastad", clock.now()), journey,
                    Vehicle.objects.get(code="AMB-1"))  # fmt: skip
    assert referral.code in phones.newest(driver)
    for words, stage in (("coming", "collecting"), ("at post", "at_origin"),
                         ("on road pos -22.45 85.93", "on_the_road")):  # fmt: skip
        phones.write(driver, words)
        assert Transfer.objects.get().stage == stage
    phones.write(attendant, "hr 130 sat 91 temp 36.5 gauge 110")
    assert Transfer.objects.get().checks.get().oxygen_bar == 110
    phones.write(driver, "at unit")
    assert Transfer.objects.get().stage == "arrived"

    phones.send()
    assert not Delivery.objects.filter(state="accepted", channel="sms").exists()
    assert Delivery.objects.filter(channel="sms", state="delivered").count() >= 5
    assert timeline.faults_of(Referral.objects.get()) == []
    told = referral.entries.filter(actor__in=[each.username for each in (attendant, nurse, driver)])
    assert set(told.values_list("channel", flat=True)) == {"sms"}


def test_a_missed_call_is_enough_to_be_rung_back(phones):
    attendant = person("tomasi.bellaqua")
    phones.ring(attendant)
    code = Referral.objects.get().code
    assert "The desk rings you back now" in phones.newest(attendant)
    assert Alert.objects.get(kind="call_back").referral.code == code


def test_a_question_that_the_network_loses_goes_to_the_next_contact(phones):
    attendant = person("tomasi.bellaqua")
    exchange.behave(Behaviour.LOSES)
    phones.write(attendant, "baby vent")
    an_offer(Referral.objects.get(), Unit.objects.get(code="ORL-NB"), clock.now())
    question = Alert.objects.get(offer__unit__code="ORL-NB", kind="question")
    phones.send()
    assert Alert.objects.get(pk=question.pk).step == 1
    assert question.deliveries.filter(step=0, channel="sms", state="refused").exists()
