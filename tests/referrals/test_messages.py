"""Every message that leaves fits two joined SMS with its link, and is in the GSM alphabet."""

from datetime import timedelta

import pytest

from referrals import messages, sending, sweeping
from referrals.models import Delivery, District, Offer, Site, Staff, Unit
from referrals.owed_after import concerns_after_handover
from tests.world import a_journey, a_referral, an_offer, told_by
from transport import messages as on_the_road
from transport.calc.stages import MILESTONES, TransferStage
from transport.concerns_on_the_road import concerns_on_the_road
from transport.models import Vehicle

pytestmark = pytest.mark.django_db
# 3GPP TS 23.038 6.2.1 (GSM 03.38), values from memory: one septet each, and two for those behind
# the escape.
ONE = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
TWO = frozenset("\f^{}\\[~]|€")
TWO_JOINED = 2 * 153  # septets: each part gives 7 of 160 to the header that joins them
BASE = "https://littleroad.health.example"
LONG = (
    "another unit is nearer, and the road over the pass is closed by water since the evening " * 2
)


def septets(text: str) -> int:
    """How long a text is in an SMS; a character outside the alphabet would halve the space."""
    assert set(text) <= ONE | TWO, set(text) - ONE - TWO
    return sum(2 if each in TWO else 1 for each in text)


def longest(rows):
    return max(rows, key=lambda row: len(str(row)))


@pytest.fixture(autouse=True)
def _address(settings, district):
    settings.BASE_URL = BASE
    for number, staff in enumerate(Staff.objects.all()):
        staff.display_name = f"Wilhelmina Oranjedottir-Karras {number}"
        staff.save()


@pytest.fixture
def transfer(now, district, intensive):
    """A journey with the longest names there are."""
    found = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    found.referral.origin = longest(Site.objects.all())
    found.destination = longest(Unit.objects.select_related("site"))
    found.vehicle = longest(Vehicle.objects.all())
    found.driver_name = "Wilhelmina Oranjedottir-Karras"
    found.driver_phone = "+12025550140"
    return found


def fits(message: str) -> None:
    link = f"{BASE}/a/azzzz-{'x' * 22}/"
    assert septets(f"{message} {link}") <= TWO_JOINED, (septets(f"{message} {link}"), message)


def test_the_joined_parts_are_counted_as_a_phone_counts_them():
    assert septets("abc") == 3
    assert septets("[a]") == 5
    with pytest.raises(AssertionError):
        septets("\u201cquoted\u201d")


def test_each_message_to_and_about_a_unit_fits(transfer, now):
    offer: Offer = transfer.referral.accepted_offer()
    offer.referral = transfer.referral
    offer.unit = transfer.destination
    offer.shown = {"arrival": {"p10_minutes": 100, "p90_minutes": 340}}
    for text in (
        messages.question(offer),
        messages.accepted(offer),
        messages.taken_back(offer),
        messages.withdrawn(offer, LONG),
        *(messages.another_baby(offer, transfer.referral.babies.get(), n) for n in (None, 0, 1)),
        messages.comes_no_more(offer, transfer.referral.babies.get()),
        messages.baby_added(transfer.referral.babies.get()),
    ):
        fits(text.message)
    fits(messages.outcome_told(transfer.referral).message)
    fits(messages.nobody_can_take(transfer.referral, now))
    fits(messages.cot_missing(offer, 1, 2))


def test_each_message_about_the_journey_fits(transfer, now):
    by = told_by("leena.morrastad", now)
    for text in (
        on_the_road.vehicle_wanted(transfer.referral),
        on_the_road.vehicle_lost(transfer, transfer.vehicle, LONG),
        on_the_road.vehicle_sent(transfer),
        on_the_road.for_driver(transfer, changed=True),
        on_the_road.stood_down(transfer),
        on_the_road.stopped(transfer, LONG),
        *(on_the_road.late_note(transfer, milestone, by) for milestone in MILESTONES),
        *(on_the_road.note_of_former(transfer, milestone) for milestone in MILESTONES),
    ):
        fits(text.message)


def test_a_long_reason_stands_whole_on_the_desk_and_cut_in_the_message(transfer):
    vehicle, transfer.vehicle = transfer.vehicle, None
    text = on_the_road.vehicle_lost(transfer, vehicle, LONG)
    assert LONG in text.sentence
    assert text.message.endswith("... Send another one.")


