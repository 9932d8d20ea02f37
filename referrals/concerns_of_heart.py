"""No heartbeat found for 10, 15 or 20 minutes of breaths: the desk and the unit's clinician know.

The words say the minutes and that published positions differ; they advise nothing. Whoever decides
is written down by name. Nothing of it ever reaches the one who ventilates.
"""

from collections.abc import Iterator
from datetime import datetime

from referrals.calc.no_heartbeat import MARKS_MINUTES
from referrals.calc.wording import marked
from referrals.messages import clock_time
from referrals.models import Advice, Baby, Referral
from referrals.ports import Concern
from referrals.saying import to_tell
from referrals.ventilating import heartbeat_missing

TOLD = marked(
    "%(baby)s: no heartbeat found since %(at)s, %(minutes)d min of breaths. Published positions "
    "differ. Ring the clinician on call; write down who decides what."
)
CHEST_NOT_TOLD = marked(
    "%(baby)s: no heartbeat found since %(at)s, %(minutes)d min of breaths; nobody has told "
    "whether the chest moves. Published positions differ. Ring the clinician on call; write down "
    "who decides what."
)


def concerns_of_heart(referral: Referral, now: datetime) -> Iterator[Concern]:
    """For each baby the last mark that was reached, and the next one that will be."""
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        yield from _of_baby(baby, now)


def _of_baby(baby: Baby, now: datetime) -> Iterator[Concern]:
    missing = heartbeat_missing(baby)
    if missing is None:
        return
    marks = [(mark, missing.reached_at(mark)) for mark in MARKS_MINUTES]
    due = [(mark, at) for mark, at in marks if at is not None]
    over = [(mark, at) for mark, at in due if at <= now]
    ahead = [(mark, at) for mark, at in due if at > now]
    for mark, at in (*over[-1:], *ahead[:1]):
        said = to_tell(
            TOLD if missing.chest_told else CHEST_NOT_TOLD,
            baby=baby.code,
            at=clock_time(missing.since, baby.referral),
            minutes=mark,
        )
        subject = f"{baby.pk}:{missing.first_sequence}:{mark}"
        more = {"told_once": True, "unit_too": True}
        yield Concern.about(baby.referral, "no_heartbeat", subject, at, said, **more)


def decisions_of(referral: Referral) -> list[Advice]:
    """What was decided, by whom, as it stands."""
    rows = referral.advice.standing().filter(is_decision=True)
    return list(rows.select_related("text").order_by("pk"))
