"""A demo in a process of its own and a Chromium to look at it, once a module."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from servers import chromium, free_port

from fixtures_demo.demo_process import Demo, alive, running_demo
from fixtures_demo.in_browser import Journey, People, chromium_at

SPEED = 4
"""Fast enough that minutes pass between steps; links live two hours, which is half an hour here."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    """The demo, its clock a little faster; at the end nothing of it is left."""
    chromium()
    if not sys.platform.startswith("linux"):
        pytest.skip("the processes of the demo are counted as Linux lists them")
    data: Path = tmp_path_factory.mktemp("demo")
    with running_demo(free_port(), data, speed=SPEED) as running:
        yield running
        family = running.family()
        assert len(family) >= 2, "the sweep beside the service has a process of its own"
    assert running.process.returncode in (0, 130, -2)
    assert not alive(family)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium. It ends with the module: its event loop would be in the way of other tests."""
    with chromium_at(chromium()) as started:
        yield started


@pytest.fixture(scope="module")
def people(browser: Browser, demo: Demo) -> Iterator[People]:
    """Everybody of the demo, each with a browser of their own."""
    everybody = People(browser, demo)
    yield everybody
    everybody.leave()


@pytest.fixture
def journey(people: People) -> Iterator[Journey]:
    """A journey that nobody has begun yet; one that is left open is taken back at the end."""
    begun = Journey(people, people.signed_in("attendant"))
    yield begun
    if begun.code and not begun.is_over():
        begun.take_back()
