"""'Still ready' after a change of shift, pressed on the unit's page, in the link, at the desk."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from api_world import device_of
from pages_world import browser_of, press, text_of
from world import a_journey, told_by

from referrals import clock, lifecycle, links, reconfirming, watching
from referrals.calc.terms import EntryChannel
from referrals.models import Offer
from transport.calc.stages import TransferStage
from transport.pages import needs_person

MORNING = datetime(2026, 3, 2, 7, tzinfo=ZoneInfo("Etc/GMT-6"))
AFTER = MORNING + timedelta(minutes=10)


@pytest.fixture
def offer(district, intensive, monkeypatch) -> Offer:
    """Accepted before the shift changed, and asked again since."""
    intensive.shift_changes = ["07:00", "19:00"]
    intensive.save()
    transfer = a_journey(MORNING - timedelta(minutes=15), intensive, stage=TransferStage.COLLECTING)
    monkeypatch.setattr(clock, "now", lambda: AFTER)
    watching.look_at(transfer.referral_id, AFTER)
    accepted = transfer.referral.accepted_offer()
    assert accepted is not None
    return accepted


def link_of(offer: Offer) -> str:
    delivery = offer.alerts.get(kind="still_ready").deliveries.filter(channel="sms").first()
    return f"/a/{links.token('a', delivery.pk)}/"


def test_one_press_on_the_units_page_says_still_ready(offer, person):
    client = browser_of(person("kofi.brantelle"))
    assert "New shift: still ready, and who receives?" in text_of(client.get("/unit/"))
    page = text_of(client.get(f"/unit/{offer.pk}/"))
    assert "Your shift changed at 07:00" in page
    assert "Kofi Brantelle receives; entrance: Blue door" in page
    press(client, f"/unit/{offer.pk}/", action="reconfirm/")
    offer.refresh_from_db()
    assert (offer.receiver, offer.reconfirmed_by) == ("Kofi Brantelle", "Kofi Brantelle")
    page = text_of(client.get(f"/unit/{offer.pk}/"))
    assert "Your shift changed" not in page
    assert re.search(r"Still ready, said Kofi Brantelle at\s+07:10", page)
    assert "New shift" not in text_of(client.get("/unit/"))


def test_the_link_of_the_message_says_still_ready_without_an_account(offer):
    client = browser_of()
    path = client.get(link_of(offer), follow=True).redirect_chain[-1][0]
    offer.refresh_from_db()
    assert offer.reconfirmed_at is None  # opening it changed nothing
    press(client, path, action="reconfirm/", entrance="Sea gate")
    offer.refresh_from_db()
    assert (offer.entrance, offer.reconfirmed_by) == ("Sea gate", "Hana Wendorra")
    entry = offer.referral.entries.get(kind="reconfirmed")
    assert entry.channel == EntryChannel.LINK.value


def test_the_same_link_says_no_after_all(offer):
    client = browser_of()
    path = client.get(link_of(offer), follow=True).redirect_chain[-1][0]
    press(client, path, action="decline/", reason="no_staff")
    offer.refresh_from_db()
    assert offer.stage == "declined"


def test_another_entrance_can_be_told_in_the_same_shift(offer, nurse):
    reconfirming.reconfirm(told_by("hana.wendorra", AFTER), offer)
    client = browser_of(nurse)
    page = text_of(client.get(f"/unit/{offer.pk}/"))
    assert "Somebody else receives, or another entrance" in page
    press(client, f"/unit/{offer.pk}/", action="reconfirm/", entrance="Sea gate")
    offer.refresh_from_db()
    assert (offer.entrance, offer.receiver) == ("Sea gate", "Hana Wendorra")


def test_what_comes_too_late_is_refused_with_what_is_possible(offer, nurse):
    client = browser_of(nurse)
    client.get(f"/unit/{offer.pk}/")
    lifecycle.withdraw(told_by("leena.morrastad", AFTER), offer, why="nearer unit")
    answer = client.post(f"/unit/{offer.pk}/reconfirm/", {"receiver": "Night nurse"})
    assert answer.status_code == 409
    assert "nothing to confirm" in text_of(answer)


def test_another_unit_confirms_nothing(offer, other_nurse):
    path = f"/unit/{offer.pk}/reconfirm/"
    assert browser_of(other_nurse).post(path, {}).status_code == 404


def test_the_desk_writes_down_what_the_unit_says_on_the_phone(offer, officer):
    client = browser_of(officer)
    path = f"/desk/{offer.referral.code}/"
    assert "Its shift changed at 07:00" in text_of(client.get(path))
    press(client, path, action="/reconfirm/", receiver="Sister Kofi")
    offer.refresh_from_db()
    assert offer.receiver == "Sister Kofi"
    page = text_of(client.get(path))
    assert "another person receives" in page
    assert "Its shift changed" not in page


def test_the_desk_sees_whom_to_ring_when_the_new_shift_is_silent(offer, district, intensive):
    later = AFTER + timedelta(minutes=6)
    watching.look_at(offer.referral_id, later)
    (matter,) = needs_person.matters(district, later)
    assert "not_reconfirmed" in {alert.kind for alert in matter.alerts}
    targets = {action.target for action in matter.actions}
    assert {f"tel:{intensive.phone.as_e164}", f"/desk/{offer.referral.code}/#units"} <= targets


def test_the_same_over_the_api_and_a_repeat_answers_as_before(offer):
    device, path = device_of("hana.wendorra"), f"offers/{offer.pk}/reconfirm/"
    first = device.post(path, {"receiver": "Hana", "entrance": "Sea gate"}, key="shift-1")
    assert first.status_code == 200
    assert first.json()["entrance"] == "Sea gate"
    assert first.json()["reconfirmed_by"] == "Hana Wendorra"
    assert device.post(
        path, {"receiver": "Hana", "entrance": "Sea gate"}, key="shift-1"
    ).json() == (first.json())
    assert device.post(path, {}, key=None).status_code == 400
    assert offer.referral.entries.filter(kind="reconfirmed").count() == 1


def test_the_drivers_page_is_made_anew_when_the_entrance_changes(offer):
    from transport.driver_links import token_for

    client, transfer = browser_of(), offer.referral.transfers.get()
    path = f"/d/{token_for(transfer)}/"
    state = client.get(f"{path}state/").json()["state"]
    reconfirming.reconfirm(told_by("hana.wendorra", AFTER), offer, entrance="Sea gate")
    assert client.get(f"{path}state/").json()["state"] != state
    assert "Sea gate" in text_of(client.get(path))
