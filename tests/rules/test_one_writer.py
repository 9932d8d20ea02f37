"""Stages change in one place, Entries are appended in one place: read from the syntax tree."""

import ast
from collections.abc import Iterator
from pathlib import Path

from django.db import connection

from referrals import append_only

ROOT = Path(__file__).resolve().parents[2]
LIFECYCLES = {ROOT / "referrals/lifecycle.py", ROOT / "transport/lifecycle.py"}
THE_COLUMN = ROOT / "referrals/models/stages.py"


def modules(*without: str) -> Iterator[tuple[Path, ast.Module]]:
    for package in ("referrals", "transport", "fixtures_demo"):
        for path in (ROOT / package).rglob("*.py"):
            if not {"migrations", *without} & set(path.parts):
                yield path, ast.parse(path.read_text())


def stage_writes(tree: ast.Module) -> list[int]:
    """Lines that assign ``.stage``, set it by name, or move it through a queryset."""
    lines = []
    for node in ast.walk(tree):
        targets = node.targets if isinstance(node, ast.Assign) else []
        if isinstance(node, ast.AugAssign | ast.AnnAssign):
            targets = [node.target]
        lines += [t.lineno for t in targets if isinstance(t, ast.Attribute) and t.attr == "stage"]
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            keywords = {keyword.arg for keyword in node.keywords}
            by_name = name == "setattr" and "'stage'" in ast.unparse(node)
            moved = name in ("claim_stage", "update_stage")
            if by_name or moved or (name in ("update", "bulk_update") and "stage" in keywords):
                lines.append(node.lineno)
    return lines


def calls_of(tree: ast.Module, owner: str, *names: str) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in names
        and ast.unparse(node.func.value).startswith(owner)
    ]


def test_a_stage_is_written_in_a_lifecycle_module_and_nowhere_else():
    writers = {path: lines for path, tree in modules("calc") if (lines := stage_writes(tree))}
    assert set(writers) - {THE_COLUMN} == LIFECYCLES


def test_the_look_for_writers_sees_each_way_of_writing():
    ways = 'x.stage = 1\nq.update(stage=1)\nsetattr(x, "stage", 1)\nq.claim_stage(to=1)\n'
    assert stage_writes(ast.parse(ways)) == [1, 2, 3, 4]


def test_entries_are_created_by_the_timeline_alone():
    names = ("create", "bulk_create", "get_or_create")
    writers = [path for path, tree in modules() if calls_of(tree, "Entry.objects", *names)]
    assert writers == [ROOT / "referrals/timeline.py"]


def test_the_database_itself_refuses_to_change_an_entry(district, now):
    from django.db import DatabaseError, transaction
    from world import a_referral

    entry = a_referral(now).entries.first()
    for statement in (
        f"UPDATE {append_only.TABLE} SET kind = 'other' WHERE id = %s",
        f"DELETE FROM {append_only.TABLE} WHERE id = %s",
    ):
        refused = None
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statement, [entry.pk])
        except DatabaseError as error:
            refused = str(error)
        assert refused
        assert append_only.WORDS in refused


def test_pure_computation_takes_the_time_as_an_argument():
    for path, tree in modules():
        if "calc" not in path.parts:
            continue
        reads = [
            node.lineno
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute) and node.attr in ("now", "today", "utcnow")
        ]
        assert reads == [], path
