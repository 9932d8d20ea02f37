"""The suite again on PostgreSQL and Redis, but for what no database can change.

Left out: pure computation, rules read from the code, the words of pages, what a file or an option
on a command line means, and addresses that are asked with everything a schema allows.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from servers import postgresql, redis

NO_DATABASE_CHANGES = (
    "calc",
    "rules",
    "referrals/test_admin.py",
    "referrals/test_labels.py",
    "transport/test_command_demo.py",
    "transport/test_command_estimate.py",
    "transport/test_command_import_district.py",
    "transport/test_command_oxygen.py",
    "test_openapi.py",
    "transport/test_summary.py",
    "transport/test_translatable.py",
)
ROOT = Path(__file__).resolve().parents[2]

pytestmark = [
    pytest.mark.services,
    pytest.mark.timeout(1500),
]


def test_the_same_suite_passes_on_postgresql_and_redis(tmp_path_factory):
    folder = tmp_path_factory.mktemp("servers")
    with postgresql(folder / "postgresql") as database, redis(folder / "redis") as (broker, _):
        run = subprocess.run(
            [sys.executable, "-m", "pytest", "tests", "-m", "not services and not browser",
             "-n", "2", "--no-header", "-p", "no:cacheprovider",
             *(part for name in NO_DATABASE_CHANGES for part in ("--ignore", f"tests/{name}"))],
            cwd=ROOT,
            env=os.environ | {"DATABASE_URL": database, "REDIS_URL": broker},
            capture_output=True,
            text=True,
        )  # fmt: skip
    print(run.stdout[-6000:], run.stderr[-2000:])
    assert run.returncode == 0
    assert " passed" in run.stdout
    assert all((ROOT / "tests" / name).exists() for name in NO_DATABASE_CHANGES)
    for gone in ("Connection refused", "server closed the connection"):
        assert gone not in run.stdout, "the server went before its tests"
    assert "accessed by other users" not in run.stdout, "a thread left its connection open"
