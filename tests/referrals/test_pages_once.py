"""A form pressed twice counts once; what could not be taken is kept."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import InterfaceError, OperationalError, connections
from pages_world import browser_of, forms_on, press, text_of

from referrals import lifecycle, links, recording
from referrals.models import DeviceRequest, KeptInput, Observation, Referral


def question(client, code: str) -> str:
    """Help is called; the path of one question about the baby."""
    return press(client, "/post/").url + f"1/{code}/"


def form_of(client, path: str) -> dict[str, str]:
    """The form of a question, as it stands on its page."""
    return next(form["fields"] for form in forms_on(client.get(path)) if form["action"] == path)


def test_the_second_press_shows_the_result_of_the_first(attendant):
    client = browser_of(attendant)
    form = forms_on(client.get("/post/"))[0]["fields"]
    first, second = client.post("/post/", form), client.post("/post/", form)
    assert Referral.objects.count() == 1
    assert first.status_code == second.status_code == 302
    assert first.url == second.url == f"/r/{Referral.objects.get().code}/details/"


def test_another_page_is_another_key(attendant):
    client = browser_of(attendant)
    for _ in range(2):
        press(client, "/post/")
    assert Referral.objects.count() == 2


def test_coming_back_and_changing_the_form_is_a_new_telling(attendant):
    client = browser_of(attendant)
    path = question(client, "heart")
    form = form_of(client, path)
    client.post(path, form | {"heart_rate_band": "under_60"})
    client.post(path, form | {"heart_rate_band": "from_60_to_99"})
    assert Observation.objects.count() == 2


def test_a_refused_form_gives_its_key_back(attendant):
    client = browser_of(attendant)
    path = question(client, "temperature")
    form = form_of(client, path)
    kept_before = DeviceRequest.objects.count()
    assert client.post(path, form | {"temperature_c": "361"}).status_code == 422
    assert DeviceRequest.objects.count() == kept_before
    assert client.post(path, form | {"temperature_c": "36,1"}).status_code == 302
    assert Observation.objects.get().temperature_c == 36.1


def test_one_persons_key_says_nothing_about_anothers(attendant, person):
    form = forms_on(browser_of(attendant).get("/post/"))[0]["fields"]
    browser_of(attendant).post("/post/", form)
    browser_of(person("lupe.sandrivo")).post("/post/", form | {"site": ""})
    assert Referral.objects.count() == 2


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgresql
def test_two_presses_at_the_same_moment_raise_one_referral(attendant):
    form = forms_on(browser_of(attendant).get("/post/"))[0]["fields"]

    def pressed(client):
        try:
            return client.post("/post/", form)
        finally:
            connections.close_all()  # a thread's own connection outlives it, and the database

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(pressed, [browser_of(attendant) for _ in range(4)]))
    assert Referral.objects.count() == 1
    assert len({answer.url for answer in answers}) == 1


def test_what_was_typed_before_the_sign_in_ran_out_waits_behind_it(attendant):
    client = browser_of(attendant)
    path = question(client, "heart")
    form = form_of(client, path) | {"heart_rate_band": "under_60"}
    client.logout()
    answer = client.post(path, form)
    assert answer.url.startswith("/sign-in/?next=/kept/")
    assert "What you typed is kept" in text_of(client.get(answer.url))
    waiting = answer.url.partition("next=")[2]
    again = browser_of(attendant)
    assert press(again, waiting).status_code == 302
    assert Observation.objects.get().heart_rate_band == "under_60"
    assert KeptInput.objects.get().dealt_with_by == attendant.username
    assert again.get(waiting).status_code == 404  # it was sent


def test_a_form_of_another_site_is_kept_but_never_one_press_away(attendant):
    client = browser_of(attendant, enforce_csrf_checks=True)
    answer = client.post("/post/", {"site": "1"}, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403
    assert KeptInput.objects.get().path == "/post/"
    assert "/kept/" not in text_of(answer)
    assert Referral.objects.count() == 0


def test_a_stale_form_of_our_own_is_kept_and_can_be_sent_again(attendant):
    client = browser_of(attendant, enforce_csrf_checks=True)
    answer = client.post("/post/", {"key": "a"}, headers={"Sec-Fetch-Site": "same-origin"})
    token = links.token("k", KeptInput.objects.get().pk)
    assert f"/kept/{token}/" in text_of(answer)
    assert answer.status_code == 403


def test_a_password_is_never_kept(db):
    client = browser_of(enforce_csrf_checks=True)
    client.post("/sign-in/", {"username": "leena", "password": "secret words"})
    assert "secret" not in KeptInput.objects.get().body


def broken(fault):
    def verb(*_: object, **__: object) -> None:
        raise fault

    return verb


def test_a_fault_gives_the_form_back_and_one_press_sends_it_once(attendant, monkeypatch):
    client = browser_of(attendant, raise_request_exception=False, enforce_csrf_checks=True)
    with monkeypatch.context() as patch:
        patch.setattr(lifecycle, "raise_referral", broken(RuntimeError("on purpose")))
        answer = press(client, "/post/")
    assert answer.status_code == 500
    (again,) = forms_on(answer)
    assert KeptInput.objects.get().path == "/post/"
    for _ in range(2):
        taken = client.post(again["action"], again["fields"])
        assert taken.status_code == 302
    assert Referral.objects.count() == 1
    assert KeptInput.objects.get().dealt_with_by == attendant.username


@pytest.mark.parametrize("fault", [OperationalError, InterfaceError])
def test_a_record_that_cannot_be_reached_says_when_to_send_again_and_holds_the_form(
    attendant, monkeypatch, fault
):
    client = browser_of(attendant, raise_request_exception=False)
    path = question(client, "heart")
    with monkeypatch.context() as patch:
        patch.setattr(recording, "observe", broken(fault("locked")))
        answer = press(
            client, path, action=path, heart_rate_band="under_60", note="grunting & blue"
        )
    assert answer.status_code == 503
    assert int(answer["Retry-After"]) > 0
    assert "cannot be reached just now" in text_of(answer)
    (again,) = forms_on(answer)
    assert client.post(again["action"], again["fields"]).status_code == 302
    assert Observation.objects.get().heart_rate_band == "under_60"


def test_a_password_is_not_given_back_by_a_fault(attendant, monkeypatch):
    monkeypatch.setattr("axes.handlers.proxy.AxesProxyHandler.is_allowed", broken(RuntimeError()))
    client = browser_of(raise_request_exception=False)
    answer = client.post("/sign-in/", {"username": "leena", "password": "secret words"})
    assert answer.status_code == 500
    assert "secret" not in text_of(answer)
    assert not KeptInput.objects.exists()
