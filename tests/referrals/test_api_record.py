"""The record over the API: what is told is what is read back, and the timeline holds it."""

import itertools
from datetime import timedelta

import pytest

from referrals import clock, timeline
from referrals.models import District, Offer, Referral, Unit
from tests.api_world import Device, device_of


@pytest.fixture
def phone(district: District) -> Device:
    return device_of("tomasi.bellaqua")


@pytest.fixture
def desk(district: District) -> Device:
    return device_of("leena.morrastad")


def _raised(phone: Device, **body: object) -> str:
    answer = phone.post("referrals/", body)
    assert answer.status_code == 201, answer.content
    return answer.json()["code"]


def test_a_raise_without_a_word_is_enough(phone: Device) -> None:
    body = phone.post("referrals/").json()

    assert body["site"] == "MRW"
    assert body["urgency"] == "ventilated"
    assert body["stage"] == "asking"
    assert [baby["code"] for baby in body["babies"]] == [f"{body['code']}-1"]
    assert len(body["offers"]) == 1
    assert body["transfer"]["stage"] == "wanted"
    assert body["entry_seq"] == Referral.objects.get().head_seq


def test_twins_with_all_that_is_known(phone: Device) -> None:
    now = clock.now()
    born = (now - timedelta(minutes=20)).isoformat()
    first = {"sex": "female", "born_at": born, "breathing": "ventilated", "heart_rate": 80,
             "weight_g": 1900, "name": "First Aru"}  # fmt: skip
    second = {"sex": "male", "born_at": born, "breathing": "regular", "spo2": None}
    code = _raised(phone, babies=[first, second], note="second of twins came easily")

    body = phone.get(f"referrals/{code}/").json()
    one, two = body["babies"]
    assert one["name"] == "First Aru"
    assert one["facts"]["heart_rate"]["value"] == 80
    assert one["facts"]["weight_g"]["at"] == one["facts"]["heart_rate"]["at"]
    assert two["sex"] == "male"
    assert set(two["facts"]) == {"breathing"}


def test_named_units_are_asked_instead_of_the_best(phone: Device) -> None:
    body = phone.post("referrals/", {"units": ["BAN-NB", "THO-NB"]}).json()
    assert {offer["unit"] for offer in body["offers"]} == {"BAN-NB", "THO-NB"}


def test_a_unit_nobody_knows_is_refused_beside_its_place(phone: Device) -> None:
    answer = phone.post("referrals/", {"units": ["BAN-NB", "NOWHERE"]})
    assert answer.json()["errors"][0]["field"] == "units.1"
    assert not Referral.objects.exists()


def test_the_desk_names_the_site_it_raises_for(desk: Device) -> None:
    assert desk.post("referrals/", {}).json()["errors"][0]["field"] == "site"
    assert desk.post("referrals/", {"site": "NONE"}).status_code == 400
    assert desk.post("referrals/", {"site": "DUM"}).json()["site"] == "DUM"
    assert Referral.objects.get().raised_by is None


def test_an_observation_told_late_keeps_its_time_and_the_newest_value_stands(
    phone: Device,
) -> None:
    code = _raised(phone)
    now = clock.now()
    path = f"referrals/{code}/observations/"
    newer = {"heart_rate": 120, "happened_at": (now - timedelta(minutes=1)).isoformat()}
    older = {"heart_rate": 40, "happened_at": (now - timedelta(minutes=9)).isoformat()}
    assert phone.post(path, newer).status_code == 201
    late = phone.post(path, older).json()

    assert late["observed_at"].startswith(older["happened_at"][:19])
    facts = phone.get(f"referrals/{code}/").json()["babies"][0]["facts"]
    assert facts["heart_rate"]["value"] == 120
    assert [row["facts"]["heart_rate"] for row in phone.get(path).json()] == [40, 120]


