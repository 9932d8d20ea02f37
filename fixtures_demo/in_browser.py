"""The people of the demo in a real browser: they see its pages and press what stands there."""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Browser, BrowserContext, Locator, Page, sync_playwright

from fixtures_demo.demo_process import Demo

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
)  # fmt: skip
PHONE, DESK = (360, 740), (1440, 900)
PATIENCE_MS = 20_000
ATTENDANT = "Tomasi Bellaqua"
AT_THE_POST = {"latitude": -22.52529, "longitude": 85.89115}
MILESTONES = ("I have set off", "I am at the post", "We leave with mother and baby",
              "We have arrived")  # fmt: skip


@contextmanager
def chromium_at(path: str) -> Iterator[Browser]:
    """Chromium without a window, and without anything that goes to the network by itself."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class People:
    """Everybody of the demo, each with a browser of their own."""

    browser: Browser
    demo: Demo
    contexts: list[BrowserContext] = field(default_factory=list)

    def signed_in(self, role: str, size: tuple[int, int] = PHONE) -> Page:
        """Somebody's first page, reached by a sign-in link of the demo."""
        page = self.somebody(size)
        if role == "attendant":
            # Not the one whose journey is under way: a second call from that post reads as twice.
            page.goto(f"{self.demo.url}/demo/")
            page.get_by_text("Everybody else").click()
            page.get_by_role("link", name=ATTENDANT).click()
        else:
            page.goto(self.demo.links[role])
        page.get_by_role("button", name=re.compile("^Enter as")).click()
        return page

    def somebody(self, size: tuple[int, int] = PHONE) -> Page:
        """A page of a new browser in which nobody is signed in."""
        small = size == PHONE
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            is_mobile=small,
            has_touch=small,
            geolocation={**AT_THE_POST, "accuracy": 12},  # type: ignore[arg-type]
            permissions=["geolocation"],
        )
        context.set_default_timeout(PATIENCE_MS)
        # Everybody's phone shows itself anew when a message comes; here the looking is ours.
        context.route("**/demo/phone/newest/", lambda route: route.abort())
        self.contexts.append(context)
        return context.new_page()

    def read_message(self, page: Page, whose: str, words: str) -> Locator:
        """Look through the phones of some people until a message with these words is on one."""
        deadline = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < deadline:
            page.goto(f"{self.demo.url}/demo/phone/")
            phones = page.locator(".phones a").filter(has_text=whose)
            for address in [phone.get_attribute("href") for phone in phones.all()]:
                page.goto(f"{self.demo.url}/demo/phone/{address}")
                message = page.locator(".handset li").filter(has_text=words)
                if message.count():
                    return message.first
            page.wait_for_timeout(300)
        raise TimeoutError(f"no message with '{words}' came to a phone of {whose}")

    def leave(self) -> None:
        """Close every browser that was opened."""
        for context in self.contexts:
            context.close()


