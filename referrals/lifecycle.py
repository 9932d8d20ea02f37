"""The one place where the stage of a referral or an offer changes.

Every verb holds the referral's row, then writes the change, its Entry and the alerts it causes in
one transaction. Commitments go by their arrival at the server: the first acceptance wins, and
whoever comes second is told what stands and what is possible.

Other modules change a stage only by calling ``ask``, ``withdraw_offer`` and ``move`` here, with the
referral held: ``endings``, ``reopening``, ``joining``.
"""

import random
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from referrals import alerting, cots, describing, messages, ports, recording, timeline
from referrals.acting import By, by_system
from referrals.calc.codes import make_code, one_time_code
from referrals.calc.states import (
    OFFER_STEPS,
    REFERRAL_STEPS,
    NotPossible,
    OfferStage,
    ReferralStage,
    require_step,
)
from referrals.calc.terms import DeclineReason
from referrals.calc.wording import words
from referrals.models import Baby, Mother, Offer, Referral, Site, Staff, Unit
from referrals.saying import Words, for_the_record, in_record_language, to_spell, to_tell
from referrals.twice import tell_desk_of_twice

LIVE_OFFERS = (OfferStage.OPEN.value, OfferStage.ACCEPTED.value)


@dataclass(frozen=True, kw_only=True)
class Caller:
    """Who called by voice and has no account of the post; everything may be missing."""

    name: str = ""
    phone: str = ""


def raise_referral(
    by: By,
    *,
    origin: Site,
    raised_by: Staff | None = None,
    babies: Sequence[describing.BabyTold] = (),
    note: str = "",
    caller: Caller | None = None,
) -> Referral:
    """Open a referral: one press is enough, details may follow.

    The search for a vehicle begins in the same transaction. Asking units is the next one
    (``ask_best``), so that nothing about the choice can undo the raise.
    """
    for told in babies:
        recording.require_facts(told.facts, recording.BABY_FACTS)
    with transaction.atomic():
        referral = timeline.hold(
            Referral.objects.create(
                code=_free_code(),
                district=origin.district,
                origin=origin,
                raised_by=raised_by,
                raised_at=by.at,
                caller_name=caller.name if caller else "",
                caller_phone=caller.phone if caller else "",
            ).pk
        )
        Mother.objects.create(referral=referral)
        body: dict[str, Any] = {"site": origin.code, "babies": max(len(babies), 1)}
        if note:
            body["note"] = timeline.committed(timeline.keep_text(referral, "note", note))
        if caller and (caller.name or caller.phone):
            words = " ".join(filter(None, (caller.name, caller.phone)))
            body["caller"] = timeline.committed(timeline.keep_text(referral, "caller", words))
        timeline.append(referral, "raised", by, body)
        for order, told in enumerate(babies or [describing.BabyTold()], start=1):
            baby = Baby.objects.create(referral=referral, birth_order=order)
            describing.tell_of(by, baby, told)
        referral = timeline.hold(referral.pk)
        recording.refresh_needs(referral, by)
        ports.journeys().open(referral, by)
        tell_desk_of_twice(referral, by)
    return referral


def ask_best(referral_id: int, now: datetime, *, count: int = 1) -> list[Offer]:
    """Ask the best units not asked yet; nothing when the referral is placed or closed."""
    by = by_system(now)
    with transaction.atomic():
        referral = timeline.hold(referral_id)
        if referral.stage not in (ReferralStage.RAISED.value, ReferralStage.ASKING.value):
            return []
        with in_record_language():
            suggestions = ports.journeys().next_units(referral, count, now)
        return [
            ask(by, referral, suggestion.unit, shown=suggestion.shown) for suggestion in suggestions
        ]


def ask(by: By, referral: Referral, unit: Unit, *, shown: dict[str, Any] | None = None) -> Offer:
    """Ask one unit. Several may be asked at once; a unit already asked is not asked twice.

    ``shown`` is the candidate as it stood in the list from which the unit was chosen; without one
    the list is made and kept now.
    """
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        require_open(held)
        live = held.offers.filter(unit=unit, stage__in=LIVE_OFFERS).first()
        if live:
            return live
        placed = held.accepted_offer()
        if placed:
            raise NotPossible(
                words(
                    "%(code)s is placed at %(unit)s. Withdraw that acceptance first, then ask "
                    "another unit.",
                    code=held.code,
                    unit=placed.unit,
                ),
                code="already_placed",
            )
        offer = Offer.objects.create(
            referral=held,
            unit=unit,
            asked_at=by.received_at,
            one_time_code=one_time_code(secrets.token_bytes),
            shown=shown or _as_ranked(held, unit, by.received_at),
        )
        if held.stage == ReferralStage.RAISED.value:
            move(held, ReferralStage.ASKING)
        timeline.append(
            held, "unit_asked", by, {"offer": offer.pk, "unit": unit.code, "shown": offer.shown}
        )
        alerting.ask_unit(offer, by, messages.question(offer))
    return offer


def _as_ranked(referral: Referral, unit: Unit, now: datetime) -> dict[str, Any]:
    with in_record_language():
        return ports.journeys().as_ranked(referral, unit, now)


