"""A repeat from a device gets the first answer, whatever became of the first request."""

from datetime import timedelta

import pytest

from referrals import clock, lifecycle, recording
from referrals.api import idempotency
from referrals.models import DeviceRequest, District, KeptInput, Observation, Offer, Referral
from tests.api_world import Device, device_of


@pytest.fixture
def phone(district: District) -> Device:
    return device_of("tomasi.bellaqua")


def test_without_a_key_nothing_is_done_and_the_body_is_kept(phone: Device) -> None:
    answer = phone.post("referrals/", {"note": "blue, being bagged"}, key=None)

    assert answer.status_code == 400
    assert answer.json()["code"] == "key_missing"
    assert Referral.objects.count() == 0
    kept = KeptInput.objects.get()
    assert "blue, being bagged" in kept.body
    assert kept.caller == "staff:tomasi.bellaqua"


@pytest.mark.parametrize("key", [" ", "x" * 201, "tab\tinside"])
def test_a_key_that_cannot_be_stored_counts_as_missing(phone: Device, key: str) -> None:
    answer = phone.post("referrals/", {}, key=key)

    assert (answer.status_code, answer.json()["code"]) == (400, "key_missing")


def test_the_same_key_and_body_get_the_first_answer_and_raise_once(phone: Device) -> None:
    first = phone.post("referrals/", {"note": "one"}, key="k1")
    second = phone.post("referrals/", {"note": "one"}, key="k1")

    assert (first.status_code, second.status_code) == (201, 201)
    assert second.json() == first.json()
    assert "Idempotency-Replayed" not in first
    assert second["Idempotency-Replayed"] == "true"
    assert Referral.objects.count() == 1


def test_a_repeat_that_is_sent_later_by_its_own_clock_is_still_the_same(phone: Device) -> None:
    now = clock.now()
    body = {"happened_at": now.isoformat(), "sent_at": now.isoformat()}
    later = body | {"sent_at": (now + timedelta(minutes=3)).isoformat()}

    first = phone.post("referrals/", body, key="k1")
    second = phone.post("referrals/", later, key="k1")

    assert second.status_code == 201
    assert second.json()["code"] == first.json()["code"]


def test_the_order_of_names_and_white_space_do_not_make_another_body(phone: Device) -> None:
    first = phone.post("referrals/", raw=b'{"note":"n","site":"MRW"}', key="k1")
    second = phone.post("referrals/", raw=b'{ "site": "MRW",\n "note": "n" }', key="k1")

    assert first.status_code == 201
    assert second.json() == first.json()


def test_the_same_key_with_another_body_is_refused_and_kept(phone: Device) -> None:
    phone.post("referrals/", {"note": "one"}, key="k1")
    answer = phone.post("referrals/", {"note": "another thing"}, key="k1")

    assert answer.status_code == 422
    assert answer.json()["code"] == "key_reused"
    assert "another thing" in KeptInput.objects.get().body
    assert Referral.objects.count() == 1


def test_the_same_key_for_another_address_is_refused(phone: Device) -> None:
    code = phone.post("referrals/", {}, key="k1").json()["code"]
    answer = phone.post(f"referrals/{code}/observations/", {}, key="k1")

    assert answer.status_code == 422


def test_two_people_may_use_the_same_key(phone: Device) -> None:
    other = device_of("mei.corrowan")
    first = phone.post("referrals/", {}, key="k1").json()
    second = other.post("referrals/", {}, key="k1").json()

    assert first["site"] == "MRW"
    assert second["site"] == "DUM"
    assert first["code"] != second["code"]


def _left_behind(seconds: float) -> DeviceRequest:
    """The claim of a request whose process is at work, or died, some seconds ago."""
    phone = device_of("tomasi.bellaqua")
    phone.post("referrals/", {"note": "one"}, key="other")
    done = DeviceRequest.objects.get(key="other")
    return DeviceRequest.objects.create(
        caller=done.caller,
        key="k1",
        fingerprint=done.fingerprint,
        method=done.method,
        path=done.path,
        received_at=clock.now() - timedelta(seconds=seconds),
    )


def test_while_the_first_is_worked_on_the_repeat_is_told_to_wait(phone: Device) -> None:
    _left_behind(seconds=5)
    answer = phone.post("referrals/", {"note": "one"}, key="k1")

    assert answer.status_code == 409
    assert answer.json()["code"] == "in_flight"
    assert answer["Retry-After"] == "1"
    assert Referral.objects.count() == 1


