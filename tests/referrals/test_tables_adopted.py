"""Every rule and table is shown with its sources, and adopted in a district by a named person."""

from datetime import timedelta

import pytest

from referrals import local_rules, tables
from referrals.calc.states import NotPossible
from referrals.models import Adoption, District, LocalRule
from tests import pseudo
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, told_by

ALL = {
    "needs", "needs-mother", "spo2", "temperature", "bounds", "breaths", "no-heartbeat",
    "list-birth", "list-departure", "list-preparation", "checks",
}  # fmt: skip


@pytest.fixture
def desk(now):
    return told_by("leena.morrastad", now)


def adopt(desk, district, code, now, **told):
    table = tables.table_named(district, code)
    values = {"name": "Dr Maren Solveig", "role": "lead clinician", "on": now.date()}
    return tables.adopt(desk, district, table, **{"version": table.version, **values, **told})


def standing(district, code):
    [found] = tables.standing_of(district, [tables.table_named(district, code)])
    return found


def test_every_table_has_lines_and_every_line_its_source(district):
    found = tables.tables_of(district)
    assert {table.code for table in found} >= ALL
    for table in found:
        assert table.lines, table.code
        assert all(line.source for line in table.lines), table.code
        codes = [line.code for line in table.lines]
        assert len(set(codes)) == len(codes), table.code


def test_what_was_shipped_is_not_adopted_until_a_person_does(district, desk, now):
    assert standing(district, "needs").adopted is None
    row = adopt(desk, district, "needs", now)
    assert standing(district, "needs").adopted == row
    assert standing(district, "spo2").adopted is None


def test_another_district_has_not_adopted_it(district, desk, now):
    adopt(desk, district, "needs", now)
    other = District.objects.create(code="other", name="Other")
    assert standing(other, "needs").adopted is None


def test_values_that_changed_are_another_version_and_no_longer_adopted(district, desk, now):
    adopt(desk, district, "needs", now)
    rule = LocalRule(district=district, rule="hot", urgency="ventilated", source="protocol 9")
    local_rules.keep_rule(desk, rule)
    found = standing(district, "needs")
    assert found.adopted is None
    assert found.newest is not None


def test_a_page_opened_before_the_values_changed_adopts_nothing(district, desk, now):
    with pytest.raises(NotPossible, match="have changed") as refusal:
        adopt(desk, district, "needs", now, version="0000000000")
    assert refusal.value.code == "table_changed"
    with pytest.raises(NotPossible, match="not come yet"):
        adopt(desk, district, "needs", now, on=now.date() + timedelta(days=2))
    assert not Adoption.objects.exists()


def test_the_version_does_not_depend_on_the_language(district, monkeypatch):
    versions = {table.code: table.version for table in tables.tables_of(district)}
    pseudo.speak(monkeypatch)
    again = {table.code: table.version for table in tables.tables_of(district)}
    assert again == versions


def test_the_desk_adopts_on_the_page_and_takes_it_back(district, officer):
    client = browser_of(officer)
    path = f"/rules/{district.code}/temperature/"
    page = text_of(client.get(path))
    assert "Not yet adopted locally." in page
    assert "36.5 °C" in page
    assert "WHO, Thermal protection of the newborn, 1997" in page
    press(client, path, action="temperature/", name="Dr Maren Solveig", role="lead clinician")
    page = text_of(client.get(path))
    assert "Adopted by Dr Maren Solveig, lead clinician, on" in page
    assert "Not yet adopted locally." not in page
    press(client, path, action="not-adopted/")
    page = text_of(client.get(path))
    assert "Not yet adopted locally." in page
    assert "taken back by Leena Morrastad" in page


def test_a_name_that_is_missing_keeps_what_was_typed(district, officer):
    path = f"/rules/{district.code}/spo2/"
    answer = press(browser_of(officer), path, action="spo2/", name="", role="lead clinician")
    assert answer.status_code == 422
    assert "lead clinician" in text_of(answer)
    assert not Adoption.objects.exists()


def test_an_attendant_reads_and_does_not_adopt(district, attendant):
    client = browser_of(attendant)
    index = text_of(client.get(f"/rules/{district.code}/"))
    assert "Needs of a baby" in index
    path = f"/rules/{district.code}/needs/"
    page = text_of(client.get(path))
    assert "Not breathing: breaths are given without a break" in page
    assert "Adopt these values" not in page
    told = {"name": "x", "role": "y", "on": "2026-01-01", "version": "z", "key": "k"}
    assert client.post(path, told).status_code == 404


def test_a_page_that_shows_values_leads_to_their_source_in_one_press(
    district, desk, attendant, now
):
    referral = a_referral(now)
    client, path = browser_of(attendant), f"/r/{referral.code}/before-leaving/"
    link = f"/rules/{district.code}/list-departure/"
    page = text_of(client.get(path))
    assert "Not yet adopted locally." in page
    assert f'href="{link}"' in page
    assert "WHO, Managing newborn problems, 2003" in text_of(client.get(link))
    adopt(desk, district, "list-departure", now)
    assert "Adopted by Dr Maren Solveig" in text_of(client.get(path))


def test_what_is_published_about_no_heartbeat_is_for_units_and_the_desk(
    district, attendant, nurse, officer
):
    path = f"/rules/{district.code}/no-heartbeat/"
    assert browser_of(attendant).get(path).status_code == 404
    index = text_of(browser_of(attendant).get(f"/rules/{district.code}/"))
    assert "No heartbeat found" not in index
    for staff in (nurse, officer):
        assert "what is published differs" in text_of(browser_of(staff).get(path))


def test_a_district_that_is_not_ones_own_is_not_found(attendant):
    District.objects.create(code="far", name="Far")
    assert browser_of(attendant).get("/rules/far/").status_code == 404
    assert browser_of(attendant).get("/rules/far/needs/").status_code == 404
