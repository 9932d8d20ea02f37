"""The desk's page of the roads: what is reported closed, ferries and boats, and the season."""

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from referrals import clock
from referrals.calc.states import NotPossible
from referrals.calc.terms import EntryChannel, VehicleKind
from referrals.labels import choices, word_of
from referrals.models import District, Site
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.pages.undo import done
from transport import closures, legs, road_table, roads
from transport.access import visible_closures, visible_legs
from transport.calc.closures import ClosureKind
from transport.calc.legs import open_legs
from transport.calc.places import Place
from transport.pages.desk import district_of_desk
from transport.pages.words import CLOSURE_KINDS, word

SEASONS = {"months": None, "rainy": True, "dry": False}


class ClosureForm(forms.Form):
    """A road, bridge or landing told to be closed. The verb says what is allowed."""

    kind = forms.ChoiceField(
        label=_("What is closed"),
        choices=[(kind.value, CLOSURE_KINDS[kind]) for kind in ClosureKind],
    )
    name = forms.CharField(max_length=120, label=_("How people know it"))
    one_end = forms.ModelChoiceField(
        Site.objects.none(), required=False, label=_("On the road between")
    )
    other_end = forms.ModelChoiceField(Site.objects.none(), required=False, label=_("and"))
    latitude = forms.FloatField(
        required=False, min_value=-90, max_value=90, label=_("Or at a point: latitude")
    )
    longitude = forms.FloatField(
        required=False, min_value=-180, max_value=180, label=_("Longitude")
    )
    radius_km = forms.FloatField(
        label=_("Ways that pass within, km"), initial=closures.RADIUS_KM, min_value=0.1
    )
    hours = forms.FloatField(
        label=_("Closed for about, hours"),
        initial=closures.HOURS,
        min_value=0.1,
        help_text=_("After that it stops counting by itself."),
    )
    words = forms.CharField(max_length=300, required=False, label=_("Words"))

    def __init__(self, district: District, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        for name in ("one_end", "other_end"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared above
            field.queryset = district.sites.order_by("name")

    def told(self) -> closures.ClosureTold:
        """What was typed, as the verb takes it; half a place is none."""
        said = self.cleaned_data
        ends, at = (said["one_end"], said["other_end"]), (said["latitude"], said["longitude"])
        return closures.ClosureTold(
            kind=ClosureKind(said["kind"]),
            name=said["name"],
            place=Place(*at) if None not in at else None,
            between=ends if None not in ends else None,
            radius_km=said["radius_km"],
            hours=said["hours"],
            words=said["words"],
        )


class LegForm(forms.Form):
    """A ferry or boat that joins two roads. The verb says what is allowed."""

    name = forms.CharField(max_length=120, label=_("How people know it"))
    origin = forms.ModelChoiceField(Site.objects.none(), label=_("From the landing"))
    destination = forms.ModelChoiceField(Site.objects.none(), label=_("To the landing"))
    median_minutes = forms.FloatField(
        min_value=1, max_value=1440, label=_("Minutes across, in one of two cases")
    )
    p90_minutes = forms.FloatField(
        min_value=1, max_value=2880, label=_("Minutes across, not exceeded in nine of ten")
    )
    waiting_minutes = forms.FloatField(
        min_value=0,
        max_value=1439,
        initial=0,
        label=_("Minutes of waiting to plan with, at the landing"),
    )
    runs_from = forms.TimeField(required=False, label=_("Runs from, as in 06:00"))
    runs_until = forms.TimeField(
        required=False, label=_("until"), help_text=_("Leave both empty if it runs at any time.")
    )
    kinds = forms.MultipleChoiceField(
        label=_("Takes aboard"),
        choices=lambda: choices(VehicleKind),
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Press boat if it takes people alone."),
    )
    and_back = forms.BooleanField(required=False, label=_("The way back is the same"))

    def __init__(self, district: District, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **{"auto_id": "leg-%s", **options})
        for name in ("origin", "destination"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared above
            field.queryset = district.sites.order_by("name")


@page
@require_GET
def index(request: HttpRequest) -> HttpResponse:
    """What is closed now, and the form."""
    district = district_of_desk(request)
    return _shown(request, district, ClosureForm(district))


@page
@require_POST
def report(request: HttpRequest) -> HttpResponse:
    """Write a closure down; what cannot be taken comes back with what was typed and why."""
    district = district_of_desk(request)
    form = ClosureForm(district, request.POST)
    if not form.is_valid():
        return _shown(request, district, form, status=400)
    try:
        closure = closures.report(by_of(request, EntryChannel.DESK), district, form.told())
    except NotPossible as refusal:
        form.add_error(None, refusal.sentence)
        return _shown(request, district, form, status=409)
    undo = reverse("desk_closure_lift", args=[closure.pk])
    done(request, _("Reported closed: %s.") % closure.name, undo)
    return redirect("desk_roads")


@page
@require_POST
def lift(request: HttpRequest, closure_id: int) -> HttpResponse:
    """It is open again."""
    district = district_of_desk(request)
    rows = visible_closures(staff_of(request)).filter(district=district)
    closures.lift(by_of(request, EntryChannel.DESK), get_object_or_404(rows, pk=closure_id))
    return redirect("desk_roads")


@page
@require_POST
def enter_leg(request: HttpRequest) -> HttpResponse:
    """Write a ferry or boat down; what cannot be taken comes back with what was typed and why."""
    district = district_of_desk(request)
    form = LegForm(district, request.POST)
    if not form.is_valid():
        return _shown(request, district, ClosureForm(district), form, status=400)
    try:
        told = legs.LegTold(**form.cleaned_data)
        legs.enter(by_of(request, EntryChannel.DESK), district, told)
    except NotPossible as refusal:
        form.add_error(None, refusal.sentence)
        return _shown(request, district, ClosureForm(district), form, status=409)
    return redirect(reverse("desk_roads") + "#legs")


@page
@require_POST
def switch_leg(request: HttpRequest, leg_id: int, verb: str) -> HttpResponse:
    """It runs no more, or again: either is one press, and the other undoes it."""
    district = district_of_desk(request)
    rows = visible_legs(staff_of(request)).filter(district=district)
    do = {"stop": legs.stop, "start": legs.start}.get(verb)
    if do is None:
        raise Http404
    do(by_of(request, EntryChannel.DESK), get_object_or_404(rows, pk=leg_id))
    return redirect(reverse("desk_roads") + "#legs")


@page
@require_POST
def season(request: HttpRequest) -> HttpResponse:
    """The desk's switch: by the months, or as it is this year. New estimates follow it."""
    district = district_of_desk(request)
    chosen = request.POST.get("season", "")
    if chosen in SEASONS:
        district.rainy_season = SEASONS[chosen]
        district.save(update_fields=["rainy_season"])
    return redirect("desk_roads")


def _shown(
    request: HttpRequest,
    district: District,
    form: ClosureForm,
    leg_form: LegForm | None = None,
    *,
    status: int = 200,
) -> HttpResponse:
    now = clock.now()
    closed = roads.closed_places(district, now)
    context = {
        "form": form,
        "closures": [
            {"row": row, "kind": word(CLOSURE_KINDS, row.kind)}
            for row in visible_closures(staff_of(request)).filter(district=district).standing(now)
        ],
        "legs": [
            {
                "row": row,
                "kinds": [word_of(VehicleKind, kind) for kind in row.kinds],
                "is_shut": not open_legs([roads.leg_as_estimated(row)], closed),
            }
            for row in visible_legs(staff_of(request)).filter(district=district)
        ],
        "in_use": road_table.in_use(district),
        "leg_form": leg_form or LegForm(district),
        "rainy": roads.is_rainy(district, now),
        "by_months": district.rainy_season is None,
    }
    return show(request, "transport/desk/roads.html", context, district=district, status=status)
