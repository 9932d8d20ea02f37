"""One journey from the press for help to the news of the outcome, on the pages of all roles."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from fixtures_demo.in_browser import DESK, Journey, People

pytestmark = pytest.mark.browser

THANKS = "On CPAP, pink and warm. Thank you."


def test_a_baby_comes_from_the_press_for_help_to_the_news_of_how_it_went(
    people: People, journey: Journey
) -> None:
    nurse, driver = people.somebody(), people.somebody()
    desk = people.signed_in("desk", DESK)
    the_attendant_calls_and_tells(journey)
    the_unit_is_asked_and_says_yes(journey, nurse)
    the_desk_sees_what_needs_it_and_sends_a_vehicle(journey, desk)
    the_driver_collects(journey, driver)
    a_check_is_made_on_the_road(journey, driver, desk)
    both_sides_sign(journey, driver, nurse)
    everybody_sees_that_it_is_over(journey, nurse, driver, desk)


def the_attendant_calls_and_tells(journey: Journey) -> None:
    """One press; the band's code at once; details afterwards."""
    journey.call_for_help()
    told = journey.attendant.get_by_role("main")
    expect(told).to_contain_text("Help is called. Units are asked and a vehicle is looked for.")
    expect(told).to_contain_text(f"Write on the baby's band: {journey.code}-1")
    journey.tell_how_the_baby_is()
    expect(told).to_contain_text("Mirrow Heights Health Post, help called at")
    expect(told).to_contain_text(re.compile(r"ventilated since \d\d:\d\d"))
    expect(told).to_contain_text("Units are being asked. You will be told who takes the baby.")
    expect(journey.attendant.get_by_role("link", name=re.compile("Call the desk"))).to_be_visible()


def the_unit_is_asked_and_says_yes(journey: Journey, nurse: Page) -> None:
    """A message, a link without an account, one press."""
    message = journey.read_the_question(nurse)
    expect(message).to_contain_text(f"{journey.code}: newborn at Mirrow Heights Health Post")
    expect(message).to_contain_text("ventilated by hand")
    expect(message).to_contain_text("Can you take?")
    message.get_by_role("button", name="Open the link").click()
    expect(nurse.get_by_role("heading", level=1)).to_contain_text("Can you take this baby?")
    page = nurse.get_by_role("main")
    expect(page).to_contain_text("being ventilated for")
    # Kept on the attendant's phone first, and fetched by this page every so many seconds.
    expect(page).to_contain_text("2900 g", timeout=60_000)
    expect(page).to_contain_text(re.compile(r"With you between \d\d:\d\d"))
    journey.accept(nurse)
    expect(page).to_contain_text("Cot free, clean and made up (do not forget)")
    journey.see_the_case()
    expect(journey.attendant.get_by_text(f"{journey.unit} takes the baby.").first).to_be_visible()


def the_desk_sees_what_needs_it_and_sends_a_vehicle(journey: Journey, desk: Page) -> None:
    """What needs a person stands above the open journeys, with the reason in a sentence."""
    needs = desk.get_by_role("heading", name=re.compile("^Needs a person now"))
    open_journeys = desk.get_by_role("heading", name=re.compile("^Open journeys"))
    matter = desk.get_by_role("article", name=journey.code)
    expect(matter).to_contain_text(re.compile(f"vehicle.*{journey.code}|{journey.code}.*vehicle"))
    assert _top(needs) < _top(matter) < _top(open_journeys)
    expect(desk.get_by_role("link", name=journey.code).last).to_be_visible()
    matter.get_by_role("link", name="Choose a vehicle").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text(journey.code)
    journey.send_a_vehicle(desk)
    attendant = journey.attendant.get_by_role("main")
    expect(attendant).to_contain_text("A vehicle is sent")
    expect(attendant).to_contain_text("At your post between")
    expect(journey.attendant.get_by_role("link", name="Call the driver")).to_be_visible()


def the_driver_collects(journey: Journey, driver: Page) -> None:
    """Where, whom, and one large button at a time."""
    journey.driver_opens_the_link(driver)
    collect = driver.get_by_role("heading", level=1)
    expect(collect).to_contain_text("Collect at Mirrow Heights Health Post")
    buttons = driver.locator("#milestones").get_by_role("button")
    expect(buttons).to_have_text(["I have set off"])
    for milestone, seen in (
        ("I have set off", "The vehicle is on its way to the baby"),
        ("I am at the post", "The vehicle is at the post"),
        ("We leave with mother and baby", "On the road with baby and mother"),
    ):
        journey.reach(driver, milestone)
        journey.see_the_case()
        expect(journey.attendant.get_by_role("main")).to_contain_text(seen)
    expect(driver.get_by_role("heading", level=1)).to_contain_text(f"Bring to {journey.unit}")
    expect(driver.get_by_role("main")).to_contain_text("Entrance:")


def a_check_is_made_on_the_road(journey: Journey, driver: Page, desk: Page) -> None:
    """A few taps; the desk sees the gauge."""
    journey.check(bar=120)
    # The gauge is asked in the unit of the cylinder that the vehicle carries.
    gauge = re.compile("oxygen gauge 120 (bar|psi)")
    expect(journey.attendant.get_by_role("main")).to_contain_text(gauge)
    desk.goto(f"{journey.people.demo.url}/desk/{journey.code}/")
    seen = re.compile(f"{journey.code}-1, 120 (bar|psi)")
    expect(desk.locator("#check")).to_contain_text(seen)
    journey.reach(driver, "We have arrived")
    expect(driver.get_by_role("main")).to_contain_text("The unit and the escort sign the handover")


def both_sides_sign(journey: Journey, driver: Page, nurse: Page) -> None:
    """It is handed over only when the second side has signed."""
    nurse.reload()
    expect(nurse.get_by_role("main")).to_contain_text(re.compile(r"Arrived \d\d:\d\d"))
    journey.give()
    expect(journey.attendant.get_by_role("main")).not_to_contain_text("Handed over to the unit")
    journey.receive(nurse)
    journey.see_the_case()
    expect(journey.attendant.get_by_role("main")).to_contain_text("Handed over to the unit")


def everybody_sees_that_it_is_over(journey: Journey, nurse: Page, driver: Page, desk: Page) -> None:
    """The news reaches the post; driver and desk have nothing left to do."""
    journey.tell_the_outcome(nurse, THANKS)
    journey.attendant.goto(f"{journey.people.demo.url}/post/")
    news = journey.attendant.get_by_role("listitem").filter(has_text=THANKS)
    expect(news).to_contain_text(f"{journey.code}-1: Getting better")
    driver.reload()
    expect(driver.get_by_role("main")).to_contain_text("This journey has ended. Thank you.")
    desk.goto(f"{journey.people.demo.url}/desk/")
    expect(desk.get_by_role("heading", name=re.compile("^Needs a person now"))).to_be_visible()
    expect(desk.get_by_role("link", name=journey.code, exact=True)).to_have_count(0)


def _top(shown: Locator) -> float:
    """Where it stands on the page; the desk's rows are made anew while one looks, so look again."""
    for _ in range(50):
        expect(shown).to_be_visible()
        if box := shown.bounding_box():
            return box["y"]
        shown.page.wait_for_timeout(100)
    raise AssertionError("it is shown and never stands anywhere")