def test_a_correction_replaces_and_keeps_the_old_one(phone: Device) -> None:
    code = _raised(phone)
    path = f"referrals/{code}/observations/"
    wrong = phone.post(path, {"weight_g": 5900}).json()
    right = phone.post(path, {"weight_g": 1900, "corrects": wrong["id"]})

    assert right.status_code == 201
    assert right.json()["corrects"] == wrong["id"]
    facts = phone.get(f"referrals/{code}/").json()["babies"][0]["facts"]
    assert facts["weight_g"]["value"] == 1900
    assert len(phone.get(path).json()) == 2
    again = phone.post(path, {"weight_g": 2000, "corrects": wrong["id"]}).json()
    assert again["errors"][0]["field"] == "corrects"
    assert str(right.json()["id"]) in again["errors"][0]["sentence"]


def test_another_referrals_observation_cannot_be_corrected(phone: Device) -> None:
    first, second = _raised(phone), _raised(phone)
    row = phone.post(f"referrals/{first}/observations/", {"spo2": 90}).json()
    answer = phone.post(f"referrals/{second}/observations/", {"spo2": 91, "corrects": row["id"]})
    assert answer.json()["errors"][0]["field"] == "corrects"


def test_the_mother_has_observations_and_needs_of_her_own(phone: Device) -> None:
    code = _raised(phone)
    answer = phone.post(
        f"referrals/{code}/observations/",
        {"mother": True, "bleeding": "heavy", "systolic_mmhg": 85, "note": "pale"},
    )

    assert answer.status_code == 201
    assert answer.json()["mother"] is True
    body = phone.get(f"referrals/{code}/").json()
    assert body["mother"]["facts"]["bleeding"]["value"] == "heavy"
    needed = {each for need in body["needs"] for each in need["capabilities"]}
    assert "obstetric_emergency_care" in needed


def test_a_baby_has_no_blood_pressure_of_the_mother(phone: Device) -> None:
    code = _raised(phone)
    answer = phone.post(f"referrals/{code}/observations/", {"bleeding": "heavy"})
    assert (answer.status_code, answer.json()["code"]) == (400, "unknown_fact")


def test_a_need_set_aside_is_shown_with_its_reason(phone: Device) -> None:
    code = _raised(phone, babies=[{"breathing": "ventilated"}])
    needs = phone.get(f"referrals/{code}/needs/").json()
    assert needs
    assert all(need["source"] for need in needs)
    answer = phone.post(
        f"referrals/{code}/needs/{needs[0]['id']}/override/", {"reason": "breathes alone now"}
    )

    assert answer.json()["override_reason"] == "breathes alone now"
    after = phone.get(f"referrals/{code}/needs/").json()
    assert after[0]["overridden_by"] == "Tomasi Bellaqua"


def test_treatments_and_advice_are_read_back_as_told(phone: Device) -> None:
    code = _raised(phone)
    phone.post(
        f"referrals/{code}/treatments/",
        {"words": "vitamin K, one dose as drawn up at the post", "given_by": "Tomasi"},
    )
    phone.post(f"referrals/{code}/treatments/", {"words": "fluids", "mother": True})
    phone.post(
        f"referrals/{code}/advice/",
        {"given_by": "Dr Ostermoor", "words": "keep skin-to-skin", "read_back": True},
    )

    treatments = phone.get(f"referrals/{code}/treatments/").json()
    assert [(row["baby"], row["given_by"]) for row in treatments] == [(1, "Tomasi"), (None, "")]
    (advice,) = phone.get(f"referrals/{code}/advice/").json()
    assert (advice["words"], advice["read_back"]) == ("keep skin-to-skin", True)


def test_the_timeline_is_published_as_a_chain_without_names(phone: Device) -> None:
    code = _raised(phone, babies=[{"name": "Secret Aru", "heart_rate": 70}])
    entries = phone.get(f"referrals/{code}/entries/").json()

    assert [entry["seq"] for entry in entries] == list(range(1, len(entries) + 1))
    assert all(
        later["previous_hash"] == earlier["hash"] for earlier, later in itertools.pairwise(entries)
    )
    assert {"raised", "named", "observed", "unit_asked"} <= {entry["kind"] for entry in entries}
    assert all(entry["channel"] in ("api", "system") for entry in entries)
    assert "Secret" not in str(entries)
    assert timeline.faults_of(Referral.objects.get(code=code)) == []


