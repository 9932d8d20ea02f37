"""Facts of a referral over the API: observations, treatments, advice, needs, endings, outcomes."""

from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import (
    adding,
    clock,
    contact_with_post,
    correcting,
    describing,
    endings,
    recording,
    reopening,
)
from referrals.acting import By
from referrals.api import answers, told
from referrals.api.base import StaffView, one
from referrals.api.idempotency import once
from referrals.api.rights import require_raiser, require_receiver_or_desk, require_tell
from referrals.calc.terms import Ending
from referrals.models import Baby, MotherObservation, Need, Observation, Outcome, Referral
from referrals.models.observations import BABY_FACTS


class OfReferral(StaffView):
    """A view below one referral."""

    def referral(self, code: str) -> Referral:
        """The referral in the person's scope; the post, if it asks, was heard of."""
        referral = one(answers.readable_referrals(self.staff), code=code)
        contact_with_post.seen(referral, self.staff, clock.now())
        return referral

    def known_referral(self, code: str) -> Referral:
        """The referral, for those who know the babies."""
        referral = self.referral(code)
        require_tell(self.scope, referral)
        return referral


def baby_of(referral: Referral, birth_order: int | None) -> Baby:
    """The baby of that birth order, the first when none was told.

    Raises:
        ValidationError: beside ``baby``, when there is none.
    """
    wanted = birth_order or 1
    for baby in referral.babies.all():
        if baby.birth_order == wanted:
            return baby
    sentence = _("%(code)s has no baby number %(order)s") % {"code": referral.code, "order": wanted}
    raise exceptions.ValidationError({"baby": [sentence]})


