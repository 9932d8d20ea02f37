"""``manage.py import_district``: a district from a folder, all of it or none."""

import json
import re
import shutil
from pathlib import Path

import pytest
from commands import run

from fixtures_demo.load import FOLDER, load_district
from referrals.models import Contact, District, ReserveContact, Shift, Site, Staff, Unit
from transport.calc.shipped_lists import SHIPPED
from transport.models import ChecklistTemplate, Cylinder, Leg, MapLine, Vehicle


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
    assert answer.json["shifts"] == Shift.objects.count() == 70
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
    assert ChecklistTemplate.objects.count() == len(SHIPPED)
    assert answer.json["legs"] == 4
    ferry = Leg.objects.get(name="Hurrowen ferry")
    assert (ferry.origin.land, ferry.destination.land) == ("Seftima Islet", "")
    assert (str(ferry.runs_from), ferry.kinds[0]) == ("06:00:00", "ambulance")
    assert Unit.objects.get(code="THO-NB").shift_changes == ["07:00", "19:00"]


def test_a_shift_change_that_is_no_time_of_day_is_named(empty, folder):
    change(folder / "units.csv", "07:00;19:00", "07:00;7 pm")
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "units.csv, row 2, shift_changes: '7 pm' is not a time of day" in answer.err


def test_a_district_without_boats_has_no_legs(empty, folder):
    (folder / "legs.csv").unlink()
    assert run("import_district", folder, "--json").json["legs"] == 0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("LND,HUR,35,50", "LND,LND,35,50", "destination: a leg goes from one landing to another"),
        ("LND,HUR,35,50", "LND,XXX,35,50", "destination: 'XXX' is not in the file"),
        ("LND,HUR,35,50", "LND,HUR,35,30", "p90_minutes: is at least the median"),
        ("06:00,18:00", "06:00,", "runs_until: say from when until when it runs"),
        ("06:00,18:00", "6 am,18:00", "runs_from: '6 am' is not a time of day"),
        ("ambulance;car", "balloon;car", "kinds"),
    ],
)
def test_a_leg_that_cannot_be_is_named(empty, folder, old, new, said):
    change(folder / "legs.csv", old, new)
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "legs.csv, row 2, " in answer.err
    assert said in answer.err
    assert not District.objects.exists()


def test_the_hours_of_the_rota_are_kept_for_units_and_the_desk(empty, folder):
    run("import_district", folder)
    kofi = Shift.objects.filter(unit__code="ORL-NB", staff__username="kofi.brantelle").first()
    assert str(kofi) == "Kofi Brantelle, Monday 19:00 to 07:00"
    assert District.objects.get().shifts.count() == 14


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("0,07:00,19:00", "7,07:00,19:00", "weekday: must be a whole number from 0 to 6"),
        ("0,07:00,19:00", "0,7 am,19:00", "starts: '7 am' is not a time of day"),
        ("0,07:00,19:00", "0,07:00,24:00", "ends: '24:00' is not a time of day"),
        ("ORL-NB,hana", "ORM-NB,hana", "owner: 'ORM-NB' is not in the file it should name"),
        ("hana.wendorra,0", "hana.wendora,0", "username: 'hana.wendora' is not in the file"),
        ("hana.wendorra,0", "miriam.castowell,0",
         "username: Miriam Castowell is in no step of contacts.csv for ORL-NB"),
    ],
)  # fmt: skip
def test_a_shift_that_cannot_be_is_named(empty, folder, old, new, fault):
    change(folder / "rota.csv", old, new)
    answer = run("import_district", folder)
    assert answer.code == 2
    assert f"rota.csv, row 2, {fault}" in answer.err
    assert not Shift.objects.exists()


def test_a_district_without_a_rota_is_loaded(empty, folder):
    (folder / "rota.csv").unlink()
    answer = run("import_district", folder, "--json")
    assert (answer.code, answer.json["shifts"]) == (0, 0)


def test_crews_fixings_and_fuel_of_vehicles_are_loaded(empty, folder):
    change(folder / "vehicles.csv", "has_oxygen", "has_oxygen,fixings,range_km")
    change(folder / "vehicles.csv", "kambarra,true", "kambarra,true,mother_lies;cot_fixed,240")
    change(folder / "vehicles.csv", "pickerill,false", "pickerill,false,none,")
    crews = "vehicle,weekday,starts,ends\nAMB-2,0,07:00,19:00\nAMB-2,1,07:00,19:00\n"
    (folder / "crews.csv").write_text(crews)
    answer = run("import_district", folder, "--json")
    assert (answer.code, answer.json["crew_shifts"]) == (0, 2)
    ambulance = Vehicle.objects.get(code="AMB-2")
    assert (ambulance.fixings, ambulance.range_km) == (["mother_lies", "cot_fixed"], 240)
    assert [shift.weekday for shift in ambulance.crew_shifts.all()] == [0, 1]
    assert Vehicle.objects.get(code="MOT-1").fixings == []
    assert Vehicle.objects.get(code="AMB-1").fixings is None


def test_a_crew_of_no_vehicle_is_named(empty, folder):
    (folder / "crews.csv").write_text("vehicle,weekday,starts,ends\nAMB-9,0,07:00,19:00\n")
    answer = run("import_district", folder)
    assert answer.code == 2
    assert "crews.csv, row 2, vehicle: 'AMB-9' is not in the file it should name" in answer.err


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
        "people.csv, row 5, place", "contacts.csv, row 5, channel", "vehicles.csv, row 4, kind",
        "cylinders.csv, row 2, water_litres", "district.json, time_zone",
    ):  # fmt: skip
        assert f"{place}: " in answer.err
    for model in (District, Site, Staff, Vehicle):
        assert not model.objects.exists()