@pytest.mark.parametrize("stage", [None, *MILESTONES])
def test_whatever_the_watch_raises_on_the_way_fits_and_says_the_code_once(
    now, intensive, ward, stage
):
    begun = now - timedelta(hours=5)
    if stage:
        referral = a_journey(begun, intensive, stage=stage).referral
    else:
        referral = a_referral(begun)
        an_offer(referral, ward, begun)
    sweeping.sweep("test", send=False)
    sent = Delivery.objects.filter(channel="sms", alert__referral=referral)
    kinds = set(sent.values_list("alert__kind", flat=True))
    assert len(kinds) > 1
    for delivery in sent.select_related("alert"):
        assert septets(sending.words_of(delivery)) <= TWO_JOINED, delivery.message
        assert delivery.message.count(referral.code) == 1, delivery.message


def test_what_the_desk_hears_when_a_message_did_not_get_through_fits(now, intensive):
    referral = a_journey(now, intensive, stage=TransferStage.ASSIGNED).referral
    notice = Delivery.objects.filter(
        alert__referral=referral, alert__needs_answer=False, channel="sms"
    ).first()
    assert notice
    sending._tell_desk(notice, "no such number " * 10)
    told = Delivery.objects.filter(alert__kind="not_reached", channel="sms")
    assert told
    for delivery in told:
        assert notice.address in delivery.message
        assert septets(sending.words_of(delivery)) <= TWO_JOINED


def test_what_positions_show_fits(transfer, now):
    referral, begun = transfer.referral, now - timedelta(minutes=200)
    transfer.window = {
        **{name: (now + timedelta(minutes=700)).isoformat() for name in ("p10", "p50", "p90")},
        "remaining_km": 123.4,
        "arrived_suggested": False,
        "standing": {"since": begun.isoformat(), "until": now.isoformat(),
                     "latitude": -22.987654, "longitude": -86.123456},
        "off": {"since": begun.isoformat(), "km_left": 123.4, "nearest_km": 100.2},
    }  # fmt: skip
    referral.babies.update(born_at=now - timedelta(minutes=60))
    raised = {one.kind: one for one in concerns_on_the_road(referral, transfer, now)}
    told = {"standing_still", "off_the_way", "past_a_limit"}
    assert told <= set(raised)
    for kind in told:
        assert referral.code in raised[kind].sentence
        fits(raised[kind].sentence)


def spoken_to(alert, address, **more):
    delivery = alert.deliveries.create(
        channel="voice", address=address, message=alert.message, step=1, round=9,
        created_at=alert.raised_at, due_at=alert.raised_at, **more,
    )  # fmt: skip
    return sending.words_of(delivery)


def test_a_voice_speaks_no_address_and_says_how_to_answer(district, intensive, now):
    alert = an_offer(a_referral(now), intensive, now).alerts.get(kind="question")
    code = ", ".join(alert.referral.code)
    with_sms = alert.deliveries.get(channel="sms").address
    words = spoken_to(alert, with_sms)
    assert words.startswith(f"{code}: newborn at Mirrow Heights")
    assert "http" not in words
    assert "/a/" not in words
    assert words.endswith(
        "Open the link in the SMS on this phone, or ring the desk: 1, 2, 0, 2, 5, 5, 5, 0, 1, 0, 0."
    )
    assert "To answer, ring the desk: 1, 2, 0" in spoken_to(alert, "+12025550177")


def test_a_voice_sends_the_desk_to_its_page(district, intensive, now):
    referral = a_referral(now)
    alert = referral.alerts.filter(for_desk=True).first()
    assert spoken_to(alert, "+12025550177").endswith("Open the desk's page.")


def test_without_a_number_of_the_desk_the_voice_still_says_whom_to_ring(intensive, now):
    District.objects.update(desk_phone="")
    alert = an_offer(a_referral(now), intensive, now).alerts.get(kind="question")
    assert spoken_to(alert, "+12025550177").endswith("To answer, ring the desk.")


def test_what_is_asked_for_after_the_handover_fits(transfer, now):
    referral = transfer.referral
    referral.babies.update(ending="handed_over", ended_at=now)
    concerns = list(concerns_after_handover(referral, now))
    assert {concern.kind for concern in concerns} == {"outcome_not_told", "not_examined"}
    assert len({str(concern.sms) for concern in concerns}) == 4
    for concern in concerns:
        fits(str(concern.sms))
