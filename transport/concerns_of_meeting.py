"""What needs a person where two vehicles are to meet: one is late, or nobody says what happened."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from referrals.messages import clock_time
from referrals.models import Referral
from referrals.ports import Concern
from referrals.saying import to_tell
from transport.estimating import PLANS
from transport.models import Meeting, Transfer

SETTING_OFF_MINUTES = 10.0
"""From assigning to setting off before the desk rings the driver; common practice, no source."""


def concerns_of_meeting(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    """The second vehicle is late, or nobody has said that the baby has changed over."""
    meeting = transfer.standing_meeting()
    if meeting is None:
        return
    about = {
        "code": referral.code,
        "first": transfer.vehicle,
        "second": meeting.vehicle,
        "site": meeting.site.name,
        "driver": meeting.driver_name,
        "phone": meeting.driver_phone,
    }
    if meeting.second_left_at is None and meeting.second_there_at is None:
        yield Concern.about(
            referral,
            "not_set_off",
            f"meeting:{meeting.pk}",
            meeting.set_at + timedelta(minutes=SETTING_OFF_MINUTES),
            to_tell(
                "%(second)s is to meet %(first)s with %(code)s at %(site)s and has not set off. "
                "Ring %(driver)s %(phone)s.",
                **about,
            ),
        )
    if meeting.first_there_at and meeting.second_there_at is None:
        yield Concern.about(
            referral,
            "meeting_waits",
            meeting.pk,
            meeting.first_there_at + timedelta(minutes=PLANS.waiting_minutes),
            to_tell(
                "%(first)s waits with mother and baby at %(site)s since %(since)s, and %(second)s "
                "is not there. Ring %(driver)s %(phone)s, or let %(first)s drive on.",
                since=clock_time(meeting.first_there_at, referral),
                **about,
            ),
        )
    if meeting.first_there_at and meeting.second_there_at:
        both = max(meeting.first_there_at, meeting.second_there_at)
        yield Concern.about(
            referral,
            "not_moved_over",
            meeting.pk,
            both + timedelta(minutes=2 * PLANS.changing_minutes),
            to_tell(
                "Both vehicles of %(code)s are at %(site)s since %(since)s, and nobody has said "
                "that mother and baby have moved over. Ring %(driver)s %(phone)s.",
                since=clock_time(both, referral),
                **about,
            ),
        )


def first_seems_there(
    referral: Referral, transfer: Transfer, meeting: Meeting, now: datetime
) -> Iterator[Concern]:
    """The positions of the first vehicle lie at the meeting place."""
    if meeting.first_there_at:
        return
    yield Concern.about(
        referral,
        "meeting_suggested",
        meeting.pk,
        now,
        to_tell(
            "%(first)s seems to be at %(site)s, where %(second)s meets it. Ask, then press 'is "
            "there'.",
            first=transfer.vehicle,
            site=meeting.site.name,
            second=meeting.vehicle,
        ),
    )
