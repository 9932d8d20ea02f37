"""What is told from the vehicle and at its two ends: milestones, checks, checklists, handover."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.record import baby_of
from referrals.api.told import facts_in
from referrals.calc.terms import Capability
from referrals.reading import assess
from transport import checklists, lifecycle, on_the_way
from transport.api import answers, told
from transport.api.journeys import FOR_READER, TransferView
from transport.calc.stages import require_milestone
from transport.models import ChecklistTemplate, Transfer


class TransferMilestones(TransferView):
    """The driver's one button."""

    @extend_schema(request=told.MilestoneTold, responses=FOR_READER)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Report a milestone, in whatever order it comes; pressed twice it changes nothing."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.MilestoneTold)
        milestone = require_milestone(said["milestone"])
        lifecycle.reach(self.by_of(transfer, said), transfer, milestone)
        return self.said_of(transfer)


class TransferMilestonesWithdraw(TransferView):
    """A milestone pressed by mistake."""

    @extend_schema(request=told.MilestoneWithdrawn, responses=FOR_READER)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take the last milestone back; not once a handover is signed (409 ``handover_signed``)."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.MilestoneWithdrawn)
        milestone = require_milestone(said["milestone"]) if "milestone" in said else None
        lifecycle.withdraw_milestone(self.by_of(transfer, said), transfer, milestone)
        return self.said_of(transfer)


class TransferChecks(TransferView):
    """The checks on the way."""

    @extend_schema(responses=answers.CheckAnswer(many=True), operation_id="checks_list")
    def get(self, request: Request, pk: int) -> Response:
        """All checks, oldest first."""
        rows = self.transfer(pk).checks.select_related("baby__referral", "observation")
        return Response(self.shown(answers.CheckAnswer, rows, many=True))

    @extend_schema(request=told.CheckTold, responses={201: answers.CheckAnswer})
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Record one check of one baby, and what the gauge shows."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.CheckTold)
        row = on_the_way.check(
            self.by_of(transfer, said),
            transfer,
            baby_of(transfer.referral, said.get("baby")),
            on_the_way.CheckTold(
                facts=facts_in(said),
                oxygen_bar=said.get("oxygen_bar"),
                stopped_because=said.get("stopped_because", ""),
            ),
        )
        return self.answer(answers.CheckAnswer, row, referral=transfer.referral_id, status=201)


class TransferChecklists(TransferView):
    """What to see to before leaving, and what the unit prepares."""

    @extend_schema(responses=answers.ChecklistAnswered(many=True), operation_id="checklists_list")
    def get(self, request: Request, pk: int) -> Response:
        """The newest version of each list, each item with its newest answer."""
        transfer = self.transfer(pk)
        lists = [checklists.newest(when) for when in ("departure", "preparation")]
        rows = [self._answered(transfer, template) for template in lists if template]
        return Response(self.shown(answers.ChecklistAnswered, rows, many=True))

    @extend_schema(request=told.AnswersTold, responses={201: answers.ChecklistAnswered})
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Answer items of a list under its version; a later answer is added, none replaced."""
        transfer = self.transfer(pk)
        said = self.told(told.AnswersTold)
        template = ChecklistTemplate.objects.filter(
            code=said["template"], version=said["version"]
        ).first()
        if template is None:
            sentence = _("there is no list of this code and version")
            raise exceptions.ValidationError({"template": [sentence]})
        self._require_may_answer(transfer, template)
        by = self.by_of(transfer, said)
        on_the_way.answer_checklist(by, transfer, template, said["answers"])
        row = self._answered(transfer, template)
        return self.answer(
            answers.ChecklistAnswered, row, referral=transfer.referral_id, status=201
        )

    def _require_may_answer(self, transfer: Transfer, template: ChecklistTemplate) -> None:
        if template.when != "preparation":
            self.require_on_the_road(transfer)
        elif self.driver or not (self.receives(transfer) or self.for_desk_of(transfer)):
            raise WrongRole(_("This list is for the unit that takes the baby."))

    def _answered(self, transfer: Transfer, template: ChecklistTemplate) -> dict[str, Any]:
        newest = {row.item: row for row in transfer.answers.filter(template=template)}
        return {
            "template": template.code,
            "version": template.version,
            "title": template.title,
            "when": template.when,
            "items": [
                {**item, **self._answer_to(newest.get(item["code"]))}
                for item in self._items(transfer, template)
            ],
        }

    def _items(self, transfer: Transfer, template: ChecklistTemplate) -> list[dict[str, Any]]:
        if template.when != "preparation":
            return template.items
        needed = assess(transfer.referral, self.now).capabilities
        return checklists.preparation_items(template, [Capability(each) for each in needed])

    def _answer_to(self, row: Any) -> dict[str, Any]:
        if row is None:
            return {"answer": None, "answered_by": None, "answered_at": None}
        return {
            "answer": row.answer,
            "answered_by": "" if self.driver else row.answered_by,
            "answered_at": row.answered_at,
        }


class TransferBands(TransferView):
    """The bands read before leaving."""

    @extend_schema(responses=answers.BandReadingAnswer(many=True), operation_id="bands_list")
    def get(self, request: Request, pk: int) -> Response:
        """Every reading, oldest first."""
        rows = self.transfer(pk).band_readings.select_related("baby__referral")
        return Response(self.shown(answers.BandReadingAnswer, rows, many=True))

    @extend_schema(request=told.BandTold, responses={201: answers.BandReadingAnswer})
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Read the band of one baby; one that does not fit is 409 ``wrong_band``."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.BandTold)
        baby = baby_of(transfer.referral, said.get("baby"))
        row = on_the_way.read_band(self.by_of(transfer, said), transfer, baby, said["band"])
        return self.answer(
            answers.BandReadingAnswer, row, referral=transfer.referral_id, status=201
        )


class TransferHandover(TransferView):
    """The handover, confirmed by the one who gives and the one who receives."""

    @extend_schema(responses=answers.HandoverAnswer(many=True), operation_id="handover_list")
    def get(self, request: Request, pk: int) -> Response:
        """Each baby's handover as far as it is signed."""
        rows = self.transfer(pk).handovers.select_related("baby__referral", "disagreement")
        return Response(self.shown(answers.HandoverAnswer, rows.order_by("id"), many=True))

    @extend_schema(request=told.HandoverTold, responses=answers.HandoverAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Confirm one side for one baby; with both it is handed over."""
        transfer = self.transfer(pk)
        said = self.told(told.HandoverTold)
        self._require_side(transfer, said["side"])
        row = lifecycle.hand_over(
            self.by_of(transfer, said),
            transfer,
            baby_of(transfer.referral, said.get("baby")),
            lifecycle.Signature(
                side=said["side"],
                name=said["name"],
                band_checked=said.get("band_checked", False),
                condition=said.get("condition", ""),
                temperature_c=said.get("temperature_c"),
                disagreement=said.get("disagreement", ""),
            ),
        )
        return self.answer(answers.HandoverAnswer, row, referral=transfer.referral_id)

    def _require_side(self, transfer: Transfer, side: str) -> None:
        if side == "giver":
            self.require_on_the_road(transfer)
        elif not (self.receives(transfer) or self.for_desk_of(transfer)):
            raise WrongRole(_("The receiver's side is confirmed by the unit that takes the baby."))
