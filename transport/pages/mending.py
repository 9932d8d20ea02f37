"""One page for whatever was told wrongly: correct it, or take it back with a reason.

The post, the unit and the desk open it under addresses of their own; one form and one template
serve every kind. The same address takes the 'Undo' of the line that says what was done.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from referrals import clock, correcting, recording
from referrals.acting import By
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.labels import TOLD_KINDS
from referrals.models import Referral
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.doors import show
from referrals.pages.forms import PageForm, Words
from referrals.pages.undo import done
from referrals.recording import UnknownFact
from transport import cylinders, on_the_way, told_rows
from transport.pages.attendant_forms import (
    AdviceForm,
    ReadingForm,
    TreatmentForm,
)
from transport.pages.questions import field_of
from transport.pages.score_form import ScoreForm, form_of
from transport.pages.unit_forms import OutcomeForm

WHY = "why"
CHECK_FIELDS = ("breathing", "heart_rate_band", "colour", "temperature_c")


@dataclass(frozen=True)
class Door:
    """Who opens the page, about which referral, and where it leads back to."""

    referral: Referral
    by: By
    base: str

    def path(self, kind: str, row: Any) -> str:
        """The address of the page of one entry."""
        return f"{self.base}told/{kind}/{row.pk}/"


def told_done(request: HttpRequest, words: str, base: str, kind: str, row: Any) -> None:
    """Say what was written down, with the button that takes it back at once."""
    done(request, words, f"{base}told/{kind}/{row.pk}/", **slip())


def slip() -> dict[str, Any]:
    """The fields of an 'Undo': taken back, and why."""
    return {"take_back": 1, WHY: _("a slip, undone at once")}


def mend(
    request: HttpRequest, door: Door, kind: str, number: int, rows: QuerySet[Any] | None = None
) -> HttpResponse:
    """Show what was told in a form, and take it corrected or taken back."""
    if kind not in _FORMS:
        raise Http404
    found = told_rows.rows_of(door.referral, kind) if rows is None else rows
    row = get_object_or_404(found, pk=number)
    later = row.correction() if hasattr(row, "correction") else None
    if later:
        return redirect(door.path(kind, later))
    form = _form_for(request, row, kind)
    if request.method != "POST":
        return _shown(request, door, kind, row, form)
    try:
        if "take_back" in request.POST:
            return _taken_back(request, door, kind, row, form)
        return _corrected(request, door, kind, row, form)
    except NotPossible as refusal:
        return _shown(request, door, kind, row, form, problem=refusal.sentence)
    except (ImpossibleQuantity, UnknownFact) as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return _shown(request, door, kind, row, form)


def _taken_back(
    request: HttpRequest, door: Door, kind: str, row: Any, form: PageForm
) -> HttpResponse:
    why = request.POST.get(WHY, "").strip()[:120]
    if not why:
        form.is_valid()
        form.errors.clear()
        form.add_error(WHY, _("Write in a few words why. The entry stays in sight with it."))
        return _shown(request, door, kind, row, form)
    told_rows.withdraw(door.by, row, reason=why)
    done(request, _("Taken back: %s. It stays in sight as taken back.") % TOLD_KINDS[kind])
    return redirect(door.base)


def _corrected(
    request: HttpRequest, door: Door, kind: str, row: Any, form: PageForm
) -> HttpResponse:
    if kind not in _CORRECT or not form.is_valid():
        return _shown(request, door, kind, row, form)
    _CORRECT[kind](door, row, form)
    done(request, _("Corrected. The old value stays on the timeline."))
    return redirect(door.base)


def _shown(
    request: HttpRequest, door: Door, kind: str, row: Any, form: PageForm, problem: str = ""
) -> HttpResponse:
    context = {
        "referral": door.referral,
        "back": door.base,
        "row": row,
        "what": TOLD_KINDS[kind],
        "can_correct": kind in _CORRECT,
        "form": form,
        "problem": problem,
    }
    status = 409 if problem else 422 if form.is_bound and form.errors else 200
    district = door.referral.district
    return show(request, "transport/mend.html", context, district=district, status=status)


def _form_for(request: HttpRequest, row: Any, kind: str) -> PageForm:
    form = _FORMS[kind](request.POST or None, row)
    form.fields[WHY] = Words(_("Why it is put right, in a few words"), lines=1)
    return form


def _reading_form(data: Any, row: Any) -> PageForm:
    form = ReadingForm(data, row.facts() | {"note": str(row.note or "")})
    if row.note:
        form.fields["note"] = Words(_("Words beside it"), lines=2)
    return form


def _treatment_form(data: Any, row: Any) -> PageForm:
    told = {
        "whose": str(row.baby.birth_order) if row.baby else "mother",
        "words": str(row.told),
        "given_by": row.given_by,
        "given_at": row.given_at,
    }
    babies = list(row.referral.babies.all())
    return TreatmentForm(data, now=clock.now(), babies=babies, initial=told)


def _advice_form(data: Any, row: Any) -> PageForm:
    told = {"given_by": row.given_by, "words": str(row.text), "read_back": row.read_back}
    return AdviceForm(data, initial=told)


def _outcome_form(data: Any, row: Any) -> PageForm:
    told = {
        "moment": row.moment,
        "state": row.state,
        "words": str(row.words),
        "learn": str(row.learn or ""),
    }
    return OutcomeForm(data, initial=told)


def _check_form(data: Any, row: Any) -> PageForm:
    read = {f"oxygen_{unit}": None for unit in cylinders.units_of_gauges(row.transfer)}
    told = {**read, **row.gauges(), "stopped_because": str(row.stopped_because or "")}
    facts = row.facts()
    form = PageForm(data, initial=facts | told)
    for name in dict.fromkeys((*CHECK_FIELDS, *facts, *told)):
        form.fields[name] = field_of(name, clock.now())
    return form


def _band_form(data: Any, row: Any) -> PageForm:
    return PageForm(data)


def _score_form(data: Any, row: Any) -> PageForm:
    return form_of(row, data)


_FORMS: dict[str, Callable[[Any, Any], PageForm]] = {
    "reading": _reading_form,
    "mother": _reading_form,
    "treatment": _treatment_form,
    "advice": _advice_form,
    "outcome": _outcome_form,
    "score": _score_form,
    "check": _check_form,
    "band": _band_form,
    "chest": _band_form,
    "examination": _band_form,
}


def _correct_reading(door: Door, row: Any, form: PageForm) -> None:
    facts, note = form.facts(BABY_FACTS), form.cleaned_data.get("note", "")
    _require_something(facts or note)
    correcting.observation(door.by, row, facts, note=note, why=form.cleaned_data[WHY])


def _correct_mother(door: Door, row: Any, form: PageForm) -> None:
    facts, note = form.facts(MOTHER_FACTS), form.cleaned_data.get("note", "")
    _require_something(facts or note)
    correcting.mother(door.by, row, facts, note=note, why=form.cleaned_data[WHY])


def _correct_treatment(door: Door, row: Any, form: PageForm) -> None:
    said = form.cleaned_data
    whose = said["whose"]
    baby = None if whose == "mother" else door.referral.babies.get(birth_order=whose)
    told = recording.Told(
        words=said["words"],
        given_by=said["given_by"],
        given_at=_same_or_told(row.given_at, said["given_at"]),
    )
    correcting.treatment(door.by, row, told, baby=baby, why=said[WHY])


def _correct_advice(door: Door, row: Any, form: PageForm) -> None:
    said = dict(form.cleaned_data)
    why = said.pop(WHY)
    correcting.advice(door.by, row, **said, why=why)


def _correct_outcome(door: Door, row: Any, form: PageForm) -> None:
    said = dict(form.cleaned_data)
    why = said.pop(WHY)
    correcting.outcome(door.by, row, **said, why=why)


def _correct_score(door: Door, row: Any, form: PageForm) -> None:
    assert isinstance(form, ScoreForm)  # noqa: S101 - made by _score_form
    correcting.score(door.by, row, form.told(), why=form.cleaned_data[WHY])


def _correct_check(door: Door, row: Any, form: PageForm) -> None:
    said = form.cleaned_data
    told = on_the_way.CheckTold(
        facts=form.facts(BABY_FACTS),
        oxygen_bar=said.get("oxygen_bar"),
        oxygen_psi=said.get("oxygen_psi"),
        stopped_because=said["stopped_because"],
    )
    _require_something(told.facts or told.gauges() or told.stopped_because)
    on_the_way.correct_check(door.by, row, told, why=said[WHY])


_CORRECT: dict[str, Callable[[Door, Any, PageForm], None]] = {
    "reading": _correct_reading,
    "mother": _correct_mother,
    "treatment": _correct_treatment,
    "advice": _correct_advice,
    "outcome": _correct_outcome,
    "score": _correct_score,
    "check": _correct_check,
}
"""What can hold another value; the reading of a band, a step tried and an examination can only be
taken back."""


def _require_something(told: object) -> None:
    if not told:
        raise NotPossible(
            _("Nothing is filled in any more. If it was not so at all, take it back.")
        )


def _same_or_told(before: datetime | None, told: datetime | None) -> datetime | None:
    """Hours and minutes that were left as they stood mean the day that stood there too."""
    if (
        before
        and told
        and f"{timezone.localtime(before):%H:%M}" == (f"{timezone.localtime(told):%H:%M}")
    ):
        return before
    return told
