"""The back office of the journey: vehicles, cylinders and checklists; journeys are only read."""

from typing import Any

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from referrals.admin import KnownWords, ReadOnly
from referrals.calc.terms import VehicleKind
from transport.models import (
    Check,
    ChecklistAnswer,
    ChecklistTemplate,
    Closure,
    CrewShift,
    Cylinder,
    DeskRow,
    Estimate,
    Handover,
    JourneyImport,
    LeftAllTheSame,
    Leg,
    MapLine,
    Milestone,
    Position,
    Ranking,
    RoadTable,
    Transfer,
    TravelModel,
    Vehicle,
)

KINDS = [kind.value for kind in VehicleKind]


class CylinderInline(admin.TabularInline):
    """The oxygen that a vehicle carries."""

    model = Cylinder
    fields = ["district", "label", "water_litres", "bar", "us_size", "psi"]
    extra = 0


class CrewShiftInline(admin.TabularInline):
    """When the vehicle has a crew; with none it always has one."""

    model = CrewShift
    extra = 0


@admin.register(Vehicle)
class VehicleAdmin(KnownWords, admin.ModelAdmin):
    """Vehicles and their cylinders. Whether one is free is said by its journeys alone."""

    list_display = ["code", "name", "kind", "base", "state", "registered"]
    list_filter = ["district", "kind", "state"]
    search_fields = ["code", "name"]
    readonly_fields = [
        "state", "latitude", "longitude", "seen_at", "escort_home_at", "filled_at", "clean_at"
    ]  # fmt: skip
    inlines = [CylinderInline, CrewShiftInline]

    def formfield_for_dbfield(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        """The kinds of vehicle that travel times are known for."""
        if db_field.name == "kind":
            return forms.ChoiceField(choices=[(kind, kind) for kind in KINDS])
        return super().formfield_for_dbfield(db_field, request, **kwargs)


@admin.register(Cylinder)
class CylinderAdmin(admin.ModelAdmin):
    """Every cylinder of the district."""

    list_display = ["label", "vehicle", "site", "water_litres", "bar", "us_size", "psi"]
    list_filter = ["district"]


@admin.register(Leg)
class LegAdmin(admin.ModelAdmin):
    """Ferry and boat legs; the desk's page of the roads enters and stops them too."""

    list_display = ["name", "origin", "destination", "median_minutes", "runs_from", "runs_until"]
    list_filter = ["district"]
    readonly_fields = ["entered_by", "stopped_at", "stopped_by"]


@admin.register(ChecklistTemplate)
class ChecklistTemplateAdmin(admin.ModelAdmin):
    """Checklists. One that was answered stays as it was answered: add the next version."""

    list_display = ["code", "version", "title", "when", "district"]
    list_filter = ["district", "when"]

    def has_change_permission(
        self, request: HttpRequest, obj: ChecklistTemplate | None = None
    ) -> bool:
        """Only while nobody has answered this version."""
        if obj is not None and obj.checklistanswer_set.exists():
            return False
        return super().has_change_permission(request, obj)


@admin.register(MapLine)
class MapLineAdmin(admin.ModelAdmin):
    """Coast and roads as they are drawn on the desk's map."""

    list_display = ["name", "kind", "surface", "district"]
    list_filter = ["district", "kind"]


@admin.register(JourneyImport)
class JourneyImportAdmin(ReadOnly):
    """Files of past journeys; ``manage.py import_journeys --undo`` takes one out again."""

    list_display = ["__str__", "district", "added_at", "undone_at"]


@admin.register(RoadTable)
class RoadTableAdmin(ReadOnly):
    """Maps whose roads were read; ``manage.py import_roads --undo`` goes back to those before."""

    list_display = ["__str__", "district", "file_name", "map_date", "road_km", "added_at"]
    exclude = ["network"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[RoadTable]:
        """Without the network, which fills pages."""
        return super().get_queryset(request).defer("network")


@admin.register(TravelModel)
class TravelModelAdmin(ReadOnly):
    """What was learned of travel times, how it did on held-back journeys, and what is in use."""

    list_display = ["__str__", "district", "made_at", "journeys", "adopted", "reason"]
    list_filter = ["district", "adopted"]
    exclude = ["stored", "judge"]


@admin.register(Transfer)
class TransferAdmin(ReadOnly):
    """Journeys, to look at, without the escort's name."""

    list_display = ["referral", "stage", "vehicle", "destination", "wanted_at", "finished_at"]
    list_filter = ["stage"]
    search_fields = ["referral__code"]
    exclude = ["escort_name"]


@admin.register(Check)
class CheckAdmin(ReadOnly):
    """Checks on the way, without the words of a stop."""

    list_display = ["__str__", "transfer", "checked_by", "oxygen_bar"]
    exclude = ["stopped_because"]


@admin.register(ChecklistAnswer)
class ChecklistAnswerAdmin(ReadOnly):
    """Answers to checklists, without notes."""

    list_display = ["transfer", "template", "item", "answer", "answered_at"]
    exclude = ["note"]


@admin.register(LeftAllTheSame)
class LeftAllTheSameAdmin(ReadOnly):
    """Who left with something of the list open, without the words of why."""

    list_display = ["transfer", "template", "said_by", "said_at"]
    exclude = ["reason"]


@admin.register(Handover)
class HandoverAdmin(ReadOnly):
    """Handovers, without names and without the words of a disagreement."""

    list_display = [
        "__str__",
        "given_at",
        "received_at",
        "given_band_checked",
        "received_band_checked",
    ]
    exclude = ["given_by", "received_by", "disagreement"]


admin.site.register([Closure, DeskRow, Estimate, Milestone, Position, Ranking], ReadOnly)