def test_the_candidates_are_ranked_with_reasons_and_kept(phone: Device) -> None:
    code = _raised(phone, babies=[{"breathing": "ventilated", "oxygen_flow_l_min": 5}])
    body = phone.get(f"referrals/{code}/candidates/").json()

    orders = [each["order"] for each in body["candidates"]]
    assert len(orders) == 4
    assert orders == sorted(orders)
    for each in body["candidates"]:
        assert each["reasons_for"] or each["reasons_against"]
    # Once for asking at the raise, once for showing here.
    assert Referral.objects.get(code=code).rankings.count() == 2


def test_taking_back_closes_and_withdraws(phone: Device) -> None:
    code = _raised(phone)
    body = phone.post(f"referrals/{code}/take_back/", {"reason": "wrong post"}).json()

    assert body["stage"] == "closed"
    assert {baby["ending"] for baby in body["babies"]} == {"raised_in_error"}
    assert {offer.stage for offer in Offer.objects.all()} == {"withdrawn"}
    assert phone.get("referrals/", open=1).json()["count"] == 0
    assert phone.get("referrals/").json()["count"] == 1


def test_an_ending_is_written_and_reversed(phone: Device) -> None:
    code = _raised(phone)
    path = f"referrals/{code}/babies/1/ending/"
    ended = phone.post(path, {"ending": "placed_elsewhere", "words": "taken by boat"})
    assert ended.json()["ending"] == "placed_elsewhere"
    assert Referral.objects.get().stage == "closed"

    back = phone.post(path + "reverse/", {"reason": "apnoea again"})
    assert back.json()["ending"] == ""
    assert Referral.objects.get().stage == "asking"
    assert phone.post(f"referrals/{code}/babies/2/ending/", {}).status_code == 404


def test_cots_reported_without_a_word_about_the_door_leave_it_as_it_is(district: District) -> None:
    nurse = device_of("hana.wendorra")
    closed = nurse.post("units/ORL-NB/cots/", {"cots_free": 0, "is_open": False}).json()
    assert (closed["cots_free"], closed["is_open"]) == (0, False)
    again = nurse.post("units/ORL-NB/cots/", {"cots_free": 4}).json()
    assert (again["cots_free"], again["is_open"]) == (4, False)
    assert Unit.objects.get(code="ORL-NB").cots_free == 4


def test_alerts_are_open_until_somebody_has_them(phone: Device) -> None:
    code = _raised(phone, units=["ORL-NB"])
    nurse = device_of("hana.wendorra")
    (alert,) = nurse.get("alerts/").json()["results"]
    assert (alert["kind"], alert["referral"]) == ("question", code)

    answer = nurse.post(f"alerts/{alert['id']}/acknowledge/").json()
    assert answer["acknowledged_by"] == "Hana Wendorra"
    assert nurse.get("alerts/").json()["count"] == 0
    assert nurse.get("alerts/", all=1).json()["count"] == 1


def test_me_says_who_and_where_and_what_time_it_is(phone: Device) -> None:
    body = phone.get("me/").json()
    assert body["username"] == "tomasi.bellaqua"
    assert body["roles"] == [
        {"role": "attendant", "district": body["roles"][0]["district"], "site": "MRW", "unit": None}
    ]
    assert body["server_time"].endswith("Z")


def test_the_list_takes_no_more_queries_for_more_referrals(
    desk: Device, django_assert_max_num_queries: object
) -> None:
    for post in ("tomasi.bellaqua", "mei.corrowan", "farida.estolane", "lupe.sandrivo"):
        device_of(post).post("referrals/", {"babies": [{"heart_rate": 90, "name": "A"}]})
    with django_assert_max_num_queries(16):  # type: ignore[operator]
        assert desk.get("referrals/").json()["count"] == 4
