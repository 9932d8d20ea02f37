"""The same baby called for twice: found by place and time, told to the desk, never joined alone.

Who is the same baby is for a person to say: ``joining.join``.
"""

from datetime import timedelta

from django.db.models import Q, QuerySet

from referrals import alerting, messages
from referrals.acting import By
from referrals.models import Alert, Referral

SAME_BABY_MINUTES = 30
"""Two calls from one place this close together are perhaps about one baby; common practice, no
source."""


def tell_desk_of_twice(referral: Referral, by: By) -> None:
    """Tell the desk of calls from the same place shortly before; the caller holds the referral.

    Of two calls the one that was written later has the notice, so that each pair has one.
    """
    for other in _called_before(referral):
        _notice(referral, other, by)


def tell_desk_of_open(referral: Referral, by: By) -> None:
    """Tell the desk of every open call from the same place, however long ago.

    For a call by SMS, which shows its sender no open case; the caller holds the referral.
    """
    open_there = Referral.objects.open().filter(origin=referral.origin, pk__lt=referral.pk)
    for other in open_there:
        _notice(referral, other, by)


def other_of(alert: Alert) -> Referral | None:
    """The other call of a notice, while it can still be joined with."""
    number = alert.key.rsplit(":", 1)[-1]
    return Referral.objects.open().filter(pk=int(number)).first() if number.isdecimal() else None


def notices_about(one: Referral, other: Referral) -> QuerySet[Alert]:
    """The open notices about two calls, whichever of them was written first."""
    keys = Q(key=_key(one, other)) | Q(key=_key(other, one))
    return Alert.objects.open().filter(keys)


def _notice(referral: Referral, other: Referral, by: By) -> None:
    alerting.ask_desk_quietly(
        referral,
        by,
        "perhaps_twice",
        _key(referral, other),
        messages.perhaps_twice(other, referral),
    )


def _key(referral: Referral, other: Referral) -> str:
    return f"referral:{referral.pk}:twice:{other.pk}"


def _called_before(referral: Referral) -> QuerySet[Referral]:
    near = timedelta(minutes=SAME_BABY_MINUTES)
    return Referral.objects.open().filter(
        origin=referral.origin,
        pk__lt=referral.pk,
        raised_at__gte=referral.raised_at - near,
        raised_at__lte=referral.raised_at + near,
    )
