"""A post calls the desk by voice: the desk raises the referral, with a number to ring back."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from phonenumber_field.formfields import PhoneNumberField

from referrals import describing, lifecycle
from referrals.calc.terms import (
    Breathing,
    Colour,
    EntryChannel,
    HeartRateBand,
    Role,
    Support,
)
from referrals.labels import choices
from referrals.models import District, Referral, Site, Staff
from referrals.pages.doors import by_of, page, show
from transport.pages.desk import district_of_desk
from transport.pages.desk_forms import NOT_TOLD

FACTS = ("breathing", "support", "heart_rate_band", "colour")
MOST_BABIES = 4
KIND_FIRST = "health_post"


class RaiseForm(forms.Form):
    """Only the place is needed; the rest is asked while a vehicle is already being looked for."""

    site = forms.ModelChoiceField(
        Site.objects.none(), label=gettext_lazy("Where the baby is"), empty_label="---"
    )
    caller_name = forms.CharField(max_length=100, required=False, label=gettext_lazy("Who calls"))
    caller_phone = PhoneNumberField(required=False, label=gettext_lazy("Number to ring back"))
    alone = forms.BooleanField(
        required=False, label=gettext_lazy("One person alone: ring back on loudspeaker")
    )
    babies = forms.ChoiceField(
        required=False,
        label=gettext_lazy("Babies"),
        choices=[(str(count), str(count)) for count in range(1, MOST_BABIES + 1)],
    )
    breathing = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(Breathing)],
        label=gettext_lazy("Breathing"),
    )
    support = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(Support)],
        label=gettext_lazy("Helped by"),
    )
    heart_rate_band = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(HeartRateBand)],
        label=gettext_lazy("Heart rate, as felt"),
    )
    colour = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Colour)], label=gettext_lazy("Colour")
    )
    note = forms.CharField(
        max_length=600,
        required=False,
        label=gettext_lazy("In their words"),
        widget=forms.Textarea({"rows": 2}),
    )

    def __init__(self, district: District, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.fields["caller_phone"] = PhoneNumberField(
            region=district.phone_region or None,
            required=False,
            label=_("Number to ring back"),
            help_text=_("What happens is told to this number too."),
        )
        self.order_fields(list(type(self).base_fields))
        field = self.fields["site"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared above
        field.queryset = district.sites.order_by("name")
        posts = [(site.pk, site.name) for site in field.queryset if site.kind == KIND_FIRST]
        others = [(site.pk, site.name) for site in field.queryset if site.kind != KIND_FIRST]
        field.choices = [
            ("", "---"),
            (_("Health posts"), posts),
            (_("Other places"), others),
        ]


@page
def call_for(request: HttpRequest) -> HttpResponse:
    """The form, and its one press."""
    district = district_of_desk(request)
    form = RaiseForm(district, request.POST if request.method == "POST" else None)
    if request.method != "POST" or not form.is_valid():
        status = 400 if form.is_bound else 200
        return show(
            request, "transport/desk/raise.html", {"form": form}, district=district, status=status
        )
    referral = _raise(request, form.cleaned_data)
    messages.success(
        request,
        _("%s is called for. Units are being asked; send a vehicle now.") % referral.code,
    )
    return redirect("desk_referral", code=referral.code)


def _raise(request: HttpRequest, told: dict[str, Any]) -> Referral:
    site, name, phone = told["site"], told["caller_name"], told["caller_phone"]
    by = by_of(request, EntryChannel.DESK, said_by=name)
    known = _attendant_with(site, phone.as_e164) if phone else None
    facts = {fact: told[fact] for fact in FACTS if told[fact]}
    count = int(told["babies"] or 1)
    babies = [describing.BabyTold(facts=facts), *[describing.BabyTold()] * (count - 1)]
    referral = lifecycle.raise_referral(
        by,
        origin=site,
        raised_by=known,
        babies=babies,
        note=told["note"],
        caller=lifecycle.Caller(name=name, phone=phone.as_e164 if phone else ""),
    )
    if told["alone"]:
        describing.say_who_ventilates(by, referral, describing.Hands(alone=True))
    # Asking comes after the raise is safe; if it fails, the sweep asks within seconds.
    transaction.on_commit(partial(lifecycle.ask_best, referral.pk, by.received_at), robust=True)
    return referral


def _attendant_with(site: Site, phone: str) -> Staff | None:
    """The attendant of the post who has this number, so that the referral is theirs as well."""
    return Staff.objects.filter(
        roles__site=site, roles__role=Role.ATTENDANT.value, phone=phone, is_active=True
    ).first()
