"""The back office: places and people are kept, the record is only read."""

import pytest
from django.apps import apps
from django.contrib import admin
from django.db import models
from django.test import Client
from django.urls import reverse
from world import a_journey

from referrals.admin import ReadOnly
from referrals.models import (
    District,
    Entry,
    Offer,
    PrivateText,
    Referral,
    Site,
    Staff,
    StaffRole,
    Unit,
)
from transport.calc.stages import TransferStage
from transport.models import ChecklistAnswer, ChecklistTemplate, Transfer, Vehicle

KEPT_HERE = {"Staff", "District", "Site", "Unit", "Contact", "Vehicle", "Cylinder",
             "ChecklistTemplate", "Leg", "LocalRule", "MapLine"}  # fmt: skip
OURS = [model for label in ("referrals", "transport") for model in apps.get_app_config(
    label).get_models()]  # fmt: skip
REGISTERED = [model for model in OURS if admin.site.is_registered(model)]


@pytest.fixture
def keeper(db: None) -> Client:
    """Somebody with every right, signed in."""
    client = Client()
    client.force_login(Staff.objects.create_superuser("keeper", password="a long enough phrase"))
    return client


@pytest.fixture
def journey(district, intensive, now) -> Transfer:
    """A journey on the road, so that every list has a row or two."""
    return a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)


def address(model: type[models.Model], page: str, *arguments: object) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=arguments)


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model.__name__)
def test_every_list_and_every_row_opens(keeper, journey, model):
    assert keeper.get(address(model, "changelist")).status_code == 200
    row = model.objects.first()
    if row is not None:
        assert keeper.get(address(model, "change", row.pk)).status_code == 200


@pytest.mark.parametrize("model", REGISTERED, ids=lambda model: model.__name__)
def test_the_record_is_only_read(keeper, journey, model):
    if model.__name__ in KEPT_HERE:
        assert keeper.get(address(model, "add")).status_code == 200
        return
    assert isinstance(admin.site.get_model_admin(model), ReadOnly)
    assert keeper.get(address(model, "add")).status_code == 403
    row = model.objects.first()
    if row is not None:
        assert keeper.post(address(model, "change", row.pk), {}).status_code == 403
        assert keeper.post(address(model, "delete", row.pk), {"post": "yes"}).status_code == 403


def test_names_and_notes_of_families_are_not_shown(keeper, district, post, attendant, by):
    from referrals import describing, lifecycle

    told = describing.BabyTold(name="Little Secret")
    referral = lifecycle.raise_referral(
        by(attendant), origin=post, babies=[told], note="Her aunt is Big Secret"
    )
    assert not admin.site.is_registered(PrivateText)
    for model, row in [(Referral, referral), (type(told_baby(referral)), told_baby(referral))]:
        page = keeper.get(address(model, "change", row.pk)).content.decode()
        assert "Secret" not in page
    for entry in Entry.objects.all():
        assert "Secret" not in keeper.get(address(Entry, "change", entry.pk)).content.decode()


def told_baby(referral: Referral):
    return referral.babies.get()


def test_the_code_that_accepts_by_sms_is_not_shown(keeper, journey):
    offer = Offer.objects.get()
    page = keeper.get(address(Offer, "change", offer.pk)).content.decode()
    assert offer.one_time_code not in page


def test_free_cots_and_vehicle_states_cannot_be_typed_over(keeper, district):
    for model, names in [(Unit, ["cots_free", "is_open"]), (Vehicle, ["state"])]:
        form = keeper.get(address(model, "change", model.objects.first().pk)).context["adminform"]
        assert not set(names) & set(form.form.fields)


def test_a_person_is_made_with_a_role(keeper, district):
    data = {
        "username": "new.person", "usable_password": "false",
        "password1": "", "password2": "",
        "roles-TOTAL_FORMS": "0", "roles-INITIAL_FORMS": "0",
    }  # fmt: skip
    assert keeper.post(address(Staff, "add"), data).status_code == 302
    staff = Staff.objects.get(username="new.person")
    assert not staff.has_usable_password()
    page = keeper.get(address(Staff, "change", staff.pk))
    assert page.status_code == 200
    StaffRole.objects.create(staff=staff, role="desk", district=district)


