"""One referral from the raise to the outcome, over the API alone."""

from datetime import datetime

import pytest

from referrals import timeline
from referrals.models import District, Referral, Unit
from tests import world
from tests.api_world import Device, device_of, driver_device
from transport.calc.stages import TransferStage
from transport.models import Cylinder, Transfer, Vehicle


def _ok(answer) -> dict:
    assert answer.status_code in (200, 201), answer.content
    return answer.json()


def test_from_the_raise_to_the_outcome(district: District, now: datetime) -> None:
    post, desk = device_of("tomasi.bellaqua"), device_of("leena.morrastad")
    raised = _ok(
        post.post(
            "referrals/",
            {"babies": [{"breathing": "ventilated", "support": "bag_and_mask_oxygen",
                         "oxygen_flow_l_min": 5}], "units": ["ORL-NB"]},
        )
    )  # fmt: skip
    code, number = raised["code"], raised["transfer"]["id"]
    nurse = device_of("hana.wendorra")
    (offer,) = nurse.get("offers/").json()["results"]
    accepted = _ok(nurse.post(f"offers/{offer['id']}/accept/", {"receiver": "Hana, red shoes"}))
    assert (accepted["stage"], accepted["receiver"]) == ("accepted", "Hana, red shoes")

    sent = _ok(desk.post(f"transfers/{number}/assign/", {"vehicle": "AMB-1", "escort_name": "T"}))
    assert (sent["stage"], sent["vehicle"], sent["destination"]) == ("assigned", "AMB-1", "ORL-NB")
    road = driver_device(Transfer.objects.get(pk=number))
    window = _ok(nurse.get(f"transfers/{number}/"))["window"]
    assert window["p10"] < window["p50"] < window["p90"]

    for milestone in ("collecting", "at_origin", "on_the_road"):
        _ok(road.post(f"transfers/{number}/milestones/", {"milestone": milestone}))
    _ok(
        road.post(
            f"transfers/{number}/checklists/",
            {"template": "before-leaving", "version": 1, "answers": {"warmth": "yes"}},
        )
    )
    fix = {"key": "p", "happened_at": now.isoformat(), "latitude": -22.4, "longitude": 85.95}
    assert _ok(road.post(f"transfers/{number}/positions/", fix, key=None))["stored"] == 1
    check = _ok(
        road.post(
            f"transfers/{number}/checks/",
            {"breathing": "ventilated", "heart_rate": 130, "spo2": 92, "oxygen_bar": 80,
             "stopped_because": "mask slipped"},
        )
    )  # fmt: skip
    assert check["facts"]["heart_rate"] == 130
    assert Cylinder.objects.filter(vehicle__code="AMB-1", bar=80).exists()
    arrived = _ok(road.post(f"transfers/{number}/milestones/", {"milestone": "arrived"}))
    assert arrived["next_milestone"] is None

    path = f"transfers/{number}/handover/"
    gave = _ok(road.post(path, {"side": "giver", "name": "Tomasi", "band_checked": True}))
    assert gave["is_signed"] is False
    took = _ok(
        nurse.post(path, {"side": "receiver", "name": "Hana", "temperature_c": 36.6,
                          "condition": "ventilated"})
    )  # fmt: skip
    assert took["is_signed"] is True
    _ok(
        nurse.post(
            f"referrals/{code}/outcome/", {"state": "still_in_care", "words": "pink and warm"}
        )
    )

    end = _ok(post.get(f"referrals/{code}/"))
    assert end["stage"] == "closed"
    assert end["babies"][0]["ending"] == "handed_over"
    assert end["transfer"]["stage"] == "handed_over"
    assert post.get(f"referrals/{code}/outcome/").json()[0]["words"] == "pink and warm"
    assert timeline.faults_of(Referral.objects.get(code=code)) == []
    assert _ok(desk.post("vehicles/AMB-1/ready/"))["state"] == "free"


@pytest.fixture
def desk(district: District) -> Device:
    return device_of("leena.morrastad")


def test_the_second_unit_to_accept_is_told_who_was_first(desk: Device, now: datetime) -> None:
    referral = world.a_referral(now)
    first = world.an_offer(referral, Unit.objects.get(code="ORL-NB"), now)
    second = world.an_offer(referral, Unit.objects.get(code="KES-NB"), now)
    device_of("hana.wendorra").post(f"offers/{first.pk}/accept/")
    answer = device_of("miriam.castowell").post(f"offers/{second.pk}/accept/")

    assert (answer.status_code, answer.json()["code"]) == (409, "already_placed")
    assert "Port Orlime" in answer.json()["detail"]


def test_declining_after_an_acceptance_asks_the_next(desk: Device, intensive: Unit,
                                                     now: datetime) -> None:  # fmt: skip
    referral = world.a_placed_referral(now, intensive)
    offer = referral.accepted_offer()
    answer = device_of("hana.wendorra").post(
        f"offers/{offer.pk}/decline/", {"reason": "no_power", "words": "generator is out"}
    )

    assert answer.json()["decline_reason"] == "no_power"
    body = desk.get(f"referrals/{referral.code}/").json()
    assert body["stage"] == "asking"
    assert [each["stage"] for each in body["offers"]] == ["declined", "open"]


