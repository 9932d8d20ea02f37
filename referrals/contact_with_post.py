"""When the people at a post were last heard of: by the timeline, and by their phone's page.

An open page asks for what is new every few seconds. That is contact, and no event: it is noted on
the referral's row, once a minute at most, and makes no Entry.
"""

from datetime import datetime, timedelta

from django.db.models import Q

from referrals.access import scope_of
from referrals.calc.terms import EntryChannel
from referrals.models import Referral, Staff

NOTED_EVERY = timedelta(minutes=1)
TOLD_BY_VOICE = (
    "observed", "corrected", "described", "hands", "treatment_given", "advice", "checked",
    "checklist", "band_read", "baby_added", "named",
)  # fmt: skip
"""What the desk writes down of what the post says on the telephone."""


def seen(referral: Referral, staff: Staff, now: datetime) -> None:
    """Somebody of the post has fetched a page about this referral; others are passed over."""
    noted = referral.post_seen_at
    if (noted and noted > now - NOTED_EVERY) or not referral.is_open:
        return
    if staff.pk == referral.raised_by_id or referral.origin_id in scope_of(staff).sites:
        Referral.objects.filter(pk=referral.pk).update(post_seen_at=now)


def last_contact(referral: Referral) -> datetime:
    """When the post last told, answered or fetched anything; the raise, if nothing since."""
    people = set(
        Staff.objects.filter(roles__site=referral.origin_id).values_list("username", flat=True)
    )
    if referral.raised_by:
        people.add(referral.raised_by.username)
    # Who writes from the post's own telephone, or one that several share, has no single name.
    by_sms = Q(actor=f"post:{referral.origin.code}")
    for username in people:
        by_sms |= Q(actor__startswith="shared:", actor__contains=username)
    by_voice = Q(channel=EntryChannel.DESK.value, kind__in=TOLD_BY_VOICE)
    told = referral.entries.filter(Q(actor__in=people) | by_sms | by_voice).order_by("-seq").first()
    times = (referral.raised_at, referral.post_seen_at, told.received_at if told else None)
    return max(moment for moment in times if moment)
