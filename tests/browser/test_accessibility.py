"""Every page, on a phone and at the desk: no fault that axe knows, nothing too small or too wide.

Axe checks the rules of WCAG 2.2 A and AA, the sizes of targets, and contrast of 7 to 1 (AAA).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from fixtures_demo.in_browser import DESK, MILESTONES, PHONE, Journey, People

pytestmark = pytest.mark.browser

RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"target-size": {"enabled": True}, "color-contrast-enhanced": {"enabled": True}},
    "resultTypes": ["violations"],
}
ATTENDANT = {
    "the post": "/post/",
    "the case": "/r/{open}/",
    "a question not answered": "/r/{open}/details/",
    "how the baby breathes": "/r/{open}/details/1/breathing/",
    "what was weighed": "/r/{open}/details/1/weight/",
    "whose hands": "/r/{open}/details/all/hands/",
    "the mother": "/r/{open}/details/mother/pressure/",
    "what was told": "/r/{open}/told/",
    "a check": "/r/{open}/check/1/",
    "the gauge": "/r/{open}/check/1/gauge/",
    "a treatment": "/r/{open}/treatment/",
    "advice": "/r/{open}/advice/",
    "what to bring": "/r/{open}/before-leaving/",
    "a first examination": "/r/{open}/examination/1/",
    "the chest does not move": "/r/{open}/chest/1/",
    "no transfer any more": "/r/{open}/ending/1/",
    "called by mistake": "/r/{open}/take-back/",
    "handing over": "/r/{open}/handover/1/",
    "everything in order": "/r/{open}/timeline/",
    "the paper slip": "/r/{open}/print/",
    "the summary": "/r/{open}/summary/1/",
    "a closed case": "/r/{closed}/",
    "an ending that is wrong": "/r/{closed}/ending/1/reverse/",
    "the beat": "/beat/",
    "nothing there": "/r/ZZZZ/",
}
UNIT = {
    "an accepted question": "{accepted}",
    "receiving": "{accepted}receive/1/",
    "the summary": "{accepted}summary/1/",
    "advice given": "{accepted}advice/",
    "a question that is over": "{over}",
    "an examination at the unit": "{accepted}examination/1/",
    "telling the outcome": "{over}outcome/1/",
}
UNIT_ACCOUNT = {"the unit": "/unit/"}
DRIVER = {"the drive": "{drive}", "a drive that is over": "{driven}"}
DISTRICT = {
    "all journeys": "/desk/",
    "one referral": "/desk/{open}/",
    "a closed referral": "/desk/{closed}/",
    "a post calls": "/desk/raise/",
    "whom to ring": "/desk/{open}/calls/",
    "closed roads": "/desk/roads/",
    "the map": "/desk/map/",
    "closed journeys": "/desk/closed/",
    "what came in": "/desk/came-in/",
    "rules and tables": "/rules/tlv/",
    "one table": "/rules/tlv/temperature/",
}
DEMO = {
    "the demo": "/demo/",
    "everybody's phone": "/demo/phone/",
    "signing in": "/sign-in/",
    "a link that is over": "/d/d1-nothing/",
}
SHOWN = {
    f"{role}: {name}": (role, address)
    for role, pages in {
        "attendant": ATTENDANT, "nurse": UNIT, "unit": UNIT_ACCOUNT, "driver": DRIVER,
        "desk": DISTRICT, "nobody": DEMO,
    }.items()
    for name, address in pages.items()
}  # fmt: skip
NOT_THERE = {"attendant: nothing there", "nobody: a link that is over"}
ON_A_PHONE = [name for name in SHOWN if not name.startswith("desk")]
TOO_SMALL = """() => [...document.querySelectorAll(
  "a, button, summary, select, textarea, .chip, label.choice, main input"
)].filter((each) => {
  const pressed = each.matches("[type=checkbox], [type=radio]") && each.labels[0] || each;
  const box = pressed.getBoundingClientRect(), inside = each.closest(".chip, label.choice, .rates");
  return box.width && box.height < 55.5 && (!inside || inside === each);
}).map((each) => each.textContent.trim() || each.name)"""


@dataclass
class World:
    """A browser a role, and the addresses of one open and one closed case."""

    pages: dict[str, Page]
    addresses: dict[str, str]

    def show(self, name: str, size: tuple[int, int]) -> Page:
        """Go where a page of the table is, at a size."""
        role, address = SHOWN[name]
        page = self.pages[role]
        page.set_viewport_size({"width": size[0], "height": size[1]})
        answer = page.goto(self.addresses["url"] + address.format(**self.addresses))
        assert answer is not None
        assert answer.status == (404 if name in NOT_THERE else 200)
        return page


@pytest.fixture(scope="module")
def world(people: People) -> Iterator[World]:
    """One journey handed over and told of, one on the road, each by its people."""
    pages = {role: people.signed_in(role) for role in ("attendant", "desk", "unit")}
    pages |= {role: people.somebody() for role in ("nurse", "driver", "nobody")}
    url = people.demo.url
    closed, before = play(people, pages, handed_over=True)
    going, now = play(people, pages, handed_over=False)
    yield World(
        pages,
        {"url": url, "closed": closed.code, "over": before[0], "driven": before[1],
         "open": going.code, "accepted": now[0], "drive": now[1]},
    )  # fmt: skip
    going.take_back()


def play(
    people: People, pages: dict[str, Page], *, handed_over: bool
) -> tuple[Journey, tuple[str, str]]:
    """A journey, with the addresses of the unit's and the driver's page."""
    journey = Journey(people, pages["attendant"])
    journey.call_for_help()
    journey.tell_how_the_baby_is()
    message = journey.read_the_question(pages["nurse"])
    message.get_by_role("button", name="Open the link").click()
    journey.accept(pages["nurse"])
    journey.send_a_vehicle(pages["desk"])
    journey.driver_opens_the_link(pages["driver"])
    at = tuple(pages[role].url.removeprefix(people.demo.url) for role in ("nurse", "driver"))
    for milestone in MILESTONES if handed_over else MILESTONES[:3]:
        journey.reach(pages["driver"], milestone)
    journey.check(bar=110)
    if handed_over:
        journey.give()
        pages["nurse"].reload()
        journey.receive(pages["nurse"])
        journey.tell_the_outcome(pages["nurse"], "Warm and pink. Thank you.")
    return journey, (at[0], at[1])


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("name", SHOWN)
def test_axe_finds_no_fault_and_nothing_is_wider_than_the_screen(
    world: World, name: str, size: tuple[int, int]
) -> None:
    page = world.show(name, size)
    page.evaluate("document.querySelectorAll('details').forEach((each) => each.open = true)")
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


@pytest.mark.parametrize("name", ON_A_PHONE)
def test_every_action_is_large_enough_for_a_thumb(world: World, name: str) -> None:
    page = world.show(name, PHONE)
    assert page.evaluate(TOO_SMALL) == []