class Observations(OfReferral):
    """What was seen and measured."""

    @extend_schema(responses=answers.ObservationAnswer(many=True), operation_id="observations_list")
    def get(self, request: Request, code: str) -> Response:
        """All readings of the babies and the mother, oldest first; corrected ones stay."""
        referral = self.referral(code)
        babies = Observation.objects.filter(baby__referral=referral)
        mothers = MotherObservation.objects.filter(mother__referral=referral)
        rows: list[Observation | MotherObservation] = [
            *babies.select_related("baby__referral", "note"),
            *mothers.select_related("mother", "note"),
        ]
        rows.sort(key=lambda row: (row.observed_at, row.pk))
        return Response(self.shown(answers.ObservationAnswer, rows, many=True))

    @extend_schema(request=told.ObservationTold, responses={201: answers.ObservationAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Record a reading, whenever it comes; with ``corrects`` it replaces another one."""
        referral = self.known_referral(code)
        said = self.told(told.ObservationTold)
        record = self._of_mother if said.get("mother") else self._of_baby
        row = record(referral, said)
        return self.answer(answers.ObservationAnswer, row, referral=referral.pk, status=201)

    def _of_baby(self, referral: Referral, said: dict[str, Any]) -> Observation:
        baby, by = baby_of(referral, said.get("baby")), self.by(said)
        facts, note = told.facts_in(said), said.get("note", "")
        old = corrected(baby.observations.all(), said)
        if old:
            return correcting.observation(by, old, facts, note=note, why=said.get("reason", ""))
        return recording.observe(by, baby, facts, note=note)

    def _of_mother(self, referral: Referral, said: dict[str, Any]) -> MotherObservation:
        by, facts, note = self.by(said), told.facts_in(said), said.get("note", "")
        old = corrected(referral.mother.observations.all(), said)
        if old:
            return correcting.mother(by, old, facts, note=note, why=said.get("reason", ""))
        return recording.observe_mother(by, referral.mother, facts, note=note)


def corrected(rows: Any, said: dict[str, Any]) -> Any:
    """The entry that this corrects; each is corrected once, a second time the newest one is.

    Raises:
        ValidationError: beside ``corrects``.
    """
    if "corrects" not in said:
        return None
    by_number = {row.pk: row for row in rows}
    row = by_number.get(said["corrects"])
    if row is None:
        sentence = _("there is no such entry to correct here")
        raise exceptions.ValidationError({"corrects": [sentence]})
    later = next((each.pk for each in by_number.values() if each.corrects_id == row.pk), None)
    if later:
        sentence = _("this was corrected already; correct number %(number)s instead")
        raise exceptions.ValidationError({"corrects": [sentence % {"number": later}]})
    return row


class Treatments(OfReferral):
    """What was given, as told; nothing here is ever suggested."""

    @extend_schema(responses=answers.TreatmentAnswer(many=True), operation_id="treatments_list")
    def get(self, request: Request, code: str) -> Response:
        """Everything that was given."""
        rows = self.referral(code).treatments.select_related("told", "baby").order_by("id")
        return Response(self.shown(answers.TreatmentAnswer, rows, many=True))

    @extend_schema(request=told.TreatmentTold, responses={201: answers.TreatmentAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Record a treatment: what, amount as told, when and by whom; or correct one."""
        referral = self.known_referral(code)
        said = self.told(told.TreatmentTold)
        by, words = self.by(said), _treatment_in(said)
        baby = None if said.get("mother") else baby_of(referral, said.get("baby"))
        old = corrected(referral.treatments.all(), said)
        if old:
            row = correcting.treatment(by, old, words, baby=baby, why=said.get("reason", ""))
        else:
            row = recording.record_treatment(by, referral, words, baby=baby)
        return self.answer(answers.TreatmentAnswer, row, referral=referral.pk, status=201)


def _treatment_in(said: dict[str, Any]) -> recording.Told:
    return recording.Told(
        words=said["words"], given_by=said.get("given_by", ""), given_at=said.get("given_at")
    )


class AdviceGiven(OfReferral):
    """Advice by the name of the clinician who gave it."""

    @extend_schema(responses=answers.AdviceAnswer(many=True), operation_id="advice_list")
    def get(self, request: Request, code: str) -> Response:
        """All advice, oldest first."""
        rows = self.referral(code).advice.select_related("text").order_by("id")
        return Response(self.shown(answers.AdviceAnswer, rows, many=True))

    @extend_schema(request=told.AdviceTold, responses={201: answers.AdviceAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Record advice; a unit that was only asked may advise too. Or correct it, by those who
        know the baby.
        """
        referral = self.referral(code)
        said = self.told(told.AdviceTold)
        by = self.by(said)
        words: dict[str, Any] = {name: said[name] for name in ("given_by", "words")}
        words["read_back"] = said.get("read_back", False)
        if "is_decision" in said:
            words["is_decision"] = said["is_decision"]
        old = corrected(referral.advice.all(), said)
        if old:
            require_tell(self.scope, referral)
            row = correcting.advice(by, old, **words, why=said.get("reason", ""))
        else:
            asked_by = said.get("asked_by", "")
            row = recording.record_advice(by, referral, **words, asked_by=asked_by)
        return self.answer(answers.AdviceAnswer, row, referral=referral.pk, status=201)


class Needs(OfReferral):
    """The care that follows from what is known."""

    @extend_schema(responses=answers.NeedAnswer(many=True), operation_id="needs_list")
    def get(self, request: Request, code: str) -> Response:
        """The needs that stand, those set aside among them."""
        return Response(self.shown(answers.NeedAnswer, self.referral(code).needs.all(), many=True))


class NeedOverride(OfReferral):
    """A person sets a need aside."""

    @extend_schema(request=told.ReasonTold, responses=answers.NeedAnswer)
    @once
    def post(self, request: Request, code: str, pk: int) -> Response:
        """Set a derived need aside with a reason; both stay on the record."""
        return self._decided(code, pk, recording.override_need)

    def _decided(self, code: str, pk: int, decide: Callable[[By, Need, str], Need]) -> Response:
        referral = self.known_referral(code)
        need = one(referral.needs.filter(superseded_at=None), pk=pk)
        said = self.told(told.ReasonTold)
        need = decide(self.by(said), need, said["reason"])
        return self.answer(answers.NeedAnswer, need, referral=referral.pk)


class NeedRestore(NeedOverride):
    """A need that was set aside counts again."""

    @extend_schema(request=told.ReasonTold, responses=answers.NeedAnswer)
    @once
    def post(self, request: Request, code: str, pk: int) -> Response:
        """Let a need count again that a person had set aside, with a reason."""
        return self._decided(code, pk, recording.restore_need)


BABY_DETAILS = ("sex", "born_at", "ventilated_since", "weight_guessed")


def baby_told(said: dict[str, Any]) -> describing.BabyTold:
    """A baby as the verbs want it told."""
    given = {name: value for name, value in said.items() if value is not None}
    return describing.BabyTold(
        facts={name: given[name] for name in BABY_FACTS if name in given},
        details={name: given[name] for name in BABY_DETAILS if name in given},
        name=given.get("name", ""),
    )


class Babies(OfReferral):
    """A twin told of later."""

    @extend_schema(request=told.BabyAddedTold, responses={201: answers.BabyAddedAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Add a baby: asked and accepting units are told, one more cot is kept if there is one."""
        referral = self.known_referral(code)
        said = self.told(told.BabyAddedTold)
        baby = adding.add_baby(self.by(said), referral, baby_told(said))
        return self.answer(answers.BabyAddedAnswer, baby, referral=referral.pk, status=201)


class BabyDescribed(OfReferral):
    """One baby: what does not change with time."""

    @extend_schema(
        request=told.BabyDescribedTold,
        responses=answers.BabyToldAnswer,
        operation_id="referrals_babies_describe",
    )
    @once
    def post(self, request: Request, code: str, birth_order: int) -> Response:
        """Say, or correct, sex, time of birth, start of ventilation, whether the weight is a guess,
        the name.
        """
        referral = self.known_referral(code)
        baby = one(referral.babies.all(), birth_order=birth_order)
        said = self.told(told.BabyDescribedTold)
        describing.tell_of(self.by(said), baby, baby_told(said))
        return self.answer(answers.BabyToldAnswer, baby, referral=referral.pk)


class MotherOf(OfReferral):
    """The mother."""

    @extend_schema(request=told.MotherTold, responses=answers.MotherToldAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Say, or correct, how old she is and whether she travels with the baby."""
        referral = self.known_referral(code)
        said = self.told(told.MotherTold)
        names: tuple[str, ...] = ("age_years", "travels")
        details = {name: said[name] for name in names if name in said}
        mother = describing.describe_mother(self.by(said), referral.mother, details)
        return self.answer(answers.MotherToldAnswer, mother, referral=referral.pk)


class HandsAtTheBedside(OfReferral):
    """Who ventilates, who relieves, who reports; or one person alone."""

    @extend_schema(responses=answers.HandsAnswer, operation_id="hands_read")
    def get(self, request: Request, code: str) -> Response:
        """As told last."""
        return Response(self.shown(answers.HandsAnswer, self.known_referral(code)))

    @extend_schema(request=told.HandsTold, responses=answers.HandsAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Say it; the desk is told when one person is alone."""
        referral = self.known_referral(code)
        said = self.told(told.HandsTold)
        named = {name: said[name] for name in asdict(describing.Hands()) if name in said}
        hands = replace(describing.Hands.of(referral), **named)
        row = describing.say_who_ventilates(self.by(said), referral, hands)
        return self.answer(answers.HandsAnswer, row, referral=referral.pk)


class Entries(OfReferral):
    """The timeline."""

    @extend_schema(responses=answers.EntryAnswer(many=True), operation_id="entries_list")
    def get(self, request: Request, code: str) -> Response:
        """Every Entry in order, each with the hash that chains it to the one before."""
        rows = self.known_referral(code).entries.order_by("seq")
        return Response(self.shown(answers.EntryAnswer, rows, many=True))


class BabyEnding(OfReferral):
    """How the referral ended for one baby."""

    @extend_schema(request=told.EndingTold, responses=answers.BabyEndedAnswer)
    @once
    def post(self, request: Request, code: str, birth_order: int) -> Response:
        """Write an ending. A death needs a name and the band code, 'recovered' a clinician's name;
        after ventilation it follows a time of watching, else 409 ``observation_period``.
        """
        referral = self.known_referral(code)
        baby = one(referral.babies.all(), birth_order=birth_order)
        said = self.told(told.EndingTold)
        endings.end_baby(
            self.by(said),
            baby,
            Ending(said["ending"]),
            determined_by=said.get("determined_by", ""),
            band=said.get("band", ""),
            ended_at=said.get("ended_at"),
            words=said.get("words", ""),
        )
        return self.answer(answers.BabyEndedAnswer, baby, referral=referral.pk)


class BabyEndingReverse(OfReferral):
    """An ending entered in error."""

    @extend_schema(request=told.ReasonTold, responses=answers.BabyEndedAnswer)
    @once
    def post(self, request: Request, code: str, birth_order: int) -> Response:
        """Take an ending back with a reason; the search goes on."""
        referral = self.known_referral(code)
        baby = one(referral.babies.all(), birth_order=birth_order)
        said = self.told(told.ReasonTold)
        reopening.reverse_ending(self.by(said), baby, reason=said["reason"])
        return self.answer(answers.BabyEndedAnswer, baby, referral=referral.pk)


class Outcomes(OfReferral):
    """How it went, told back to the post."""

    @extend_schema(responses=answers.OutcomeAnswer(many=True), operation_id="outcomes_list")
    def get(self, request: Request, code: str) -> Response:
        """Everything that was told back."""
        referral = self.known_referral(code)
        told_back = Outcome.objects.filter(baby__referral=referral)
        rows = told_back.select_related("words", "learn", "baby")
        return Response(self.shown(answers.OutcomeAnswer, rows.order_by("id"), many=True))

    @extend_schema(request=told.OutcomeTold, responses={201: answers.OutcomeAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Tell the attendant who raised the referral how a baby is; or correct what was told."""
        referral = self.referral(code)
        require_receiver_or_desk(self.scope, referral)
        said = self.told(told.OutcomeTold)
        baby = baby_of(referral, said.get("baby"))
        by = self.by(said)
        names = ("state", "words", "moment", "learn")
        words = {name: said[name] for name in names if said.get(name) is not None}
        old = corrected(baby.outcomes.all(), said)
        if old:
            row = correcting.outcome(by, old, **words, why=said.get("reason", ""))
        else:
            row = recording.tell_outcome(by, baby, **words)
        return self.answer(answers.OutcomeAnswer, row, referral=referral.pk, status=201)


class OutcomeRead(OfReferral):
    """The attendant has read how it went."""

    @extend_schema(request=told.WhenTold, responses=answers.OutcomeAnswer)
    @once
    def post(self, request: Request, code: str, pk: int) -> Response:
        """Say that it was read, by who raised the referral; twice changes nothing."""
        referral = self.referral(code)
        require_raiser(self.scope, referral, self.staff)
        rows = Outcome.objects.filter(baby__referral=referral)
        outcome = one(rows.select_related("baby__referral", "words"), pk=pk)
        row = recording.read_outcome(self.by(self.told(told.WhenTold)), outcome)
        return self.answer(answers.OutcomeAnswer, row, referral=referral.pk)