def test_a_repeat_takes_over_from_a_process_that_died(phone: Device) -> None:
    _left_behind(seconds=90)
    answer = phone.post("referrals/", {"note": "one"}, key="k1")

    assert answer.status_code == 201
    assert Referral.objects.count() == 2
    assert DeviceRequest.objects.get(key="k1").finished_at is not None


def test_the_one_thought_dead_rolls_back_when_its_claim_was_taken(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = lifecycle.raise_referral

    def slow(*arguments: object, **options: object) -> Referral:
        referral = plain(*arguments, **options)
        # Meanwhile a repeat thinks this process dead and takes the claim over.
        DeviceRequest.objects.filter(key="k1").update(received_at=clock.now())
        return referral

    monkeypatch.setattr(lifecycle, "raise_referral", slow)
    answer = phone.post("referrals/", {}, key="k1")

    assert (answer.status_code, answer.json()["code"]) == (409, "in_flight")
    assert Referral.objects.count() == 0
    assert DeviceRequest.objects.get(key="k1").finished_at is None


def test_a_fault_leaves_no_trace_and_the_same_key_works_again(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*arguments: object, **options: object) -> None:
        raise ZeroDivisionError

    code = phone.post("referrals/", {}).json()["code"]
    phone.client.raise_request_exception = False
    with monkeypatch.context() as patch:
        patch.setattr(recording, "refresh_needs", broken)
        failed = phone.post(f"referrals/{code}/observations/", {"heart_rate": 90}, key="k1")
    assert failed.status_code == 500
    assert not DeviceRequest.objects.filter(key="k1").exists()
    assert Observation.objects.count() == 0

    again = phone.post(f"referrals/{code}/observations/", {"heart_rate": 90}, key="k1")
    assert again.status_code == 201
    assert Observation.objects.count() == 1


def test_a_refusal_is_an_answer_too_and_a_correction_needs_a_new_key(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    path = f"referrals/{code}/observations/"

    refused = phone.post(path, {"heart_rate": 900}, key="k1")
    again = phone.post(path, {"heart_rate": 900}, key="k1")
    corrected = phone.post(path, {"heart_rate": 90}, key="k2")

    assert refused.status_code == again.status_code == 400
    assert again.json() == refused.json()
    assert again["Content-Type"] == "application/problem+json"
    assert corrected.status_code == 201


def test_a_refused_verb_leaves_nothing_half_done(phone: Device) -> None:
    body = {"babies": [{"breathing": "ventilated"}, {"heart_rate": 900}]}
    answer = phone.post("referrals/", body, key="k1")

    assert answer.status_code == 400
    assert Referral.objects.count() == 0
    assert '"heart_rate": 900' in KeptInput.objects.get().body


def test_what_is_not_json_is_kept_and_its_key_stays_free(phone: Device) -> None:
    answer = phone.post("referrals/", raw=b'{"note": "cut of', key="k1")
    assert (answer.status_code, answer.json()["code"]) == (400, "unreadable")
    assert KeptInput.objects.get().body == '{"note": "cut of'

    assert phone.post("referrals/", {"note": "cut off"}, key="k1").status_code == 201


@pytest.mark.parametrize(
    "raw", [b"\xff\xfe{}", b'{"note": "\\u0000"}', b'{"note": "\\ud800"}', b"[" * 100_000, b"NaN"]
)
def test_text_that_no_database_stores_is_refused_and_kept(phone: Device, raw: bytes) -> None:
    answer = phone.post("referrals/", raw=raw)

    assert (answer.status_code, answer.json()["code"]) == (400, "unreadable")
    assert KeptInput.objects.count() == 1


def test_a_fault_while_asking_never_fails_the_raise(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*arguments: object, **options: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(lifecycle, "ask_best", broken)
    first = phone.post("referrals/", {}, key="k1")
    second = phone.post("referrals/", {}, key="k1")

    assert first.status_code == 201
    assert first.json()["offers"] == []
    assert second.json() == first.json()
    assert Referral.objects.get().stage == "raised"


def test_the_replayed_answer_shows_the_units_asked_after_the_raise(phone: Device) -> None:
    first = phone.post("referrals/", {}, key="k1").json()
    second = phone.post("referrals/", {}, key="k1").json()

    assert len(first["offers"]) == 1
    assert second["offers"] == first["offers"]
    assert Offer.objects.count() == 1


def test_an_old_claim_counts_its_minute_in_real_time(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    _left_behind(seconds=90)
    monkeypatch.setattr(idempotency.clock, "speed", lambda: 120.0)

    assert phone.post("referrals/", {"note": "one"}, key="k1").status_code == 409
