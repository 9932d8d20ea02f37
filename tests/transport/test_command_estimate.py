"""``manage.py estimate``: one pair of places, or a file of them."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import run
from django.conf import settings

from referrals.models import District, Site

KEYS = {"p50_minutes", "p90_minutes", "geodesic_km", "road_km", "method", "reachable"}
HERE, THERE = "-22.5,86.1", "-22.7,86.0"


@pytest.fixture
def csv(tmp_path: Path):
    """Writes a file of pairs and returns its path."""

    def write(*lines: str) -> Path:
        path = tmp_path / "pairs.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path

    return write


def test_two_places_south_of_the_equator_on_an_empty_database(empty):
    answer = run("estimate", HERE, THERE, "--json")
    assert answer.code == 0
    assert set(answer.json) == KEYS
    assert answer.json["geodesic_km"] == pytest.approx(24.4, abs=0.1)
    assert answer.json["road_km"] == pytest.approx(1.4 * answer.json["geodesic_km"])
    assert 0 < answer.json["p50_minutes"] < answer.json["p90_minutes"]


def test_a_freshly_migrated_service_answers_from_a_real_shell(tmp_path):
    def manage(*words: str) -> subprocess.CompletedProcess[str]:
        plain = {"LITTLEROAD_DATA_DIR": str(tmp_path), "PATH": os.environ["PATH"]}
        command = [sys.executable, "manage.py", *words]
        return subprocess.run(
            command, cwd=settings.BASE_DIR, env=plain, capture_output=True, text=True, check=False
        )

    assert manage("migrate", "-v0").returncode == 0
    done = manage("estimate", "-22.5,86.1", "-.5,-86", "--json")
    assert done.returncode == 2  # a place is written with a digit before its point
    done = manage("estimate", "-22.5,86.1", "-0.5,-86", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert set(json.loads(done.stdout)) == KEYS
    assert manage("estimate", "--colour", "1,2", "3,4").returncode == 2


def test_the_text_is_one_sentence_with_the_window(district):
    answer = run("estimate", "PEL", "orl")
    assert answer.out.count("\n") == 1
    assert "Pelluna Health Post to Port Orlime Hospital by ambulance" in answer.out
    assert "in eight journeys of ten" in answer.out


def test_a_site_brings_the_settings_of_its_district(district):
    district.detour_factor = 2.0
    district.save()
    answer = run("estimate", "PEL", "ORL", "--json").json
    assert answer["road_km"] == pytest.approx(2.0 * answer["geodesic_km"])


def test_rain_takes_longer_on_land_and_at_sea(district):
    for vehicle in ("ambulance", "boat"):
        dry, wet = (
            run("estimate", "PEL", "ORL", "--json", "--vehicle", vehicle, *more).json
            for more in ([], ["--rainy"])
        )
        assert dry["p50_minutes"] < wet["p50_minutes"]


def minutes_at(moment):
    return run("estimate", "PEL", "ORL", "--json", "--at", moment).json["p50_minutes"]


def test_the_rainy_months_of_the_district_count_until_the_desk_says_otherwise(district):
    district.rainy_season = None
    district.save()
    january, june = minutes_at("2026-01-15T12:00"), minutes_at("2026-06-15T12:00")
    assert january > june
    district.rainy_season = False
    district.save()
    assert minutes_at("2026-01-15T12:00") == pytest.approx(june)
    district.rainy_season = True
    district.save()
    assert minutes_at("2026-06-15T12:00") == pytest.approx(january)


def test_the_month_is_that_of_the_district_not_of_the_server(district):
    district.rainy_season = None
    district.save()
    # Six hours ahead of UTC: still November there, December here.
    assert minutes_at("2026-11-30T20:00+00:00") > minutes_at("2026-11-30T17:00+00:00")


def test_at_night_the_night_factor_of_the_district_counts(district):
    day, night = minutes_at("2026-06-15T12:00"), minutes_at("2026-06-15T23:00")
    assert night / day == pytest.approx(1.15, abs=0.01)


def test_an_unknown_site_is_bad_input_and_similar_ones_are_named(district):
    Site.objects.filter(code="PEL").update(code="PELLUNA")
    answer = run("estimate", "PELUNA", "ORL")
    assert (answer.code, answer.out) == (2, "")
    assert "PELLUNA" in answer.err


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        [HERE],
        ["91,0", THERE],
        ["nan,0", THERE],
        [HERE, THERE, "--at", "yesterday"],
        [HERE, THERE, "--district", "nowhere"],
        ["--pairs", "/nowhere/pairs.csv"],
        [HERE, THERE, "--pairs", "pairs.csv"],
    ],
)
def test_what_cannot_be_used_exits_2_with_nothing_on_stdout(db, arguments):
    answer = run("estimate", *arguments)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err


def test_pairs_are_answered_in_row_order(district, csv):
    path = csv(
        "origin_lat,origin_lon,dest_lat,dest_lon,rainy,vehicle",
        "-22.5,86.1,-22.7,86.0,,",
        "-22.5,86.1,-22.5,86.1,no,car",
        "",
        "-22.5,86.1,-22.7,86.0,true,boat",
    )
    answers = run("estimate", "--pairs", path, "--json").json
    assert [set(answer) for answer in answers] == [KEYS] * 3
    assert answers[1]["geodesic_km"] == 0
    assert answers[2]["p50_minutes"] > answers[0]["p50_minutes"]
    alone = run("estimate", HERE, THERE, "--json").json
    assert answers[0] == alone


def test_pairs_may_name_sites(district, csv):
    path = csv("origin,destination", "PEL,ORL", '"-22.5,86.1",KES')
    answers = run("estimate", "--pairs", path, "--json").json
    assert answers[0] == run("estimate", "PEL", "ORL", "--json").json
    assert len(answers) == 2


def test_every_fault_of_a_file_is_named_and_nothing_is_answered(db, csv):
    path = csv(
        "origin_lat,origin_lon,dest_lat,dest_lon,at,rainy,vehicle",
        "-22.5,86.1,-22.7,86.0,,,",
        "-122.5,86.1,x,86.0,soon,perhaps,balloon",
        "-22.5,86.1,-22.7,86.0,,,,8",
        "-22.5,,-22.7,86.0,,,",
    )
    answer = run("estimate", "--pairs", path, "--json")
    assert (answer.code, answer.out) == (2, "")
    for place in ("row 3, origin_lat", "row 3, dest_lat", "row 3, at", "row 3, rainy",
                  "row 3, vehicle", "row 4", "row 5, origin_lon"):  # fmt: skip
        assert f"pairs.csv, {place}: " in answer.err
    assert "row 2" not in answer.err


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("origin_lat,origin_lon,dest_lat", "dest_lon or destination is missing"),
        ("origin_lat,origin_lat,origin_lon,dest_lat,dest_lon", "origin_lat stands twice"),
    ],
)
def test_a_header_that_cannot_be_used_is_named(db, csv, header, words):
    answer = run("estimate", "--pairs", csv(header, "1,2,3,4,5"), "--json")
    assert answer.code == 2
    assert words in answer.err


def test_a_column_of_no_use_is_passed_over_and_named(db, csv):
    answer = run(
        "estimate", "--pairs", csv("origin_lat,origin_lon,dest_lat,dest_lon,colour", "1,2,3,4,5")
    )
    assert answer.code == 0
    assert "columns passed over: colour" in answer.err


def test_a_row_of_empty_cells_is_a_fault_since_answers_go_by_row(db, csv):
    path = csv("origin_lat,origin_lon,dest_lat,dest_lon", "1,2,3,4", ",,,", "1,2,3,4")
    answer = run("estimate", "--pairs", path, "--json")
    assert answer.code == 2
    assert "row 3, origin_lat: is empty" in answer.err


def test_a_file_with_a_header_alone_is_an_empty_list(db, csv):
    path = csv("origin_lat,origin_lon,dest_lat,dest_lon")
    assert run("estimate", "--pairs", path, "--json").out.strip() == "[]"


def test_a_time_without_a_zone_is_the_districts(district, monkeypatch):
    asked = []
    monkeypatch.setattr(
        "transport.asking_travel.is_dark", lambda place, moment: asked.append(moment) or True
    )
    quiet = run("estimate", HERE, THERE, "--at", "2025-03-01T22:00")
    other = District.objects.create(code="other", name="Other", time_zone="Etc/GMT+3")
    guessed = run("estimate", HERE, THERE, "--at", "2025-03-01T22:00")
    named = run("estimate", HERE, THERE, "--at", "2025-03-01T22:00", "--district", other.code)
    assert [moment.isoformat() for moment in asked] == [
        "2025-03-01T16:00:00+00:00",  # the one district there is, UTC+6
        "2025-03-01T22:00:00+00:00",
        "2025-03-02T01:00:00+00:00",
    ]
    assert (quiet.err, named.err) == ("", "")
    assert "read as UTC" in guessed.err


def test_no_road_is_an_answer_not_a_failure(district, monkeypatch):
    from transport.calc.travel import unreachable

    def no_way(*places, **_):
        return unreachable(geodesic_km=5.0, method="roads", inputs={}, model_version="1")

    monkeypatch.setattr("transport.asking_travel.estimator_of", lambda *_of, **_how: no_way)
    answer = run("estimate", "PEL", "ORL", "--json")
    assert answer.code == 0
    assert answer.json == {
        "p50_minutes": None, "p90_minutes": None, "geodesic_km": 5.0, "road_km": None,
        "method": "roads", "reachable": False,
    }  # fmt: skip
    assert "no way is known" in run("estimate", "PEL", "ORL").out


def test_json_is_one_document(db):
    assert json.loads(run("estimate", HERE, THERE, "--json").out)["reachable"] is True