def accept(by: By, offer: Offer, *, receiver: str = "", entrance: str = "") -> Offer:
    """A unit takes the babies: one accepted offer a referral, cots held, the others told.

    A second press by the same unit changes nothing.

    Raises:
        NotPossible: when another unit was first, no cot is free, the referral is over, or nobody
            knows at which entrance the baby is received (``entrance_needed``).
    """
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = _question_now(offer, referral)
        if offer.stage == OfferStage.ACCEPTED.value:
            return offer
        require_open(referral)
        standing = referral.accepted_offer()
        if standing:
            raise NotPossible(
                words(
                    "%(code)s was taken by %(unit)s at %(at)s. Thank you; nothing more is needed "
                    "from you.",
                    code=referral.code,
                    unit=standing.unit,
                    at=messages.clock_time(standing.answered_at, referral),
                ),
                code="already_placed",
            )
        _require_answerable(offer, OfferStage.ACCEPTED)
        entrance = entrance.strip() or offer.unit.entrance
        if not entrance:
            raise NotPossible(
                words(
                    "Name the entrance: %(unit)s has no usual one, and the driver must find the "
                    "door.",
                    unit=offer.unit,
                ),
                code="entrance_needed",
            )
        cots.hold_cots(by, offer)
        _answer(
            offer,
            OfferStage.ACCEPTED,
            by,
            receiver=receiver or by.name,
            entrance=entrance,
        )
        move(referral, ReferralStage.PLACED)
        timeline.append(
            referral,
            "accepted",
            by,
            {
                "offer": offer.pk,
                "unit": offer.unit.code,
                "receiver": timeline.committed(
                    timeline.keep_text(referral, "receiver", offer.receiver)
                ),
                "entrance": offer.entrance,
            },
        )
        why = to_tell("%(unit)s takes the baby", unit=offer.unit)
        _settle_search(referral, by, why)
        for other in referral.offers.filter(stage=OfferStage.OPEN.value).exclude(pk=offer.pk):
            withdraw_offer(other, by, why)
        alerting.tell_desk_quietly(
            referral, by, "accepted", f"offer:{offer.pk}:accepted:desk", messages.accepted(offer)
        )
        alerting.tell_unit(
            offer,
            by,
            "confirmed",
            f"offer:{offer.pk}:confirmed:{referral.head_seq}",
            messages.confirmed(offer),
        )
        alerting.tell_caller(
            referral,
            by,
            "accepted",
            f"offer:{offer.pk}:accepted:attendant:{referral.head_seq}",
            messages.accepted(offer),
        )
        ports.journeys().placed(referral, offer, by)
    return offer


def decline(by: By, offer: Offer, *, reason: DeclineReason, words: str = "") -> Offer:
    """A unit cannot take the babies. After an acceptance this takes the acceptance back.

    The next units are asked in the same transaction; when none is left the desk is told.
    """
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        if fresh(offer, referral).stage != OfferStage.DECLINED.value:
            offer = _question_now(offer, referral)
        offer = fresh(offer, referral)
        if offer.stage == OfferStage.DECLINED.value:
            return offer
        was_accepted = offer.stage == OfferStage.ACCEPTED.value
        _require_answerable(offer, OfferStage.DECLINED)
        _answer(offer, OfferStage.DECLINED, by, decline_reason=reason.value)
        body: dict[str, Any] = {
            "offer": offer.pk,
            "unit": offer.unit.code,
            "reason": reason.value,
            "after_acceptance": was_accepted,
        }
        if words:
            body["words"] = timeline.committed(timeline.keep_text(referral, "decline", words))
        timeline.append(referral, "declined", by, body)
        why = to_tell("declined: %(reason)s", reason=to_spell(reason.value))
        _settle_question(offer, by, why)
        if was_accepted:
            _unplace(referral, offer, by, messages.taken_back(offer))
        else:
            ports.journeys().unit_refused(referral, offer, by)
        if referral.is_open:
            ask_best(referral.pk, by.received_at)
    return offer


def withdraw(by: By, offer: Offer, *, why: str) -> Offer:
    """Take a question or an acceptance back; the unit gets a second message."""
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = fresh(offer, referral)
        if offer.stage == OfferStage.WITHDRAWN.value:
            return offer
        was_accepted = offer.stage == OfferStage.ACCEPTED.value
        withdraw_offer(offer, by, why)
        if was_accepted and referral.is_open:
            _unplace(referral, offer, by, messages.withdrawn(offer, why))
    return offer