@dataclass
class Journey:
    """One case as its people go through it; each step ends on the page where it leads."""

    people: People
    attendant: Page
    code: str = ""
    unit: str = ""
    driver_name: str = ""

    def call_for_help(self) -> None:
        """One press at the post."""
        self.attendant.goto(f"{self.people.demo.url}/post/")
        self.attendant.get_by_role("button", name=re.compile("^Call for help")).click()
        self.attendant.wait_for_url("**/details/")
        self.code = self.attendant.url.split("/r/")[1].split("/")[0]

    def tell_how_the_baby_is(self) -> None:
        """One question a screen; some are left out, and the rest is left for later."""
        page = self.attendant
        self.press("Being ventilated (bag and mask)")
        self.press("Bag and mask, oxygen")
        self.press("Not known, go on")
        self.press("60 to 99")
        for question, label, value, button in (
            ("hands", "Who reports to the desk", "Tomasi", "There are others with me"),
            ("temperature", "Temperature", "36.2", "Save and go on"),
            ("weight", "Weight", "2900", "It was weighed"),
            ("flow", "Oxygen flow", "1", "Save and go on"),
        ):
            whose = "all" if question == "hands" else "1"
            page.goto(f"{self.people.demo.url}/r/{self.code}/details/{whose}/{question}/")
            page.get_by_label(label, exact=True).fill(value)
            self.press(button)
        page.get_by_role("link", name="Leave it for now").click()
        page.wait_for_url(re.compile(f"/r/{self.code}/$"))

    def press(self, answer: str) -> None:
        """Answer the question on the screen; another one stands there then."""
        page = self.attendant
        asked = page.locator(".question:visible")
        before = asked.get_attribute("id")
        page.get_by_role("button", name=answer, exact=True).click()
        page.wait_for_function(
            "(before) => ![...document.querySelectorAll('.question')]"
            ".some((each) => each.id === before && !each.hidden)",
            arg=before,
        )

    def is_over(self) -> bool:
        """Whether nobody looks for a place any more."""
        self.see_the_case()
        return self.attendant.get_by_text(re.compile("^Closed at")).count() > 0

    def see_the_case(self) -> None:
        """The attendant looks what happens now."""
        self.attendant.goto(f"{self.people.demo.url}/r/{self.code}/")

    def read_the_question(self, nurse: Page) -> Locator:
        """The message of the unit that the attendant sees asked."""
        asked = self.attendant.get_by_text(re.compile("^Asked at")).first
        deadline = time.monotonic() + PATIENCE_MS / 1000
        while not asked.count() and time.monotonic() < deadline:
            self.attendant.wait_for_timeout(300)
            self.see_the_case()
        self.unit = asked.inner_text().split(": ", 1)[1]
        return self.people.read_message(nurse, self.unit, self.code)

    def accept(self, nurse: Page) -> None:
        """One press at the unit."""
        nurse.get_by_role("button", name="Yes, we take this baby").click()
        nurse.get_by_role("heading", name=f"You take {self.code}").wait_for()

    def send_a_vehicle(self, desk: Page) -> None:
        """The desk chooses the first vehicle of the list, after what has come back is ready."""
        desk.goto(f"{self.people.demo.url}/desk/")
        for _ in range(desk.get_by_role("button", name="Ready again").count()):
            desk.get_by_role("button", name="Ready again").first.click()
            desk.wait_for_load_state()
        desk.goto(f"{self.people.demo.url}/desk/{self.code}/")
        desk.get_by_role("button", name="Assign", exact=True).first.click()
        desk.get_by_text(re.compile(r" is sent\.$")).wait_for()
        self.see_the_case()
        line = self.attendant.get_by_text(re.compile("^Driver: ")).inner_text()
        self.driver_name = line.removeprefix("Driver: ")

    def driver_opens_the_link(self, driver: Page) -> None:
        """All the driver has is the message."""
        message = self.people.read_message(
            driver, self.driver_name, f"{self.code}: collect mother and baby at"
        )
        message.get_by_role("button", name="Open the link").click()
        driver.wait_for_url("**/d/**")

    def reach(self, driver: Page, milestone: str) -> None:
        """One press of the driver; it is told when nothing is kept on the phone any more."""
        with driver.expect_response("**/reached/"):
            driver.get_by_role("button", name=milestone, exact=True).click()
        following = MILESTONES[MILESTONES.index(milestone) + 1 :]
        if following:
            driver.get_by_role("button", name=following[0], exact=True).wait_for()
        else:
            driver.get_by_text("All told.").wait_for()
        driver.wait_for_load_state("networkidle")

    def check(self, *, bar: int) -> None:
        """Whoever is not ventilating looks and taps."""
        page = self.attendant
        page.goto(f"{self.people.demo.url}/r/{self.code}/check/1/")
        for answer in ("Being ventilated (bag and mask)", "100 or more", "Pink"):
            self.press(answer)
        page.get_by_label("Oxygen pressure").fill(str(bar))
        page.get_by_role("button", name="Save and go on").click()
        # The temperature once an hour, then what happens now.
        page.wait_for_function(
            "() => document.querySelector('h1 .code')"
            " || document.querySelector('#q-1-temperature:not([hidden])')"
        )
        if page.locator(".question:visible").count():
            page.get_by_role("button", name="Not known, go on").click()
        page.wait_for_url(re.compile(f"/r/{self.code}/$"))

    def take_back(self) -> None:
        """Called by mistake: everybody who was asked is told, and the vehicle is free again."""
        page = self.attendant
        page.goto(f"{self.people.demo.url}/r/{self.code}/take-back/")
        page.get_by_label("Why, in a few words").fill("a journey of the demo that is not needed")
        page.get_by_role("button", name="Take it back").click()
        page.wait_for_url("**/post/")

    def give(self) -> None:
        """The post's side signs."""
        page = self.attendant
        page.goto(f"{self.people.demo.url}/r/{self.code}/handover/1/")
        page.get_by_label("Code on the baby's band").fill(f"{self.code}-1")
        page.get_by_role("button", name="I have handed over this baby").click()
        page.wait_for_url(re.compile(f"/r/{self.code}/$"))

    def receive(self, nurse: Page) -> None:
        """The unit's side signs."""
        nurse.get_by_role("link", name=f"Receive {self.code}-1").click()
        nurse.get_by_label("Code on the baby's band").fill(f"{self.code}-1")
        nurse.get_by_label("Ventilated", exact=True).check()
        nurse.get_by_label("Temperature on arrival").fill("36.6")
        nurse.get_by_role("button", name="We have received this baby").click()
        nurse.get_by_text(f"{self.code}-1 is handed over.").wait_for()

    def tell_the_outcome(self, nurse: Page, words: str) -> None:
        """The unit tells the post how it went."""
        nurse.get_by_role("link", name=re.compile(f"how {self.code}-1 is$")).click()
        nurse.get_by_label("Getting better").check()
        nurse.get_by_label("A few words for the attendant").fill(words)
        nurse.get_by_role("button", name="Send it").click()
        nurse.wait_for_load_state()
