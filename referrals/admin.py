"""The back office: places, people and contacts are kept here; the record is only read.

Stages, cots and endings have their verbs, each with its Entry; no form here goes around them.
Names and notes of families are left out: they are read on the pages of the referral alone.
"""

from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.forms import AdminUserCreationForm, UserChangeForm
from django.db import models
from django.http import HttpRequest

from referrals.calc.terms import Capability, Role
from referrals.models import (
    Alert,
    Baby,
    Contact,
    CotHold,
    CotReport,
    Delivery,
    DeviceRequest,
    District,
    Entry,
    KeptInput,
    MotherObservation,
    Need,
    Observation,
    Offer,
    Outcome,
    Referral,
    Site,
    Staff,
    StaffRole,
    SweepRun,
    Unit,
)

WORDS = {
    "role": [role.value for role in Role],
    "channel": ["sms", "voice", "email", "screen"],
}
"""Text columns that hold one of a few words: chosen from a list, never typed."""


class KnownWords:
    """Lets people choose known words instead of typing them; for any kind of admin."""

    def formfield_for_dbfield(
        self, db_field: models.Field, request: HttpRequest, **kwargs: Any
    ) -> forms.Field | None:
        """A list for words, boxes to tick for capabilities."""
        if db_field.name in WORDS:
            return forms.ChoiceField(choices=[(word, word) for word in WORDS[db_field.name]])
        if db_field.name == "capabilities":
            return forms.MultipleChoiceField(
                choices=[(one.value, one.value.replace("_", " ")) for one in Capability],
                widget=forms.CheckboxSelectMultiple,
                required=False,
            )
        return super().formfield_for_dbfield(db_field, request, **kwargs)  # type: ignore[misc]


class ReadOnly(admin.ModelAdmin):
    """Rows of the record: nobody adds, changes or deletes them here."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Never."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False


class StaffCreationForm(AdminUserCreationForm):
    """A new person, with or without a password."""

    class Meta(AdminUserCreationForm.Meta):
        model = Staff


class StaffChangeForm(UserChangeForm):
    """A person as they are."""

    class Meta(UserChangeForm.Meta):
        model = Staff


class StaffRoleInline(KnownWords, admin.TabularInline):
    """What a person does where."""

    model = StaffRole
    extra = 1


@admin.register(Staff)
class StaffAdmin(UserAdmin):
    """People and their roles; taking a role away works at once."""

    form = StaffChangeForm
    add_form = StaffCreationForm
    inlines = [StaffRoleInline]
    list_display = ["username", "display_name", "phone", "is_active"]
    search_fields = ["username", "display_name", "phone"]
    fieldsets = (
        *(UserAdmin.fieldsets or ()),
        ("Littleroad", {"fields": ("display_name", "phone", "language")}),
    )


class DistrictContactInline(KnownWords, admin.TabularInline):
    """Whom to reach at the desk."""

    model = Contact
    fields = ["step", "staff", "channel"]
    extra = 1


class UnitContactInline(KnownWords, admin.TabularInline):
    """Whom to reach at a unit."""

    model = Contact
    fields = ["step", "staff", "channel"]
    extra = 1


@admin.register(District)
class DistrictAdmin(admin.ModelAdmin):
    """A district, its agreed times, and the contacts of its desk."""

    list_display = ["code", "name", "time_zone", "desk_phone"]
    inlines = [DistrictContactInline]


@admin.register(Site)
class SiteAdmin(admin.ModelAdmin):
    """Places."""

    list_display = ["code", "name", "kind", "district", "phone"]
    list_filter = ["district", "kind"]
    search_fields = ["code", "name"]


@admin.register(Unit)
class UnitAdmin(KnownWords, admin.ModelAdmin):
    """Units and their contacts. Free cots are reported on the unit's own page."""

    list_display = ["code", "name", "site", "level", "cots_free", "cots_total", "is_open"]
    list_filter = ["site__district"]
    search_fields = ["code", "name"]
    readonly_fields = ["cots_free", "cots_reported_at", "is_open"]
    inlines = [UnitContactInline]


@admin.register(Contact)
class ContactAdmin(KnownWords, admin.ModelAdmin):
    """Every step of every ladder in one list."""

    list_display = ["__str__", "unit", "district", "step", "channel"]
    list_filter = ["channel", "district"]


class EntryInline(admin.TabularInline):
    """The timeline."""

    model = Entry
    fields = ["seq", "kind", "actor", "channel", "corrected_at", "received_at"]
    extra, can_delete, show_change_link = 0, False, True

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False


@admin.register(Referral)
class ReferralAdmin(ReadOnly):
    """Referrals with their timelines, to look at."""

    list_display = ["code", "district", "origin", "stage", "urgency", "raised_at"]
    list_filter = ["district", "stage", "urgency"]
    search_fields = ["code"]
    exclude = ["ventilates", "relieves", "reports"]
    inlines = [EntryInline]


@admin.register(Baby)
class BabyAdmin(ReadOnly):
    """Babies by band code."""

    list_display = ["__str__", "born_at", "weight_g", "ending", "ended_at"]
    list_select_related = ["referral"]
    search_fields = ["referral__code"]
    exclude = ["name"]


@admin.register(Offer)
class OfferAdmin(ReadOnly):
    """Units asked. The one-time code and the receiver's name are not shown."""

    list_display = ["referral", "unit", "stage", "asked_at", "answered_at"]
    list_filter = ["stage"]
    search_fields = ["referral__code"]
    exclude = ["one_time_code", "receiver"]


@admin.register(Observation, MotherObservation)
class ObservationAdmin(ReadOnly):
    """What was seen, without the notes."""

    list_display = ["__str__", "observed_at", "observed_by"]
    exclude = ["note"]


@admin.register(Outcome)
class OutcomeAdmin(ReadOnly):
    """What was told back, without the words."""

    list_display = ["__str__", "told_by", "told_at", "read_at"]
    exclude = ["words"]


@admin.register(Alert)
class AlertAdmin(ReadOnly):
    """Who had to answer what."""

    list_display = ["key", "kind", "referral", "raised_at", "due_at", "acknowledged_by"]
    list_filter = ["kind", "district"]
    search_fields = ["referral__code", "key"]


@admin.register(Delivery)
class DeliveryAdmin(ReadOnly):
    """Every attempt to reach somebody."""

    list_display = ["__str__", "alert", "state", "tries", "created_at", "error"]
    list_filter = ["state", "channel"]
    list_select_related = ["alert"]


@admin.register(DeviceRequest)
class DeviceRequestAdmin(ReadOnly):
    """Requests by idempotency key, without the answers they got."""

    list_display = ["caller", "key", "method", "path", "status", "received_at"]
    exclude = ["answer"]


@admin.register(KeptInput)
class KeptInputAdmin(ReadOnly):
    """What could not be understood, without its text: the desk reads that on its own page."""

    list_display = ["received_at", "channel", "problem", "dealt_with_at"]
    exclude = ["body"]


@admin.register(Entry)
class EntryAdmin(ReadOnly):
    """One line of a timeline, with its hash."""

    list_display = ["__str__", "actor", "channel", "received_at"]
    list_select_related = ["referral"]
    search_fields = ["referral__code"]


admin.site.register([CotHold, CotReport, Need, SweepRun], ReadOnly)
