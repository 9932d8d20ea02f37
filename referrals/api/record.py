"""Facts of a referral over the API: observations, treatments, advice, needs, endings, outcomes."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import lifecycle, recording
from referrals.api import answers, told
from referrals.api.base import StaffView, one
from referrals.api.idempotency import once
from referrals.api.rights import require_raiser, require_receiver_or_desk, require_tell
from referrals.calc.terms import Ending
from referrals.models import Baby, MotherObservation, Observation, Outcome, Referral


class OfReferral(StaffView):
    """A view below one referral."""

    def referral(self, code: str) -> Referral:
        """The referral in the person's scope."""
        return one(answers.readable_referrals(self.staff), code=code)

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
        baby = baby_of(referral, said.get("baby"))
        return recording.observe(
            self.by(said),
            baby,
            told.facts_in(said),
            note=said.get("note", ""),
            corrects=_corrected(baby.observations.all(), said),
        )

    def _of_mother(self, referral: Referral, said: dict[str, Any]) -> MotherObservation:
        return recording.observe_mother(
            self.by(said),
            referral.mother,
            told.facts_in(said),
            note=said.get("note", ""),
            corrects=_corrected(referral.mother.observations.all(), said),
        )


def _corrected(rows: Any, said: dict[str, Any]) -> Any:
    """The row a reading corrects; each row is corrected once, a second one corrects the first."""
    if "corrects" not in said:
        return None
    by_number = {row.pk: row for row in rows}
    row = by_number.get(said["corrects"])
    if row is None:
        sentence = _("there is no such observation of this patient")
        raise exceptions.ValidationError({"corrects": [sentence]})
    later = next((each.pk for each in by_number.values() if each.corrects_id == row.pk), None)
    if later:
        sentence = _("this was corrected already; correct observation %(number)s instead")
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
        """Record a treatment: what, amount as told, when and by whom."""
        referral = self.known_referral(code)
        said = self.told(told.TreatmentTold)
        row = recording.record_treatment(
            self.by(said),
            referral,
            recording.Told(
                words=said["words"],
                given_by=said.get("given_by", ""),
                given_at=said.get("given_at"),
            ),
            baby=None if said.get("mother") else baby_of(referral, said.get("baby")),
        )
        return self.answer(answers.TreatmentAnswer, row, referral=referral.pk, status=201)


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
        """Record advice; a unit that was only asked may advise too."""
        referral = self.referral(code)
        said = self.told(told.AdviceTold)
        row = recording.record_advice(
            self.by(said),
            referral,
            given_by=said["given_by"],
            words=said["words"],
            asked_by=said.get("asked_by", ""),
            read_back=said.get("read_back", False),
        )
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
        referral = self.known_referral(code)
        need = one(referral.needs.filter(superseded_at=None), pk=pk)
        said = self.told(told.ReasonTold)
        need = recording.override_need(self.by(said), need, said["reason"])
        return self.answer(answers.NeedAnswer, need, referral=referral.pk)


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
        lifecycle.end_baby(
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
        lifecycle.reverse_ending(self.by(said), baby, reason=said["reason"])
        return self.answer(answers.BabyEndedAnswer, baby, referral=referral.pk)


class Outcomes(OfReferral):
    """How it went, told back to the post."""

    @extend_schema(responses=answers.OutcomeAnswer(many=True), operation_id="outcomes_list")
    def get(self, request: Request, code: str) -> Response:
        """Everything that was told back."""
        referral = self.known_referral(code)
        rows = Outcome.objects.filter(baby__referral=referral).select_related("words", "baby")
        return Response(self.shown(answers.OutcomeAnswer, rows.order_by("id"), many=True))

    @extend_schema(request=told.OutcomeTold, responses={201: answers.OutcomeAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Tell the attendant who raised the referral how a baby is."""
        referral = self.referral(code)
        require_receiver_or_desk(self.scope, referral)
        said = self.told(told.OutcomeTold)
        baby = baby_of(referral, said.get("baby"))
        row = recording.tell_outcome(self.by(said), baby, state=said["state"], words=said["words"])
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
