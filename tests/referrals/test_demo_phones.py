"""The demo's telephone exchange: what the service sends arrives on somebody's phone."""

import json

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from world import a_referral, an_offer

from fixtures_demo.phones import exchange
from fixtures_demo.phones.models import Behaviour, PhoneMessage
from referrals import links
from referrals.channels.base import Message, Refused, TryLater
from referrals.channels.email import Email
from referrals.channels.http_gateway import HttpGateway
from referrals.models import Delivery, Staff
from referrals.sending import send_one

HANA = "+12025550125"


def sms(client: Client, to: str = HANA, text: str = "Hello", key: str = "one", **extra: str):
    body = json.dumps({"to": to, "text": text, "id": key})
    address = reverse("demo_gateway_sms")
    return client.post(address, body, content_type="application/json", **extra)


def test_a_message_is_kept_once_whatever_the_retries(db, client):
    answers = [sms(client), sms(client), sms(client, key="two")]
    ids = [answer.json()["id"] for answer in answers]
    assert [answer.status_code for answer in answers] == [200, 200, 200]
    assert ids[0] == ids[1] != ids[2]
    assert PhoneMessage.objects.count() == 2


def test_a_call_is_kept_as_what_was_spoken(db, client):
    body = {"to": HANA, "say": "MKFR: newborn", "id": "call"}
    client.post(reverse("demo_gateway_voice"), body, content_type="application/json")
    assert PhoneMessage.objects.get().kind == "voice"
    page = client.get(reverse("demo_phone"), {"number": HANA}).content.decode()
    assert "A voice says:" in page


@pytest.mark.parametrize(
    "body", ["not json", "[]", "{}", '{"to": 5, "text": "x"}', '{"to": "+1", "say": "x"}',
             '{"to": "+1", "text": ""}']
)  # fmt: skip
def test_a_body_that_cannot_be_used_is_refused(db, client, body):
    answer = client.post(reverse("demo_gateway_sms"), body, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["error"]
    assert not PhoneMessage.objects.exists()


def test_only_this_machine_may_send(db, client):
    assert sms(client, REMOTE_ADDR="192.0.2.7").status_code == 404
    assert not PhoneMessage.objects.exists()


def test_the_gateway_refuses_and_is_down(db, client):
    exchange.behave(Behaviour.REFUSES)
    assert sms(client).status_code == 400
    exchange.behave(Behaviour.DOWN)
    assert sms(client).status_code == 503
    exchange.behave(Behaviour.WORKS)
    assert sms(client).status_code == 200
    assert PhoneMessage.objects.count() == 1


def test_the_gateway_hangs_longer_than_a_sender_waits(db, client, monkeypatch):
    waited: list[float] = []
    monkeypatch.setattr("fixtures_demo.phones.views.time.sleep", waited.append)
    exchange.behave(Behaviour.HANGS)
    assert sms(client).status_code == 503
    assert waited == [settings.SEND_TIMEOUT_SECONDS + 2]


@pytest.mark.parametrize(
    ("behaviour", "error"), [(Behaviour.REFUSES, Refused), (Behaviour.DOWN, TryLater)]
)
def test_the_service_understands_each_fault(transactional_db, live_server, behaviour, error):
    exchange.behave(behaviour)
    gateway = HttpGateway(
        {**settings.SMS_GATEWAY, "url": live_server.url + reverse("demo_gateway_sms")},
        timeout_seconds=5,
    )
    with pytest.raises(error):
        gateway.send(Message(to=HANA, text="x", subject="", key="k"))


def test_a_question_arrives_on_the_phone_and_its_link_opens(
    transactional_db, live_server, now, monkeypatch, client
):
    from fixtures_demo.load import load_district
    from referrals.models import Unit

    load_district(now)
    monkeypatch.setitem(settings.SMS_GATEWAY, "url", live_server.url + reverse("demo_gateway_sms"))
    offer = an_offer(a_referral(now), Unit.objects.get(code="ORL-NB"), now)
    delivery = Delivery.objects.get(alert__offer=offer, channel="sms")
    assert send_one(delivery.pk)
    message = PhoneMessage.objects.get()
    assert message.to == delivery.address
    (shown,) = exchange.inbox(message.to, now)
    assert shown.path == f"/a/{links.token('a', delivery.pk)}/"
    answer = client.post(reverse("demo_open_message", args=[message.pk]))
    assert answer.url == shown.path
    message.refresh_from_db()
    assert message.answer == "link opened"


def test_phones_are_named_and_the_newest_message_comes_first(district, client, now):
    sms(client, to="+15550000001", key="a")
    sms(client, to=HANA, key="b")
    first, second, *rest = exchange.phones()
    assert (first.number, second.name) == (HANA, "")
    assert first.name
    assert first.unread == 1
    assert len(rest) == Staff.objects.exclude(phone="").count() - 1


def test_looking_at_a_phone_marks_its_messages_read(district, client):
    sms(client)
    page = client.get(reverse("demo_phone"), {"number": HANA}).content.decode()
    assert "Hello" in page
    assert exchange.phones()[0].unread == 0
    # A plus sign that nobody escaped still finds the phone.
    assert client.get(f"{reverse('demo_phone')}?number={HANA}").status_code == 200


def test_a_number_nobody_has_is_404(district, client):
    assert client.get(reverse("demo_phone"), {"number": "+19999999999"}).status_code == 404


def test_the_words_of_a_message_cannot_become_markup(district, client):
    sms(client, text="<script>alert(1)</script>")
    page = client.get(reverse("demo_phone"), {"number": HANA}).content.decode()
    assert "<script>alert" not in page


def test_a_message_without_a_link_has_nothing_to_open(district, client):
    sms(client)
    message = PhoneMessage.objects.get()
    assert client.post(reverse("demo_open_message", args=[message.pk])).status_code == 404


def test_the_switch_is_shown_and_keeps_the_chosen_phone(district, client):
    address = reverse("demo_gateway_behaviour")
    answer = client.post(address, {"behaviour": "down", "number": HANA})
    assert answer.url == f"{reverse('demo_phone')}?number=%2B12025550125"
    assert exchange.behaviour() is Behaviour.DOWN
    assert client.post(address, {"behaviour": "explode"}).status_code == 404


def test_a_waiting_page_learns_of_a_newer_message(db, client):
    before = client.get(reverse("demo_newest")).json()["newest"]
    sms(client)
    assert client.get(reverse("demo_newest")).json()["newest"] > before


def test_the_first_page_lets_everybody_in(district, client):
    page = client.get(reverse("demo_start")).content.decode()
    for staff in Staff.objects.all():
        assert page.count(reverse("enter", args=[links.token("e", staff.pk)])) == 1


def test_the_first_page_says_so_when_nothing_is_loaded(empty, client):
    assert "not loaded yet" in client.get(reverse("demo_start")).content.decode()


def test_a_mail_is_read_on_its_owners_phone(district, settings):
    settings.EMAIL_BACKEND = "fixtures_demo.phones.mail.PhoneMail"
    Email().send(Message(to="ravi.ostermoor@taluvesi.example", text="words", subject="s", key="9"))
    mail = PhoneMessage.objects.get(kind="mail")
    assert (mail.to, mail.text) == ("+12025550130", "words")
