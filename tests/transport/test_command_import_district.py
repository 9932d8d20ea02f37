"""``manage.py import_district``: a district from a folder, all of it or none."""

import json
import re
import shutil
from pathlib import Path

import pytest
from commands import run

from fixtures_demo.load import FOLDER, load_district
from referrals.models import Contact, District, Site, Staff, Unit
from transport.models import ChecklistTemplate, Cylinder, Vehicle


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the invented district's files, to spoil."""
    return Path(shutil.copytree(FOLDER, tmp_path / "district"))


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_the_invented_district_is_loaded(empty, folder):
    answer = run("import_district", folder, "--json")
    assert answer.code == 0
    assert answer.json["district"] == "tlv"
    assert answer.json["units"] == Unit.objects.count() == 4
    assert answer.json["people"] == Staff.objects.count() == 31
    district = District.objects.get()
    assert district.travel_settings["night_factor"] == 1.15
    assert district.travel_settings["rainy_months"] == [12, 1, 2, 3]
    assert district.rainy_season is None
    assert district.oxygen_reserve_bar == 15
    assert district.without_acceptance == {"ventilated": 10, "urgent": 20, "stable": 60}
    assert district.standing_unit.code == "ORL-NB"
    assert district.time_zone == "Etc/GMT-6"
    first = Contact.objects.filter(unit__code="ORL-NB", step=0)
    assert {contact.channel for contact in first} == {"screen", "sms"}
    assert Vehicle.objects.get(code="AMB-1").driver.username == "mateus.dunnaway"
    assert Cylinder.objects.get(label="A4").us_size == "E"
    assert ChecklistTemplate.objects.count() == 2
    assert Unit.objects.get(code="THO-NB").shift_changes == ["07:00", "19:00"]


def test_a_shift_change_that_is_no_time_of_day_is_named(empty, folder):
    change(folder / "units.csv", "07:00;19:00", "07:00;7 pm")
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "units.csv, row 2, shift_changes: '7 pm' is not a time of day" in answer.err


def test_people_have_no_password_until_one_is_set(empty, folder):
    run("import_district", folder)
    assert not any(staff.has_usable_password() for staff in Staff.objects.all())


def test_a_preview_writes_nothing(empty, folder):
    answer = run("import_district", folder, "--preview", "--json")
    assert answer.json["preview"] is True
    assert answer.json["sites"] == 17
    assert not District.objects.exists()


def test_every_fault_is_named_by_file_row_and_column_and_nothing_is_written(empty, folder):
    change(folder / "sites.csv", "-22.42414", "-222.4")
    change(folder / "units.csv", "oxygen;", "oxigen;")
    change(folder / "people.csv", "+12025550118", "12")
    change(folder / "people.csv", "tomasi.bellaqua,Tomasi Bellaqua,attendant,MRW",
           "tomasi.bellaqua,Tomasi Bellaqua,attendant,XXX")  # fmt: skip
    change(folder / "contacts.csv", "ORL-NB,1,hana.wendorra,sms", "ORL-NB,1,hana.wendorra,pigeon")
    change(folder / "vehicles.csv", "pickup", "balloon")
    change(folder / "cylinders.csv", "A1,AMB-1,,10.0,130,137,,", "A1,AMB-1,,10.0,,137,E,")
    change(folder / "district.json", '"Etc/GMT-6"', '"Moon/Crater"')
    answer = run("import_district", folder)
    assert (answer.code, answer.out) == (2, "")
    for place in (
        "sites.csv, row 3, latitude", "units.csv, row 2, capabilities", "people.csv, row 2, phone",
        "people.csv, row 5, place", "contacts.csv, row 3, channel", "vehicles.csv, row 4, kind",
        "cylinders.csv, row 2, water_litres", "district.json, time_zone",
    ):  # fmt: skip
        assert f"{place}: " in answer.err
    for model in (District, Site, Staff, Vehicle):
        assert not model.objects.exists()


def test_a_contact_must_have_what_the_channel_needs(empty, folder):
    path = folder / "people.csv"
    path.write_text(re.sub(r"(hana.wendorra,.*,ORL-NB),[+0-9]+", r"\1,", path.read_text()))
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "has no phone in people.csv" in answer.err


def test_a_second_import_is_refused_and_changes_nothing(empty, folder):
    run("import_district", folder)
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "there is a district tlv already" in answer.err
    assert Site.objects.count() == 17


def test_a_missing_file_and_a_missing_column_are_named(empty, folder):
    (folder / "contacts.csv").unlink()
    change(folder / "sites.csv", "code,name", "kode,name")
    answer = run("import_district", folder)
    assert "contacts.csv: cannot be read" in answer.err
    assert "the column code is missing" in answer.err
    assert run("import_district", folder / "nowhere").code == 2


def test_a_person_may_have_two_roles(empty, folder):
    with (folder / "people.csv").open("a") as file:
        file.write("tomasi.bellaqua,Tomasi Bellaqua,desk,TLV,,,\n")
    assert run("import_district", folder).code == 0
    roles = Staff.objects.get(username="tomasi.bellaqua").roles.values_list("role", flat=True)
    assert set(roles) == {"attendant", "desk"}


def test_cots_nobody_counted_are_not_known(empty, folder):
    change(folder / "units.csv", "obstetric_emergency_care,8,2", "obstetric_emergency_care,8,")
    run("import_district", folder)
    assert Unit.objects.get(code="ORL-NB").cots_reported_at is None
    assert Unit.objects.get(code="KES-NB").cots_reported_at is not None


def test_numbers_may_be_written_as_people_of_the_region_do(empty, folder):
    change(folder / "people.csv", "+12025550118", "(202) 555-0118")
    run("import_district", folder)
    assert Staff.objects.get(username="amara.tellowin").phone.as_e164 == "+12025550118"


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("check_every_minutes", -1),
        ("stable_waits", [3, 2, 1]),
        ("detour", "wide"),
        ("code", ""),
        ("speeds_km_h", {"paved": 900}),
        ("speeds_km_h", {"ice": 20}),
        ("rain_factors", 2),
        ("road_shares", {"paved": 0.7, "track": 0.7}),
        ("night_factor", 0.5),
        ("rainy_months", [0]),
        ("rainy_months", "june"),
        ("oxygen_reserve_bar", -5),
        ("without_acceptance", {"ventilated": -1}),
        ("without_acceptance", 5),
    ],
)
def test_settings_that_cannot_be_are_refused(empty, folder, key, value):
    path = folder / "district.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {key: value}))
    answer = run("import_district", folder)
    assert answer.code == 2
    assert f"district.json, {key}: " in answer.err


def test_the_demo_keeps_a_district_that_is_there(db, now):
    first = load_district(now)
    assert load_district(now) == first
    assert District.objects.count() == 1
