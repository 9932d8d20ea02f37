"""Every refusal is a problem with a stable code and a sentence that helps."""

import pytest
from django.db import InterfaceError, OperationalError
from django.test import Client

from referrals import access, lifecycle
from referrals.models import DeviceRequest, District, KeptInput, Unit
from tests.api_world import Device, device_of


@pytest.fixture
def phone(district: District) -> Device:
    return device_of("tomasi.bellaqua")


def _require_problem(answer, status: int, code: str) -> dict:
    body = answer.json()
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert (body["status"], body["code"], body["type"]) == (status, code, "about:blank")
    assert body["title"]
    assert len(body["detail"]) > 10
    return body


def test_nobody_is_told_how_to_sign_in(db: None) -> None:
    answer = Device().get("referrals/")
    _require_problem(answer, 401, "sign_in_needed")
    assert answer["WWW-Authenticate"] == "Token"


def test_a_wrong_token_is_refused(db: None) -> None:
    _require_problem(Device("Token nonsense").get("me/"), 401, "sign_in_failed")


def test_a_code_that_does_not_exist_is_not_found(phone: Device) -> None:
    _require_problem(phone.get("referrals/ZZZZ/"), 404, "not_found")


@pytest.mark.parametrize("path", ["nothing/", "transfers/x/", "units/a/b/c/"])
def test_an_address_that_is_not_there_is_a_problem_too(phone: Device, path: str) -> None:
    _require_problem(phone.get(path), 404, "not_found")
    _require_problem(phone.post(path), 404, "not_found")


def test_a_method_that_is_not_there(phone: Device) -> None:
    answer = phone.client.delete("/api/v1/referrals/")
    _require_problem(answer, 405, "method_not_allowed")
    assert "POST" in answer["Allow"]


def test_a_form_is_not_json_and_is_kept(phone: Device) -> None:
    answer = phone.client.post(
        "/api/v1/referrals/", {"note": "typed"}, headers={"idempotency-key": "k"}
    )
    _require_problem(answer, 415, "not_json")
    assert "typed" in KeptInput.objects.get().body


def test_an_impossible_number_names_field_and_bounds(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    answer = phone.post(f"referrals/{code}/observations/", {"temperature_c": 365})

    body = _require_problem(answer, 400, "impossible_quantity")
    (beside,) = body["errors"]
    assert beside["field"] == "temperature_c"
    assert "from 20 to 45 °C" in beside["bound"]


def test_an_unknown_word_names_the_words_there_are(phone: Device) -> None:
    answer = phone.post("referrals/", {"babies": [{"breathing": "purple"}]})

    body = _require_problem(answer, 400, "invalid")
    (beside,) = body["errors"]
    assert beside["field"] == "babies.0.breathing"
    assert "slow_or_gasping" in beside["sentence"]


def test_a_field_nobody_knows_is_refused_not_lost(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    answer = phone.post(f"referrals/{code}/observations/", {"hart_rate": 90})

    body = _require_problem(answer, 400, "invalid")
    assert body["errors"][0]["field"] == "hart_rate"


@pytest.mark.parametrize(
    "body",
    [
        {"heart_rate": True},
        {"heart_rate": 90.5},
        {"temperature_c": True},
        {"temperature_c": "warm"},
        {"temperature_c": 10**400},
        {"chest_moving": "yes"},
        {"weight_g": 10**30},
        {"glucose": 40},
        {"corrects": 2**70, "heart_rate": 90},
        {"baby": 7, "heart_rate": 90},
        {"note": 5},
        {},
        [],
        None,
        "text",
    ],
)
def test_a_body_of_the_wrong_shape_is_refused_beside_its_field(phone: Device, body: object) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    raw = b"null" if body is None else None
    answer = phone.post(f"referrals/{code}/observations/", body, raw=raw)

    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert KeptInput.objects.count() == 1


def test_a_step_that_is_not_possible_says_what_is(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    answer = phone.post(
        f"referrals/{code}/babies/1/ending/reverse/", {"reason": "pressed by mistake"}
    )

    _require_problem(answer, 409, "not_ended")


def test_a_death_without_a_name_is_refused(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    answer = phone.post(f"referrals/{code}/babies/1/ending/", {"ending": "died_before_departure"})

    _require_problem(answer, 409, "name_needed")


def test_a_handover_is_not_an_ending_to_be_written(phone: Device) -> None:
    code = phone.post("referrals/", {}).json()["code"]
    answer = phone.post(f"referrals/{code}/babies/1/ending/", {"ending": "handed_over"})

    assert _require_problem(answer, 400, "invalid")["errors"][0]["field"] == "ending"


@pytest.mark.parametrize("fault", [OperationalError, InterfaceError])
def test_a_locked_database_asks_to_send_again_and_keeps_no_answer(
    phone: Device, monkeypatch: pytest.MonkeyPatch, fault: type[Exception]
) -> None:
    def locked(*arguments: object, **options: object) -> None:
        raise fault("database is locked")

    with monkeypatch.context() as patch:
        patch.setattr(lifecycle, "raise_referral", locked)
        answer = phone.post("referrals/", {}, key="k1")
    _require_problem(answer, 503, "not_available")
    assert int(answer["Retry-After"]) > 0
    assert not DeviceRequest.objects.filter(key="k1").exists()

    assert phone.post("referrals/", {}, key="k1").status_code == 201


def test_a_locked_database_while_reading(phone: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(*arguments: object) -> None:
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(access, "visible_units", locked)
    _require_problem(phone.get("units/"), 503, "not_available")


def test_too_large_a_body(phone: Device) -> None:
    answer = phone.post("referrals/", {"note": "x" * 3_000_000})
    _require_problem(answer, 413, "too_large")


def test_a_clock_that_is_centuries_off_never_refuses_an_emergency(phone: Device) -> None:
    body = {"happened_at": "0001-01-01T00:00:00Z", "sent_at": "9999-12-31T23:59:59Z"}

    assert phone.post("referrals/", body).status_code == 201


@pytest.mark.parametrize("query", [{"limit": "9" * 30}, {"offset": "9" * 30}, {"limit": "-1"}])
def test_any_page_can_be_asked_for(phone: Device, query: dict) -> None:
    assert phone.get("units/", **query).status_code == 200


def test_cots_below_zero_are_refused(district: District) -> None:
    before = Unit.objects.get(code="ORL-NB").cots_free
    answer = device_of("hana.wendorra").post("units/ORL-NB/cots/", {"cots_free": -1})

    assert _require_problem(answer, 400, "invalid")["errors"][0]["field"] == "cots_free"
    assert Unit.objects.get(code="ORL-NB").cots_free == before


def test_a_fault_of_the_program_is_a_problem_too_and_says_to_send_again(
    phone: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*arguments: object, **options: object) -> None:
        raise ZeroDivisionError

    phone.client.raise_request_exception = False
    with monkeypatch.context() as patch:
        patch.setattr(lifecycle, "raise_referral", broken)
        body = _require_problem(phone.post("referrals/", {}, key="k1"), 500, "fault")
    assert "Send the same again" in body["detail"]
    assert phone.post("referrals/", {}, key="k1").status_code == 201


def test_a_database_that_fails_before_any_view_is_a_problem_too(
    district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A signed-in page asks the API: the session is read before the view begins."""

    def gone(*arguments: object) -> None:
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr("django.contrib.auth.middleware.get_user", gone)
    client = Client(raise_request_exception=False)
    client.cookies["sessionid"] = "x"
    answer = client.get("/api/v1/me/")
    _require_problem(answer, 503, "not_available")
    assert int(answer["Retry-After"]) > 0
