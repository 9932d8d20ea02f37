"""The service against the outside: phone numbers, time zones, settings that keep it safe."""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import phonenumbers
import pytest

from referrals.messages import clock_time
from referrals.models import Staff

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("region", sorted(phonenumbers.SUPPORTED_REGIONS)[::12])
def test_a_number_is_kept_in_e164_as_the_phone_librarys_own_data_say(db, region):
    """Example numbers of the phonenumbers library's metadata; form: ITU-T E.164, 15 digits."""
    example = phonenumbers.example_number_for_type(
        region, phonenumbers.PhoneNumberType.MOBILE
    ) or phonenumbers.example_number(region)
    expected = phonenumbers.format_number(example, phonenumbers.PhoneNumberFormat.E164)
    Staff.objects.create(username="one", phone=expected)
    kept = Staff.objects.get(username="one").phone
    assert kept.as_e164 == expected
    assert len(expected.lstrip("+")) <= 15


@pytest.mark.parametrize(
    ("zone", "moment", "shown"),
    [
        # tz database: Europe/Berlin goes from +01 to +02 on 31 March 2024 at 01:00 UTC.
        ("Europe/Berlin", datetime(2024, 3, 31, 0, 59, tzinfo=UTC), "01:59"),
        ("Europe/Berlin", datetime(2024, 3, 31, 1, 0, tzinfo=UTC), "03:00"),
        # Nepal is 5 h 45 min ahead, Kiritimati 14 h, and Tanzania 3 h all the year.
        ("Asia/Kathmandu", datetime(2024, 6, 1, 0, 0, tzinfo=UTC), "05:45"),
        ("Pacific/Kiritimati", datetime(2024, 6, 1, 12, 30, tzinfo=UTC), "02:30"),
        ("Africa/Dar_es_Salaam", datetime(2024, 12, 31, 22, 0, tzinfo=UTC), "01:00"),
    ],
)
def test_times_are_shown_in_the_districts_zone_as_the_tz_database_says(zone, moment, shown):
    referral = SimpleNamespace(district=SimpleNamespace(time_zone=zone))
    assert clock_time(moment, referral) == shown


def started(command: list[str], **settings: str) -> subprocess.CompletedProcess[str]:
    clean = {name: value for name, value in os.environ.items() if "LITTLEROAD" not in name}
    clean.pop("DJANGO_SETTINGS_MODULE", None)
    return subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=ROOT,
        env=clean | settings,
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_the_demos_secret_is_refused_outside_the_demo(tmp_path):
    run = started(
        ["check"],
        LITTLEROAD_DATA_DIR=str(tmp_path),
        LITTLEROAD_SECRET_KEY="demo-secret-known-to-everybody-never-for-real-babies",
    )
    assert run.returncode != 0
    assert "which everybody knows" in run.stderr


def test_the_deploy_check_is_clean_and_names_what_is_missing(tmp_path):
    safe = {
        "LITTLEROAD_DATA_DIR": str(tmp_path),
        "LITTLEROAD_BASE_URL": "https://littleroad.example",
        "LITTLEROAD_SMS_URL": "https://gateway.example/send",
    }
    check = ["check", "--deploy", "--fail-level", "WARNING"]
    assert started(check, **safe).returncode == 0
    without = started(check, LITTLEROAD_DATA_DIR=str(tmp_path))
    assert without.returncode != 0
    assert "LITTLEROAD_SMS_URL is not set" in without.stderr


def test_plain_http_to_other_machines_is_an_error(tmp_path):
    run = started(
        ["check", "--tag", "security"],
        LITTLEROAD_DATA_DIR=str(tmp_path),
        LITTLEROAD_BASE_URL="http://littleroad.example",
    )
    assert "plain http to other machines" in run.stderr


def test_a_secret_is_made_once_and_kept_for_its_owner_alone(tmp_path):
    for _ in range(2):
        assert started(["check"], LITTLEROAD_DATA_DIR=str(tmp_path)).returncode == 0
    kept = tmp_path / "secret_key"
    assert len(kept.read_text()) > 50
    assert kept.stat().st_mode & 0o077 == 0
