"""The way in: by role, by password, by the demo's link; and the pages for refusals."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from pages_world import browser_of, press, text_of
from world import a_journey, a_referral, an_offer, told_by

from referrals import lifecycle, links
from referrals.calc.chest_steps import CHEST_STEPS
from referrals.models import Alert, Delivery, District
from referrals.pages.entrance import entrance_path
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.models import Transfer, Vehicle

STATIC = Path(__file__).resolve().parents[2] / "referrals/static/referrals"


@pytest.mark.parametrize(
    ("username", "first"),
    [
        ("tomasi.bellaqua", "/post/"),
        ("hana.wendorra", "/unit/"),
        ("mateus.dunnaway", "/drive/"),
        ("leena.morrastad", "/desk/"),
        ("adaeze.wintermoor", "/desk/"),
    ],
)
def test_home_is_the_first_page_of_the_role(person, username, first):
    assert browser_of(person(username)).get("/").url == first


def test_who_has_no_place_is_told_so(attendant):
    attendant.roles.all().delete()
    assert "No place is written down" in text_of(browser_of(attendant).get("/"))


def test_signed_out_leads_to_the_sign_in_and_back(attendant, db):
    attendant.set_password("a long pass phrase")
    attendant.save()
    client = browser_of()
    answer = client.get("/post/")
    assert answer.url == "/sign-in/?next=/post/"
    assert "You are signed out" in text_of(client.get(answer.url))
    told = {"username": attendant.username, "password": "a long pass phrase"}
    assert press(client, answer.url, **told).url == "/post/"


def test_a_wrong_password_is_said_and_locks_after_eight(attendant):
    client = browser_of()
    told = {"username": attendant.username, "password": "wrong"}
    assert "do not fit" in text_of(press(client, "/sign-in/", **told))
    for _ in range(8):
        answer = client.post("/sign-in/", told)
    assert answer.status_code == 429
    assert "Too many tries" in text_of(answer)


def test_the_demo_link_changes_nothing_until_pressed(attendant):
    client = browser_of()
    path = entrance_path(attendant)
    assert "Enter as Tomasi Bellaqua" in text_of(client.get(path))
    assert client.get("/post/").status_code == 302
    assert press(client, path).url == "/"
    assert client.get("/post/").status_code == 200


def test_outside_the_demo_no_link_signs_in(attendant, settings):
    settings.DEMO = False
    client = browser_of()
    assert client.get(entrance_path(attendant)).status_code == 404
    assert client.post(entrance_path(attendant)).status_code == 404
    assert client.get("/post/").status_code == 302


def test_a_link_for_one_thing_opens_no_other(attendant, district, now):
    client = browser_of()
    assert client.get(f"/enter/{links.token('a', attendant.pk)}/").status_code == 404
    assert client.get(f"/a/{links.token('e', attendant.pk)}/").status_code == 404
    assert client.get("/a/a1/").status_code == 404


def path_of(alert: Alert, **which: str) -> str:
    delivery = Delivery.objects.filter(alert=alert, **which)[0]
    return f"/a/{links.token('a', delivery.pk)}/"


def test_opening_a_link_changes_nothing_and_one_press_takes_it(district, now):
    referral = a_referral(now)
    alert = referral.alerts.get(kind="vehicle_wanted")
    path = path_of(alert, channel="sms")
    client = browser_of()
    assert alert.sentence in text_of(client.get(path))
    assert referral.alerts.get(kind="vehicle_wanted").is_open
    press(client, path)
    taken = referral.alerts.get(kind="vehicle_wanted")
    assert taken.acknowledged_by == "Leena Morrastad"
    assert taken.acknowledged_channel == "link"
    assert "takes care of it since" in text_of(client.get(path))


def test_a_link_ends_two_hours_after_the_matter(district, now, monkeypatch):
    referral = a_referral(now)
    alert = referral.alerts.get(kind="vehicle_wanted")
    path = path_of(alert, channel="sms")
    press(browser_of(), path)
    later = now + timedelta(hours=2, minutes=5)
    monkeypatch.setattr("referrals.clock.now", lambda: later)
    answer = browser_of().get(path)
    assert answer.status_code == 404
    assert "This matter is over" in text_of(answer)


def test_the_link_of_somebody_who_left_opens_nothing(district, now, person):
    alert = a_referral(now).alerts.get(kind="vehicle_wanted")
    path = path_of(alert, channel="sms")
    leena = person("leena.morrastad")
    leena.is_active = False
    leena.save()
    assert browser_of().get(path).status_code == 404


def test_the_drivers_message_leads_to_the_drivers_page(district, now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    alert = Alert.objects.filter(kind="link", key__contains=":driver:").first()
    client = browser_of()
    step = client.get(path_of(alert)).url
    answer = client.get(step)
    assert answer.url.startswith("/d/")
    assert links.number_in("d", answer.url.split("/")[2]) == transfer.pk


def test_a_former_driver_never_gets_the_next_ones_page(district, now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    alert = Alert.objects.filter(kind="link", key__contains=":driver:").first()
    other = Vehicle.objects.filter(state="free").exclude(pk=transfer.vehicle_id).first()
    journeys.assign(told_by("leena.morrastad", now), Transfer.objects.get(), other)
    answer = browser_of().get(path_of(alert), follow=True)
    assert answer.status_code == 404
    assert "went to another vehicle" in text_of(answer)


def test_the_code_on_the_slip_leads_each_role_to_its_own_page(
    district, now, intensive, attendant, nurse, officer, other_nurse
):
    referral = a_referral(now)
    offer = an_offer(referral, intensive, now)
    path = f"/c/{referral.code.lower()}/"
    assert browser_of(attendant).get(path).url == f"/r/{referral.code}/"
    assert browser_of(nurse).get(path).url == f"/unit/{offer.pk}/"
    assert browser_of(officer).get(path).url == f"/desk/{referral.code}/"
    assert browser_of(other_nurse).get(path).status_code == 404


def test_what_does_not_exist_is_said_in_our_own_look(attendant):
    answer = browser_of(attendant).get("/r/ZZ99/")
    assert answer.status_code == 404
    assert "There is no such page for you" in text_of(answer)


def test_a_fault_of_the_service_shows_no_fault_page_of_the_framework(attendant, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("on purpose")

    monkeypatch.setattr(lifecycle, "raise_referral", broken)
    client = browser_of(attendant, raise_request_exception=False)
    answer = press(client, "/post/")
    assert answer.status_code == 500
    assert "Something broke here" in text_of(answer)
    assert 'href="tel:+12025550100"' in text_of(answer)


@pytest.mark.parametrize("path", ["/sign-in/", "/nowhere/"])
def test_who_is_nobody_yet_is_given_the_number_of_the_only_desk(district, path):
    page = text_of(browser_of().get(path))
    assert 'href="tel:+12025550100"' in page


def test_between_two_desks_no_number_is_guessed_and_nobody_is_sent_to_ring_one(district):
    District.objects.create(code="far", name="Far", desk_phone="+12025550177")
    page = text_of(browser_of().get("/sign-in/"))
    assert "tel:" not in page
    assert "Ring the desk" not in page
    assert "Say it by voice" in page


def test_the_beat_moves_without_a_script_and_holds_no_patient(db):
    answer = browser_of().get("/beat/")
    page = text_of(answer)
    assert "For breaths only" in page
    assert answer["Cache-Control"] == "private, max-age=86400"
    assert '<form class="rates"' in page
    assert page.count('name="rate"') == 7
    assert 'value="40" aria-describedby="rate-name" checked' in page
    assert "header" not in page
    assert "fetch(" not in page
    assert 'id="dim"' in page
    assert CHEST_STEPS[0].words in page
    assert 'name="csrfmiddlewaretoken"' not in page


def test_the_beat_asks_for_nothing_and_nothing_lies_over_it():
    """A third of each breath is the squeeze (common practice, no source); no layer comes above."""
    style = (STATIC / "beat.css").read_text()
    assert "0%, 33% { opacity: 1; }" in style
    layers = [int(number) for number in re.findall(r"z-index:\s*(-?\d+)", style)]
    assert layers == [-1]
    assert all(word not in style for word in ("sticky", "dialog"))
    script = (STATIC / "beat.js").read_text()
    assert not any(word in script for word in ("fetch", "XMLHttpRequest", "EventSource", "alert("))
    assert "turn / 3" in script
    assert "wakeLock" in script
