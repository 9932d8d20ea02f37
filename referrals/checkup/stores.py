"""The database, which holds every alert, and the broker, which only makes them sooner."""

from collections.abc import Iterator
from urllib.parse import urlsplit

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from referrals.checkup.finding import Finding, caution, fault, good

REDIS_SECONDS = 2
_SAFE_COMMITS = {"on", "remote_apply", "remote_write", "local"}


def check_database() -> Iterator[Finding]:
    """Whether it answers, survives a power cut by its settings, and has every migration."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError as error:
        yield fault(
            "database",
            f"it does not answer ({type(error).__name__}: {error})".strip(),
            why="every referral and every alert is a row in it",
            mend="start it, or correct DATABASE_URL",
        )
        return
    yield from _on_sqlite() if connection.vendor == "sqlite" else _on_postgresql()
    yield _migrations()


def _on_sqlite() -> Iterator[Finding]:
    journal, synchronous = _value("PRAGMA journal_mode"), int(_value("PRAGMA synchronous"))
    in_memory = journal == "memory"
    if synchronous >= 2 and (journal == "wal" or in_memory):
        yield good("database", f"SQLite, journal {journal}, a commit waits for the disk")
    else:
        yield fault(
            "database",
            f"SQLite with journal {journal} and synchronous {synchronous}",
            why="a power cut may lose what a phone was told is stored",
            mend="use the settings as shipped: WAL and synchronous FULL",
        )
    yield caution(
        "database mode",
        "SQLite, on this machine alone",
        why="one process writes at a time, and the machine's disk is the only copy",
        mend="enough for a small district with backups; for more set DATABASE_URL to PostgreSQL",
    )


def _on_postgresql() -> Iterator[Finding]:
    for name, safe, why in (
        ("fsync", {"on"}, "a power cut may damage the whole database"),
        ("synchronous_commit", _SAFE_COMMITS, "a crash may lose what a phone was told is stored"),
        ("full_page_writes", {"on"}, "a power cut may damage pages that were being written"),
    ):
        value = _value(f"SHOW {name}")
        if value not in safe:
            yield fault(
                "database", f"PostgreSQL with {name} = {value}", why=why, mend=f"set {name} to on"
            )
            return
    yield good("database", "PostgreSQL, a commit waits for the disk")


def _migrations() -> Finding:
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if not missing:
        return good("migrations", "all are applied")
    return fault(
        "migrations",
        f"{len(missing)} are not applied",
        why="the code expects tables that are not there",
        mend="manage.py migrate",
    )


def _value(statement: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return str(cursor.fetchone()[0])


def check_broker() -> Iterator[Finding]:
    """Whether Redis answers, keeps what it was given over a restart, and never throws it away."""
    if not settings.REDIS_URL:
        yield good("broker", "inside the process; the sweep sends what a crash leaves")
        return
    place = urlsplit(settings.REDIS_URL).hostname or "REDIS_URL"
    client = redis.Redis.from_url(
        settings.REDIS_URL, socket_timeout=REDIS_SECONDS, socket_connect_timeout=REDIS_SECONDS
    )
    try:
        persistence = client.info("persistence")
        policy = client.info("memory").get("maxmemory_policy", "noeviction")
    except (redis.RedisError, OSError) as error:
        yield fault(
            "broker",
            f"Redis at {place} does not answer ({type(error).__name__})",
            why="alerts then wait for the sweep, a few seconds each, and nothing else speeds them",
            mend="start Redis, or correct REDIS_URL",
        )
        return
    finally:
        client.close()
    if persistence.get("aof_enabled"):
        yield good("broker", f"Redis at {place} keeps an append-only file")
    else:
        yield caution(
            "broker",
            f"Redis at {place} keeps no append-only file",
            why="a crash of Redis loses the nudges in it; the sweep finds the alerts, later",
            mend="set appendonly yes in redis.conf",
        )
    if policy != "noeviction":
        yield caution(
            "broker",
            f"Redis at {place} throws keys away when memory is short ({policy})",
            why="nudges vanish without a word; the sweep finds the alerts, later",
            mend="set maxmemory-policy noeviction",
        )
