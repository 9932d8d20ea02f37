"""``demo --headless`` prints the record of what was played, also when it went wrong."""

import io
import json
import os
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from fixtures_demo import running
from fixtures_demo.players import Unexpected
from fixtures_demo.story import Story
from tests.world import a_journey, a_referral, told_by
from transport import handing_over
from transport.calc.stages import TransferStage
from transport.management.commands.demo import Command, embedded

pytestmark = pytest.mark.django_db
PARTS = ["call_for_help", "find_a_place", "send_a_vehicle", "drive_to_the_post", "load",
         "drive_to_the_unit", "hand_over"]  # fmt: skip


@pytest.fixture
def headless(monkeypatch: pytest.MonkeyPatch) -> Callable[[], tuple[int, dict[str, Any]]]:
    """Play without servers: the exit code and the document on stdout."""

    class AtOnce(threading.Thread):
        def start(self) -> None:
            self.run()

    def played() -> tuple[int, dict[str, Any]]:
        out, command = io.StringIO(), Command(stderr=io.StringIO())
        command.stdout, command.demo = out, running
        with pytest.raises(SystemExit) as ended:
            command._headless(8000)
        return int(ended.value.code or 0), json.loads(out.getvalue())

    monkeypatch.setattr(threading, "Thread", AtOnce)
    monkeypatch.setattr(embedded, "run", lambda port, ready: ready())
    monkeypatch.setattr(os, "kill", lambda *_: None)
    monkeypatch.setattr(running.time, "sleep", lambda *_: None)
    for part in PARTS:
        monkeypatch.setattr(Story, part, lambda story: None)
    return played


def test_a_play_that_stops_half_way_prints_what_there_is_and_exits_1(
    headless, monkeypatch, district, now: datetime
):
    def stops(story: Story) -> None:
        raise Unexpected("no question came")

    def calls(story: Story) -> None:
        story.code = a_referral(now).code

    monkeypatch.setattr(Story, "call_for_help", calls)
    monkeypatch.setattr(Story, "find_a_place", stops)
    code, record = headless()
    assert code == 1
    assert record["transfer_stage"] == "wanted"
    assert record["babies"] == [{"code": f"{record['referral']}-1", "ending": ""}]
    assert record["entries"][0]["kind"] == "raised"


def test_a_play_that_never_begins_prints_an_empty_record_and_exits_1(
    headless, monkeypatch, district
):
    def stops(story: Story) -> None:
        raise Unexpected("nobody is there")

    monkeypatch.setattr(Story, "call_for_help", stops)
    code, record = headless()
    assert code == 1
    assert record == {
        "referral": None, "transfer_stage": None, "chain_verified": False,
        "babies": [], "alerts": [], "estimates": [], "entries": [],
    }  # fmt: skip


def test_a_handover_with_a_whole_chain_exits_0(headless, monkeypatch, now, intensive):
    def calls(story: Story) -> None:
        transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
        baby, by = transfer.referral.babies.get(), told_by("hana.wendorra", now)
        for side in ("giver", "receiver"):
            handing_over.hand_over(
                by, transfer, baby, handing_over.Signature(side=side, name="Hana")
            )
        story.code = transfer.referral.code

    monkeypatch.setattr(Story, "call_for_help", calls)
    monkeypatch.setattr(running, "read_heads", lambda *_: {})
    code, record = headless()
    assert (code, record["babies"][0]["ending"]) == (0, "handed_over")
