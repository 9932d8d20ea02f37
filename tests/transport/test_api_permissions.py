"""Who may do what to what: every role against every verb, on one journey under way."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pytest
from django.db import transaction

from referrals import describing, lifecycle, recording
from referrals.acting import by_staff
from referrals.calc.terms import DeclineReason, EntryChannel
from referrals.models import (
    Alert,
    Baby,
    District,
    KeptInput,
    Offer,
    Referral,
    Staff,
    StaffRole,
    Unit,
)
from tests import world
from tests.api_world import Device, device_of, driver_device
from tests.pages_world import browser_of, text_of
from transport import closures
from transport import lifecycle as journeys
from transport.calc.closures import ClosureKind
from transport.calc.places import Place
from transport.models import Leg, Transfer, Vehicle

CALLERS = {
    "own post": "tomasi.bellaqua",
    "other post": "mei.corrowan",
    "receiving unit": "hana.wendorra",
    "unit over": "miriam.castowell",
    "other unit": "blessing.amorvale",
    "driver": "mateus.dunnaway",
    "other driver": "ilse.kambarra",
    "desk": "leena.morrastad",
    "lead": "adaeze.wintermoor",
    "far desk": "far.desk",
    "link": "",
}
ALLOWED, ROLE, FOREIGN, ACCOUNT, BODY = "Y", "R", "N", "U", "B"
MEANT = {ROLE: {403}, FOREIGN: {404}, ACCOUNT: {401}, BODY: {400}}
CHECK = {"baby": 1, "breathing": "ventilated", "heart_rate": 120}
POSITION = {
    "key": "p1",
    "happened_at": "2026-03-01T14:02:00Z",
    "latitude": -22.4,
    "longitude": 85.9,
}
FOUND = {
    "name": "Red car", "kind": "car", "driver_name": "A neighbour", "driver_phone": "+12025550199",
}  # fmt: skip
TRIPS = {"score": "trips", "items": {"temperature": 35.8, "respiratory": "severe"}}
CLOSED = {"kind": "road", "name": "Ford", "latitude": -22.4, "longitude": 85.9}
LEG = {
    "name": "Launch", "origin": "QAY", "destination": "HUR", "median_minutes": 60,
    "p90_minutes": 80, "kinds": ["boat"],
}  # fmt: skip
CALL = {"name": "A neighbour with a car", "came_of": "rings_back"}
MEET = {"vehicle": "AMB-2", "site": "SAL"}
LIST = {"version": 1, "answers": {"warmth": "yes"}, "template": "before-leaving"}
PREPARES = {"version": 1, "answers": {"cot": "yes"}, "template": "unit-prepares"}
CHEST = {"step": "seal", "chest_moves": False}
REASON = {"reason": "told by phone"}

# One letter for each caller above, in their order.
MATRIX = [
    ("GET", "referrals/{code}/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/", {"site": "MRW"}, "YRRRRRRYYBU"),
    ("GET", "referrals/{code}/observations/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/observations/", {"heart_rate": 90}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/treatments/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/treatments/", {"words": "vitamin K"}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/advice/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/advice/", {"given_by": "Dr W", "words": "warm"}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/scores/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/scores/", TRIPS, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/chest/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/chest/", CHEST, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/examinations/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/examinations/", {"findings": "pink"}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/needs/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/needs/{need}/override/", REASON, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/needs/{need}/restore/", REASON, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/told/outcome/{outcome}/withdraw/", REASON, "RNYNNNNYYNU"),
    ("GET", "referrals/{code}/candidates/", None, "YNRNNNNYYNU"),
    ("GET", "referrals/{code}/offers/", None, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/offers/{offer}/shown/", None, "YNRNNNNYYNU"),
    ("POST", "referrals/{code}/offers/", {"unit": "BAN-NB"}, "RNRNNNNYYNU"),
    ("GET", "referrals/{code}/entries/", None, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/hands/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/hands/", {"alone": True}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/calls/", None, "RNRNNNNYYNU"),
    ("POST", "referrals/{code}/calls/", CALL, "RNRNNNNYYNU"),
    ("GET", "referrals/{code}/charge/", None, "RNRNNNNYYNU"),
    ("POST", "referrals/{code}/charge/", {"staff": "leena.morrastad"}, "RNRNNNNYYNU"),
    ("POST", "referrals/{code}/mother/", {"travels": False}, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/babies/", {}, "YNYNNNNYYNU"),
    ("GET", "referrals/{code}/outcome/", None, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/outcome/", {"state": "improving", "words": "feeds"}, "RNYNNNNYYNU"),
    ("POST", "referrals/{code}/outcome/{outcome}/read/", {}, "YNRNNNNRRNU"),
    ("POST", "referrals/{code}/babies/1/", {"sex": "female"}, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/babies/1/ending/", {"ending": "family_declined"}, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/babies/1/ending/reverse/", REASON, "YNYNNNNYYNU"),
    ("POST", "referrals/{code}/take_back/", REASON, "YNRNNNNYYNU"),
    ("POST", "referrals/{code}/join/", {"into": "K7Q4"}, "RNRNNNNBBNU"),
    ("POST", "referrals/{code}/divert/", REASON, "RNRNNNNYYNU"),
    ("POST", "offers/{offer}/accept/", {}, "RNYNNNNYYNU"),
    ("POST", "offers/{offer}/reconfirm/", {}, "RNYNNNNYYNU"),
    ("POST", "offers/{offer}/decline/", {"reason": "no_staff"}, "RNYNNNNYYNU"),
    ("POST", "offers/{offer}/withdraw/", REASON, "RNRNNNNYYNU"),
    ("GET", "transfers/{transfer}/", None, "YNYNNYNYYNY"),
    ("POST", "transfers/{transfer}/assign/", {"vehicle": "AMB-2"}, "RNRNNRNYYNR"),
    ("GET", "proposals/", None, "RRRRRRRYYYU"),
    ("GET", "transfers/{transfer}/proposal/", None, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/proposal/", {"vehicle": "AMB-2"}, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/proposal/withdraw/", {}, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/unassign/", REASON, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/send_toward/", {"unit": "KES-NB"}, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/send_toward/withdraw/", {}, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/escort/", {"name": "Tomasi"}, "YNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/go_on/", REASON, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/meeting/", MEET, "RNRNNRNYYNR"),
    ("POST", "transfers/{transfer}/meeting/steps/", {"step": "drive_on"}, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/milestones/", {"milestone": "collecting"}, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/milestones/withdraw/", {}, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/positions/", POSITION, "YNRNNYNYYNY"),
    ("GET", "transfers/{transfer}/checks/", None, "YNYNNYNYYNY"),
    ("POST", "transfers/{transfer}/checks/", CHECK, "YNRNNYNYYNY"),
    ("GET", "transfers/{transfer}/checklists/", None, "YNYNNYNYYNY"),
    ("POST", "transfers/{transfer}/checklists/", LIST, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/checklists/leave/", REASON, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/checklists/", PREPARES, "RNYNNRNYYNR"),
    ("GET", "transfers/{transfer}/bands/", None, "YNYNNYNYYNY"),
    ("POST", "transfers/{transfer}/bands/", {"band": "{code}-1"}, "YNRNNYNYYNY"),
    ("GET", "transfers/{transfer}/handover/", None, "YNYNNYNYYNY"),
    ("POST", "transfers/{transfer}/handover/", {"side": "giver", "name": "T"}, "YNRNNYNYYNY"),
    ("POST", "transfers/{transfer}/handover/", {"side": "receiver", "name": "H"}, "RNYNNRNYYNR"),
    ("POST", "transfers/{transfer}/handover/withdraw/", REASON | {"side": "giver"}, "YNRNNYNYYNY"),
    (
        "POST",
        "transfers/{transfer}/handover/withdraw/",
        REASON | {"side": "receiver"},
        "RNYNNRNYYNR",
    ),
    ("GET", "units/ORL-NB/", None, "YYYYYYYYYNU"),
    ("POST", "units/ORL-NB/cots/", {"cots_free": 1}, "RRYRRRRYYNU"),
    ("POST", "units/ORL-NB/cots/withdraw/", REASON, "RRYRRRRYYNU"),
    ("POST", "vehicles/AMB-1/ready/", {}, "RRRRRYNYYNU"),
    ("POST", "vehicles/AMB-1/ready/", {"step": "clean"}, "RRRRRYNYYNU"),
    ("POST", "vehicles/AMB-1/place/", {"site": "SAL"}, "RRRRRYNYYNU"),
    ("POST", "vehicles/", FOUND, "RRRRRRRYYYU"),
    ("POST", "closures/", CLOSED, "YYYYYYYYYYU"),
    ("POST", "closures/{closure}/lift/", {}, "RRRRRRRYYNU"),
    ("POST", "legs/", LEG, "RRRRRRRYYBU"),
    ("POST", "legs/{leg}/stop/", {}, "RRRRRRRYYNU"),
    ("POST", "legs/{leg}/start/", {}, "RRRRRRRYYNU"),
    ("POST", "alerts/{alert}/acknowledge/", {}, "NNYNNNNYYNU"),
    ("POST", "alerts/{alert}/give_back/", {}, "NNYNNNNYYNU"),
    ("GET", "kept/", None, "RRRRRRRYYYU"),
    ("POST", "kept/{kept}/done/", {}, "RRRRRRRYYNU"),
    ("POST", "inbound/sms/", {"id": "1", "sender": "+1", "text": "x"}, "RRRRRRRRRRR"),
    ("POST", "inbound/missed_calls/", {"id": "1", "sender": "+1"}, "RRRRRRRRRRR"),
    ("POST", "inbound/reports/", {"message": "1", "state": "sent"}, "RRRRRRRRRRR"),
]


@dataclass(frozen=True)
class Stage:
    """One journey with everybody who could want something of it."""

    referral: Referral
    transfer: Transfer
    numbers: dict[str, Any]

    def device(self, caller: str) -> Device:
        return driver_device(self.transfer) if caller == "link" else device_of(CALLERS[caller])


@pytest.fixture
def stage(district: District, intensive: Unit, ward: Unit, now: datetime) -> Stage:
    far = District.objects.create(code="far", name="A far district")
    officer = Staff.objects.create(username="far.desk", display_name="Far Desk")
    StaffRole.objects.create(staff=officer, role="desk", district=far)
    referral = world.a_referral(now)
    describing.name_person(
        world.told_by("tomasi.bellaqua", now), referral.babies.get(), "Little Aru"
    )
    world.an_offer(referral, ward, now)
    offer = world.an_offer(referral, intensive, now)
    lifecycle.accept(world.told_by("hana.wendorra", now), offer)
    transfer = referral.transfers.get()
    desk = by_staff(
        Staff.objects.get(username="leena.morrastad"), channel=EntryChannel.PAGE, now=now
    )
    transfer = journeys.assign(desk, transfer, Vehicle.objects.get(code="AMB-1"))
    need = referral.needs.filter(superseded_at=None).first()
    assert need is not None
    hana = world.told_by("hana.wendorra", now)
    outcome = recording.tell_outcome(hana, referral.babies.get(), state="improving", words="pink")
    closed = closures.ClosureTold(kind=ClosureKind.ROAD, name="Ford", place=Place(-20.0, 80.0))
    numbers = {
        "closure": closures.report(desk, district, closed).pk,
        "leg": Leg.objects.earliest("pk").pk,
        "kept": KeptInput.objects.create(
            received_at=now, channel="sms", caller=hana.actor, problem="not understood"
        ).pk,
        "code": referral.code,
        "need": need.pk,
        "outcome": outcome.pk,
        "offer": offer.pk,
        "transfer": transfer.pk,
        "alert": Alert.objects.get(offer=offer, kind="question").pk,
    }
    return Stage(referral, transfer, numbers)


@pytest.mark.parametrize(
    ("method", "path", "body", "letters"), MATRIX, ids=[f"{m} {p} {b}" for m, p, b, _ in MATRIX]
)
def test_each_role_gets_what_is_meant_for_it(
    stage: Stage, method: str, path: str, body: Any, letters: str
) -> None:
    devices = {caller: stage.device(caller) for caller in CALLERS}
    got = {}
    for caller, device in devices.items():
        with transaction.atomic():
            address = path.format(**stage.numbers)
            answer = device.get(address) if method == "GET" else device.post(address, body)
            got[caller] = answer.status_code
            transaction.set_rollback(True)

    wrong = {
        caller: (letter, got[caller])
        for caller, letter in zip(CALLERS, letters, strict=True)
        if got[caller] not in MEANT.get(letter, {200, 201, 409})
    }
    assert wrong == {}


def test_the_matrix_knows_every_verb_of_the_schema(stage: Stage) -> None:
    schema = Device().get("schema/").json()
    published = {
        (method.upper(), path.removeprefix("/api/v1/").replace("{birth_order}", "1"))
        for path, operations in schema["paths"].items()
        for method in operations
    }
    named = {(method, path) for method, path, _, _ in MATRIX}
    plain = {
        (method, _anonymous(path))
        for method, path in named
        | {("GET", f"{name}/") for name in ("me", "referrals", "offers", "transfers", "sites",
                                            "units", "vehicles", "alerts", "closures", "legs",
                                            "tables")}
    }  # fmt: skip
    assert {(method, _anonymous(path)) for method, path in published} == plain


def _anonymous(path: str) -> str:
    parts = path.split("/")
    known = {"ORL-NB", "AMB-1", "outcome"} if "told" in parts else {"ORL-NB", "AMB-1"}
    return "/".join("{}" if part.startswith("{") or part in known else part for part in parts)


@pytest.mark.parametrize(
    ("caller", "seen"),
    [
        ("own post", (1, 2, 1)), ("other post", (0, 0, 0)), ("receiving unit", (1, 1, 1)),
        ("unit over", (0, 1, 0)), ("other unit", (0, 0, 0)), ("driver", (0, 0, 1)),
        ("other driver", (0, 0, 0)), ("desk", (1, 2, 1)), ("lead", (1, 2, 1)),
        ("far desk", (0, 0, 0)),
    ],
)  # fmt: skip
def test_lists_hold_what_is_in_scope(stage: Stage, caller: str, seen: tuple[int, int, int]) -> None:
    device = stage.device(caller)
    counts = tuple(
        device.get(f"{name}/").json()["count"] for name in ("referrals", "offers", "transfers")
    )
    assert counts == seen


@pytest.fixture
def asked(district: District, intensive: Unit, ward: Unit, now: datetime) -> Offer:
    """Two units are asked at once, and both questions stand; this is the one to Kesawari."""
    referral = world.a_referral(now)
    describing.name_person(
        world.told_by("tomasi.bellaqua", now), referral.babies.get(), "Little Aru"
    )
    world.an_offer(referral, intensive, now)
    return world.an_offer(referral, ward, now)


def test_a_unit_sees_its_own_question_only_and_no_name(asked: Offer) -> None:
    body = device_of("miriam.castowell").get(f"referrals/{asked.referral.code}/").json()
    assert [offer["unit"] for offer in body["offers"]] == ["KES-NB"]
    assert body["babies"][0]["name"] == ""


READ = ["", "observations/", "treatments/", "advice/", "needs/", "offers/"]


def says_no(offer: Offer, now: datetime) -> None:
    lifecycle.decline(world.told_by("miriam.castowell", now), offer, reason=DeclineReason.NO_STAFF)


def is_withdrawn(offer: Offer, now: datetime) -> None:
    lifecycle.withdraw(world.told_by("leena.morrastad", now), offer, why="told by phone")


def another_says_yes(offer: Offer, now: datetime) -> None:
    other = offer.referral.offers.exclude(pk=offer.pk).get()
    lifecycle.accept(world.told_by("hana.wendorra", now), other)


def lets_it_lapse_and_another_says_yes(offer: Offer, now: datetime) -> None:
    lifecycle.lapse(offer, now)
    assert _statuses(offer) == dict.fromkeys(READ, 200)  # a late yes is still welcome
    another_says_yes(offer, now)


def _statuses(offer: Offer) -> dict[str, int]:
    device, code = device_of("miriam.castowell"), offer.referral.code
    return {part: device.get(f"referrals/{code}/{part}").status_code for part in READ}


@pytest.mark.parametrize(
    "ends",
    [says_no, is_withdrawn, another_says_yes, lets_it_lapse_and_another_says_yes],
)
def test_a_unit_reads_the_record_only_while_its_question_stands(
    asked: Offer, now: datetime, ends: Callable[[Offer, datetime], None]
) -> None:
    nurse = device_of("miriam.castowell")
    page = browser_of(Staff.objects.get(username="miriam.castowell"))
    recording.observe(
        world.told_by("tomasi.bellaqua", now), asked.referral.babies.get(), {"heart_rate": 91}
    )
    assert _statuses(asked) == dict.fromkeys(READ, 200)
    assert "Assessment" in text_of(page.get(f"/unit/{asked.pk}/"))
    ends(asked, now)
    assert _statuses(asked) == dict.fromkeys(READ, 404)
    shown = text_of(page.get(f"/unit/{asked.pk}/"))
    assert "Assessment" not in shown
    assert "Your question and your answer stay here" in shown
    (own,) = nurse.get("offers/").json()["results"]
    assert own["id"] == asked.pk
    assert page.get(f"/c/{asked.referral.code}/").url == f"/unit/{asked.pk}/"


def test_a_no_taken_back_opens_the_record_again(asked: Offer, now: datetime) -> None:
    says_no(asked, now)
    lifecycle.accept(world.told_by("miriam.castowell", now), asked)
    assert _statuses(asked) == dict.fromkeys(READ, 200)


@pytest.mark.parametrize("caller", ["own post", "receiving unit", "desk"])
def test_the_name_is_for_those_who_care_for_the_baby(stage: Stage, caller: str) -> None:
    body = stage.device(caller).get(f"referrals/{stage.referral.code}/").json()
    assert body["babies"][0]["name"] == "Little Aru"


@pytest.mark.parametrize(
    ("caller", "sees"), [("driver", {"AMB-1"}), ("own post", None), ("desk", None)]
)
def test_a_driver_sees_the_vehicles_it_drives_and_no_other(
    stage: Stage, caller: str, sees: set[str] | None
) -> None:
    found = {row["code"] for row in stage.device(caller).get("vehicles/").json()["results"]}
    assert found == (sees or set(Vehicle.objects.values_list("code", flat=True)))


@pytest.mark.parametrize("caller", ["link", "driver"])
def test_a_driver_never_reads_a_name(stage: Stage, caller: str) -> None:
    device = stage.device(caller)
    number = stage.transfer.pk
    stage.device("receiving unit").post(
        f"transfers/{number}/handover/",
        {"side": "receiver", "name": "Hana Wendorra", "disagreement": "says Little Aru is cold"},
    )
    pages = [f"transfers/{number}/{part}" for part in ("", "checks/", "checklists/")]
    pages += ["transfers/"] + ([f"transfers/{number}/handover/"] if caller == "link" else [])
    for page in pages:
        answer = device.get(page)
        assert answer.status_code == 200
        assert "Aru" not in answer.content.decode()
        assert "Hana" not in answer.content.decode()


def test_the_driver_gets_no_word_about_lateness(stage: Stage) -> None:
    body = stage.device("link").get(f"transfers/{stage.transfer.pk}/").json()
    assert set(body) == {
        "id", "referral", "stage", "babies", "meeting", "pickup", "destination",
        "without_acceptance", "desk_phone", "next_milestone", "server_time",
    }  # fmt: skip
    assert body["pickup"]["name"] == "Mirrow Heights Health Post"
    assert body["next_milestone"] == "collecting"


def test_taking_a_role_away_works_at_once(stage: Stage) -> None:
    device = stage.device("desk")
    path = f"referrals/{stage.referral.code}/"
    assert device.get(path).status_code == 200
    StaffRole.objects.filter(staff__username=CALLERS["desk"]).delete()
    assert device.get(path).status_code == 404


def test_a_page_session_needs_its_csrf_token(stage: Stage) -> None:
    from django.test import Client

    client = Client(enforce_csrf_checks=True)
    client.force_login(
        Staff.objects.get(username=CALLERS["desk"]), "django.contrib.auth.backends.ModelBackend"
    )
    assert client.get("/api/v1/me/").status_code == 200
    answer = client.post(
        "/api/v1/referrals/", "{}", "application/json", headers={"idempotency-key": "k"}
    )
    assert answer.status_code == 403
    assert not Baby.objects.exclude(referral=stage.referral).exists()


def test_numbers_of_other_things_do_not_open_anything(stage: Stage) -> None:
    desk = stage.device("desk")
    other = world.a_referral(stage.referral.raised_at, attendant="mei.corrowan")
    assert Offer.objects.count() == 2
    path = f"referrals/{other.code}/needs/{stage.numbers['need']}/override/"
    assert desk.post(path, REASON).status_code == 404
    assert desk.get(f"transfers/{10**30}/").status_code == 404
