"""Published scores over the API: told, corrected, read with who saw each item and when."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import correcting, scoring
from referrals.api import answers, told
from referrals.api.idempotency import once
from referrals.api.record import OfReferral, baby_of, corrected
from referrals.calc import scores
from referrals.calc.scores import ScoreKind
from referrals.calc.status import quantity_of
from referrals.calc.terms import GlucoseUnit
from referrals.models import ScoreTaken


class Scores(OfReferral):
    """Scores by the unit that takes the baby, or by whoever travels with it."""

    @extend_schema(responses=answers.ScoreAnswer(many=True), operation_id="scores_list")
    def get(self, request: Request, code: str) -> Response:
        """Every score of every baby, oldest first; corrected ones stay."""
        referral = self.referral(code)
        rows = ScoreTaken.objects.filter(baby__referral=referral).select_related("baby")
        return Response(self.shown(answers.ScoreAnswer, rows, many=True))

    @extend_schema(request=told.ScoreTold, responses={201: answers.ScoreAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Keep a score; with an item missing it is kept without a number. Or correct one."""
        referral = self.known_referral(code)
        said = self.told(told.ScoreTold)
        baby, by = baby_of(referral, said.get("baby")), self.by(said)
        baby.referral = referral
        old = corrected(baby.scores.all(), said)
        if old:
            row = correcting.score(by, old, score_told(said), why=said.get("reason", ""))
        else:
            row = scoring.take(by, baby, score_told(said))
        return self.answer(answers.ScoreAnswer, row, referral=referral.pk, status=201)


def score_told(said: dict[str, Any]) -> scoring.ScoreTold:
    """A score as the verb wants it told."""
    unit = said.get("glucose_unit")
    sugar = quantity_of("glucose", glucose_unit=GlucoseUnit(unit)) if unit else None
    items = {
        code: scores.Told(value=value, quantity=(sugar or "") if code == "sugar" else "")
        for code, value in said["items"].items()
    }
    return scoring.ScoreTold(
        kind=ScoreKind(said["score"]),
        items=items,
        minute=said.get("minute"),
        help_given=said.get("help_given"),
    )
