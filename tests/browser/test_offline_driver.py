"""A driver without a network: what is pressed and where the car was arrive later, once each."""

import sqlite3
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from fixtures_demo.in_browser import Journey, People

pytestmark = pytest.mark.browser

ON_THE_WAY = [(-22.5300, 85.8950), (-22.5340, 85.9010), (-22.5390, 85.9080)]
"""Three places, each several hundred metres from the one before."""


def test_presses_and_positions_made_without_a_network_arrive_later_and_once(
    people: People, journey: Journey
) -> None:
    driver = people.somebody()
    driver.clock.install()
    the_driver_has_the_page(people, journey, driver)
    driver.get_by_role("button", name="Share my position").click()
    expect(driver.locator("#age")).to_contain_text("Position sent just now.")
    expect(driver.get_by_role("button", name="Share my position")).to_be_hidden()

    driver.context.set_offline(True)
    the_driver_presses_and_moves_on(driver)
    assert milestones_of(people, journey) == []
    assert not set(ON_THE_WAY) & set(positions_of(journey))

    lost = the_first_answers_are_lost(driver)
    driver.context.set_offline(False)
    wait_for(driver, lambda: "reached" in lost)
    driver.clock.fast_forward("01:05")
    wait_for(driver, lambda: "positions" in lost)
    driver.clock.fast_forward("01:05")
    expect(driver.locator("#waiting")).to_be_hidden()
    expect(driver.get_by_role("button", name="I am at the post", exact=True)).to_be_visible()
    wait_for(driver, lambda: set(ON_THE_WAY) <= set(positions_of(journey)))
    # Where the car stands now may be told again; the places it has passed may not.
    assert [positions_of(journey).count(place) for place in ON_THE_WAY[:-1]] == [1, 1]
    it_stands_once_at_the_time_of_the_phone(people, journey)


def test_a_press_taken_back_without_a_network_and_pressed_again_counts_from_the_second(
    people: People, journey: Journey
) -> None:
    driver = people.somebody()
    the_driver_has_the_page(people, journey, driver)
    driver.context.set_offline(True)
    driver.get_by_role("button", name="I have set off", exact=True).click()
    driver.get_by_role("button", name="“I have set off” was a mistake").click()
    expect(driver.get_by_role("button", name="I am at the post", exact=True)).to_be_hidden()
    driver.get_by_role("button", name="I have set off", exact=True).click()
    expect(driver.locator("#waiting")).to_contain_text("Kept on this phone: 3.")

    driver.context.set_offline(False)
    expect(driver.locator("#waiting")).to_be_hidden()
    expect(driver.get_by_role("button", name="I am at the post", exact=True)).to_be_visible()
    assert [one["body"]["milestone"] for one in milestones_of(people, journey)] == [
        "collecting",
        "collecting",
    ]


def test_a_driver_whose_vehicle_was_taken_back_meanwhile_learns_it_with_the_network(
    people: People, journey: Journey
) -> None:
    driver = people.somebody()
    desk = the_driver_has_the_page(people, journey, driver)
    driver.context.set_offline(True)
    driver.get_by_role("button", name="I have set off", exact=True).click()
    expect(driver.locator("#waiting")).to_contain_text("Kept on this phone: 1.")

    desk.get_by_text("The vehicle will not come, or has broken down").click()
    fold = desk.locator("#take_back-fold")
    fold.get_by_label("Why").fill("the driver does not answer")
    fold.get_by_role("button", name="Take the vehicle back").click()
    expect(desk.locator("#vehicle")).to_contain_text("No vehicle yet")

    driver.context.set_offline(False)
    expect(driver.get_by_role("heading", level=1)).to_have_text("This link does not open any more")
    expect(driver.get_by_role("link", name="Ring the desk")).to_be_visible()
    late = milestones_of(people, journey)
    assert [(one["body"]["milestone"], one["body"]["applied"]) for one in late] == [
        ("collecting", False)
    ]


def the_driver_has_the_page(people: People, journey: Journey, driver: Page) -> Page:
    """Called, accepted, sent: the driver holds the page of the journey, the desk its own."""
    nurse, desk = people.somebody(), people.signed_in("desk")
    journey.call_for_help()
    journey.tell_how_the_baby_is()
    journey.read_the_question(nurse).get_by_role("button", name="Open the link").click()
    journey.accept(nurse)
    journey.send_a_vehicle(desk)
    journey.driver_opens_the_link(driver)
    return desk


def the_driver_presses_and_moves_on(driver: Page) -> None:
    """The page says that it keeps what it is told, and offers the next milestone."""
    driver.get_by_role("button", name="I have set off", exact=True).click()
    expect(driver.locator("#waiting")).to_contain_text("Kept on this phone: 1.")
    expect(driver.get_by_role("button", name="I am at the post", exact=True)).to_be_visible()
    for number, (latitude, longitude) in enumerate(ON_THE_WAY, start=1):
        # The phone tells a position at most once a minute, so a minute has to pass on its clock.
        driver.clock.fast_forward("01:05")
        driver.context.set_geolocation(
            {"latitude": latitude, "longitude": longitude, "accuracy": 12}
        )
        expect(driver.locator("#age")).to_contain_text(f"{number} kept on this phone.")


def the_first_answers_are_lost(driver: Page) -> set[str]:
    """The service hears what is sent, but its first answer never reaches the phone."""
    lost: set[str] = set()

    def hear(route: Route) -> None:
        what = route.request.url.rstrip("/").rsplit("/", 1)[1]
        if what in lost:
            route.continue_()
            return
        assert route.fetch().ok
        lost.add(what)
        route.abort()

    driver.route("**/reached/", hear)
    driver.route("**/positions/", hear)
    return lost


def it_stands_once_at_the_time_of_the_phone(people: People, journey: Journey) -> None:
    """One Entry, happened when it was pressed, which is well before it came in."""
    (entry,) = milestones_of(people, journey)
    happened, received = (
        datetime.fromisoformat(entry[name]) for name in ("corrected_at", "received_at")
    )
    # Three times 65 s on the phone's clock lie between the press and the first try after it.
    assert 190 <= (received - happened).total_seconds() <= 900


def milestones_of(people: People, journey: Journey) -> list[dict[str, Any]]:
    answer = journey.attendant.request.get(
        f"{people.demo.url}/api/v1/referrals/{journey.code}/entries/",
        headers={"Authorization": f"Token {people.demo.tokens['desk']}"},
    )
    told = answer.json()
    rows = told if isinstance(told, list) else told["results"]
    return [row for row in rows if row["kind"] == "milestone"]


def positions_of(journey: Journey) -> list[tuple[float, float]]:
    """The stored positions of the journey; the API takes positions and lists none."""
    file = journey.people.demo.data / "littleroad.sqlite3"
    store = sqlite3.connect(f"file:{file}?mode=ro", uri=True, timeout=10)
    try:
        rows = store.execute(
            "select latitude, longitude from transport_position where transfer_id in"
            " (select transfer.id from transport_transfer transfer join referrals_referral referral"
            " on referral.id = transfer.referral_id where referral.code = ?)",
            [journey.code],
        ).fetchall()
    finally:
        store.close()
    return [(float(latitude), float(longitude)) for latitude, longitude in rows]


def wait_for(page: Page, happened: Callable[[], bool]) -> None:
    for _ in range(50):
        if happened():
            return
        page.wait_for_timeout(200)
    assert happened()
