"""What every benchmark shares: databases of its own, time taken side by side, and one small table.

A goal is a ratio to a baseline measured in the same run, since machines differ and are shared. A
script runs its ``measure`` once a database, in a process of its own: on SQLite, and on PostgreSQL
where DATABASE_URL names a server or one can be started here. Nothing of an existing database is
touched: each run makes its own and removes it.
"""

import argparse
import json
import os
import secrets
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

INSIDE = "LITTLEROAD_BENCHMARK_INSIDE"
SECRET = "demo-secret-known-to-everybody-never-for-real-babies"


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of the table; the ratio is of what is ``measured`` to the ``baseline``."""

    what: str
    measured: float
    baseline: float
    unit: str = "ms"
    at_most: float | None = None
    at_least: float | None = None
    note: str = ""

    @property
    def ratio(self) -> float:
        """How many times the baseline."""
        return self.measured / self.baseline

    @property
    def goal(self) -> str:
        """The goal in words; empty where there is none."""
        if self.at_most is not None:
            return f"<= {self.at_most:g}"
        return f">= {self.at_least:g}" if self.at_least is not None else ""

    @property
    def met(self) -> str:
        """Whether the ratio reaches its goal in this run."""
        if self.at_most is not None:
            return "yes" if self.ratio <= self.at_most else "no"
        if self.at_least is not None:
            return "yes" if self.ratio >= self.at_least else "no"
        return ""


def main(measure: Callable[[], list[Line]], title: str) -> None:
    """Run the benchmark on each database and print one table, or JSON with ``--json``."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    if os.environ.get(INSIDE):
        print(json.dumps([asdict(line) for line in measure()]))
        return
    arguments = _arguments(title)
    lines: list[tuple[str, Line]] = []
    for name in arguments.on.split(","):
        lines += [(name, line) for line in _inside(name, arguments.quick)]
    if arguments.json:
        print(json.dumps([_as_dict(name, line) for name, line in lines], indent=1))
    else:
        _print_table(title, lines)


def quick() -> bool:
    """Whether only a few repeats are wanted, to see that the script works."""
    return os.environ.get("LITTLEROAD_BENCHMARK_QUICK") == "1"


def repeats(usual: int) -> int:
    """How often to repeat, a tenth of it when quick."""
    return max(usual // 10, 3) if quick() else usual


def setup() -> None:
    """Start Django on the database of this run and bring it up to date."""
    import django
    from django.core.management import call_command

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")
    django.setup()
    call_command("migrate", verbosity=0, interactive=False)


def side_by_side(*things: Callable[[], object], times: int, warm_up: int = 3) -> list[list[float]]:
    """Milliseconds of each thing, taken in turns so that a busy moment falls on all of them."""
    for thing in things:
        for _ in range(warm_up):
            thing()
    taken: list[list[float]] = [[] for _ in things]
    for _ in range(times):
        for kept, thing in zip(taken, things, strict=True):
            kept.append(milliseconds(thing))
    return taken


def milliseconds(thing: Callable[[], object]) -> float:
    """How long one call takes."""
    begun = time.perf_counter()
    thing()
    return (time.perf_counter() - begun) * 1000


def median(values: Sequence[float]) -> float:
    """The middle value."""
    return statistics.median(values)


def p95(values: Sequence[float]) -> float:
    """The value that 19 of 20 do not exceed."""
    return sorted(values)[max(0, -(-len(values) * 95 // 100) - 1)]


@contextmanager
def queries_counted() -> Iterator[list[int]]:
    """A list that holds, afterwards, the number of queries made inside."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counted: list[int] = []
    with CaptureQueriesContext(connection) as captured:
        yield counted
    counted.append(len(captured))


def _arguments(title: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=title)
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--quick", action="store_true", help="few repeats, rough figures")
    parser.add_argument(
        "--on", default=",".join(_databases_at_hand()), help="sqlite, postgresql, or both by comma"
    )
    return parser.parse_args()


def _databases_at_hand() -> list[str]:
    from servers import postgresql_folder

    own = os.environ.get("DATABASE_URL", "").startswith("postgres")
    return ["sqlite", "postgresql"] if own or postgresql_folder() else ["sqlite"]


def _inside(name: str, is_quick: bool) -> list[Line]:
    """Run this script again as the measuring process, on a database of its own."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="littleroad-bench-")))
        environment = _environment(folder, is_quick)
        if name == "postgresql":
            environment |= _own_postgresql(stack, folder)
        answer, code = _answer_of([sys.executable, *sys.argv[:1]], environment)
    if code:
        sys.exit(f"the benchmark ended with {code} on {name}")
    return [Line(**line) for line in json.loads(answer)]


def _answer_of(command: list[str], environment: dict[str, str]) -> tuple[str, int]:
    """Run to the end; when this process has to go, the other stops its servers first."""
    process = subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, cwd=ROOT, text=True
    )
    try:
        answer, _ = process.communicate()
    finally:
        process.terminate()
        process.wait(60)
    return answer, process.returncode


def _environment(folder: Path, is_quick: bool) -> dict[str, str]:
    left_out = {"DATABASE_URL", "REDIS_URL", "LITTLEROAD_CLOCK", "LITTLEROAD_BASE_URL"}
    kept = {name: value for name, value in os.environ.items() if name not in left_out}
    return kept | {
        INSIDE: "1",
        "LITTLEROAD_BENCHMARK_QUICK": "1" if is_quick else "0",
        "LITTLEROAD_DEMO": "1",
        "LITTLEROAD_SECRET_KEY": SECRET,
        "LITTLEROAD_DATA_DIR": str(folder / "data"),
        "PYTHONPATH": str(ROOT),
    }


def _own_postgresql(stack: ExitStack, folder: Path) -> dict[str, str]:
    """An empty database on the server that is named, or on one started for this run; Redis too."""
    from servers import postgresql, redis

    given = os.environ.get("DATABASE_URL", "")
    if given.startswith("postgres"):
        address = stack.enter_context(_database_on(given))
    else:
        address = stack.enter_context(postgresql(folder / "postgresql"))
    broker = os.environ.get("REDIS_URL", "")
    if not broker and shutil.which("redis-server"):
        broker, _ = stack.enter_context(redis(folder / "redis"))
    # Only a benchmark that asks for a broker uses it; the others run without one.
    return {"DATABASE_URL": address, "LITTLEROAD_BENCHMARK_REDIS": broker}


@contextmanager
def _database_on(server: str) -> Iterator[str]:
    import psycopg

    name = f"littleroad_benchmark_{secrets.token_hex(4)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield f"{server.rsplit('/', 1)[0]}/{name}"
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _as_dict(name: str, line: Line) -> dict[str, Any]:
    computed = {"database": name, "ratio": line.ratio, "goal": line.goal, "met": line.met}
    return asdict(line) | computed


def _print_table(title: str, lines: Sequence[tuple[str, Line]]) -> None:
    head = ("what", "on", "measured", "baseline", "", "ratio", "goal", "met", "")
    rows = [head] + [
        (line.what, name, _figure(line.measured), _figure(line.baseline), line.unit,
         _figure(line.ratio), line.goal, line.met, line.note)
        for name, line in lines
    ]  # fmt: skip
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    print(title)
    for row in rows:
        cells = [
            text.rjust(width) if column in (2, 3, 5) else text.ljust(width)
            for column, (text, width) in enumerate(zip(row, widths, strict=True))
        ]
        print("  ".join(cells).rstrip())


def _figure(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