def divert(by: By, referral: Referral, *, why: str) -> list[Offer]:
    """The accepted unit will not do any more: withdraw there, ask the next best at once."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        offer = held.accepted_offer()
        if offer is None:
            raise NotPossible(
                words(
                    "%(code)s is not placed, so there is nothing to divert from. Ask another unit "
                    "instead.",
                    code=held.code,
                ),
                code="not_placed",
            )
        withdraw(by, offer, why=why)
        return ask_best(held.pk, by.received_at, count=2)


def lapse(offer: Offer, now: datetime) -> None:
    """A unit never answered: its ladder ends, its late answer would still be taken."""
    by = by_system(now)
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = fresh(offer, referral)
        if offer.stage != OfferStage.OPEN.value:
            return
        _claim(offer, OfferStage.LAPSED)
        timeline.append(referral, "lapsed", by, {"offer": offer.pk, "unit": offer.unit.code})
        _settle_question(offer, by, to_tell("no answer; other units were asked"))


def timeline_row(referral_id: int) -> Referral:
    """The row as it stands now, not held."""
    return Referral.objects.select_related("district", "origin").get(pk=referral_id)


def _free_code() -> str:
    """A case code nobody has; longer when the short ones grow rare."""
    source = random.SystemRandom()
    for attempt in range(200):
        code = make_code(source, 4 + attempt // 20)
        if not Referral.objects.filter(code=code).exists():
            return code
    raise RuntimeError("no free case code was found in 200 draws")


def require_open(referral: Referral) -> None:
    """Refuse what only an open referral allows, with what is possible instead."""
    if not referral.is_open:
        raise NotPossible(
            words(
                "%(code)s is closed. Reverse an ending with a reason to open it again, or raise a "
                "new referral.",
                code=referral.code,
            ),
            code="closed",
        )


def fresh(offer: Offer, referral: Referral) -> Offer:
    """The offer as it stands now, on the referral that the caller holds."""
    offer = Offer.objects.select_related("unit__site").get(pk=offer.pk)
    offer.referral = referral
    return offer


def _question_now(offer: Offer, referral: Referral) -> Offer:
    """The unit's question as it stands: an answer to an old one answers the one asked since."""
    offer = fresh(offer, referral)
    if offer.stage in LIVE_OFFERS:
        return offer
    since = referral.offers.filter(unit=offer.unit, stage__in=LIVE_OFFERS).first()
    return fresh(since, referral) if since else offer


def _require_answerable(offer: Offer, to: OfferStage) -> None:
    require_step(OFFER_STEPS, OfferStage(offer.stage), to, what=words("this question"))


def move(referral: Referral, to: ReferralStage, **also: Any) -> None:
    """Take a held referral to another stage; the caller appends the Entry that says why.

    Raises:
        NotPossible: when no step leads there, or the stage has just changed.
    """
    seen = ReferralStage(referral.stage)
    require_step(REFERRAL_STEPS, seen, to, what=referral.code)
    if not Referral.objects.filter(pk=referral.pk).claim_stage(
        seen=seen.value, to=to.value, **also
    ):
        raise NotPossible(
            words("%(code)s has just changed. Look again.", code=referral.code), code="changed"
        )
    referral.refresh_from_db()


def _claim(offer: Offer, to: OfferStage, **also: Any) -> None:
    if not Offer.objects.filter(pk=offer.pk).claim_stage(seen=offer.stage, to=to.value, **also):
        raise NotPossible(
            words("This question has just been answered. Look again."), code="changed"
        )
    referral, unit = offer.referral, offer.unit
    offer.refresh_from_db()
    offer.referral, offer.unit = referral, unit


def _answer(offer: Offer, to: OfferStage, by: By, **also: Any) -> None:
    _claim(offer, to, answered_at=by.received_at, answered_by=by.name, **also)


def withdraw_offer(offer: Offer, by: By, why: Words) -> None:
    """Withdraw a fresh offer of a held referral: its cots are released and its unit is told.

    The stage of the referral stays; ``withdraw`` is the verb that begins the search again too.
    """
    _require_answerable(offer, OfferStage.WITHDRAWN)
    was_open = offer.stage == OfferStage.OPEN.value
    _claim(offer, OfferStage.WITHDRAWN)
    cots.release_cots(offer, by)
    timeline.append(
        offer.referral,
        "withdrawn",
        by,
        {
            "offer": offer.pk,
            "unit": offer.unit.code,
            "was_open": was_open,
            "why": for_the_record(why),
        },
    )
    _settle_question(offer, by, why)
    alerting.tell_unit(
        offer, by, "withdrawn", f"offer:{offer.pk}:withdrawn", messages.withdrawn(offer, why)
    )


def _unplace(referral: Referral, offer: Offer, by: By, text: alerting.Text) -> None:
    cots.release_cots(offer, by)
    move(referral, ReferralStage.ASKING)
    ports.journeys().unplaced(referral, by)
    seq = referral.head_seq
    alerting.tell_desk(referral, by, "unplaced", f"offer:{offer.pk}:unplaced:{seq}", text)
    alerting.tell_caller(
        referral,
        by,
        "unplaced",
        f"offer:{offer.pk}:unplaced:attendant:{seq}",
        text,
    )


def _settle_question(offer: Offer, by: By, reason: Words) -> None:
    alerting.settle(offer.alerts.unsettled().filter(kind__in=alerting.TO_UNITS), reason, by)


def _settle_search(referral: Referral, by: By, reason: Words) -> None:
    kinds = ("question", "nobody_can_take", "unanswered", "unplaced")
    alerting.settle(referral.alerts.unsettled().filter(kind__in=kinds), reason, by)
