"""Take the pictures of the manual: ``python -m fixtures_demo.take_pictures [FOLDER]``.

Runs the demo, plays a journey in Chromium until it has something to tell, and writes one picture
a role. Everything on the pictures is invented.
"""

import shutil
import socket
import sys
import tempfile
from argparse import ArgumentParser
from pathlib import Path

from playwright.sync_api import Page

from fixtures_demo.demo_process import running_demo
from fixtures_demo.in_browser import DESK, PHONE, Journey, People, chromium_at
from fixtures_demo.small_png import smaller

FOLDER = Path(__file__).resolve().parent / "pictures"
SPEED = 30
MOST_BYTES = 120_000
SECONDS_TO_THE_ROAD = 240


def take_pictures(folder: Path, chromium: str) -> list[Path]:
    """Write ``unit``, ``desk``, ``driver`` and ``attendant`` into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="littleroad-pictures-") as data:
        running = running_demo(_free_port(), Path(data), speed=SPEED)
        with running as demo, chromium_at(chromium) as browser:
            return _play(People(browser, demo), folder)


def _play(people: People, folder: Path) -> list[Path]:
    desk = people.signed_in("desk", DESK)
    nurse, driver = people.somebody(), people.somebody()
    journey = Journey(people, people.signed_in("attendant"))
    # The demo's own journey should be on its way when the second one begins.
    desk.locator(".seg.on_the_road").first.wait_for(timeout=SECONDS_TO_THE_ROAD * 1000)
    journey.call_for_help()
    journey.tell_how_the_baby_is()
    journey.read_the_question(nurse).get_by_role("button", name="Open the link").click()
    taken = [_picture(nurse, folder / "unit.png")]
    journey.accept(nurse)
    desk.goto(f"{people.demo.url}/desk/")
    desk.get_by_text("live", exact=True).wait_for()
    taken.append(_picture(desk, folder / "desk.png"))
    journey.send_a_vehicle(desk)
    journey.driver_opens_the_link(driver)
    driver.get_by_role("button", name="Share my position").click()
    journey.reach(driver, "I have set off")
    taken.append(_picture(driver, folder / "driver.png"))
    journey.see_the_case()
    taken.append(_picture(journey.attendant, folder / "attendant.png"))
    return taken


def _picture(page: Page, file: Path) -> Path:
    """What stands on the screen just now."""
    page.wait_for_load_state("networkidle" if page.viewport_size == _shape(PHONE) else "load")
    page.evaluate("scrollTo(0, 0)")
    file.write_bytes(smaller(page.screenshot()))
    if (size := file.stat().st_size) > MOST_BYTES:
        raise SystemExit(f"{file.name} has {size} bytes; a picture has at most {MOST_BYTES}")
    return file


def _shape(size: tuple[int, int]) -> dict[str, int]:
    return {"width": size[0], "height": size[1]}


def _parser() -> ArgumentParser:
    parser = ArgumentParser(
        prog="python -m fixtures_demo.take_pictures",
        description="Run the demo in Chromium and write one picture a role, all of it invented.",
    )
    parser.add_argument(
        "folder", nargs="?", type=Path, default=FOLDER, metavar="FOLDER",
        help="where the pictures go; the manual's own folder when not told",
    )  # fmt: skip
    return parser


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def main(arguments: list[str]) -> int:
    """The command; needs Chromium, and exits 2 without it."""
    folder = _parser().parse_args(arguments).folder
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        print("Chromium is not on this machine", file=sys.stderr)  # noqa: T201
        return 2
    for file in take_pictures(folder, chromium):
        print(f"{file} {file.stat().st_size} bytes")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
