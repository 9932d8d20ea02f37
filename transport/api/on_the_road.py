"""What is told from the vehicle and at its two ends: milestones, checks, checklists, handover."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.record import baby_of, corrected
from referrals.api.told import ReasonTold, facts_in
from referrals.reading import assess
from transport import checklists, handing_over, milestones, on_the_way, ticking, where_to
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
        second = self.second_of(transfer)
        number = second.assignment if second else None
        milestones.reach(self.by_of(transfer, said), transfer, milestone, assignment=number)
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
        second = self.second_of(transfer)
        number = second.assignment if second else None
        by = self.by_of(transfer, said)
        milestones.withdraw_milestone(by, transfer, milestone, assignment=number)
        return self.said_of(transfer)


class TransferGoOn(TransferView):
    """Turned away at a unit's door."""

    @extend_schema(request=ReasonTold, responses=FOR_READER)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Back on the road: the unit does not take the baby, and others are asked at once."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(ReasonTold)
        where_to.go_on(self.by_of(transfer, said), transfer, why=said["reason"])
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
        """Record one check of one baby, and what the gauge shows; or correct one."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.CheckTold)
        by, baby = self.by_of(transfer, said), baby_of(transfer.referral, said.get("baby"))
        words = on_the_way.CheckTold(
            facts=facts_in(said),
            oxygen_bar=said.get("oxygen_bar"),
            oxygen_psi=said.get("oxygen_psi"),
            stopped_because=said.get("stopped_because", ""),
        )
        old = corrected(transfer.checks.filter(baby=baby), said)
        if old:
            row = on_the_way.correct_check(by, old, words, why=said.get("reason", ""))
        else:
            row = on_the_way.check(by, transfer, baby, words)
        return self.answer(answers.CheckAnswer, row, referral=transfer.referral_id, status=201)


class ListsOfTransfer(TransferView):
    """Lists of a journey with their answers, whichever version those were given to."""

    def answered(self, transfer: Transfer, template: ChecklistTemplate) -> dict[str, Any]:
        """A list with the newest answer to each item, whichever version that answered."""
        newest = checklists.newest_answers(transfer, template.when)
        left = transfer.left_with.filter(template__when=template.when).last()
        items = self._items(transfer, template)
        shown = {item["code"] for item in items}
        musts = checklists.open_musts(transfer, template)
        return {
            "template": template.code,
            "version": template.version,
            "title": template.title,
            "when": template.when,
            "items": [
                {"must": False, "source": "", **item, **self._answer_to(newest.get(item["code"]))}
                for item in items
            ],
            "open": [item["code"] for item in musts if item["code"] in shown],
            "left_because": str(left.reason or "") if left and not self.driver else "",
            "left_at": left.said_at if left else None,
        }

    def _items(self, transfer: Transfer, template: ChecklistTemplate) -> list[dict[str, Any]]:
        if template.when != "preparation":
            return template.items
        needs = assess(transfer.referral, self.now)
        wanted = needs.capabilities | needs.preferred_capabilities
        return checklists.preparation_items(template, wanted)

    def _answer_to(self, row: Any) -> dict[str, Any]:
        if row is None:
            nobody = {"answered_by": None, "answered_at": None, "answered_version": None}
            return {"answer": None, **nobody}
        return {
            "answer": row.answer,
            "answered_by": "" if self.driver else row.answered_by,
            "answered_at": row.answered_at,
            "answered_version": row.template.version,
        }


class TransferChecklists(ListsOfTransfer):
    """What to see to before leaving, and what the unit prepares."""

    @extend_schema(responses=answers.ChecklistAnswered(many=True), operation_id="checklists_list")
    def get(self, request: Request, pk: int) -> Response:
        """The newest version of each list, each item with its newest answer."""
        transfer = self.transfer(pk)
        district = transfer.referral.district
        lists = [checklists.newest(when, district) for when in ("departure", "preparation")]
        rows = [self.answered(transfer, template) for template in lists if template]
        return Response(self.shown(answers.ChecklistAnswered, rows, many=True))

    @extend_schema(request=told.AnswersTold, responses={201: answers.ChecklistAnswered})
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Answer items of a list under its version; a later answer is added, none replaced."""
        transfer = self.transfer(pk)
        said = self.told(told.AnswersTold)
        template = checklists.template_named(
            said["template"], said["version"], transfer.referral.district
        )
        if template is None:
            sentence = _("there is no list of this code and version")
            raise exceptions.ValidationError({"template": [sentence]})
        self._require_may_answer(transfer, template)
        by = self.by_of(transfer, said)
        ticking.answer_checklist(by, transfer, template, said["answers"])
        row = self.answered(transfer, template)
        return self.answer(
            answers.ChecklistAnswered, row, referral=transfer.referral_id, status=201
        )

    def _require_may_answer(self, transfer: Transfer, template: ChecklistTemplate) -> None:
        if template.when != "preparation":
            self.require_on_the_road(transfer)
        elif self.driver or not (self.receives(transfer) or self.for_desk_of(transfer)):
            raise WrongRole(_("This list is for the unit that takes the baby."))


class TransferChecklistsLeave(ListsOfTransfer):
    """Leaving with something of the list open."""

    @extend_schema(request=ReasonTold, responses={201: answers.ChecklistAnswered})
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Say why they leave with must-items of the list before leaving open; never refused."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(ReasonTold)
        template = checklists.newest("departure", transfer.referral.district)
        if template is None:
            raise exceptions.NotFound
        by = self.by_of(transfer, said)
        ticking.leave_all_the_same(by, transfer, template, reason=said["reason"])
        row = self.answered(transfer, template)
        return self.answer(
            answers.ChecklistAnswered, row, referral=transfer.referral_id, status=201
        )


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
        _require_side(self, transfer, said["side"])
        row = handing_over.hand_over(
            self.by_of(transfer, said),
            transfer,
            baby_of(transfer.referral, said.get("baby")),
            handing_over.Signature(
                side=said["side"],
                name=said["name"],
                band_checked=said.get("band_checked", False),
                condition=said.get("condition", ""),
                temperature_c=said.get("temperature_c"),
                disagreement=said.get("disagreement", ""),
            ),
        )
        return self.answer(answers.HandoverAnswer, row, referral=transfer.referral_id)


class TransferHandoverWithdraw(TransferView):
    """One side of a handover was signed wrongly."""

    @extend_schema(request=told.SignatureWithdrawn, responses=answers.HandoverAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take one side's signature back, with a reason; the other side's stays."""
        transfer = self.transfer(pk)
        said = self.told(told.SignatureWithdrawn)
        _require_side(self, transfer, said["side"])
        baby = baby_of(transfer.referral, said.get("baby"))
        by = self.by_of(transfer, said)
        row = handing_over.withdraw_signature(by, baby, said["side"], reason=said["reason"])
        return self.answer(answers.HandoverAnswer, row, referral=transfer.referral_id)


def _require_side(view: TransferView, transfer: Transfer, side: str) -> None:
    if side == "giver":
        view.require_on_the_road(transfer)
    elif not (view.receives(transfer) or view.for_desk_of(transfer)):
        raise WrongRole(_("The receiver's side is confirmed by the unit that takes the baby."))
