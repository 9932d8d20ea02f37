"""README and DEVELOPERS.md say what is true of the code."""

import ast
import io
import json
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from django.core.management import call_command, get_commands

from fixtures_demo import running
from referrals.calc.states import OFFER_STEPS, REFERRAL_STEPS
from referrals.calc.terms import ConditionOnArrival, OutcomeState
from tests.pages_world import browser_of
from tests.world import a_journey
from transport.api.urls import urlpatterns
from transport.asking_travel import ENDS
from transport.calc.stages import TRANSFER_STEPS, TransferStage
from transport.models import Estimate

ROOT = Path(__file__).resolve().parents[2]
README, DEVELOPERS = (ROOT / "README.md").read_text(), (ROOT / "DEVELOPERS.md").read_text()


def test_every_setting_that_is_read_stands_in_the_readme():
    source = "".join(
        (ROOT / path).read_text()
        for path in (
            "referrals/project/settings.py",
            "referrals/project/launch.py",
            "tests/conftest.py",
            "tests/servers.py",
        )
    )
    names = set(re.findall(r'"((?:LITTLEROAD_\w+|DATABASE_URL|REDIS_URL))"', source))
    prefixes = ("LITTLEROAD_SMS_", "LITTLEROAD_VOICE_")
    missing = {
        name
        for name in names
        if f"`{name}`" not in README
        and not (name.startswith(prefixes) and f"`_{name.rsplit('_', 1)[1]}`" in README)
    }
    assert len(names) > 15
    assert missing == set()


def test_every_command_of_ours_stands_in_the_readme():
    ours = {name for name, app in get_commands().items() if app in ("referrals", "transport")}
    assert ours >= {"demo", "serve", "estimate", "oxygen", "verify_timeline"}
    assert {name for name in ours if f"| `{name}" not in README} == set()


def test_every_address_of_the_api_stands_in_the_readme_with_its_methods():
    rows = set(re.findall(r"^\| (`[\w/{}]+/` \| [A-Z, ]+) \|", README, re.MULTILINE))
    served = set()
    for pattern in urlpatterns:
        path = str(pattern.pattern)
        if path.startswith("^"):
            continue  # whatever else is asked for: nothing is there
        for kind, shown in (
            ("str:code", "code"),
            ("str:kind", "kind"),
            ("int:birth_order", "n"),
            ("int:pk", "id"),
        ):
            path = path.replace(f"<{kind}>", f"{{{shown}}}")
        view = getattr(pattern.callback, "view_class", None) or pattern.callback.cls
        methods = ", ".join(name for name in ("GET", "POST") if hasattr(view, name.lower()))
        served.add(f"`{path}` | {methods}")
    assert len(served) > 35
    assert rows == served


CODE = re.compile(r"[a-z]+(_[a-z]+)*")
SAY_CODES = {"problem_of", "_of_the_frame", "fault_of", "_code", "_fact_code"}


def problem_codes() -> Iterator[str]:
    """Every code in the source that can stand in a problem: of refusals, and of the doors."""
    for package in ("referrals", "transport"):
        for source in (ROOT / package).rglob("*.py"):
            if "pages" in source.parts:
                continue  # a page shows the sentence alone
            for node in ast.walk(ast.parse(source.read_text())):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "NotPossible":
                    yield from (strings(key.value) for key in node.keywords if key.arg == "code")
                is_code = isinstance(node, ast.Assign) and "default_code" in ast.unparse(node)
                if is_code:
                    yield strings(node.value)
    doors = ast.parse((ROOT / "referrals/api/errors.py").read_text())
    for node in ast.walk(doors):
        if isinstance(node, ast.FunctionDef) and node.name in SAY_CODES:
            said = (each.value for each in ast.walk(node) if isinstance(each, ast.Constant))
            yield from (each for each in said if isinstance(each, str) and CODE.fullmatch(each))
    yield "not_possible_now"  # of a refusal that names no other
    yield "permission_denied"  # of the framework: a form without its cross-site token


def strings(node: ast.expr) -> str:
    assert isinstance(node, ast.Constant), f"a code that cannot be read: {ast.unparse(node)}"
    return str(node.value)


