"""Every page, refusal and message can be said in another language.

The catalogue is replaced by one in wide letters (``tests/pseudo.py``); plain letters that are no
data are words that nobody could translate.
"""

import csv
import re
from collections.abc import Iterator
from datetime import timedelta
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import get_resolver, resolve
from rest_framework import serializers

from referrals import (
    describing,
    endings,
    examining,
    lifecycle,
    links,
    recording,
    reopening,
    sweeping,
)
from referrals.calc import chest_steps, need_rules, no_heartbeat
from referrals.calc.terms import DeclineReason, Ending
from referrals.labels import FIELDS, LABELS
from referrals.models import (
    Alert,
    Delivery,
    District,
    Entry,
    Need,
    Offer,
    Referral,
    Staff,
    Unit,
)
from tests import pseudo
from tests.api_world import API, Device, device_of, driver_device
from tests.pages_world import browser_of, forms_on
from tests.world import a_journey, a_referral, an_offer, told_by
from transport import closures, driver_links, handing_over, on_the_way
from transport import lifecycle as journeys
from transport.calc import shipped_lists
from transport.calc.closures import ClosureKind
from transport.calc.oxygen import UK_CYLINDERS
from transport.calc.stages import TransferStage
from transport.models import Cylinder

pytestmark = pytest.mark.django_db

PEOPLE = {
    "attendant": ("tomasi.bellaqua", "/"),
    "unit": ("hana.wendorra", "/"),
    "driver": ("mateus.dunnaway", "/drive/"),
    "desk": ("leena.morrastad", "/desk/"),
    "nobody": (None, "/sign-in/"),
}
TYPED = "ŻŻŻ"
DISTRICT = Path(__file__).parents[2] / "fixtures_demo" / "district"
NOT_A_PAGE = re.compile(r"^/(admin|static|api|demo|sign-out)/|stream/$")


class _Links(HTMLParser):
    """Where a page leads to: its links, and the parts that it fetches anew."""

    def __init__(self) -> None:
        super().__init__()
        self.paths: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ("href", "data-from", "data-rows") and value:
                self.paths.append(value)


def _leads_to(html: str, here: str) -> Iterator[str]:
    links_on = _Links()
    links_on.feed(html)
    for path in links_on.paths:
        path = path.split("#")[0]
        if path.startswith("?"):
            path = here.split("?")[0] + path
        if path.startswith("/") and not NOT_A_PAGE.search(path):
            yield path


SOURCES = {
    *(rule.source for rule in (*need_rules.RULES, *need_rules.MOTHER_RULES)),
    *(item.source for shipped in shipped_lists.SHIPPED for item in shipped.items),
    *(step.source for step in chest_steps.CHEST_STEPS),
    chest_steps.BEAT_SOURCE,
    *(position.source for position in no_heartbeat.POSITIONS),
}
"""Names of publications; data, but for 'common practice, no source'."""


TYPED_BY_PEOPLE = ("name", "label", "username", "entrance", "words")
"""Columns of the district's tables that hold names and people's own words."""


def _rows_of_the_district() -> Iterator[dict[str, str]]:
    for table in sorted(DISTRICT.glob("*.csv")):
        with table.open(newline="") as file:
            yield from csv.DictReader(file)


@pytest.fixture
def data(district: District) -> set[str]:
    """The plain words that are data: names, what people typed, sources, and codes."""
    names = [
        *(row[name] for row in _rows_of_the_district() for name in TYPED_BY_PEOPLE if name in row),
        *District.objects.values_list("name", flat=True),
        *SOURCES,
        "Littleroad UK US",
        " ".join(UK_CYLINDERS),
    ]
    return pseudo.words_in(names)


