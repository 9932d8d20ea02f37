"""What drivers report on the way, and taking back what was pressed by mistake.

What a driver reports is a fact: it is kept in whatever order it comes, and the stage is what all
facts together amount to.
"""

from datetime import datetime

from django.db import transaction
from django.db.models import Max, Q

from referrals import alerting, timeline
from referrals.acting import By
from referrals.calc.spelled import spelled
from referrals.calc.states import NotPossible
from referrals.calc.wording import words
from referrals.models import Referral
from transport import arrival_told, lifecycle, meeting_notes, meetings, messages, tracking
from transport.calc.stages import FINISHED, TransferStage
from transport.models import Milestone, Transfer
from transport.models.transfers import ABOARD


def reach(
    by: By, transfer: Transfer, milestone: TransferStage, *, assignment: int | None = None
) -> Transfer:
    """A driver reports a milestone. Pressed twice it changes nothing; late ones are kept.

    A milestone of a journey that has ended, or of a vehicle that was sent before the present one
    (``assignment`` says which), is kept as a late note and changes no stage; the desk is told.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        told_for = transfer.assignment if assignment is None else assignment
        if meetings.told_by_second(referral, transfer, by, milestone, told_for):
            return transfer
        sent_before = told_for != transfer.assignment
        if not sent_before:
            lifecycle.require_vehicle(referral, transfer)
        applied = not sent_before and transfer.stage not in {stage.value for stage in FINISHED}
        stretch = _stretch_at(transfer, by.at) if milestone in ABOARD and not sent_before else 1
        _row, made = Milestone.objects.get_or_create(
            transfer=transfer,
            assignment=told_for,
            stretch=stretch,
            kind=milestone.value,
            withdrawn_at=None,
            defaults={
                "reached_at": by.at,
                "received_at": by.received_at,
                "reported_by": by.name,
                "applied": applied,
                "at_unit": transfer.destination if milestone is TransferStage.ARRIVED else None,
            },
        )
        if not made:
            return transfer
        body = {"transfer": transfer.pk, "milestone": milestone.value, "applied": applied}
        body |= {"stretch": stretch} if stretch > 1 else {}
        timeline.append(referral, "milestone", by, body)
        if applied:
            before = transfer.stage
            lifecycle.fold_milestones(transfer)
            if before != transfer.stage == TransferStage.ON_THE_ROAD.value:
                arrival_told.tell_unit(referral, transfer, by)
        elif sent_before and _was_before_changing_over(transfer, told_for, by):
            return transfer
        elif sent_before or transfer.stage == TransferStage.STOOD_DOWN.value:
            note = (
                messages.note_of_former(transfer, milestone)
                if sent_before
                else (messages.late_note(transfer, milestone, by))
            )
            alerting.tell_desk(
                referral,
                by,
                "late_note",
                f"transfer:{transfer.pk}:late:{told_for}:{milestone.value}",
                note,
            )
    return transfer


def withdraw_milestone(
    by: By,
    transfer: Transfer,
    milestone: TransferStage | None = None,
    *,
    assignment: int | None = None,
) -> Transfer:
    """The last milestone was pressed by mistake: the stage folds back to what else was reported.

    ``milestone`` says which one is meant; withdrawn twice it changes nothing. The row stays in
    sight as withdrawn, and the same milestone can be reported again. ``assignment`` says which
    vehicle's, where two are to meet.

    Raises:
        NotPossible: ``journey_over``, ``handover_signed``, ``nothing_to_withdraw`` or
            ``not_the_last``.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        meeting = transfer.standing_meeting()
        if meeting and assignment == meeting.assignment:
            meeting_notes.unmark(referral, meeting, by, milestone)
            return transfer
        last = _withdrawable(referral, transfer)
        if milestone and (last is None or last.kind != milestone.value):
            rows = transfer.milestones.filter(assignment=transfer.assignment, kind=milestone.value)
            standing = transfer.standing_milestones().filter(kind=milestone.value)
            if rows.exclude(withdrawn_at=None).exists() and not standing.exists():
                return transfer
        if last is None:
            raise NotPossible(
                words(
                    "No milestone of %(code)s stands, so there is none to take back.",
                    code=referral.code,
                ),
                code="nothing_to_withdraw",
            )
        if milestone and last.kind != milestone.value:
            raise NotPossible(
                words(
                    "The last milestone is '%(milestone)s'. Only the last one can be taken back; "
                    "ring the desk for others.",
                    milestone=spelled(last.kind),
                ),
                code="not_the_last",
            )
        if last.kind == TransferStage.AT_ORIGIN.value and transfer.moved_at_meeting():
            return meetings.move_back(by, transfer)
        last.withdrawn_at, last.withdrawn_by = by.received_at, by.name
        last.save(update_fields=["withdrawn_at", "withdrawn_by"])
        body = {"transfer": transfer.pk, "milestone": last.kind, "reached_at": last.reached_at}
        timeline.append(referral, "milestone_withdrawn", by, body)
        if transfer.stretch > 1 and not transfer.standing_milestones().exists():
            # It did not go on after all: it stands at the door where it stood.
            transfer.stretch -= 1
            transfer.save(update_fields=["stretch"])
        tracking.forget_window(transfer)
        lifecycle.fold_milestones(transfer)
    return transfer


def _stretch_at(transfer: Transfer, moment: datetime) -> int:
    """The stretch on which something was reported: a press may have waited for a connection."""
    begun = transfer.milestones.filter(
        assignment=transfer.assignment,
        kind=TransferStage.ON_THE_ROAD.value,
        stretch__gt=1,
        withdrawn_at=None,
        reached_at__lte=moment,
    )
    return begun.aggregate(last=Max("stretch"))["last"] or 1


def _was_before_changing_over(transfer: Transfer, number: int, by: By) -> bool:
    """A press of the first driver that has only been slow to come: nobody need ring."""
    return transfer.meetings.filter(first_assignment=number, moved_at__gte=by.at).exists()


def _withdrawable(referral: Referral, transfer: Transfer) -> Milestone | None:
    """The last milestone, unless the journey has gone too far to take it back."""
    if transfer.stage in FINISHED:
        raise NotPossible(
            words("The journey of %(code)s has ended. Ring the desk.", code=referral.code),
            code="journey_over",
        )
    signed = Q(given_at__isnull=False) | Q(received_at__isnull=False)
    if transfer.handovers.filter(signed).exists():
        raise NotPossible(
            words(
                "A handover of %(code)s is signed already, so the road stands as it was told. Ring "
                "the desk if it is wrong.",
                code=referral.code,
            ),
            code="handover_signed",
        )
    return transfer.last_milestone()
