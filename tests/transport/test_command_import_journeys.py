"""``manage.py import_journeys`` and what the estimates then say."""

import json
import math
import random
from datetime import UTC, datetime, timedelta

import pytest
from commands import run

from referrals.models import District
from transport import experience
from transport.models import JourneyImport, PastJourney, TravelModel

HEADER = "started_at,origin_lat,origin_lon,dest_lat,dest_lon,minutes,rainy"
POSTS = [(-22.1 - 0.13 * i, 85.4 + 0.07 * i) for i in range(6)]
UNITS = [(-22.3, 86.1), (-22.9, 85.6)]
PAIR = ("-22.1,85.4", "-22.3,86.1")


def rows(count: int, *, factor: float = 2.0, seed: int = 1) -> list[str]:
    """Journeys that take ``factor`` times what the estimator without experience expects."""
    dice = random.Random(seed)
    start = datetime(2026, 1, 1, tzinfo=UTC)
    made = []
    for number in range(count):
        (lat, lon), (to_lat, to_lon) = dice.choice(POSTS), dice.choice(UNITS)
        km = math.hypot((lat - to_lat) * 111.2, (lon - to_lon) * 111.2 * math.cos(0.39))
        minutes = factor * (0.65 + km * 1.4 * 60 / 37.5) * math.exp(dice.gauss(0, 0.2))
        at = (start + timedelta(hours=5 * number)).isoformat()
        made.append(f"{at},{lat},{lon},{to_lat},{to_lon},{minutes:.1f},0")
    return made


@pytest.fixture
def csv(tmp_path):
    def write(header: str, *lines: str, name: str = "past.csv"):
        path = tmp_path / name
        path.write_text("\n".join([header, *lines]) + "\n")
        return path

    return write


def p50() -> float:
    answer = run("estimate", *PAIR, "--json")
    assert answer.code == 0, answer.err
    return json.loads(answer.out)["p50_minutes"]


def test_journeys_teach_on_a_database_that_holds_nothing_else(db, csv):
    before = p50()
    answer = run("import_journeys", csv(HEADER, *rows(120)), "--json")
    body = json.loads(answer.out)
    assert answer.code == 0
    assert (body["journeys"], body["known_already"], body["adopted"]) == (120, 0, True)
    assert "without experience" in body["reason"]
    estimate = json.loads(run("estimate", *PAIR, "--json").out)
    assert estimate["method"] == "learned_geodesic_detour"
    assert estimate["p50_minutes"] == pytest.approx(2 * before, rel=0.25)


def test_the_same_journeys_count_once(db, csv):
    lines = rows(30)
    run("import_journeys", csv(HEADER, *lines), "--json")
    answer = run("import_journeys", csv(HEADER, *lines, lines[0], name="again.csv"), "--json")
    body = json.loads(answer.out)
    assert (body["journeys"], body["known_already"]) == (0, 31)
    assert PastJourney.objects.count() == 30


def test_a_preview_writes_nothing(db, csv):
    answer = run("import_journeys", csv(HEADER, *rows(20)), "--preview", "--json")
    assert json.loads(answer.out)["journeys"] == 20
    assert not JourneyImport.objects.exists()
    assert not TravelModel.objects.exists()


def test_an_import_is_undone_and_its_lesson_with_it(db, csv):
    before = p50()
    first = json.loads(run("import_journeys", csv(HEADER, *rows(60)), "--json").out)
    learned = p50()
    second = json.loads(
        run(
            "import_journeys",
            csv(HEADER, *rows(300, factor=6.0, seed=2), name="wrong.csv"),
            "--json",
        ).out
    )
    assert p50() > 1.3 * learned
    undone = json.loads(run("import_journeys", "--undo", str(second["import"]), "--json").out)
    assert undone["taken_out"] == 300
    assert p50() == pytest.approx(learned, rel=0.1)
    run("import_journeys", "--undo", str(first["import"]), "--json")
    assert p50() == before
    missing = run("import_journeys", "--undo", "999", "--json")
    assert (missing.code, missing.out) == (2, "")


def test_every_fault_is_named_and_nothing_is_kept(db, csv):
    path = csv(
        HEADER,
        "2026-01-01T10:00,-22.1,85.4,-22.3,86.1,80,0",
        "yesterday,-22.1,85.4,-22.3,86.1,80,0",
        "2026-01-01T10:00,-95,85.4,-22.3,86.1,80,0",
        "2026-01-01T10:00,-22.1,85.4,-22.3,86.1,-3,0",
        "2026-01-01T10:00,-22.1,85.4,-22.3,86.1,80,perhaps",
        "2199-01-01T10:00,-22.1,85.4,-22.3,86.1,80,0",
        "2026-01-01T10:00,-22.1,85.4,-22.1,85.4,80,0",
    )
    answer = run("import_journeys", path, "--json")
    assert (answer.code, answer.out) == (2, "")
    for place in ("row 3, started_at", "row 4, origin_lat", "row 5, minutes", "row 6, rainy",
                  "row 7, started_at", "row 8, destination"):  # fmt: skip
        assert f"past.csv, {place}: " in answer.err
    assert "row 2" not in answer.err
    assert not PastJourney.objects.exists()


def test_other_names_of_the_columns_and_columns_of_no_use(db, csv):
    path = csv(
        "trip,date,origin_lat,origin_lon,dest_lat,dest_lon,actual_minutes",
        "1,2026-01-01,-22.1,85.4,-22.3,86.1,80",
    )
    answer = run("import_journeys", path, "--json")
    assert json.loads(answer.out)["journeys"] == 1
    assert "passed over: trip" in answer.err
    row = PastJourney.objects.get()
    assert (row.dark, row.rainy) == (None, None)


def test_sites_stand_for_their_coordinates_and_times_are_the_districts(district, csv):
    site = district.sites.order_by("code").first()
    other = district.sites.exclude(pk=site.pk).order_by("code").first()
    path = csv(
        "started_at,origin,destination,minutes",
        f"2026-01-01T10:00,{site.code},{other.code},70",
    )
    body = json.loads(run("import_journeys", path, "--json").out)
    row = PastJourney.objects.get()
    assert row.origin_latitude == site.latitude
    assert row.source.district == district
    assert row.dark is False
    assert body["model"] == str(TravelModel.objects.get(district=district))


@pytest.mark.parametrize("header", ["date,minutes", "started_at,origin,destination"])
def test_a_file_without_the_columns_is_refused(db, csv, header):
    assert run("import_journeys", csv(header, "1,2,3")).code == 2


def test_a_file_or_an_undo_must_be_given(db):
    assert run("import_journeys").code == 2


def test_a_refit_that_does_worse_is_kept_with_its_reason_and_not_used(db, csv, monkeypatch):
    run("import_journeys", csv(HEADER, *rows(200)), "--json")
    used = experience.newest_adopted(None, None)

    def spoilt(journeys, **_given):
        made = experience_learn(journeys, **_given)
        made.effects[0] += 1.0
        return made

    experience_learn = experience.learn
    monkeypatch.setattr(experience, "learn", spoilt)
    body = json.loads(
        run("import_journeys", csv(HEADER, *rows(40, seed=3), name="more.csv"), "--json").out
    )
    assert body["adopted"] is False
    assert "not used" in body["reason"]
    assert experience.newest_adopted(None, None) == used


def test_journeys_of_no_district_teach_every_district(district, csv, db):
    District.objects.create(code="other", name="Other", time_zone="UTC")
    run("import_journeys", csv(HEADER, *rows(60)), "--json")
    assert experience.newest_adopted(district, None) is not None