def test_an_impossible_role_is_refused_in_words(keeper, district, officer):
    role = officer.roles.get()
    form = keeper.get(address(Staff, "change", officer.pk)).context["adminform"].form
    data = {name: form.initial.get(name) or "" for name in form.fields if name != "password"}
    data |= {
        "date_joined_0": "2025-01-01", "date_joined_1": "10:00", "is_active": "on",
        "roles-TOTAL_FORMS": "1", "roles-INITIAL_FORMS": "1", "roles-0-id": role.pk,
        "roles-0-staff": officer.pk, "roles-0-district": district.pk, "roles-0-role": "attendant",
    }  # fmt: skip
    answer = keeper.post(address(Staff, "change", officer.pk), data)
    assert answer.status_code == 200
    assert "attendant_has_site" in answer.content.decode()
    assert officer.roles.get().role == "desk"


def test_a_site_and_a_district_can_be_kept(keeper, district, post):
    answer = keeper.post(
        address(Site, "change", post.pk),
        {"district": district.pk, "code": post.code, "name": "New name", "kind": post.kind,
         "latitude": post.latitude, "longitude": post.longitude, "phone": ""},
    )  # fmt: skip
    assert answer.status_code == 302
    post.refresh_from_db()
    assert post.name == "New name"
    assert keeper.get(address(District, "change", district.pk)).status_code == 200


def test_an_answered_checklist_stays_as_it_was_answered(keeper, journey, now):
    template = ChecklistTemplate.objects.first()
    page = address(ChecklistTemplate, "change", template.pk)
    assert keeper.get(page).context["has_change_permission"]
    ChecklistAnswer.objects.create(
        transfer=journey, template=template, item="warmth", answer="yes",
        answered_by="Hana", answered_at=now,
    )  # fmt: skip
    assert keeper.post(page, {}).status_code == 403


def test_somebody_without_rights_stays_outside(officer):
    client = Client()
    client.force_login(officer)
    assert client.get(reverse("admin:index")).status_code == 302


def form_of(unit: Unit) -> dict[str, object]:
    return {
        "site": unit.site_id, "code": unit.code, "name": unit.name, "level": unit.level,
        "cots_total": 8, "capabilities": ["oxygen", "cpap"],
        "contacts-TOTAL_FORMS": "0", "contacts-INITIAL_FORMS": "0",
        "shifts-TOTAL_FORMS": "0", "shifts-INITIAL_FORMS": "0",
    }  # fmt: skip


def test_a_shift_is_added_to_the_rota_of_a_unit(keeper, intensive, nurse):
    intensive.shifts.all().delete()
    shift = {
        "shifts-TOTAL_FORMS": "1", "shifts-0-weekday": "6", "shifts-0-starts": "19:00",
        "shifts-0-ends": "07:00", "shifts-0-staff": nurse.pk,
    }  # fmt: skip
    page = address(Unit, "change", intensive.pk)
    assert keeper.post(page, form_of(intensive) | shift).status_code == 302
    assert str(intensive.shifts.get()) == "Hana Wendorra, Sunday 19:00 to 07:00"
    wrong = shift | {"shifts-0-weekday": "7"}
    assert keeper.post(page, form_of(intensive) | wrong).status_code == 200


def test_capabilities_are_ticked_from_those_that_are_known(keeper, intensive):
    page, data = address(Unit, "change", intensive.pk), form_of(intensive)
    assert keeper.post(page, data).status_code == 302
    intensive.refresh_from_db()
    assert intensive.capabilities == ["oxygen", "cpap"]
    assert keeper.post(page, data | {"capabilities": ["magic"]}).status_code == 200
