"""The desk's page of one vehicle that is back: what its cylinders show, and it is free again."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from referrals.calc.states import NotPossible
from referrals.calc.terms import EntryChannel
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.pages.forms import Quantity
from transport import cylinders, fleet
from transport.access import visible_vehicles
from transport.models import Vehicle
from transport.pages.desk import district_of_desk


class GaugesForm(forms.Form):
    """One number for each cylinder, in the unit of its gauge."""

    def __init__(self, vehicle: Vehicle, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.cylinders = cylinders.carried(vehicle)
        for row in self.cylinders:
            field = Quantity(f"oxygen_{row.gauge}", row.label)
            field.help_text = _("last read: %(pressure)g %(unit)s") % {
                "pressure": row.shows,
                "unit": field.unit,
            }
            self.fields[f"gauge_{row.pk}"] = field

    def told(self) -> dict[str, float]:
        """The gauges that were read, by label."""
        read = {row.label: self.cleaned_data[f"gauge_{row.pk}"] for row in self.cylinders}
        return {label: pressure for label, pressure in read.items() if pressure is not None}


@page
def gauges(request: HttpRequest, vehicle_code: str) -> HttpResponse:
    """Ready again with these pressures; a cylinder left empty here keeps its last reading."""
    district = district_of_desk(request)
    vehicles = visible_vehicles(staff_of(request)).filter(district=district)
    vehicle = get_object_or_404(vehicles, code=vehicle_code)
    form = GaugesForm(vehicle, request.POST or None)
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                with transaction.atomic():
                    fleet.vehicle_ready(
                        by_of(request, EntryChannel.DESK),
                        vehicle,
                        filled=False,
                        gauges=form.told(),
                    )
            except NotPossible as refusal:
                form.add_error(None, refusal.sentence)
                status = 409
            else:
                messages.success(request, _("%s is free again.") % vehicle)
                return redirect("desk")
    context = {"vehicle": vehicle, "form": form}
    return show(request, "transport/desk/gauges.html", context, district=district, status=status)