def test_every_problem_code_stands_in_the_readme_and_no_other():
    listed = README[README.index("| status | `code` |") : README.index("`/healthz`")]
    rows = [row.split("|")[2] for row in listed.splitlines() if row.startswith(("| 4", "| 5"))]
    named = {code for row in rows for code in re.findall(r"`([a-z_]+)`", row)}
    codes = set(problem_codes())
    assert len(codes) > 25
    assert named == codes


@pytest.mark.parametrize("words", [OutcomeState, ConditionOnArrival])
def test_the_words_of_outcome_and_handover_stand_in_the_readme(words):
    assert ", ".join(f"`{word.value}`" for word in words) in README


def names_said_after(start: str) -> set[str]:
    """The names in backticks of the line of the manual that begins like this."""
    line = README[README.index(start) :].split("\n")[0]
    return {name for part in re.findall(r"`([^`]*)`", line) for name in re.findall(r"\w+", part)}


def test_the_keys_of_the_headless_document_stand_in_the_readme(now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    record = running.record_of(transfer.referral)
    assert set(record) <= names_said_after("| `demo --headless`")
    inner = names_said_after("Inside the document of `demo --headless`")
    for name in ("babies", "alerts", "entries"):
        assert set(record[name][0]) <= inner, name
    sent = next(alert["deliveries"] for alert in record["alerts"] if alert["deliveries"])
    assert set(sent[0]) <= inner
    assert set(running._estimate(Estimate(made_at=now))) <= inner


@pytest.mark.parametrize(
    ("start", "command"),
    [
        ("| `verify_timeline", ["verify_timeline"]),
        ("| `check_invariants", ["check_invariants"]),
        ("| `oxygen --litres", ["oxygen", "--litres=10", "--bar=100", "--flow=5", "--minutes=60"]),
        ("| `estimate FROM TO", ["estimate", "-22.4,85.9", "-22.5,86.1"]),
    ],
)
def test_the_keys_of_a_command_stand_in_its_row(district, start, command):
    out = io.StringIO()
    with suppress(SystemExit):  # 1 for a fault, after the answer: heads of other tests are kept
        call_command(*command, "--json", stdout=out, stderr=io.StringIO())
    keys = set(json.loads(out.getvalue()))
    assert keys
    assert keys <= names_said_after(start)


def test_the_keys_of_an_import_stand_in_its_row(empty):
    out = io.StringIO()
    folder = str(ROOT / "fixtures_demo/district")
    call_command("import_district", folder, "--preview", "--json", stdout=out)
    assert set(json.loads(out.getvalue())) <= names_said_after("| `import_district")


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/sweepz"])
def test_the_keys_of_the_health_pages_stand_in_the_readme(db, path):
    body = browser_of().get(path).json()
    said = README[README.index(f"`{path}`: `{{") :].split("}")[0]
    assert set(body) == set(re.findall(r"\w+", said.partition("{")[2]))


def test_the_columns_of_pairs_stand_in_the_readme():
    assert {name for group in ENDS for name in group} | {
        "at",
        "rainy",
        "vehicle",
    } <= names_said_after("| `estimate --pairs")


@pytest.mark.parametrize("steps", [REFERRAL_STEPS, OFFER_STEPS, TRANSFER_STEPS])
def test_the_stage_tables_of_the_manual_are_those_of_the_code(steps):
    for seen, allowed in steps.items():
        words = ", ".join(f"`{to.value}`" for to in type(seen) if to in allowed)
        assert f"| `{seen.value}` | {words or 'nothing more'} |" in DEVELOPERS


def test_every_room_and_verb_named_in_the_manual_exists():
    for name in re.findall(r"`((?:referrals|transport|fixtures_demo|tests)/[\w./]*)`", DEVELOPERS):
        module, _, verb = name.rpartition(".")
        if (ROOT / name).exists():
            continue
        source = ROOT / f"{module}.py"
        assert source.exists(), name
        assert f"def {verb}(" in source.read_text(), name


def test_top_level_holds_what_was_agreed_and_nothing_else():
    agreed = {
        "README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml",
        "referrals", "transport", "tests", "fixtures_demo",
    }  # fmt: skip
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert {name for name in found - agreed if not name.endswith(".egg-info")} == set()
