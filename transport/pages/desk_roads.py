"""The desk's page of the roads: what is reported closed, to be lifted or added, and the season."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from referrals import clock
from referrals.calc.states import NotPossible
from referrals.calc.terms import EntryChannel
from referrals.models import District, Site
from referrals.pages.doors import by_of, page, show, staff_of
from transport import closures, roads
from transport.access import visible_closures
from transport.calc.closures import ClosureKind
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
        closures.report(by_of(request, EntryChannel.DESK), district, form.told())
    except NotPossible as refusal:
        form.add_error(None, refusal.sentence)
        return _shown(request, district, form, status=409)
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
def season(request: HttpRequest) -> HttpResponse:
    """The desk's switch: by the months, or as it is this year. New estimates follow it."""
    district = district_of_desk(request)
    chosen = request.POST.get("season", "")
    if chosen in SEASONS:
        district.rainy_season = SEASONS[chosen]
        district.save(update_fields=["rainy_season"])
    return redirect("desk_roads")


def _shown(
    request: HttpRequest, district: District, form: ClosureForm, status: int = 200
) -> HttpResponse:
    now = clock.now()
    context = {
        "form": form,
        "closures": [
            {"row": row, "kind": word(CLOSURE_KINDS, row.kind)}
            for row in visible_closures(staff_of(request)).filter(district=district).standing(now)
        ],
        "rainy": roads.is_rainy(district, now),
        "by_months": district.rainy_season is None,
    }
    return show(request, "transport/desk/roads.html", context, district=district, status=status)
