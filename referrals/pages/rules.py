"""Every rule and table with its values, sources and who adopted it; the lead and desk adopt."""

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from referrals import clock, tables
from referrals.access import districts_of, scope_of
from referrals.calc.states import NotPossible
from referrals.calc.tables import Table
from referrals.models import Adoption, District, Staff
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.pages.undo import done


class AdoptionForm(forms.Form):
    """Who adopts a table, in which role, on which day."""

    name = forms.CharField(max_length=120, label=gettext_lazy("Who adopts it, by name"))
    role = forms.CharField(max_length=120, label=gettext_lazy("In which role"))
    on = forms.DateField(
        label=gettext_lazy("On which day"), widget=forms.DateInput(attrs={"type": "date"})
    )


@page
@require_safe
def index(request: HttpRequest, district: str) -> HttpResponse:
    """All of them."""
    staff = staff_of(request)
    found = _district(staff, district)
    shown = [table for table in tables.tables_of(found) if _may_read(staff, table)]
    context = {"standings": tables.standing_of(found, shown)}
    return show(request, "referrals/rules.html", context, district=found)


@page
def table(request: HttpRequest, district: str, code: str) -> HttpResponse:
    """One table; the desk and the lead adopt it here."""
    staff = staff_of(request)
    found = _district(staff, district)
    shown = _table(staff, found, code)
    today = clock.now().date().isoformat()
    form = AdoptionForm(request.POST or None, initial={"name": str(staff), "on": today})
    if request.method != "POST":
        return _shown(request, found, shown, form)
    _require_may_adopt(staff, found)
    if not form.is_valid():
        return _shown(request, found, shown, form, status=422)
    told = {"version": request.POST.get("version", ""), **form.cleaned_data}
    try:
        tables.adopt(by_of(request), found, shown, **told)
    except NotPossible as refusal:
        return _shown(request, found, shown, form, problem=refusal.sentence, status=409)
    done(request, _("Written down: adopted for the district."))
    return redirect("rule_table", found.code, code)


@page
@require_POST
def not_adopted(request: HttpRequest, district: str, code: str) -> HttpResponse:
    """Taken back; it can be adopted again."""
    staff = staff_of(request)
    found = _district(staff, district)
    _require_may_adopt(staff, found)
    [standing] = tables.standing_of(found, [_table(staff, found, code)])
    if standing.adopted:
        tables.take_back(by_of(request), standing.adopted)
    return redirect("rule_table", found.code, code)


def _shown(
    request: HttpRequest,
    district: District,
    shown: Table,
    form: AdoptionForm,
    *,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    [standing] = tables.standing_of(district, [shown])
    rows = Adoption.objects.filter(district=district, table=shown.code)
    current = standing.adopted.pk if standing.adopted else 0
    context: dict[str, Any] = {
        "table": shown,
        "standing": standing,
        "form": form,
        "problem": problem,
        "may_adopt": _may_adopt(staff_of(request), district),
        "earlier": rows.exclude(pk=current).order_by("-pk"),
    }
    return show(request, "referrals/rule_table.html", context, district=district, status=status)


def _district(staff: Staff, code: str) -> District:
    return get_object_or_404(districts_of(staff), code=code)


def _table(staff: Staff, district: District, code: str) -> Table:
    found = tables.table_named(district, code)
    if found is None or not _may_read(staff, found):
        raise Http404
    return found


def _may_read(staff: Staff, shown: Table) -> bool:
    scope = scope_of(staff)
    return not shown.for_units or scope.is_desk or bool(scope.units)


def _may_adopt(staff: Staff, district: District) -> bool:
    scope = scope_of(staff)
    return scope.everything or district.pk in scope.districts


def _require_may_adopt(staff: Staff, district: District) -> None:
    if not _may_adopt(staff, district):
        raise Http404
