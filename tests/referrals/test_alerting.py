"""An alert is a row with its cause, climbs its ladder, and stops only when a person answers."""

from datetime import timedelta

import pytest
from aiosmtpd.controller import Controller
from django.conf import settings
from gateway import Gateway
from servers import free_port
from world import a_journey, a_ladder, a_placed_referral, a_referral, an_offer, told_by

from referrals import alerting, clock, endings, lifecycle, recording, sending, sweeping, watching
from referrals.calc.escalation import (
    Reach,
    minutes_to_next_step,
    question_plan,
)
from referrals.calc.terms import Ending, Urgency
from referrals.channels.base import Message, Refused, TryLater
from referrals.channels.email import Email
from referrals.channels.http_gateway import HttpGateway
from referrals.models import Alert, Delivery
from transport import on_the_way
from transport.calc.stages import TransferStage

HANA = "+12025550128"


@pytest.fixture
def gateway(monkeypatch):
    with Gateway() as peer:
        monkeypatch.setitem(settings.SMS_GATEWAY, "url", peer.url)
        monkeypatch.setitem(settings.VOICE_GATEWAY, "url", peer.url)
        yield peer


@pytest.fixture
def at(monkeypatch, now):
    """``at(minutes)`` sets the service's clock to so many minutes after the test began."""

    def set_clock(minutes):
        moment = now + timedelta(minutes=minutes)
        monkeypatch.setattr(clock, "now", lambda: moment)
        return moment

    set_clock(0)
    return set_clock


def send_all():
    while (delivery := sending._claim()) is not None:
        sending._send(delivery)


def climb(moment):
    for alert in Alert.objects.due(moment):
        sweeping.take_step(alert.pk, moment)


def question(offer):
    return Alert.objects.get(offer=offer, kind="question")


def test_the_question_reaches_the_first_nurse_with_a_link(district, intensive, at, gateway, now):
    an_offer(a_referral(now), intensive, now)
    send_all()
    (text,) = [text for text in gateway.messages_to(HANA) if "Can you take" in text]
    assert "/a/a" in text
    assert "Wendorra" not in text  # no name leaves by SMS


def test_nobody_answers_a_baby_being_ventilated(district, intensive, at, now):
    """1, 2 and 4 minutes: her phone rings, the desk, everybody; the next unit asked early."""
    referral = a_referral(now)
    alert = question(an_offer(referral, intensive, now))
    assert [step["after_minutes"] for step in alert.plan] == [0, 1, 2, 4]
    climb(at(1))
    assert alert.deliveries.filter(step=1, username="hana.wendorra", channel="voice").exists()
    assert referral.offers.exclude(unit=intensive).filter(stage="open").exists()
    climb(at(2))
    assert alert.deliveries.filter(step=2, username="leena.morrastad").exists()
    climb(at(4))
    assert alert.deliveries.filter(step=3, username="ravi.ostermoor").exists()


def test_the_last_step_repeats_until_somebody_answers(district, intensive, at, now):
    alert = question(an_offer(a_referral(now), intensive, now))
    for minutes in (1, 2, 4, 6, 8):
        climb(at(minutes))
    alert.refresh_from_db()
    assert (alert.step, alert.round) == (3, 2)
    assert alert.due_at is not None


def test_a_stable_baby_has_longer_waits_and_a_later_second_question():
    hana = Reach(name="Hana", username="hana", channel="sms", address=HANA)
    plan = question_plan(
        unit=a_ladder([hana]), desk=a_ladder(), waits=[3, 6, 10], urgency=Urgency.STABLE
    )
    assert [step.after_minutes for step in plan] == [0, 3, 6, 10]
    assert [step.ask_next for step in plan] == [False, False, True, True]


def test_a_unit_without_contacts_goes_to_the_desk_at_once():
    desk = Reach(name="Desk", username="", channel="screen", address="desk")
    plan = question_plan(
        unit=a_ladder(), desk=a_ladder([desk]), waits=[1, 2, 4], urgency=Urgency.VENTILATED
    )
    assert plan[0].reach == (desk,)


def test_the_repeat_comes_at_the_distance_of_the_last_step():
    assert minutes_to_next_step([0, 1, 2, 4], 3) == 2
    assert minutes_to_next_step([0], 0) == 5


def test_acknowledging_stops_the_ladder_and_what_was_queued(district, intensive, at, now):
    alert = question(an_offer(a_referral(now), intensive, now))
    alerting.acknowledge(alert.pk, told_by("hana.wendorra", now))
    climb(at(5))
    alert.refresh_from_db()
    assert alert.step == 0
    assert not alert.deliveries.filter(state="queued").exists()
    assert alert.acknowledged_by == "Hana Wendorra"


