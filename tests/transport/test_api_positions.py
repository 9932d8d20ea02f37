"""Positions: one or many, in any order, twice, some of them nonsense."""

import json
from datetime import datetime, timedelta
from typing import Any

import pytest

from referrals.models import District, KeptInput, Unit
from tests import world
from tests.api_world import Device, driver_device
from transport.calc.stages import TransferStage
from transport.models import Position, Transfer, Vehicle


@pytest.fixture
def journey(district: District, intensive: Unit, now: datetime) -> Transfer:
    return world.a_journey(now, intensive, stage=TransferStage.ASSIGNED)


@pytest.fixture
def phone(journey: Transfer) -> Device:
    return driver_device(journey)


def _fix(number: int, at: datetime, **other: Any) -> dict[str, Any]:
    return {
        "key": f"p{number}",
        "happened_at": (at + timedelta(seconds=number)).isoformat(),
        "latitude": -22.4 - number / 1000,
        "longitude": 85.9,
        **other,
    }


def test_one_position_needs_no_key_of_the_request(
    phone: Device, journey: Transfer, now: datetime
) -> None:
    answer = phone.post(f"transfers/{journey.pk}/positions/", _fix(1, now), key=None)

    assert answer.status_code == 200
    assert answer.json() == {"stored": 1, "errors": []}
    assert Position.objects.get().latitude == pytest.approx(-22.401)


def test_a_batch_is_stored_once_however_often_it_comes(
    phone: Device, journey: Transfer, now: datetime
) -> None:
    at = now - timedelta(minutes=30)
    batch = {"positions": [_fix(number, at) for number in (3, 1, 2)]}
    path = f"transfers/{journey.pk}/positions/"

    assert phone.post(path, batch).json()["stored"] == 3
    assert phone.post(path, batch).status_code == 200
    assert Position.objects.count() == 3
    vehicle = Vehicle.objects.get(code="AMB-1")
    assert vehicle.seen_at == at + timedelta(seconds=3)
    assert vehicle.latitude == pytest.approx(-22.403)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"key": ""}, "key"), ({"key": "x" * 65}, "key"), ({"key": 7}, "key"),
        ({"happened_at": "yesterday"}, "happened_at"), ({"happened_at": 1}, "happened_at"),
        ({"happened_at": None}, "happened_at"),
        ({"happened_at": "0001-01-01T00:00:00+14:00"}, "happened_at"),
        ({"latitude": 91}, "latitude"), ({"latitude": "12"}, "latitude"),
        ({"latitude": True}, "latitude"), ({"latitude": 10**400}, "latitude"),
        ({"latitude": None}, "latitude"), ({"longitude": -180.1}, "longitude"),
        ({"accuracy_m": -1}, "accuracy_m"), ({"accuracy_m": 1e300}, "accuracy_m"),
        ({"speed": 3}, "speed"), ({"sent_at": "soon"}, "sent_at"),
    ],
)  # fmt: skip
def test_a_bad_one_is_named_and_kept_while_the_good_are_stored(
    phone: Device, journey: Transfer, now: datetime, change: dict[str, Any], field: str
) -> None:
    batch = [_fix(1, now), {**_fix(2, now), **change}, _fix(3, now)]
    answer = phone.post(f"transfers/{journey.pk}/positions/", {"positions": batch})

    assert answer.status_code == 200
    body = answer.json()
    assert body["stored"] == 2
    assert [(one["index"], one["field"]) for one in body["errors"]] == [(1, field)]
    assert set(Position.objects.values_list("key", flat=True)) == {"p1", "p3"}
    assert json.loads(KeptInput.objects.get().body) == [json.loads(json.dumps(batch[1]))]


@pytest.mark.parametrize(
    "body", [[], {}, {"positions": {}}, {"positions": [5]}, {"positions": ["x", None]}, "text"]
)
def test_what_holds_no_good_position_is_refused_and_kept(
    phone: Device, journey: Transfer, body: Any
) -> None:
    answer = phone.post(f"transfers/{journey.pk}/positions/", body)

    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert KeptInput.objects.count() == 1
    assert Position.objects.count() == 0


def test_an_empty_batch_is_no_fault(phone: Device, journey: Transfer) -> None:
    answer = phone.post(f"transfers/{journey.pk}/positions/", {"positions": []})
    assert answer.json() == {"stored": 0, "errors": []}


def test_cut_off_json_is_kept(phone: Device, journey: Transfer) -> None:
    answer = phone.post(f"transfers/{journey.pk}/positions/", raw=b'{"positions": [{"key"')

    assert answer.json()["code"] == "unreadable"
    assert KeptInput.objects.get().body == '{"positions": [{"key"'


def test_a_phone_whose_clock_is_three_hours_off_is_corrected(
    phone: Device, journey: Transfer, now: datetime
) -> None:
    wrong = now - timedelta(hours=3)
    batch = {"positions": [_fix(0, wrong - timedelta(minutes=10))], "sent_at": wrong.isoformat()}
    phone.post(f"transfers/{journey.pk}/positions/", batch)

    off = Position.objects.get().recorded_at - (now - timedelta(minutes=10))
    assert abs(off) < timedelta(seconds=30)


def test_a_large_batch_takes_few_queries(
    phone: Device, journey: Transfer, now: datetime, django_assert_max_num_queries: Any
) -> None:
    batch = {"positions": [_fix(number, now - timedelta(hours=2)) for number in range(150)]}
    with django_assert_max_num_queries(10):
        answer = phone.post(f"transfers/{journey.pk}/positions/", batch)
    assert answer.json()["stored"] == 150


def test_the_largest_batch_is_stored(phone: Device, journey: Transfer, now: datetime) -> None:
    at = now - timedelta(hours=3)
    batch = {"positions": [_fix(number % 7000, at) for number in range(5000)]}
    answer = phone.post(f"transfers/{journey.pk}/positions/", batch)
    assert answer.json() == {"stored": 5000, "errors": []}
    assert Position.objects.count() == 5000
    assert Transfer.objects.get(pk=journey.pk).last_fix_at == at + timedelta(seconds=4999)


def test_the_straight_way_refuses_what_the_long_one_refuses(
    phone: Device, journey: Transfer, now: datetime
) -> None:
    other = f"transfers/{journey.pk + 1}/positions/"
    assert phone.post(other, _fix(1, now)).status_code == 404
    hidden = json.dumps({**_fix(2, now), "key": "\ud800"}).encode()
    assert phone.post(f"transfers/{journey.pk}/positions/", raw=hidden).status_code == 400
    assert Position.objects.count() == 0


def test_too_many_at_once_are_refused(phone: Device, journey: Transfer, now: datetime) -> None:
    answer = phone.post(f"transfers/{journey.pk}/positions/", {"positions": [1] * 5001})
    assert answer.status_code == 400
