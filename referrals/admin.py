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
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from referrals import clock
from referrals.acting import by_staff
from referrals.calc.terms import Capability, EntryChannel, Role, Urgency
from referrals.local_rules import keep_rule
from referrals.models import (
    Adoption,
    Alert,
    Baby,
    ChestTry,
    Contact,
    CotHold,
    CotReport,
    Delivery,
    DeviceRequest,
    District,
    Entry,
    Examination,
    InboundMessage,
    KeptInput,
    LocalRule,
    MotherObservation,
    Need,
    Observation,
    Offer,
    Outcome,
    Referral,
    ReserveContact,
    Shift,
    Site,
    Staff,
    StaffRole,
    SweepRun,
    Unit,
)
from referrals.models.local_rules import SHIPPED_RULES
from referrals.models.sites import RESERVE_KINDS

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
        """A list for words and weekdays, boxes to tick for capabilities."""
        if db_field.name in WORDS:
            return forms.ChoiceField(choices=[(word, word) for word in WORDS[db_field.name]])
        if db_field.name == "weekday":
            return forms.TypedChoiceField(coerce=int, choices=list(WEEKDAYS.items()))
        if db_field.name == "capabilities":
            return forms.MultipleChoiceField(
                choices=[(one.value, one.value.replace("_", " ")) for one in Capability],
                widget=forms.CheckboxSelectMultiple,
                required=False,
            )
        return super().formfield_for_dbfield(db_field, request, **kwargs)  # type: ignore[misc]


class CapabilitiesAsShipped(forms.MultipleChoiceField):
    """Capabilities to tick; none ticked leaves the shipped ones."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            choices=[(one.value, one.value.replace("_", " ")) for one in Capability],
            widget=forms.CheckboxSelectMultiple,
            required=False,
            **options,
        )

    def clean(self, value: Any) -> list[str] | None:
        """The codes, or nothing."""
        return super().clean(value) or None


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


class ReserveContactInline(admin.TabularInline):
    """Whom the desk rings when nobody of the district can."""

    model = ReserveContact
    extra = 1

    def formfield_for_dbfield(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        """The kinds that the call list knows."""
        if db_field.name == "kind":
            return forms.ChoiceField(choices=[(kind, kind) for kind in RESERVE_KINDS])
        return super().formfield_for_dbfield(db_field, request, **kwargs)


class UnitContactInline(KnownWords, admin.TabularInline):
    """Whom to reach at a unit."""

    model = Contact
    fields = ["step", "staff", "channel"]
    extra = 1


class ShiftInline(KnownWords, admin.TabularInline):
    """The rota of a unit or of the desk."""

    model = Shift
    fields = ["weekday", "starts", "ends", "staff"]
    extra = 1


@admin.register(District)
class DistrictAdmin(admin.ModelAdmin):
    """A district, its agreed times, and the contacts and the rota of its desk."""

    list_display = ["code", "name", "time_zone", "desk_phone"]
    inlines = [DistrictContactInline, ShiftInline, ReserveContactInline]


@admin.register(Site)
class SiteAdmin(admin.ModelAdmin):
    """Places. No road joins places of different lands."""

    list_display = ["code", "name", "kind", "land", "district", "phone"]
    list_filter = ["district", "kind"]
    search_fields = ["code", "name"]


@admin.register(Unit)
class UnitAdmin(KnownWords, admin.ModelAdmin):
    """Units, their contacts and their rota. Free cots are reported on the unit's own page."""

    list_display = ["code", "name", "site", "level", "cots_free", "cots_total", "is_open"]
    list_filter = ["site__district"]
    search_fields = ["code", "name"]
    readonly_fields = ["cots_free", "cots_reported_at", "is_open"]
    inlines = [UnitContactInline, ShiftInline]


@admin.register(Contact)
class ContactAdmin(KnownWords, admin.ModelAdmin):
    """Every step of every ladder in one list."""

    list_display = ["__str__", "unit", "district", "step", "channel"]
    list_filter = ["channel", "district"]


@admin.register(LocalRule)
class LocalRuleAdmin(KnownWords, admin.ModelAdmin):
    """A district's own form of need rules. What was decided stays: add the next version."""

    list_display = ["rule", "version", "district", "urgency", "loosened_by", "made_by", "made_at"]
    list_filter = ["district", "rule"]
    readonly_fields = ["version", "made_by", "made_at"]

    def formfield_for_dbfield(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        """Lists of the rules, the urgencies and the capabilities there are."""
        if db_field.name == "rule":
            return forms.ChoiceField(
                choices=[(code, f"{code}: {row.words}") for code, row in SHIPPED_RULES.items()]
            )
        if db_field.name == "urgency":
            shipped = [("", _("as shipped")), *((one.value, one.value) for one in Urgency)]
            return forms.ChoiceField(choices=shipped, required=False)
        if db_field.name in ("capabilities", "preferred_capabilities"):
            return CapabilitiesAsShipped(help_text=db_field.help_text)
        return super().formfield_for_dbfield(db_field, request, **kwargs)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Only to look at; a change is another version."""
        return obj is None and super().has_change_permission(request, obj)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Never."""
        return False

    def save_model(self, request: HttpRequest, obj: LocalRule, form: Any, change: bool) -> None:
        """Keep it as the next version; needs of open referrals are derived anew."""
        assert isinstance(request.user, Staff)  # noqa: S101 - only staff reach the admin
        keep_rule(by_staff(request.user, channel=EntryChannel.PAGE, now=clock.now()), obj)


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
    exclude = ["ventilates", "relieves", "reports", "caller_name", "caller_phone"]
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


@admin.register(ChestTry)
class ChestTryAdmin(ReadOnly):
    """What was tried when a chest did not move."""

    list_display = ["__str__", "chest_moves", "told_by"]


@admin.register(Adoption)
class AdoptionAdmin(ReadOnly):
    """Who adopted which table; written on the page of the table itself."""

    list_display = ["table", "district", "adopted_by", "role", "adopted_on", "withdrawn_at"]
    list_filter = ["district", "table"]


@admin.register(Outcome)
class OutcomeAdmin(ReadOnly):
    """What was told back, without the words."""

    list_display = ["__str__", "told_by", "told_at", "read_at"]
    exclude = ["words", "learn"]


@admin.register(Examination)
class ExaminationAdmin(ReadOnly):
    """That a baby was examined, without the findings."""

    list_display = ["__str__", "examined_by", "told_by"]
    exclude = ["findings"]


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


@admin.register(InboundMessage)
class InboundMessageAdmin(ReadOnly):
    """What came in by telephone and what became of it, without its text."""

    list_display = ["received_at", "kind", "sender", "became", "referral"]
    list_filter = ["kind", "became"]
    list_select_related = ["referral"]
    exclude = ["text"]


@admin.register(Entry)
class EntryAdmin(ReadOnly):
    """One line of a timeline, with its hash."""

    list_display = ["__str__", "actor", "channel", "received_at"]
    list_select_related = ["referral"]
    search_fields = ["referral__code"]


admin.site.register([CotHold, CotReport, Need, SweepRun], ReadOnly)
admin.site.site_header = admin.site.site_title = _("Littleroad: places, people and the record")
admin.site.index_title = _("What is kept here")