def test_a_step_is_taken_once_however_often_the_nudge_comes(district, intensive, at, now):
    alert = question(an_offer(a_referral(now), intensive, now))
    moment = at(1)
    for _ in range(3):
        alerting.escalate(alert.pk, moment)
    alert.refresh_from_db()
    assert alert.step == 1


def test_a_plan_is_frozen_when_it_is_raised(district, intensive, at, now):
    alert = question(an_offer(a_referral(now), intensive, now))
    intensive.contacts.all().delete()
    climb(at(1))
    assert alert.deliveries.filter(step=1, username="hana.wendorra", channel="voice").exists()


def test_a_gateway_that_is_down_is_tried_again(district, intensive, at, gateway, now):
    gateway.status = 503
    an_offer(a_referral(now), intensive, now)
    send_all()
    delivery = Delivery.objects.get(channel="sms", address=HANA)
    assert (delivery.state, delivery.tries) == ("queued", 1)
    assert delivery.due_at > now
    gateway.status = 200
    at(3)
    send_all()
    delivery.refresh_from_db()
    assert delivery.state == "accepted"


def test_a_refused_number_takes_the_next_step_at_once(district, intensive, at, gateway, now):
    gateway.status = 400
    alert = question(an_offer(a_referral(now), intensive, now))
    send_all()
    climb(at(0))
    alert.refresh_from_db()
    assert alert.step == 1


def test_a_notice_that_cannot_arrive_becomes_the_desks(district, intensive, at, gateway, now):
    gateway.status = 400
    a_placed_referral(now, intensive)
    send_all()
    assert Alert.objects.open().filter(kind="not_reached", for_desk=True).exists()


def test_two_senders_never_hold_the_same_delivery(district, intensive, at, now):
    an_offer(a_referral(now), intensive, now)
    claimed = []
    while (delivery := sending._claim()) is not None:
        claimed.append(delivery.pk)
    assert claimed
    assert len(claimed) == len(set(claimed))


def test_a_killed_sender_leaves_a_lease_that_runs_out(district, intensive, at, now):
    an_offer(a_referral(now), intensive, now)
    first = sending._claim()
    assert first is not None
    at(10)
    again = {sending._claim().pk for _ in range(3)}
    assert first.pk in again


def test_the_sweep_raises_what_nobody_was_told_about(district, intensive, at, now):
    """Lost nudges cost one sweep: everything due is found from the rows."""
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    moment = at(60)  # left after 30 minutes; the first check is due 15 minutes later
    watching.look_at(transfer.referral_id, moment)
    kinds = set(Alert.objects.open().values_list("kind", flat=True))
    assert {"check_missed", "vehicle_silent"} <= kinds


def test_a_check_that_comes_settles_the_missed_one(district, intensive, at, now):

    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    moment = at(60)
    watching.look_at(transfer.referral_id, moment)
    baby = transfer.referral.babies.get()
    told = on_the_way.CheckTold(facts={"heart_rate": 130})
    on_the_way.check(told_by("tomasi.bellaqua", moment), transfer, baby, told)
    watching.look_at(transfer.referral_id, moment)
    assert not Alert.objects.open().filter(kind="check_missed").exists()
    assert Alert.objects.filter(kind="check_missed", closed_reason="settled").exists()


@pytest.mark.parametrize(
    ("stage", "minutes", "kind"),
    [
        (TransferStage.ASSIGNED, 15, "not_set_off"),
        (TransferStage.COLLECTING, 600, "collection_overdue"),
        (TransferStage.AT_ORIGIN, 70, "departure_overdue"),
        (TransferStage.ARRIVED, 65, "handover_unsigned"),
    ],
)
def test_each_stage_that_stands_still_is_the_desks_business(
    district, intensive, at, now, stage, minutes, kind
):
    transfer = a_journey(now, intensive, stage=stage)
    watching.look_at(transfer.referral_id, at(minutes))
    assert Alert.objects.open().filter(kind=kind, for_desk=True).exists()


def test_accepted_without_a_vehicle_makes_somebody_responsible(district, intensive, at, now):
    referral = a_placed_referral(now, intensive)
    watching.look_at(referral.pk, at(6))
    alert = Alert.objects.get(kind="no_vehicle")
    assert "Responsible for finding one: Leena Morrastad." in alert.sentence


def test_everyone_refused_is_a_state_with_a_person_responsible(district, at, now):
    from referrals.calc.terms import DeclineReason

    referral = a_referral(now)
    lifecycle.ask_best(referral.pk, now, count=4)
    for offer in referral.offers.all():
        lifecycle.decline(told_by("leena.morrastad", now), offer, reason=DeclineReason.NO_COT)
    watching.look_at(referral.pk, now)
    alert = Alert.objects.open().get(kind="nobody_can_take")
    assert "Responsible for finding a place: Leena Morrastad." in alert.sentence


