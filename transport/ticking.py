"""Answers to checklists, and leaving with some of them open: facts, kept whenever they come.

As in ``on_the_way.py`` each holds the referral's row and appends its Entry; no stage changes here.
"""

from collections.abc import Mapping

from django.db import transaction

from referrals import recording, timeline
from referrals.acting import By
from referrals.calc.wording import words
from referrals.models import Site
from transport import lifecycle
from transport.checklists import open_musts
from transport.models import ChecklistAnswer, ChecklistTemplate, LeftAllTheSame, Transfer


def answer_checklist(
    by: By, transfer: Transfer, template: ChecklistTemplate, answers: Mapping[str, str]
) -> list[ChecklistAnswer]:
    """Keep answers to a checklist under the version they answered; later answers are added.

    Raises:
        UnknownFact: for an item that this version does not have.
    """
    _require_items(template, answers)
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        rows = [
            ChecklistAnswer.objects.create(
                transfer=transfer,
                template=template,
                item=item,
                answer=answer,
                answered_by=by.name,
                answered_at=by.at,
            )
            for item, answer in answers.items()
        ]
        timeline.append(
            referral,
            "checklist",
            by,
            {"template": template.code, "version": template.version, "answers": dict(answers)},
        )
    return rows


def leave_all_the_same(
    by: By, transfer: Transfer, template: ChecklistTemplate, *, reason: str
) -> LeftAllTheSame:
    """They leave with must-items open, for a reason that somebody stands for by name."""
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        items = [item["code"] for item in open_musts(transfer, template)]
        kept = timeline.keep_text(referral, "left_because", reason)
        row = LeftAllTheSame.objects.create(
            transfer=transfer,
            template=template,
            items=items,
            reason=kept,
            said_by=by.name,
            said_at=by.at,
        )
        body = {"template": template.code, "version": template.version, "open": items}
        body["reason"] = timeline.committed(kept)
        timeline.append(referral, "left_all_the_same", by, body)
    return row


def answer_at_post(
    by: By, site: Site, template: ChecklistTemplate, answers: Mapping[str, str]
) -> list[ChecklistAnswer]:
    """What was made ready at a post before any birth; there is no referral and so no Entry.

    Raises:
        UnknownFact: for an item that this version does not have.
    """
    _require_items(template, answers)
    return ChecklistAnswer.objects.bulk_create(
        ChecklistAnswer(
            site=site,
            template=template,
            item=item,
            answer=answer,
            answered_by=by.name,
            answered_at=by.at,
        )
        for item, answer in answers.items()
    )


def _require_items(template: ChecklistTemplate, answers: Mapping[str, str]) -> None:
    known = {item["code"] for item in template.items}
    unknown = sorted(set(answers) - known)
    if unknown:
        raise recording.UnknownFact(
            unknown[0],
            words(
                "%(template)s has no item %(item)s; it has: %(known)s",
                template=template,
                item=unknown[0],
                known=", ".join(sorted(known)),
            ),
        )
