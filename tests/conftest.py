"""The small world of the tests: the demo district, its people, and the clock they share.

Everything runs on an SQLite database in memory unless DATABASE_URL names another; the tests
marked ``postgresql`` are left out there and run in the pass of tests/services.
"""

import gc
import os
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.db import connection
from rest_framework.authtoken.models import Token

from fixtures_demo.load import load_district
from referrals import append_only, clock
from referrals.acting import By, by_staff
from referrals.calc.terms import EntryChannel
from referrals.models import Contact, District, ReserveContact, Shift, Site, Staff, StaffRole, Unit
from transport.models import ChecklistTemplate, Cylinder, Leg, MapLine, Vehicle

hypothesis.settings.register_profile("quick", max_examples=60, deadline=None)
hypothesis.settings.register_profile("nightly", max_examples=2000, deadline=None)
hypothesis.settings.load_profile(os.environ.get("LITTLEROAD_TEST_PROFILE", "quick"))

SECONDS_TO_GIVE_BACK = 5.0
ON_POSTGRESQL = os.environ.get("DATABASE_URL", "").startswith("postgres")


@pytest.hookimpl(tryfirst=True)  # xdist looks at the groups in a hook of the same name
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep real concurrency for the database that has it, and whole services to one worker each."""
    wrong = "postgresql" if not ON_POSTGRESQL else "services"
    kept = [item for item in items if item.get_closest_marker(wrong) is None]
    if len(kept) < len(items):
        config.hook.pytest_deselected(items=[item for item in items if item not in kept])
        items[:] = kept
    for item in items:
        for marker in ("services", "browser", "postgresql"):
            if item.get_closest_marker(marker):
                # One after the other on one worker: each starts whole services of its own.
                item.add_marker(pytest.mark.xdist_group(marker))
                break


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> None:
    """A flush between transactional tests may empty the timeline; nothing else may."""
    operations = type(connection.ops)
    plain = operations.sql_flush
    if connection.vendor != "sqlite":
        return

    def sql_flush(self: Any, *arguments: Any, **options: Any) -> list[str]:
        statements = plain(self, *arguments, **options)
        return [*append_only.SQLITE_AWAY, *statements, *append_only.SQLITE]

    operations.sql_flush = sql_flush  # type: ignore[method-assign]


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Every test begins with the invented district, loaded once; each undoes its own changes."""
    with django_db_blocker.unblock():
        load_district(clock.now())
        # Dry, so that no test depends on the month in which it runs; and the first of each team
        # is on duty day and night, so that none depends on the hour.
        District.objects.update(rainy_season=False)
        first_of_each_team_on_duty()


def first_of_each_team_on_duty() -> None:
    """One person of each unit and the desk works all week; the others never do."""
    for shift in Shift.objects.select_related("unit", "district"):
        owner = shift.unit or shift.district
        shift.staff = owner.contacts.first().staff
        shift.save()


@pytest.fixture
def empty(db: None) -> None:
    """A database that holds nothing but migrations, for what comes before a district."""
    District.objects.update(standing_unit=None)
    for model in (
        MapLine,
        Leg,
        Cylinder,
        Vehicle,
        ReserveContact,
        Contact,
        Shift,
        StaffRole,
        Token,
        Staff,
        Unit,
        Site,
        District,
    ):
        model.objects.all().delete()
    ChecklistTemplate.objects.all().delete()


@pytest.fixture(autouse=True)
def _nothing_leaves_the_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """No gateway is set unless a test sets its own; nudges stay in memory."""
    monkeypatch.setitem(settings.SMS_GATEWAY, "url", "")
    monkeypatch.setitem(settings.VOICE_GATEWAY, "url", "")


@pytest.fixture(autouse=True)
def _no_thread_keeps_a_connection(request: pytest.FixtureRequest) -> Iterator[None]:
    """On PostgreSQL a connection that a thread never gave back is the fault of its own test."""
    yield
    if ON_POSTGRESQL and request.node.get_closest_marker("django_db"):
        with request.getfixturevalue("django_db_blocker").unblock():
            others = _other_sessions()
            waited = time.monotonic() + SECONDS_TO_GIVE_BACK
            while others and time.monotonic() < waited:
                gc.collect()  # a thread that has ended gives its connection back with its memory
                time.sleep(0.05)
                others = _other_sessions()
        assert not others, f"a thread left its connection open, last at: {others}"


def _other_sessions() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT query FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            " AND backend_type = 'client backend'"
        )
        return [query for (query,) in cursor.fetchall()]


@pytest.fixture
def now() -> datetime:
    """The moment at which a test begins."""
    return clock.now()


@pytest.fixture
def district(db: None, now: datetime) -> District:
    """The whole invented district."""
    return load_district(now)


@pytest.fixture
def person(district: District) -> Callable[[str], Staff]:
    """A person of the district by user name."""
    return lambda username: Staff.objects.get(username=username)


@pytest.fixture
def attendant(person: Callable[[str], Staff]) -> Staff:
    """Tomasi, birth attendant at Mirrow Heights."""
    return person("tomasi.bellaqua")


@pytest.fixture
def nurse(person: Callable[[str], Staff]) -> Staff:
    """Hana, nurse in charge at Port Orlime."""
    return person("hana.wendorra")


@pytest.fixture
def other_nurse(person: Callable[[str], Staff]) -> Staff:
    """Miriam, nurse in charge at Kesawari."""
    return person("miriam.castowell")


@pytest.fixture
def officer(person: Callable[[str], Staff]) -> Staff:
    """Leena, at the district desk."""
    return person("leena.morrastad")


@pytest.fixture
def post(attendant: Staff) -> Site:
    """Mirrow Heights Health Post."""
    site = attendant.roles.get().site
    assert site is not None
    return site


@pytest.fixture
def intensive(district: District) -> Unit:
    """The intensive unit at Port Orlime."""
    return Unit.objects.get(code="ORL-NB")


@pytest.fixture
def ward(district: District) -> Unit:
    """The unit with CPAP at Kesawari."""
    return Unit.objects.get(code="KES-NB")


@pytest.fixture
def by(now: datetime) -> Iterator[Callable[..., By]]:
    """``by(person)``: something that person does on a page now, or at another time."""

    def made(staff: Staff, at: datetime | None = None, **times: datetime) -> By:
        return by_staff(staff, channel=EntryChannel.PAGE, now=at or clock.now(), **times)

    return made