CYLINDERS = "label,vehicle,site,water_litres,uk_size,us_size,bar,psi,gauge,full_bar\n"


def test_a_cylinder_is_told_by_any_size_with_a_gauge_in_any_unit(empty, folder):
    rows = ["A,AMB-1,,,D,,,,12 MPa,", "B,AMB-1,,4.7,,,,1450.4,,", "C,AMB-1,,,,E,,,9000 kPa,",
            "D,,ORL,10,,,120,,,200"]  # fmt: skip
    (folder / "cylinders.csv").write_text(CYLINDERS + "\n".join(rows) + "\n")
    assert run("import_district", folder).code == 0
    kept = {row.label: row for row in Cylinder.objects.all()}
    assert (kept["A"].water_litres, kept["A"].full_bar) == (2.3, 137)
    assert [round(kept[label].shows) for label in "ABCD"] == [120, 100, 1305, 120]
    assert [kept[label].gauge for label in "ABCD"] == ["bar", "bar", "psi", "bar"]
    assert kept["D"].full_bar == 200


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("A,AMB-1,,4.7,E,,100,,,", "water_litres"),
        ("A,AMB-1,,4.7,,,100,1450,,", "bar"),
        ("A,AMB-1,,4.7,,,,,150,", "gauge"),
        ("A,AMB-1,,,D,,250,,,", "bar"),
        ("A,AMB-1,,680,,,137,,,", "water_litres"),
        ("A,AMB-1,,70,,,137,,,", "bar"),
        ("A,AMB-1,,,Q,,100,,,", "uk_size"),
    ],
)
def test_two_sizes_two_readings_and_what_no_cylinder_shows_are_faults(empty, folder, row, column):
    (folder / "cylinders.csv").write_text(f"{CYLINDERS}{row}\n")
    answer = run("import_district", folder)
    assert answer.code == 2
    assert f"cylinders.csv, row 2, {column}: " in answer.err


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


def test_nothing_in_the_invented_district_is_left_unread(empty, folder):
    assert "not used" not in run("import_district", folder, "--preview").err
    change(folder / "district.json", '"ventilated_waits"', '"patience"')
    assert "district.json: not used: patience" in run("import_district", folder, "--preview").err


def test_the_waits_of_a_ladder_come_from_the_file(empty, folder):
    change(folder / "district.json", '"stable_waits": [\n    3,', '"stable_waits": [\n    4,')
    run("import_district", folder)
    district = District.objects.get()
    assert (district.ventilated_waits, district.stable_waits) == ([1, 2, 4], [4, 6, 10])


def test_coast_and_roads_are_kept_for_the_map(empty, folder):
    answer = run("import_district", folder, "--json")
    assert answer.json["map_lines"] == MapLine.objects.count() == 22
    islet = MapLine.objects.get(kind="coast", name="Seftima Islet")
    assert islet.points[0] == islet.points[-1]
    assert MapLine.objects.get(name="Hospital Street").surface == "paved"


def test_a_district_needs_no_map(empty, folder):
    (folder / "coast.geojson").unlink()
    (folder / "roads.geojson").unlink()
    assert run("import_district", folder, "--json").json["map_lines"] == 0


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("coast", "[[[86.4626, -22.47471],", "[[[86.4626, -92.4],", "-92.4] is no longitude"),
        ("coast", "[[[86.4626, -22.47471],", "[[[86.4, -22.4],", "feature 1: a coast must end"),
        ("coast", '"Polygon"', '"Point"', "feature 1: must be Polygon or MultiPolygon, not Point"),
        ("roads", '"paved"', '"velvet"', "feature 1: 'velvet' is no surface"),
        ("roads", '"LineString"', '"Blob"', "feature 1: must be LineString or MultiLineString"),
        ("roads", '"FeatureCollection", "features"', '"F", "f"', "must be a GeoJSON"),
        ("roads", '{"type"', '{"type', "is not JSON"),
    ],
)  # fmt: skip
def test_a_fault_of_the_map_is_named_and_nothing_is_written(empty, folder, file, old, new, fault):
    change(folder / f"{file}.geojson", old, new)
    answer = run("import_district", folder)
    assert answer.code == 2
    assert f"{file}.geojson" in answer.err
    assert fault in answer.err
    assert not District.objects.exists()
    assert not MapLine.objects.exists()


def test_whom_to_ring_outside_the_district_is_kept(empty, folder):
    assert run("import_district", folder, "--json").json["reserves"] == 4
    fishers = ReserveContact.objects.get(name="Fishers of Hurrowen")
    assert (fishers.kind, fishers.words) == ("vehicle", "two boats, not in a swell")


def test_a_reserve_without_a_number_or_of_an_unknown_kind_is_named(empty, folder):
    path = folder / "reserve.csv"
    text = path.read_text().replace(",vehicle,", ",balloon,", 1)
    path.write_text(re.sub(r"\+\d+$", "", text, count=1, flags=re.MULTILINE))
    answer = run("import_district", folder)
    assert "reserve.csv, row 2, phone: is empty" in answer.err
    assert "reserve.csv, row 3, kind: 'balloon'" in answer.err
    path.unlink()
    assert run("import_district", folder, "--json").json["reserves"] == 0
