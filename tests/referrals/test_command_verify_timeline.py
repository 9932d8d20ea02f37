"""``manage.py verify_timeline``: chains really broken behind the record's back are found."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import run
from django.conf import settings
from django.db import connection
from world import a_referral, an_offer

from referrals import append_only, heads, verifying
from referrals.models import PrivateText, Referral


@pytest.fixture(autouse=True)
def heads_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The heads of this test alone."""
    path = tmp_path / "heads.log"
    monkeypatch.setattr(settings, "HEADS_FILE", path)
    return path


@pytest.fixture
def intruder(db: None) -> Callable[..., None]:
    """Somebody with the database's own rights, who takes the triggers away first."""
    away = append_only.SQLITE_AWAY if connection.vendor == "sqlite" else append_only.POSTGRESQL_AWAY
    with connection.cursor() as cursor:
        for statement in away:
            cursor.execute(statement)

    def execute(statement: str, *values: object) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement, values)

    return execute


@pytest.fixture
def referral(district, now) -> Referral:
    """A referral with a few entries."""
    return a_referral(now)


def faults(*codes: str) -> list[tuple[str, int, str]]:
    answer = run("verify_timeline", "--json", *codes)
    found = [(each["referral"], each["seq"], each["sentence"]) for each in answer.json["faults"]]
    assert answer.code == (1 if found else 0)
    return found


def keep_all(path: Path, now) -> None:
    heads.keep_heads(path, Referral.objects.all(), now)


def test_whole_timelines_are_counted(referral, district, now, heads_file):
    other = a_referral(now, attendant="wezi.oranday")
    keep_all(heads_file, now)
    answer = run("verify_timeline", "--json")
    entries = referral.entries.count() + other.entries.count()
    assert answer.json == {"referrals_checked": 2, "entries_checked": entries, "faults": []}
    assert (answer.code, answer.err) == (0, "")
    assert "2 referrals checked" in run("verify_timeline").out


def test_a_changed_actor_is_found_at_its_place(referral, intruder):
    intruder(
        "UPDATE referrals_entry SET actor = 'somebody.else' WHERE referral_id = %s AND seq = 2",
        referral.pk,
    )
    assert faults() == [(referral.code, 2, "its content does not match its hash")]


@pytest.mark.parametrize(
    "column", ["kind", "actor", "channel", "happened_at", "received_at", "corrected_at", "body"]
)
def test_no_column_can_be_changed_unseen(referral, intruder, column):
    value = {"body": '{"site": "XXX"}'}.get(column, "other")
    value = "2001-01-01 00:00:00" if column.endswith("_at") else value
    intruder(
        f"UPDATE referrals_entry SET {column} = %s WHERE referral_id = %s AND seq = 1",
        value,
        referral.pk,
    )
    assert [place[:2] for place in faults()] == [(referral.code, 1)]


def test_a_rehashed_change_breaks_the_next_entry(referral, intruder):
    intruder(
        "UPDATE referrals_entry SET hash = %s WHERE referral_id = %s AND seq = 1",
        "f" * 64,
        referral.pk,
    )
    assert (referral.code, 2, "does not carry the hash of the entry before it") in faults()


def test_a_removed_entry_is_missed(referral, intruder):
    intruder("DELETE FROM referrals_entry WHERE referral_id = %s AND seq = 2", referral.pk)
    assert (referral.code, 3, "entry 2 is missing before this one") in faults()


def test_a_cut_tail_is_seen_by_the_row(referral, intruder):
    seq = referral.entries.count()
    intruder("DELETE FROM referrals_entry WHERE referral_id = %s AND seq = %s", referral.pk, seq)
    assert faults() == [(referral.code, seq - 1, "the chain does not end at the head on its row")]


def test_a_cut_tail_with_its_row_mended_is_seen_by_the_head_outside(
    referral, intruder, heads_file, now
):
    keep_all(heads_file, now)
    seq = referral.entries.count()
    before = referral.entries.get(seq=seq - 1)
    intruder("DELETE FROM referrals_entry WHERE referral_id = %s AND seq = %s", referral.pk, seq)
    Referral.objects.filter(pk=referral.pk).update(head_seq=seq - 1, head_hash=before.hash)
    assert faults() == [(referral.code, seq, "the chain does not hold the head kept outside")]


def test_a_referral_cut_away_whole_is_known_by_its_head(referral, heads_file, now):
    line = {"referral": "GONE", "seq": 7, "hash": "a" * 64, "kept_at": now.isoformat()}
    heads_file.write_text(json.dumps(line) + "\n")
    ((code, seq, sentence),) = faults()
    assert (code, seq) == ("GONE", 7)
    assert "missing from the database" in sentence
    assert [fault[0] for fault in faults("GONE")] == ["GONE"]
    assert faults(referral.code) == []


def test_a_changed_private_text_is_found_and_an_erased_one_is_not(district, post, attendant, by):
    from referrals import lifecycle

    referral = lifecycle.raise_referral(by(attendant), origin=post, note="Mother's name told")
    text = PrivateText.objects.get(referral=referral)
    PrivateText.objects.update(text="Another name")
    assert faults() == [(referral.code, 1, "a text differs from what was committed")]
    PrivateText.objects.filter(pk=text.pk).update(text="", key=b"", erased_at=referral.raised_at)
    assert faults() == []


def test_one_referral_can_be_checked_alone(referral, intruder, district, now):
    whole = a_referral(now, attendant="wezi.oranday")
    intruder("DELETE FROM referrals_entry WHERE referral_id = %s AND seq = 2", referral.pk)
    assert faults(whole.code.lower()) == []
    assert faults(referral.code)


def test_a_timeline_that_grows_meanwhile_is_no_fault(referral, intensive, now, monkeypatch):
    plain, grown = verifying.timeline.faults_of, []

    def grow_first(row: Referral, kept: tuple[int, str] | None = None):
        if not grown:
            grown.append(an_offer(referral, intensive, now))
        return plain(row, kept)

    monkeypatch.setattr(verifying.timeline, "faults_of", grow_first)
    assert faults() == []
    assert grown


def test_an_unknown_code_exits_2(referral):
    answer = run("verify_timeline", "NOSUCH")
    assert (answer.code, answer.out) == (2, "")
    assert "NOSUCH" in answer.err


def test_without_kept_heads_it_says_what_it_cannot_see(referral):
    assert "a cut tail cannot be seen" in run("verify_timeline").err


def test_the_text_names_the_place(referral, intruder):
    intruder("UPDATE referrals_entry SET actor = 'x' WHERE referral_id = %s AND seq = 2",
             referral.pk)  # fmt: skip
    answer = run("verify_timeline")
    assert answer.code == 1
    assert f"{referral.code}, entry 2: its content does not match its hash" in answer.out
