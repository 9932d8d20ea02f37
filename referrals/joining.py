"""One baby that was called for twice: a person joins the two referrals, or parts them again.

``twice.py`` tells the desk of such a pair. Several referrals are held from the lowest number up.
"""

from django.db import transaction

from referrals import alerting, endings, lifecycle, messages, ports, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.calc.wording import words
from referrals.models import Referral
from referrals.saying import for_the_record, to_tell
from referrals.twice import notices_about


def join(by: By, referral: Referral, into: Referral) -> Referral:
    """Two referrals are one baby: this one closes, the other goes on. Nothing is copied.

    What was told here stays and is read from the other's page. A unit that had taken the babies
    under this code is asked at once under the other, unless that one is placed.

    Raises:
        NotPossible: when one of them is over, they are not of one district, or only this one has
            a vehicle, which would be lost on its way.
    """
    if referral.pk == into.pk:
        raise NotPossible(
            words(
                "%(code)s is this referral. Choose the other code of the same baby.",
                code=referral.code,
            ),
            code="same_referral",
        )
    with transaction.atomic():
        held = hold_all(referral.pk, into.pk)
        referral, into = held[referral.pk], held[into.pk]
        _require_joinable(referral, into)
        placed = referral.accepted_offer()
        why = to_tell("the same baby is called for as %(code)s", code=into.code)
        for offer in referral.offers.filter(stage__in=lifecycle.LIVE_OFFERS):
            lifecycle.withdraw_offer(lifecycle.fresh(offer, referral), by, why)
        referral.joined_into = into
        referral.save(update_fields=["joined_into"])
        timeline.append(referral, "joined", by, {"into": into.code})
        timeline.append(into, "joined", by, {"from": referral.code})
        alerting.settle(notices_about(referral, into), why, by)
        alerting.tell_caller(
            referral,
            by,
            "joined",
            f"referral:{referral.pk}:joined:{referral.head_seq}",
            messages.joined(referral, into),
        )
        for baby in referral.babies.filter(ending=""):
            endings.end_baby(by, baby, Ending.RAISED_IN_ERROR, words=for_the_record(why))
        if placed and not into.accepted_offer():
            lifecycle.ask(by, into, placed.unit)
    return lifecycle.timeline_row(referral.pk)


def hold_all(*numbers: int) -> dict[int, Referral]:
    """Several referrals, always held from the lowest number up."""
    return {number: timeline.hold(number) for number in sorted(set(numbers))}


def hold_with_joined(number: int) -> tuple[Referral, Referral | None]:
    """A referral and the one it was joined into, if any."""
    other = Referral.objects.values_list("joined_into", flat=True).get(pk=number)
    held = hold_all(number, *([other] if other else []))
    return held[number], held.get(other or 0)


def part(by: By, referral: Referral, other: Referral) -> None:
    """An ending was taken back after a join: they are two babies after all."""
    referral.joined_into = None
    referral.save(update_fields=["joined_into"])
    timeline.append(referral, "parted", by, {"other": other.code})
    timeline.append(other, "parted", by, {"other": referral.code})


def _require_joinable(referral: Referral, into: Referral) -> None:
    lifecycle.require_open(referral)
    lifecycle.require_open(into)
    if referral.district_id != into.district_id:
        raise NotPossible(
            words(
                "%(code)s and %(into)s belong to different districts. Ring the other desk; each "
                "closes its own.",
                code=referral.code,
                into=into.code,
            ),
            code="other_district",
        )
    vehicle = ports.journeys().vehicle_of(referral)
    if vehicle and not ports.journeys().vehicle_of(into):
        raise NotPossible(
            words(
                "Only %(code)s has a vehicle, %(vehicle)s. Close %(into)s into %(code)s instead, "
                "or first send a vehicle for %(into)s.",
                code=referral.code,
                vehicle=vehicle,
                into=into.code,
            ),
            code="only_vehicle",
        )
