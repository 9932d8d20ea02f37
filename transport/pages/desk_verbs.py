"""What the desk can do to one referral: each verb with its form and the function that does it.

A function takes the form's clean values, calls one verb of the record or the journey and says
in a few words what was done.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from referrals import (
    access,
    describing,
    endings,
    examining,
    joining,
    lifecycle,
    reconfirming,
    recording,
    reopening,
    ventilating,
)
from referrals.acting import By, by_staff
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending, EntryChannel
from referrals.models import Baby, Need, Offer, Referral, Staff, Unit
from referrals.models.observations import MOTHER_FACTS
from transport import (
    choosing,
    handing_over,
    meetings,
    milestones,
    on_the_way,
    proposing,
    ticking,
    where_to,
)
from transport import lifecycle as journeys
from transport.access import visible_vehicles
from transport.arrival_told import tell_arrival
from transport.calc.stages import TransferStage, require_milestone
from transport.checklists import newest
from transport.meeting_steps import MEETING_STEPS
from transport.models import ChecklistTemplate, Transfer, Vehicle
from transport.pages import desk_forms as forms
from transport.pages import desk_forms_told as told_forms
from transport.pages.mending import slip


@dataclass(frozen=True)
class Done:
    """What was done, and the address with its fields that takes it back."""

    words: str
    undo: str = ""
    fields: dict[str, Any] = field(default_factory=dict)


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
            said_by=self.by.said_by,
        )

    def by_voice_of(self, name: str) -> By:
        """The author, writing down what somebody said on the phone just now."""
        now = self.by.received_at
        return by_staff(self.staff, channel=EntryChannel.DESK, now=now, said_by=name)

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

    def undone_by(self, words: str, verb: str, **fields: Any) -> Done:
        """Done, and the verb of this page that takes it back."""
        return Done(words, reverse("desk_act", args=[self.referral.code, verb]), fields)

    def written_down(self, words: str, kind: str, row: Any) -> Done:
        """Done, and the page of what was told takes it back."""
        page = reverse("desk_referral", args=[self.referral.code])
        return Done(words, f"{page}told/{kind}/{row.pk}/", slip())

    def need(self) -> Need:
        """The need the form names."""
        needs = self.referral.needs.filter(superseded_at=None)
        return get_object_or_404(needs, pk=self.told["need"])

    def baby(self) -> Baby:
        """The baby the form names."""
        return get_object_or_404(self.referral.babies, birth_order=self.told["baby"])


@dataclass(frozen=True)
class Verb:
    """A form, what it does, and the part of the page where it stands."""

    form: type[forms.DeskForm]
    do: Callable[[Press], "str | Done"]
    part: str


def _ask(press: Press) -> str:
    unit = press.unit()
    lifecycle.ask(press.by, press.referral, unit, shown=_as_shown(press, unit))
    return _("%s is being asked.") % unit


def _as_shown(press: Press, unit: Unit) -> dict[str, Any]:
    """The candidate as it stood on the page when the desk chose it."""
    kept = press.referral.rankings.filter(pk=press.told.get("ranking") or 0).first()
    return choosing.shown_of(press.referral, kept, unit.code) if kept else {}


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
    by = press.by_voice_of(told["receiver"])
    offer = lifecycle.accept(
        by, press.offer(), receiver=told["receiver"], entrance=told["entrance"]
    )
    return _("%s takes the baby.") % offer.unit


def _reconfirm(press: Press) -> str:
    told = press.told
    by = press.by_voice_of(told["receiver"])
    offer = reconfirming.reconfirm(
        by, press.offer(), receiver=told["receiver"], entrance=told["entrance"]
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


def _assign(press: Press) -> str | Done:
    vehicles = visible_vehicles(press.staff).filter(district=press.referral.district)
    vehicle = get_object_or_404(vehicles, code=press.told["vehicle"])
    return _sent(press, vehicle, _("%s is sent.") % vehicle, why=press.told["why"])


def _sent(press: Press, vehicle: Vehicle, words: str, *, why: str = "") -> str | Done:
    """A vehicle sent by a slip is taken back; not one that took over from another."""
    transfer = press.transfer()
    is_first = transfer.vehicle_id is None
    journeys.assign(press.by, transfer, vehicle, why=why)
    return press.undone_by(words, "take_back", why=_("sent by mistake")) if is_first else words


def _found(press: Press) -> str | Done:
    told = dict(press.told) | {"driver_phone": press.told["driver_phone"].as_e164}
    told["place"] = forms.place_told(told)
    only_note = told.pop("only_note")
    for name in ("stands_at", "latitude", "longitude"):
        del told[name]
    vehicle = on_the_way.add_found_vehicle(
        press.by,
        press.referral.district,
        on_the_way.FoundVehicle(**told),
        press.by.received_at,
    )
    if only_note:
        return _("%s is written down. Nobody has sent it.") % vehicle
    return _sent(press, vehicle, _("%s is written down and sent.") % vehicle)


def _keep(press: Press) -> Done:
    vehicles = visible_vehicles(press.staff).filter(district=press.referral.district)
    vehicle = get_object_or_404(vehicles, code=press.told["vehicle"])
    proposing.keep_for(press.by, press.transfer(), vehicle)
    return press.undone_by(
        _("%s is kept for this journey. Nobody has sent it.") % vehicle, "let_go"
    )


def _let_go(press: Press) -> str:
    proposing.let_go(press.by, press.transfer())
    return _("No vehicle is kept for this journey any more.")


def _place(press: Press) -> str:
    vehicles = visible_vehicles(press.staff).filter(district=press.referral.district)
    vehicle = get_object_or_404(vehicles, code=press.told["vehicle"])
    place = forms.place_told(press.told)
    if place:
        on_the_way.stands_at(press.by, vehicle, place)
    return _("Written down where %s is.") % vehicle


def _meet(press: Press) -> str:
    district = press.referral.district
    vehicles = visible_vehicles(press.staff).filter(district=district)
    vehicle = get_object_or_404(vehicles, code=press.told["vehicle"])
    site = get_object_or_404(district.sites, code=press.told["site"])
    meetings.meet(press.by, press.transfer(), vehicle, site)
    return _("%(vehicle)s is sent to %(site)s; both drivers are told.") % {
        "vehicle": vehicle,
        "site": site,
    }


def _meeting_step(press: Press) -> str:
    step = MEETING_STEPS.get(press.told["step"])
    if step is None:
        raise Http404
    step(press.by_then(), press.transfer(), press.told.get("witness", ""))
    return _("Written down.")


def _take_back(press: Press) -> str:
    journeys.unassign(
        press.by, press.transfer(), why=press.told["why"], broken=press.told["broken"]
    )
    return _("The vehicle is taken back. Send another one.")


def _toward(press: Press) -> Done:
    unit = press.unit()
    where_to.send_toward(press.by, press.transfer(), unit)
    words = _("Sent toward %s without an acceptance; it is being asked.") % unit
    return press.undone_by(words, "not_toward")


def _not_toward(press: Press) -> str:
    where_to.not_toward(press.by, press.transfer())
    return _("Not toward it any more; the driver is told. The question to the unit stands.")


def _escort(press: Press) -> Done:
    was = press.transfer().escort_name
    journeys.name_escort(press.by, press.transfer(), press.told["name"])
    return press.undone_by(_("Who travels is written down."), "escort", name=was)


def _go_on(press: Press) -> Done:
    where_to.go_on(press.by, press.transfer(), why=press.told["why"])
    words = _("On the road again. Others are asked where none has said yes yet.")
    return press.undone_by(words, "mistake", milestone=TransferStage.ON_THE_ROAD.value)


def _override(press: Press) -> Done:
    need = press.need()
    recording.override_need(press.by, need, press.told["reason"])
    words = _("The need is set aside. What was worked out stays in sight.")
    return press.undone_by(words, "restore", need=need.pk, reason=_("set aside by mistake"))


def _restore(press: Press) -> str:
    recording.restore_need(press.by, press.need(), press.told["reason"])
    return _("The need counts again.")


def _tell_arrival(press: Press) -> str:
    tell_arrival(press.by, press.transfer())
    return _("The unit is told when to expect the baby.")


def _milestone(press: Press) -> Done:
    milestone = require_milestone(press.told["milestone"])
    milestones.reach(press.by_then(), press.transfer(), milestone)
    return press.undone_by(_("Written down."), "mistake", milestone=milestone.value)


def _mistake(press: Press) -> str:
    milestone = require_milestone(press.told["milestone"])
    milestones.withdraw_milestone(press.by, press.transfer(), milestone)
    return _("The milestone is taken back.")


def _check(press: Press) -> Done:
    beside = ("baby", "minutes_ago", "oxygen_bar", "oxygen_psi", "stopped_because")
    facts = {k: v for k, v in press.told.items() if k not in beside and v not in (None, "")}
    told = on_the_way.CheckTold(
        facts=facts,
        oxygen_bar=press.told.get("oxygen_bar"),
        oxygen_psi=press.told.get("oxygen_psi"),
        stopped_because=press.told["stopped_because"],
    )
    row = on_the_way.check(press.by_then(), press.transfer(), press.baby(), told)
    return press.written_down(_("The check is written down."), "check", row)


def _hands(press: Press) -> str:
    told = {name: press.told[name] for name in ("ventilates", "relieves", "reports")}
    alone = {"yes": True, "no": False}.get(press.told["alone"])
    describing.say_who_ventilates(press.by, press.referral, describing.Hands(**told, alone=alone))
    return _("Written down: who does what beside the baby.")


def _mother(press: Press) -> Done:
    told = {k: press.told[k] for k in MOTHER_FACTS if press.told[k] not in (None, "")}
    by, note = press.by_then(), press.told["note"]
    row = recording.observe_mother(by, press.referral.mother, told, note=note)
    words = _("Written down. It counts for the place that is looked for.")
    return press.written_down(words, "mother", row)


def _treatment(press: Press) -> Done:
    told, ago = press.told, press.told["minutes_ago"]
    given_at = press.by.received_at - timedelta(minutes=ago) if ago is not None else None
    baby = None
    if told["whose"] != "mother":
        baby = get_object_or_404(press.referral.babies, birth_order=told["whose"])
    row = recording.record_treatment(
        press.by,
        press.referral,
        recording.Told(words=told["words"], given_by=told["given_by"], given_at=given_at),
        baby=baby,
    )
    return press.written_down(_("The treatment is written down as told."), "treatment", row)


def _advice(press: Press) -> Done:
    row = recording.record_advice(press.by, press.referral, **press.told)
    return press.written_down(_("The advice is written down."), "advice", row)


def _chest(press: Press) -> Done:
    told = press.told
    row = ventilating.try_step(
        press.by_then(), press.baby(), told["step"], chest_moves=told["moves"] == "yes"
    )
    return press.written_down(_("Written down what was tried."), "chest", row)


def _tick(press: Press) -> Done:
    transfer, template = press.transfer(), _list_before_leaving(press)
    answers = dict.fromkeys(press.told["items"], "yes")
    ticking.answer_checklist(press.by, transfer, template, answers)
    return Done(_("Written down as told."))


def _leave(press: Press) -> Done:
    template = _list_before_leaving(press)
    ticking.leave_all_the_same(press.by, press.transfer(), template, reason=press.told["reason"])
    return Done(_("Written down why they leave now."))


def _list_before_leaving(press: Press) -> ChecklistTemplate:
    template = newest("departure", press.referral.district)
    if template is None:
        raise NotPossible(_("The district has no list yet."), code="no_list")
    return template


def _sign(press: Press) -> str:
    told = {k: v for k, v in press.told.items() if k != "baby"}
    handing_over.hand_over(press.by, press.transfer(), press.baby(), handing_over.Signature(**told))
    return _("The signature is written down.")


def _unsign(press: Press) -> str:
    handing_over.withdraw_signature(
        press.by, press.baby(), press.told["side"], reason=press.told["reason"]
    )
    return _("The signature is taken back; that side can sign again.")


def _outcome(press: Press) -> Done:
    told = press.told
    told = {name: value for name, value in told.items() if name != "baby"}
    row = recording.tell_outcome(press.by, press.baby(), **told)
    words = _("The outcome is written down for the attendant.")
    return press.written_down(words, "outcome", row)


def _examined(press: Press) -> Done:
    told = {name: press.told[name] for name in ("examined_by", "findings")}
    row = examining.examine(press.by_then(), press.baby(), **told)
    return press.written_down(_("Written down as told."), "examination", row)


def _end(press: Press) -> str:
    told = {k: v for k, v in press.told.items() if k not in ("baby", "ending")}
    endings.end_baby(press.by, press.baby(), Ending(press.told["ending"]), **told)
    return _("The ending is written down.")


def _join(press: Press) -> str:
    rows = access.visible_referrals(press.staff).filter(district=press.referral.district)
    into = get_object_or_404(rows, code=press.told["into"])
    joining.join(press.by, press.referral, into)
    return _("%(code)s is closed; the baby goes on as %(into)s.") % {
        "code": press.referral.code,
        "into": into.code,
    }


def _reverse(press: Press) -> str:
    reopening.reverse_ending(press.by, press.baby(), reason=press.told["reason"])
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
    "keep": Verb(forms.KeepForm, _keep, "vehicle"),
    "let_go": Verb(forms.Nothing, _let_go, "vehicle"),
    "found": Verb(forms.FoundForm, _found, "vehicle"),
    "place": Verb(forms.PlaceForm, _place, "vehicle"),
    "take_back": Verb(forms.TakeBackForm, _take_back, "vehicle"),
    "meet": Verb(forms.MeetForm, _meet, "vehicle"),
    "plan_meet": Verb(forms.PlanMeetForm, _meet, "units"),
    "meeting_step": Verb(forms.MeetingStepForm, _meeting_step, "vehicle"),
    "toward": Verb(forms.TowardForm, _toward, "vehicle"),
    "not_toward": Verb(forms.Nothing, _not_toward, "vehicle"),
    "escort": Verb(forms.EscortForm, _escort, "vehicle"),
    "go_on": Verb(forms.WhyForm, _go_on, "vehicle"),
    "tell_arrival": Verb(forms.Nothing, _tell_arrival, "vehicle"),
    "milestone": Verb(forms.MilestoneForm, _milestone, "vehicle"),
    "mistake": Verb(forms.MistakeForm, _mistake, "vehicle"),
    "check": Verb(told_forms.CheckForm, _check, "check"),
    "override": Verb(told_forms.OverrideForm, _override, "needs"),
    "restore": Verb(told_forms.RestoreForm, _restore, "needs"),
    "hands": Verb(told_forms.HandsForm, _hands, "baby"),
    "mother": Verb(told_forms.MotherForm, _mother, "baby"),
    "treatment": Verb(told_forms.TreatmentForm, _treatment, "baby"),
    "advice": Verb(told_forms.AdviceForm, _advice, "baby"),
    "chest": Verb(told_forms.ChestForm, _chest, "baby"),
    "tick": Verb(told_forms.TickForm, _tick, "list"),
    "leave": Verb(told_forms.LeaveForm, _leave, "list"),
    "sign": Verb(told_forms.SignForm, _sign, "handover"),
    "unsign": Verb(told_forms.UnsignForm, _unsign, "handover"),
    "outcome": Verb(told_forms.OutcomeForm, _outcome, "outcome"),
    "examined": Verb(told_forms.ExaminedForm, _examined, "outcome"),
    "end": Verb(told_forms.EndForm, _end, "outcome"),
    "join": Verb(told_forms.JoinForm, _join, "outcome"),
    "reverse": Verb(told_forms.ReverseForm, _reverse, "outcome"),
}


def verb_named(name: str) -> Verb:
    """The verb of that name; a name nobody knows is 404."""
    if name not in VERBS:
        raise Http404
    return VERBS[name]