def test_diverting_answers_the_units_asked_now(desk: Device, intensive: Unit,
                                               now: datetime) -> None:  # fmt: skip
    referral = world.a_placed_referral(now, intensive)
    rows = _ok(desk.post(f"referrals/{referral.code}/divert/", {"reason": "bridge is out"}))

    assert rows
    assert {row["stage"] for row in rows} == {"open"}
    assert "ORL-NB" not in {row["unit"] for row in rows}


def test_a_car_found_by_phone_is_assigned_like_any_other(desk: Device, intensive: Unit,
                                                         now: datetime) -> None:  # fmt: skip
    referral = world.a_placed_referral(now, intensive)
    body = {"name": "Red car", "kind": "car", "driver_name": "A neighbour",
            "driver_phone": "+1 202 555 0199", "who_pays": "the family"}  # fmt: skip
    car = _ok(desk.post("vehicles/", body))
    assert car["driver_phone"] == "+12025550199"
    number = referral.transfers.get().pk
    assert (
        _ok(desk.post(f"transfers/{number}/assign/", {"vehicle": car["code"]}))["stage"]
        == "assigned"
    )

    wrong = desk.post("vehicles/", body | {"driver_phone": "call me"})
    assert wrong.json()["errors"][0]["field"] == "driver_phone"
    assert Vehicle.objects.filter(registered=False).count() == 1


def test_a_busy_vehicle_is_refused_with_what_it_does(desk: Device, intensive: Unit,
                                                     now: datetime) -> None:  # fmt: skip
    busy = world.a_journey(now, intensive, stage=TransferStage.ASSIGNED)
    other = world.a_placed_referral(now, intensive).transfers.get()
    answer = desk.post(f"transfers/{other.pk}/assign/", {"vehicle": "AMB-1"})

    assert (answer.status_code, answer.json()["code"]) == (409, "vehicle_not_free")
    assert busy.referral.code in answer.json()["detail"]
    unknown = desk.post(f"transfers/{other.pk}/assign/", {"vehicle": "AMB-9"})
    assert unknown.json()["errors"][0]["field"] == "vehicle"


def test_sending_toward_a_unit_without_its_yes(desk: Device, ward: Unit, now: datetime) -> None:
    transfer = world.a_referral(now).transfers.get()
    body = _ok(desk.post(f"transfers/{transfer.pk}/send_toward/", {"unit": "KES-NB"}))
    assert (body["destination"], body["without_acceptance"]) == ("KES-NB", True)


def test_a_broken_vehicle_is_taken_back(desk: Device, intensive: Unit, now: datetime) -> None:
    transfer = world.a_journey(now, intensive, stage=TransferStage.COLLECTING)
    body = _ok(desk.post(f"transfers/{transfer.pk}/unassign/", {"reason": "axle", "broken": True}))
    assert (body["stage"], body["vehicle"]) == ("wanted", None)
    assert Vehicle.objects.get(code="AMB-1").state == "out_of_service"


def test_checklists_show_the_newest_answer_and_keep_to_their_items(
    desk: Device, intensive: Unit, now: datetime
) -> None:
    transfer = world.a_journey(now, intensive, stage=TransferStage.ASSIGNED)
    path = f"transfers/{transfer.pk}/checklists/"
    for answer in ("no", "yes"):
        _ok(desk.post(path, {"template": "before-leaving", "version": 1,
                             "answers": {"warmth": answer}}))  # fmt: skip
    lists = {each["when"]: each for each in desk.get(path).json()}
    items = {item["code"]: item["answer"] for item in lists["departure"]["items"]}
    assert items["warmth"] == "yes"
    assert items["band"] is None
    assert all(item["source"] for item in lists["preparation"]["items"])

    strange = desk.post(
        path, {"template": "before-leaving", "version": 1, "answers": {"wings": "yes"}}
    )
    assert (strange.status_code, strange.json()["errors"][0]["field"]) == (400, "wings")
    gone = desk.post(path, {"template": "before-leaving", "version": 9, "answers": {"band": "yes"}})
    assert gone.json()["errors"][0]["field"] == "template"


@pytest.mark.parametrize("body", [{}, {"baby": 1}, {"heart_rate": None}, {"oxygen_bar": 900}])
def test_a_check_that_says_nothing_true_is_refused(
    desk: Device, intensive: Unit, now: datetime, body: dict
) -> None:
    transfer = world.a_journey(now, intensive, stage=TransferStage.ASSIGNED)
    assert desk.post(f"transfers/{transfer.pk}/checks/", body).status_code == 400


@pytest.mark.parametrize(
    ("path", "body", "field", "known"),
    [
        ("referrals/{code}/outcome/", {"state": "stable", "words": "pink"}, "state", "improving"),
        (
            "transfers/{transfer}/handover/",
            {"side": "receiver", "name": "Hana", "condition": "same"},
            "condition",
            "breathes_alone",
        ),
    ],
)
def test_a_word_of_no_list_is_refused_with_the_words_there_are(
    now, intensive, path, body, field, known
):
    transfer = world.a_journey(now, intensive, stage=TransferStage.ARRIVED)
    address = path.format(code=transfer.referral.code, transfer=transfer.pk)
    answer = device_of("hana.wendorra").post(address, body)
    assert answer.status_code == 400
    (beside,) = answer.json()["errors"]
    assert beside["field"] == field
    assert known in beside["sentence"]