@pytest.fixture
def wide(district: District, monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """From here on the whole service speaks the wide language; every sentence it looked up."""
    return pseudo.speak(monkeypatch)


def _crawl(client: Client, start: list[str]) -> dict[str, HttpResponse]:
    """Some first pages, and one of every other kind that can be reached from them."""
    opened: dict[str, HttpResponse] = {}
    kinds: set[str] = set()
    ahead = list(start)
    while ahead:
        path = ahead.pop(0)
        kind = _kind(path)
        if path in opened or (kind in kinds and path not in start):
            continue
        kinds.add(kind)
        answer = opened[path] = client.get(path)
        if answer.status_code == 302:
            ahead.append(answer["Location"])
        elif "html" in answer.headers.get("Content-Type", ""):
            ahead += _leads_to(answer.content.decode(), path)
    return opened


def _markup(page: HttpResponse) -> str:
    """A page as it is; of a file to print, its text."""
    if page.headers.get("Content-Type") != "application/pdf":
        return page.content.decode()
    sheets = pypdfium2.PdfDocument(page.content)
    return "".join(f"<p>{escape(each.get_textpage().get_text_range())}</p>" for each in sheets)


def _kind(path: str) -> str:
    """The view of a path, and what a query opens on it."""
    found = resolve(path.split("?")[0])
    screen = found.kwargs.get("screen", "")
    return f"{found.view_name} {screen} {path.partition('?')[2].split('=')[-1]}"


def _refusals(client: Client, pages: dict[str, HttpResponse]) -> Iterator[tuple[str, str]]:
    """What is said when each form is sent as it stands; nothing of it lasts."""
    tried = set()
    for page in pages.values():
        if "html" not in page.headers.get("Content-Type", ""):
            continue
        for form in forms_on(page):
            if not form["action"].startswith("/") or NOT_A_PAGE.search(form["action"]):
                continue
            found = resolve(form["action"].split("?")[0])
            what = (found.view_name, found.kwargs.get("verb", ""))
            if what in tried:
                continue
            tried.add(what)
            with transaction.atomic():
                answer = client.post(form["action"], form["fields"])
                if answer.status_code == 302:
                    answer = client.get(answer["Location"])
                transaction.set_rollback(True)
            yield form["action"], answer.content.decode()


def _called_for(now: Any) -> Referral:
    """Nobody takes the baby, the mother bleeds, one person is alone; all of it for hours."""
    at = now - timedelta(hours=3)
    referral = a_referral(at, babies=2)
    by = told_by("tomasi.bellaqua", at)
    first, second = referral.babies.order_by("birth_order")
    seen = {
        "heart_rate": 90, "spo2": 80, "temperature_c": 34.9, "respiratory_rate": 15,
        "weight_g": 1400, "gestation_weeks": 30, "glucose": 20, "glucose_unit": "mg_dl",
        "colour": "blue_or_pale", "response": "weak", "convulsions": True,
    }  # fmt: skip
    recording.observe(by, first, seen, note=TYPED)
    recording.observe(by, second, {"breathing": "slow_or_gasping", "heart_rate_band": "under_60"})
    told = {"bleeding": "heavy", "placenta": "incomplete", "consciousness": "drowsy"}
    recording.observe_mother(by, referral.mother, told | {"systolic_mmhg": 80})
    describing.describe_baby(by, first, {"born_at": at - timedelta(hours=7), "sex": "female"})
    describing.say_who_ventilates(by, referral, describing.Hands(ventilates=TYPED, alone=True))
    recording.record_treatment(by, referral, recording.Told(words=TYPED, given_at=at), baby=first)
    desk = told_by("leena.morrastad", at)
    recording.record_advice(desk, referral, given_by=TYPED, words=TYPED, read_back=True)
    recording.override_need(desk, Need.objects.filter(referral=referral).first(), TYPED)
    refused = an_offer(referral, Unit.objects.get(code="KES-NB"), at)
    lifecycle.decline(told_by("miriam.castowell", at), refused, reason=DeclineReason.NO_STAFF)
    an_offer(referral, Unit.objects.get(code="ORL-NB"), at)
    a_referral(at + timedelta(minutes=5))
    return referral


def _on_the_road(now: Any) -> Referral:
    """Late, silent, short of oxygen, with a road closed ahead and a unit whose shift changed."""
    at = now - timedelta(hours=3)
    Unit.objects.update(shift_changes=[f"{(now - timedelta(hours=1)):%H:%M}"])
    transfer = a_journey(
        at, Unit.objects.get(code="ORL-NB"), stage=TransferStage.ON_THE_ROAD, babies=2
    )
    Cylinder.objects.update(bar=40.0)
    referral = transfer.referral
    first = referral.babies.first()
    told = on_the_way.CheckTold(facts={"heart_rate": 120}, oxygen_bar=40.0)
    on_the_way.check(told_by("tomasi.bellaqua", at + timedelta(minutes=40)), transfer, first, told)
    on_the_way.read_band(told_by("tomasi.bellaqua", at), transfer, first, first.code)
    stop = on_the_way.CheckTold(facts={}, stopped_because=TYPED)
    driver = told_by("mateus.dunnaway", now - timedelta(minutes=30))
    on_the_way.check(driver, transfer, first, stop)
    closed = closures.ClosureTold(
        kind=ClosureKind.BRIDGE, name=TYPED, between=(referral.origin, transfer.destination.site)
    )
    closures.report(told_by("leena.morrastad", now), referral.district, closed)
    return referral


def _broken_down(now: Any) -> Referral:
    """The vehicle has left mother and baby on the road."""
    transfer = a_journey(
        now - timedelta(hours=2), Unit.objects.get(code="ORL-NB"), stage=TransferStage.ON_THE_ROAD
    )
    journeys.unassign(told_by("leena.morrastad", now), transfer, why=TYPED, broken=True)
    return transfer.referral


def _at_the_unit(now: Any) -> Referral:
    """Arrived, and one side has signed without reading the band."""
    at = now - timedelta(hours=3)
    transfer = a_journey(at, Unit.objects.get(code="ORL-NB"), stage=TransferStage.ARRIVED)
    signed = handing_over.Signature(side="giver", name=TYPED, disagreement=TYPED)
    by = told_by("tomasi.bellaqua", at + timedelta(hours=1))
    handing_over.hand_over(by, transfer, transfer.referral.babies.get(), signed)
    return transfer.referral


def _over(now: Any) -> Referral:
    """Handed over, told back; an ending was wrong in between."""
    referral = _at_the_unit(now)
    baby = referral.babies.get()
    nurse = told_by("hana.wendorra", now - timedelta(hours=1))
    received = handing_over.Signature(
        side="receiver", name=TYPED, band_checked=True, condition="ventilated", temperature_c=36.4
    )
    handing_over.hand_over(nurse, referral.transfers.get(), baby, received)
    reopening.reverse_ending(nurse, baby, reason=TYPED)
    baby.refresh_from_db()
    endings.end_baby(
        nurse, baby, Ending.DIED_ON_THE_WAY, determined_by=TYPED, band=baby.code, words=TYPED
    )
    reopening.reverse_ending(nurse, baby, reason=TYPED)
    baby.refresh_from_db()
    endings.end_baby(nurse, baby, Ending.HANDED_OVER)
    recording.tell_outcome(
        nurse, baby, state="improving", words=TYPED, moment="at_24_hours", learn=TYPED
    )
    examining.examine(nurse, baby, examined_by=TYPED, findings=TYPED)
    return referral


STATES = {
    "called for": _called_for,
    "on the road": _on_the_road,
    "broken down": _broken_down,
    "at the unit": _at_the_unit,
    "over": _over,
}


def _starts(referral: Referral, role: str) -> list[str]:
    """Where a person comes in, and the parts of pages that are fetched by themselves."""
    code = referral.code
    username, first = PEOPLE[role]
    paths = [first]
    if role == "attendant":
        paths += [f"/r/{code}/", f"/r/{code}/now/", f"/r/{code}/timeline/", f"/r/{code}/print/"]
        paths.append(f"/r/{code}/summary/1/")
        paths += ["/beat/", "/r/ZZ99/"]
    if role == "unit":
        offers = Offer.objects.filter(referral=referral, unit__staffrole__staff__username=username)
        paths += [f"/unit/{offer.pk}/{part}" for offer in offers for part in ("", "now/")]
        paths += ["/unit/now/"]
    if role == "desk":
        paths += [f"/desk/{code}/", "/desk/rows/", "/desk/roads/", "/desk/ZZ99/"]
    if role == "nobody":
        paths += [f"/a/{links.token('a', row.pk)}/" for row in Delivery.objects.order_by("-pk")[:8]]
        paths += [f"/d/{driver_links.token_for(row)}/" for row in referral.transfers.all()]
        paths += ["/d/t1-zz/", "/kept/zz/", "/c/ZZ99/"]
    return paths


@pytest.mark.parametrize("state", STATES)
def test_every_page_of_everybody_can_be_said_in_another_language(
    data: set[str], wide: set[str], now: Any, state: str
) -> None:
    referral = STATES[state](now)
    sweeping.sweep("test", send=False)
    said = {}
    for role, (username, _first) in PEOPLE.items():
        client = browser_of(Staff.objects.get(username=username) if username else None)
        pages = _crawl(client, _starts(referral, role))
        said |= {f"{path} ({role})": _markup(page) for path, page in pages.items()}
        said |= {f"{path} ({role}, sent)": html for path, html in _refusals(client, pages)}
    left = {
        (word, text, path)
        for path, html in said.items()
        for word, text in pseudo.plain_words(pseudo.texts_of(html), data).items()
    }
    assert not left, _listed(left)
    unknown = {each for each in wide - SOURCES - pseudo.catalogue() if re.search("[A-Za-z]", each)}
    assert [each for each in unknown if not pseudo.of_a_library(each)] == []


def _listed(left: set[tuple[str, str, str]]) -> str:
    return "\n".join(f"{word!r} in {text!r} on {path}" for word, text, path in sorted(left))


@pytest.mark.parametrize("state", STATES)
def test_every_message_and_kept_sentence_can_be_said_in_another_language(
    data: set[str], wide: set[str], now: Any, state: str
) -> None:
    STATES[state](now)
    sweeping.sweep("test", send=False)
    texts = [
        *Delivery.objects.values_list("message", flat=True),
        *(row for pair in Alert.objects.values_list("sentence", "closed_reason") for row in pair),
        *(why for why in Entry.objects.values_list("body__why", flat=True) if isinstance(why, str)),
    ]
    assert Alert.objects.count() > 3
    assert not pseudo.plain_words(texts, data)


NOTHING_OF_IT = {
    "reason": "zz", "heart_rate": 9999, "breathing": "zz", "glucose": 20, "zz": 1, "vehicle": "zz",
    "unit": "zz", "milestone": "zz", "side": "zz", "name": TYPED, "template": "zz", "into": "zz",
    "answers": {"zz": "yes"}, "ending": "zz", "happened_at": "zz", "positions": [{"latitude": 99}],
    "kind": "zz", "site": "zz", "baby": 9, "corrects": 999999, "hours": -1, "facts": {"zz": 1},
    "cots_free": -1, "temperature_c": 99, "babies": [{"weight_g": 1}], "band": "zz", "words": "",
}  # fmt: skip
"""A body in which every field is wrong."""


def _posts(referral: Referral) -> list[str]:
    """Where something can be told over the API."""
    case, offer = f"referrals/{referral.code}/", f"offers/{referral.offers.latest('pk').pk}/"
    transfer = f"transfers/{referral.transfers.latest('pk').pk}/"
    parts = {
        case: "observations treatments advice offers outcome examinations take_back join "
        "divert hands mother babies babies/1/ending babies/1/ending/reverse babies/9/ending",
        offer: "accept reconfirm decline withdraw",
        transfer: "assign unassign send_toward milestones milestones/withdraw positions checks "
        "checklists bands handover",
        "": "referrals closures vehicles vehicles/AMB-1/ready units/ORL-NB/cots closures/0/lift "
        "alerts/0/acknowledge nowhere",
    }
    return [f"{before}{part}/" for before, ends in parts.items() for part in ends.split()]


MEANT = {
    "reason": "no_staff", "vehicle": "AMB-1", "unit": "ORL-NB", "milestone": "arrived",
    "side": "giver", "name": TYPED, "ending": "died_on_the_way", "baby": 1, "into": "",
    "words": TYPED, "given_by": TYPED, "read_back": True, "band": "zz",
}  # fmt: skip
"""A body that can be read, for verbs that are not possible now."""


def _fields_of_the_api() -> Iterator[str]:
    assert get_resolver().url_patterns  # the shapes exist once the addresses were read
    shapes = [serializers.Serializer]
    while shapes:
        shape = shapes.pop()
        shapes += shape.__subclasses__()
        yield from shape._declared_fields


@pytest.fixture
def codes() -> set[str]:
    """Codes and names of fields, which a refusal repeats as they are sent."""
    items = (item.code for shipped in shipped_lists.SHIPPED for item in shipped.items)
    members = (member.value for kind in LABELS for member in kind)
    return pseudo.words_in([*members, *items, *FIELDS, *_fields_of_the_api(), "GET PUT POST"])


@pytest.mark.parametrize("state", ["on the road", "over"])
def test_every_refusal_of_the_api_can_be_said_in_another_language(
    data: set[str], codes: set[str], wide: set[str], now: Any, state: str
) -> None:
    referral = STATES[state](now)
    callers = [device_of(username) for username, _first in PEOPLE.values() if username]
    callers += [driver_device(referral.transfers.latest("pk")), Device()]
    answers = []
    for caller in callers:
        for path in _posts(referral):
            for body in (NOTHING_OF_IT, MEANT | {"into": referral.code}, {}):
                with transaction.atomic():
                    answers.append(caller.post(path, body))
                    transaction.set_rollback(True)
        answers.append(caller.post("referrals/", raw=b"{"))
        answers.append(caller.post("referrals/", {}, key=None))
        answers.append(caller.client.put(API + "me/"))
    refused = [answer.json() for answer in answers if answer.status_code >= 400]
    assert len({body["code"] for body in refused}) >= 6
    texts = [body["detail"] for body in refused]
    texts += [error["sentence"] for body in refused for error in body.get("errors", ())]
    assert not pseudo.plain_words(texts, data | codes)
