"""An attendant without a network: what is pressed arrives later, once, in order, with its time."""

from datetime import datetime
from itertools import pairwise
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from fixtures_demo.in_browser import Journey, People

pytestmark = pytest.mark.browser

SAVED = '#outbox [data-when="saved"]'
PRESSED = ("Being ventilated (bag and mask)", "Bag and mask, oxygen", "Yes")


def test_a_call_and_three_answers_made_without_a_network_arrive_once_in_order(
    people: People, journey: Journey
) -> None:
    page = journey.attendant
    page.clock.install()
    page.goto(f"{people.demo.url}/post/")
    page.context.set_offline(True)
    page.get_by_role("button", name="Call for help").click()
    expect(page.get_by_text("The call for help is saved on this phone.")).to_be_visible()
    expect(page.get_by_role("link", name="Call the desk")).to_be_visible()
    for answer in PRESSED:
        page.clock.fast_forward("01:05")
        journey.press(answer)
    expect(page.locator(SAVED)).to_contain_text("not sent yet: 4")

    # The session has run out meanwhile, and the first answer of the service gets lost.
    session = page.context.cookies()
    page.context.clear_cookies()
    lost = the_first_answer_is_lost(page)
    page.context.set_offline(False)
    expect(page.locator(SAVED)).to_be_visible()
    wait_for(page, lost)
    page.clock.fast_forward("00:25")
    expect(page.locator('#outbox [data-when="sent"]')).to_be_visible()
    link = page.locator("#raised-link")
    expect(link).to_contain_text("Help is called. Write on the band: ")
    expect(page.get_by_text("No answer has come yet")).to_be_hidden()
    journey.code = str(link.get_attribute("href")).split("/")[2]
    it_stands_once_in_order(entries_of(people, journey))
    # Signed in as before, so that the case can be taken back.
    page.context.add_cookies(session)  # type: ignore[arg-type]


def test_answers_go_on_by_themselves_and_back_shows_the_one_before(
    people: People, journey: Journey
) -> None:
    page = journey.attendant
    journey.call_for_help()
    for answer in PRESSED:
        journey.press(answer)
    heading = page.locator(".question:visible h1")
    expect(heading).to_have_text("Heartbeats in a minute, felt or heard?")
    page.go_back()
    expect(heading).to_have_text("Does the chest rise with each squeeze?")
    journey.press("No")
    expect(page.locator('#outbox [data-when="sent"]')).to_be_visible()
    kinds = [entry["kind"] for entry in entries_of(people, journey)]
    assert [kinds.count(kind) for kind in ("observed", "corrected")] == [3, 1]


def test_an_answer_that_rules_out_a_question_leaves_it_out_without_a_network(
    people: People, journey: Journey
) -> None:
    page = journey.attendant
    journey.call_for_help()
    page.context.set_offline(True)
    journey.press("Breathes regularly alone")
    journey.press("No support")
    heading = page.locator(".question:visible h1")
    expect(heading).to_have_text("Heartbeats in a minute, felt or heard?")
    page.context.set_offline(False)
    expect(page.locator(SAVED)).to_be_hidden()


def test_a_number_that_cannot_be_is_shown_where_it_was_typed(
    people: People, journey: Journey
) -> None:
    page = journey.attendant
    journey.call_for_help()
    page.goto(f"{people.demo.url}/r/{journey.code}/details/1/meter/")
    page.get_by_label("SpO2").fill("880")
    page.get_by_role("button", name="Save and go on").click()
    expect(page.get_by_text("880 is not possible: from 0 to 100 %.")).to_be_visible()
    expect(page.get_by_label("SpO2")).to_have_value("880")
    page.get_by_label("SpO2").fill("88")
    journey.press("Save and go on")
    expect(page.locator('#outbox [data-when="sent"]')).to_be_visible()


def test_what_is_refused_after_the_page_was_closed_is_said_on_the_next_one(
    people: People, journey: Journey
) -> None:
    page = journey.attendant
    journey.call_for_help()
    page.goto(f"{people.demo.url}/r/{journey.code}/details/1/meter/")
    page.context.set_offline(True)
    page.get_by_label("SpO2").fill("880")
    page.get_by_role("button", name="Save and go on").click()
    expect(page.locator(SAVED)).to_contain_text("not sent yet: 1")
    page.goto("about:blank")
    page.context.set_offline(False)
    page.goto(f"{people.demo.url}/r/{journey.code}/")
    refused = page.locator("#outbox li")
    expect(refused).to_contain_text("What does the oxygen meter on the skin show? 880")
    expect(refused).to_contain_text("880 is not possible: from 0 to 100 %.")
    refused.get_by_role("button", name="Leave it out").click()
    expect(refused).to_have_count(0)


def the_first_answer_is_lost(page: Page) -> list[str]:
    """The service hears the call, but its answer never reaches the phone."""
    lost: list[str] = []

    def hear(route: Route) -> None:
        if lost or route.request.method != "POST":
            route.continue_()
            return
        assert route.fetch().ok
        lost.append(route.request.url)
        route.abort()

    page.route("**/post/", hear)
    return lost


def wait_for(page: Page, happened: list[str]) -> None:
    for _ in range(50):
        if happened:
            return
        page.wait_for_timeout(200)
    raise AssertionError("nothing was sent")


def it_stands_once_in_order(entries: list[dict[str, Any]]) -> None:
    """One call, three readings, each a minute after the one before, well before they came in."""
    told = [entry for entry in entries if entry["kind"] in ("raised", "observed")]
    assert [entry["kind"] for entry in told] == ["raised", "observed", "observed", "observed"]
    assert [next(iter(entry["body"]["facts"])) for entry in told[1:]] == [
        "breathing",
        "support",
        "chest_moving",
    ]
    at = [datetime.fromisoformat(entry["happened_at"]) for entry in told]
    assert all(60 <= (b - a).total_seconds() <= 600 for a, b in pairwise(at))
    received = datetime.fromisoformat(told[0]["received_at"])
    corrected = datetime.fromisoformat(told[0]["corrected_at"])
    assert 190 <= (received - corrected).total_seconds() <= 900


def entries_of(people: People, journey: Journey) -> list[dict[str, Any]]:
    answer = journey.attendant.request.get(
        f"{people.demo.url}/api/v1/referrals/{journey.code}/entries/",
        headers={"Authorization": f"Token {people.demo.tokens['desk']}"},
    )
    told = answer.json()
    rows: list[dict[str, Any]] = told if isinstance(told, list) else told["results"]
    return rows
