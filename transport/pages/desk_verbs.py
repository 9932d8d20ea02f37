"""What the desk can do to one referral: each verb with its form and the function that does it.

A function takes the form's clean values, calls one verb of a lifecycle module and says in a few
words what was done.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from referrals import access, lifecycle, recording
from referrals.acting import By, by_staff
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending, EntryChannel
from referrals.models import Baby, Offer, Referral, Staff, Unit
from referrals.models.observations import MOTHER_FACTS
from transport import lifecycle as journeys
from transport import on_the_way
from transport.access import visible_vehicles
from transport.calc.stages import require_milestone
from transport.models import Transfer
from transport.pages import desk_forms as forms


@dataclass(frozen=True)
class Press:
    """One press at the desk: who, about which referral, with which values."""

    staff: Staff
    by: By
    referral: Referral
    told: dict[str, Any]

    def by_then(self) -> By:
        """The author, with the minutes ago at which it happened."""
        now, ago = self.by.received_at, self.told.get("minutes_ago")
        return by_staff(
            self.staff,
            channel=EntryChannel.DESK,
            now=now,
            happened_at=now - timedelta(minutes=ago) if ago else None,
        )

    def transfer(self) -> Transfer:
        """The live journey, or the last one."""
        live = self.referral.transfers.live().first() or self.referral.transfers.last()
        if live is None:
            raise NotPossible(_("There is no journey yet."), code="no_journey")
        return live

    def offer(self) -> Offer:
        """The offer the form names, if the person may answer it."""
        offers = access.answerable_offers(self.staff).filter(referral=self.referral)
        return get_object_or_404(offers, pk=self.told["offer"])

    def unit(self) -> Unit:
        """The unit the form names, of this district."""
        units = access.visible_units(self.staff)
        return get_object_or_404(
            units, code=self.told["unit"], site__district=self.referral.district
        )

    def baby(self) -> Baby:
        """The baby the form names."""
        return get_object_or_404(self.referral.babies, birth_order=self.told["baby"])


@dataclass(frozen=True)
class Verb:
    """A form, what it does, and the part of the page where it stands."""

    form: type[forms.DeskForm]
    do: Callable[[Press], str]
    part: str


def _ask(press: Press) -> str:
    unit = press.unit()
    lifecycle.ask(press.by, press.referral, unit, shown=_as_shown(press, unit))
    return _("%s is being asked.") % unit


def _as_shown(press: Press, unit: Unit) -> dict[str, Any]:
    """The candidate as it stood on the page when the desk chose it."""
    kept = press.referral.rankings.filter(pk=press.told.get("ranking") or 0).first()
    candidates = kept.body["candidates"] if kept else []
    shown = next((each for each in candidates if each["key"] == unit.code), None)
    return {**shown, "ranking": kept.pk} if shown and kept else {}


def _ask_stop(press: Press) -> str:
    unit = press.unit()
    shown = _as_shown(press, unit)
    kept = press.referral.rankings.filter(pk=press.told.get("ranking") or 0).first()
    plans = kept.body.get("plans", []) if kept else []
    plan = next((p for p in plans if (p["kind"], p["key"]) == ("stop", unit.code)), None)
    if plan is None:
        raise NotPossible(
            _("That plan is no longer shown. Look at the plans below and choose again."),
            code="no_plan",
        )
    lifecycle.ask(press.by, press.referral, unit, shown=shown | {"plan": plan})
    return _("%s is being asked for a stop on the way.") % unit


def _ask_next(press: Press) -> str:
    offers = lifecycle.ask_best(press.referral.pk, press.by.received_at)
    if not offers:
        raise NotPossible(
            _("There is no unit left to ask, or one takes the baby already. See the call list."),
            code="nobody_left",
        )
    return _("%s is being asked.") % offers[0].unit


def _accept(press: Press) -> str:
    told = press.told
    offer = lifecycle.accept(
        press.by, press.offer(), receiver=told["receiver"], entrance=told["entrance"]
    )
    return _("%s takes the baby.") % offer.unit


def _reconfirm(press: Press) -> str:
    told = press.told
    offer = lifecycle.reconfirm(
        press.by, press.offer(), receiver=told["receiver"], entrance=told["entrance"]
    )
    return _("%s is still ready.") % offer.unit


def _decline(press: Press) -> str:
    reason = DeclineReason(press.told["reason"])
    offer = lifecycle.decline(press.by, press.offer(), reason=reason, words=press.told["words"])
    return _("Written down: %s cannot take the baby.") % offer.unit


def _withdraw(press: Press) -> str:
    offer = lifecycle.withdraw(press.by, press.offer(), why=press.told["why"])
    return _("%s is told that it is no longer needed.") % offer.unit


def _divert(press: Press) -> str:
    offers = lifecycle.divert(press.by, press.referral, why=press.told["why"])
    names = ", ".join(str(offer.unit) for offer in offers)
    return _("Taken back. Now asked: %s.") % (names or _("nobody is left; ring the call list"))


def _assign(press: Press) -> str:
    vehicles = visible_vehicles(press.staff).filter(district=press.referral.district)
    vehicle = get_object_or_404(vehicles, code=press.told["vehicle"])
    journeys.assign(press.by, press.transfer(), vehicle)
    return _("%s is sent.") % vehicle


def _found(press: Press) -> str:
    told = dict(press.told) | {"driver_phone": press.told["driver_phone"].as_e164}
    vehicle = on_the_way.add_found_vehicle(
        press.by,
        press.referral.district,
        on_the_way.FoundVehicle(**told),
        press.by.received_at,
    )
    journeys.assign(press.by, press.transfer(), vehicle)
    return _("%s is written down and sent.") % vehicle


def _take_back(press: Press) -> str:
    journeys.unassign(
        press.by, press.transfer(), why=press.told["why"], broken=press.told["broken"]
    )
    return _("The vehicle is taken back. Send another one.")


def _toward(press: Press) -> str:
    unit = press.unit()
    journeys.send_toward(press.by, press.transfer(), unit)
    return _("Sent toward %s without an acceptance; it is being asked.") % unit


def _milestone(press: Press) -> str:
    milestone = require_milestone(press.told["milestone"])
    journeys.reach(press.by_then(), press.transfer(), milestone)
    return _("Written down.")


def _mistake(press: Press) -> str:
    milestone = require_milestone(press.told["milestone"])
    journeys.withdraw_milestone(press.by, press.transfer(), milestone)
    return _("The milestone is taken back.")


def _check(press: Press) -> str:
    beside = ("baby", "minutes_ago", "oxygen_bar", "stopped_because")
    facts = {k: v for k, v in press.told.items() if k not in beside and v not in (None, "")}
    told = on_the_way.CheckTold(
        facts=facts,
        oxygen_bar=press.told["oxygen_bar"],
        stopped_because=press.told["stopped_because"],
    )
    on_the_way.check(press.by_then(), press.transfer(), press.baby(), told)
    return _("The check is written down.")


def _mother(press: Press) -> str:
    told = {k: press.told[k] for k in MOTHER_FACTS if press.told[k] not in (None, "")}
    recording.observe_mother(press.by_then(), press.referral.mother, told, note=press.told["note"])
    return _("Written down. It counts for the place that is looked for.")


def _treatment(press: Press) -> str:
    told, ago = press.told, press.told["minutes_ago"]
    given_at = press.by.received_at - timedelta(minutes=ago) if ago is not None else None
    baby = None
    if told["whose"] != "mother":
        baby = get_object_or_404(press.referral.babies, birth_order=told["whose"])
    recording.record_treatment(
        press.by,
        press.referral,
        recording.Told(words=told["words"], given_by=told["given_by"], given_at=given_at),
        baby=baby,
    )
    return _("The treatment is written down as told.")


def _advice(press: Press) -> str:
    recording.record_advice(press.by, press.referral, **press.told)
    return _("The advice is written down.")


def _sign(press: Press) -> str:
    told = {k: v for k, v in press.told.items() if k != "baby"}
    journeys.hand_over(press.by, press.transfer(), press.baby(), journeys.Signature(**told))
    return _("The signature is written down.")


def _outcome(press: Press) -> str:
    told = press.told
    recording.tell_outcome(press.by, press.baby(), state=told["state"], words=told["words"])
    return _("The outcome is written down for the attendant.")


def _end(press: Press) -> str:
    told = {k: v for k, v in press.told.items() if k not in ("baby", "ending")}
    lifecycle.end_baby(press.by, press.baby(), Ending(press.told["ending"]), **told)
    return _("The ending is written down.")


def _join(press: Press) -> str:
    rows = access.visible_referrals(press.staff).filter(district=press.referral.district)
    into = get_object_or_404(rows, code=press.told["into"])
    lifecycle.join(press.by, press.referral, into)
    return _("%(code)s is closed; the baby goes on as %(into)s.") % {
        "code": press.referral.code,
        "into": into.code,
    }


def _reverse(press: Press) -> str:
    lifecycle.reverse_ending(press.by, press.baby(), reason=press.told["reason"])
    return _("The ending is taken back.")


VERBS: dict[str, Verb] = {
    "ask": Verb(forms.AskForm, _ask, "units"),
    "ask_stop": Verb(forms.AskStopForm, _ask_stop, "units"),
    "ask_next": Verb(forms.Nothing, _ask_next, "units"),
    "accept": Verb(forms.AcceptForm, _accept, "units"),
    "reconfirm": Verb(forms.ReconfirmForm, _reconfirm, "units"),
    "decline": Verb(forms.DeclineForm, _decline, "units"),
    "withdraw": Verb(forms.WithdrawForm, _withdraw, "units"),
    "divert": Verb(forms.WhyForm, _divert, "units"),
    "assign": Verb(forms.AssignForm, _assign, "vehicle"),
    "found": Verb(forms.FoundForm, _found, "vehicle"),
    "take_back": Verb(forms.TakeBackForm, _take_back, "vehicle"),
    "toward": Verb(forms.TowardForm, _toward, "vehicle"),
    "milestone": Verb(forms.MilestoneForm, _milestone, "vehicle"),
    "mistake": Verb(forms.MistakeForm, _mistake, "vehicle"),
    "check": Verb(forms.CheckForm, _check, "check"),
    "mother": Verb(forms.MotherForm, _mother, "baby"),
    "treatment": Verb(forms.TreatmentForm, _treatment, "baby"),
    "advice": Verb(forms.AdviceForm, _advice, "baby"),
    "sign": Verb(forms.SignForm, _sign, "handover"),
    "outcome": Verb(forms.OutcomeForm, _outcome, "outcome"),
    "end": Verb(forms.EndForm, _end, "outcome"),
    "join": Verb(forms.JoinForm, _join, "outcome"),
    "reverse": Verb(forms.ReverseForm, _reverse, "outcome"),
}


def verb_named(name: str) -> Verb:
    """The verb of that name; a name nobody knows is 404."""
    if name not in VERBS:
        raise Http404
    return VERBS[name]
