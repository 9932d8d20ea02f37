"""README and DEVELOPERS.md say what is true of the code."""

import re
from pathlib import Path

import pytest
from django.core.management import get_commands

from referrals.calc.states import OFFER_STEPS, REFERRAL_STEPS
from transport.calc.stages import TRANSFER_STEPS

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