def test_an_outcome_not_told_back_is_asked_for(district, intensive, at, now):
    from transport import handing_over

    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    baby = transfer.referral.babies.get()
    for side in ("giver", "receiver"):
        by = told_by("hana.wendorra", now)
        handing_over.hand_over(by, transfer, baby, handing_over.Signature(side=side, name="Hana"))
    watching.look_at(transfer.referral_id, at(25 * 60))
    assert Alert.objects.open().filter(kind="outcome_not_told").exists()
    recording.tell_outcome(told_by("hana.wendorra", now), baby, state="improving", words="Feeding.")
    watching.look_at(transfer.referral_id, at(25 * 60))
    assert not Alert.objects.open().filter(kind="outcome_not_told").exists()


def test_nothing_is_sent_for_a_referral_that_has_ended(district, intensive, at, now):
    referral = a_referral(now)
    alert = question(an_offer(referral, intensive, now))
    by = told_by("tomasi.bellaqua", now)
    endings.end_baby(by, referral.babies.get(), Ending.FAMILY_DECLINED)
    climb(at(5))
    alert.refresh_from_db()
    assert alert.closed_reason
    assert alert.step == 0


def test_a_mail_leaves_by_a_real_server_and_a_refused_mailbox_is_final(settings):
    class Peer:
        async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
            if address.startswith("nobody"):
                return "550 no such mailbox"
            if address.startswith("later"):
                return "451 try again"
            envelope.rcpt_tos.append(address)
            return "250 OK"

        async def handle_DATA(self, server, session, envelope):  # noqa: N802
            taken.append(envelope.content.decode())
            return "250 OK"

    taken: list[str] = []
    port = free_port()
    peer = Controller(Peer(), hostname="127.0.0.1", port=port)
    peer.start()
    try:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
        send = Email().send
        send(Message(to="hana@taluvesi.example", text="words", subject="s", key="k1"))
        assert "words" in taken[0]
        with pytest.raises(Refused):
            send(Message(to="nobody@taluvesi.example", text="words", subject="s", key="k2"))
        with pytest.raises(TryLater):
            send(Message(to="later@taluvesi.example", text="words", subject="s", key="k3"))
    finally:
        peer.stop()
    with pytest.raises(TryLater):
        send(Message(to="hana@taluvesi.example", text="words", subject="s", key="k4"))


def test_a_quote_in_a_message_cannot_break_the_gateways_body():
    with Gateway() as peer:
        way = HttpGateway(
            settings.SMS_GATEWAY | {"url": peer.url},
            timeout_seconds=2,
        )  # fmt: skip
        assert way.send(Message(to="+1", text='say "yes"\nnow', subject="", key="7")) == "g-7"
        assert peer.messages_to("+1") == ['say "yes"\nnow']


def test_a_hanging_gateway_is_given_up_after_the_time_out():
    with Gateway(hangs=1.0, hang_seconds=3) as peer:
        way = HttpGateway(
            settings.SMS_GATEWAY | {"url": peer.url},
            timeout_seconds=0.3,
        )  # fmt: skip
        with pytest.raises(TryLater):
            way.send(Message(to="+1", text="words", subject="", key="8"))


def test_what_somebody_took_and_nobody_mended_is_raised_again(district, intensive, at, now):
    referral = a_placed_referral(now, intensive)
    watching.look_at(referral.pk, at(6))
    first = Alert.objects.get(kind="no_vehicle")
    alerting.acknowledge(first.pk, told_by("leena.morrastad", at(7)))
    watching.look_at(referral.pk, at(12))
    assert Alert.objects.filter(kind="no_vehicle").count() == 1
    watching.look_at(referral.pk, at(18))
    assert Alert.objects.open().filter(kind="no_vehicle").count() == 1
    assert Alert.objects.filter(kind="no_vehicle").count() == 2


def test_one_cause_is_one_alert(district, intensive, at, now):
    """The search for a vehicle becomes the alarm that there is none, not a second alert."""
    referral = a_placed_referral(now, intensive)
    assert Alert.objects.open().filter(kind="vehicle_wanted").exists()
    watching.look_at(referral.pk, at(6))
    assert not Alert.objects.open().filter(kind="vehicle_wanted").exists()


def test_a_message_that_could_not_leave_is_replaced_by_the_next_step(
    district, intensive, at, gateway, now
):
    """A gateway out for hours leaves one message a person to send, not a hundred."""
    gateway.status = 503
    alert = question(an_offer(a_referral(now), intensive, now))
    for minutes in (0, 1, 2, 4, 6, 8, 10):
        climb(at(minutes))
        send_all()
    waiting = alert.deliveries.filter(state="queued", channel="sms", address=HANA)
    assert waiting.count() == 1
