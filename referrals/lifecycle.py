"""The one place where the stage of a referral or an offer changes.

Every verb holds the referral's row, then writes the change, its Entry and the alerts it causes in
one transaction. Commitments go by their arrival at the server: the first acceptance wins, and
whoever comes second is told what stands and what is possible.
"""

import logging
import random
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from referrals import alerting, cots, messages, ports, recording, timeline
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
from referrals.calc.terms import DeclineReason, Ending
from referrals.ending_rules import DEATHS, EndingTold, require_known
from referrals.models import (
    Baby,
    CotHold,
    Mother,
    Offer,
    Referral,
    Site,
    Staff,
    Unit,
)
from referrals.twice import notices_about, tell_desk_of_twice

log = logging.getLogger(__name__)
LIVE_OFFERS = (OfferStage.OPEN.value, OfferStage.ACCEPTED.value)


@dataclass(frozen=True, kw_only=True)
class BabyTold:
    """What is told of a baby at the raise; everything may be missing."""

    facts: dict[str, Any] = field(default_factory=dict)
    details: dict[str, Any] = field(default_factory=dict)
    name: str = ""


def raise_referral(
    by: By,
    *,
    origin: Site,
    raised_by: Staff | None = None,
    babies: Sequence[BabyTold] = (),
    note: str = "",
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
            ).pk
        )
        Mother.objects.create(referral=referral)
        body: dict[str, Any] = {"site": origin.code, "babies": max(len(babies), 1)}
        if note:
            body["note"] = timeline.committed(timeline.keep_text(referral, "note", note))
        timeline.append(referral, "raised", by, body)
        for order, told in enumerate(babies or [BabyTold()], start=1):
            baby = Baby.objects.create(referral=referral, birth_order=order)
            _tell_of(by, baby, told)
        referral = timeline.hold(referral.pk)
        recording.refresh_needs(referral, by)
        ports.journeys().open(referral, by)
        tell_desk_of_twice(referral, by)
    return referral


def add_baby(by: By, referral: Referral, told: BabyTold) -> Baby:
    """A twin that was not told of at the raise."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        _require_open(held)
        order = held.babies.count() + 1
        baby = Baby.objects.create(referral=held, birth_order=order)
        timeline.append(held, "baby_added", by, {"baby": order})
        _tell_of(by, baby, told)
    return baby


def ask_best(referral_id: int, now: datetime, *, count: int = 1) -> list[Offer]:
    """Ask the best units not asked yet; nothing when the referral is placed or closed."""
    by = by_system(now)
    with transaction.atomic():
        referral = timeline.hold(referral_id)
        if referral.stage not in (ReferralStage.RAISED.value, ReferralStage.ASKING.value):
            return []
        suggestions = ports.journeys().next_units(referral, count, now)
        return [
            ask(by, referral, suggestion.unit, shown=suggestion.shown) for suggestion in suggestions
        ]


def ask(by: By, referral: Referral, unit: Unit, *, shown: dict[str, Any] | None = None) -> Offer:
    """Ask one unit. Several may be asked at once; a unit already asked is not asked twice."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        _require_open(held)
        live = held.offers.filter(unit=unit, stage__in=LIVE_OFFERS).first()
        if live:
            return live
        if held.accepted_offer():
            raise NotPossible(
                f"{held.code} is placed at {held.accepted_offer().unit}. "  # type: ignore[union-attr]
                "Withdraw that acceptance first, then ask another unit.",
                code="already_placed",
            )
        offer = Offer.objects.create(
            referral=held,
            unit=unit,
            asked_at=by.received_at,
            one_time_code=one_time_code(secrets.token_bytes),
            shown=shown or {},
        )
        if held.stage == ReferralStage.RAISED.value:
            _move(held, ReferralStage.ASKING)
        timeline.append(
            held, "unit_asked", by, {"offer": offer.pk, "unit": unit.code, "shown": offer.shown}
        )
        alerting.ask_unit(offer, by, messages.question(offer))
    return offer


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
        _require_open(referral)
        standing = referral.accepted_offer()
        if standing:
            raise NotPossible(
                f"{referral.code} was taken by {standing.unit} at "
                f"{messages.clock_time(standing.answered_at, referral)}. "
                "Thank you; nothing more is needed from you.",
                code="already_placed",
            )
        require_step(
            OFFER_STEPS, OfferStage(offer.stage), OfferStage.ACCEPTED, what="this question"
        )
        entrance = entrance.strip() or offer.unit.entrance
        if not entrance:
            raise NotPossible(
                _("Name the entrance: %s has no usual one, and the driver must find the door.")
                % offer.unit,
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
        _move(referral, ReferralStage.PLACED)
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
        _settle_search(referral, by, f"{offer.unit} takes the baby")
        for other in referral.offers.filter(stage=OfferStage.OPEN.value).exclude(pk=offer.pk):
            _withdraw(other, by, f"{offer.unit} takes the baby")
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
        if referral.raised_by:
            alerting.tell_person(
                referral,
                referral.raised_by,
                by,
                "accepted",
                f"offer:{offer.pk}:accepted:attendant:{referral.head_seq}",
                messages.accepted(offer),
            )
        ports.journeys().placed(referral, offer, by)
    return offer


def reconfirm(by: By, offer: Offer, *, receiver: str = "", entrance: str = "") -> Offer:
    """The unit's new shift is still ready. What is not told of receiver and entrance stays.

    The attendant and the driver hear of it only when one of the two has changed; pressed again
    with nothing new it changes nothing.

    Raises:
        NotPossible: when this unit does not take the babies, or the referral is over.
    """
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = _fresh(offer, referral)
        _require_open(referral)
        if offer.stage != OfferStage.ACCEPTED.value:
            raise NotPossible(
                f"{offer.unit} does not take {referral.code} now, so there is nothing to confirm. "
                "Answer the question itself, yes or no.",
                code="not_accepted",
            )
        told = {"receiver": receiver or offer.receiver, "entrance": entrance or offer.entrance}
        was = {"receiver": offer.receiver, "entrance": offer.entrance}
        if told == was and offer.shift_to_confirm(by.received_at) is None:
            return offer
        offer.receiver, offer.entrance = told["receiver"], told["entrance"]
        offer.reconfirmed_at, offer.reconfirmed_by = by.received_at, by.name
        offer.save(update_fields=["receiver", "entrance", "reconfirmed_at", "reconfirmed_by"])
        timeline.append(
            referral,
            "reconfirmed",
            by,
            {
                "offer": offer.pk,
                "unit": offer.unit.code,
                "receiver": timeline.committed(
                    timeline.keep_text(referral, "receiver", offer.receiver)
                ),
                "entrance": offer.entrance,
                "changed": sorted(name for name in told if told[name] != was[name]),
            },
        )
        alerting.settle(
            referral.alerts.open().filter(kind__in=["still_ready", "not_reconfirmed"]),
            f"{offer.unit} is still ready",
            by,
        )
        if told != was:
            _tell_reception(referral, offer, by)
    return offer


def decline(by: By, offer: Offer, *, reason: DeclineReason, words: str = "") -> Offer:
    """A unit cannot take the babies. After an acceptance this takes the acceptance back.

    The next units are asked in the same transaction; when none is left the desk is told.
    """
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        if _fresh(offer, referral).stage != OfferStage.DECLINED.value:
            offer = _question_now(offer, referral)
        offer = _fresh(offer, referral)
        if offer.stage == OfferStage.DECLINED.value:
            return offer
        was_accepted = offer.stage == OfferStage.ACCEPTED.value
        require_step(
            OFFER_STEPS, OfferStage(offer.stage), OfferStage.DECLINED, what="this question"
        )
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
        _settle_question(offer, by, f"declined: {reason.value.replace('_', ' ')}")
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
        offer = _fresh(offer, referral)
        if offer.stage == OfferStage.WITHDRAWN.value:
            return offer
        was_accepted = offer.stage == OfferStage.ACCEPTED.value
        _withdraw(offer, by, why)
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
                f"{held.code} is not placed, so there is nothing to divert from. "
                "Ask another unit instead.",
                code="not_placed",
            )
        withdraw(by, offer, why=why)
        return ask_best(held.pk, by.received_at, count=2)


def lapse(offer: Offer, now: datetime) -> None:
    """A unit never answered: its ladder ends, its late answer would still be taken."""
    by = by_system(now)
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = _fresh(offer, referral)
        if offer.stage != OfferStage.OPEN.value:
            return
        _claim(offer, OfferStage.LAPSED)
        timeline.append(referral, "lapsed", by, {"offer": offer.pk, "unit": offer.unit.code})
        _settle_question(offer, by, "no answer; other units were asked")


def end_baby(
    by: By,
    baby: Baby,
    ending: Ending,
    *,
    determined_by: str = "",
    band: str = "",
    ended_at: datetime | None = None,
    words: str = "",
) -> Baby:
    """Write how the referral ended for one baby; the referral closes with the last one.

    A death names the baby by its band, the time and who determined it; 'recovered' names a
    clinician, and after ventilation follows a time of watching.

    Raises:
        NotPossible: when the baby has another ending, or what this one needs is not known.
    """
    told = EndingTold(determined_by=determined_by, band=band, ended_at=ended_at, words=words)
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        baby.refresh_from_db()
        baby.referral = referral
        if baby.ending == ending.value:
            return baby
        if baby.ending:
            raise NotPossible(
                f"{baby.code} already has the ending '{baby.ending.replace('_', ' ')}'. "
                "Reverse it with a reason first if it is wrong.",
                code="already_ended",
            )
        ended_at = require_known(by, baby, ending, told)
        baby.ending, baby.ended_at = ending.value, ended_at
        baby.ended_by = determined_by or by.name
        baby.save(update_fields=["ending", "ended_at", "ended_by"])
        timeline.append(referral, "ended", by, _ending_body(referral, baby, ending, told))
        if not referral.babies.filter(ending="").exists():
            _close(referral, by)
        else:
            recording.refresh_needs(referral, by)
    return baby


def reverse_ending(by: By, baby: Baby, *, reason: str) -> Baby:
    """An ending was entered in error: take it back with a reason, the search goes on."""
    with transaction.atomic():
        referral, went_on_as = _hold_with_joined(baby.referral_id)
        baby.refresh_from_db()
        if not baby.ending:
            raise NotPossible(f"{baby.code} has no ending to reverse.", code="not_ended")
        was, baby.ending, baby.ended_at, baby.ended_by = baby.ending, "", None, ""
        baby.save(update_fields=["ending", "ended_at", "ended_by"])
        kept = timeline.keep_text(referral, "reversal", reason)
        timeline.append(
            referral,
            "ending_reversed",
            by,
            {"baby": baby.birth_order, "was": was, "reason": timeline.committed(kept)},
        )
        if was == Ending.HANDED_OVER.value:
            ports.journeys().handover_undone(referral, baby, by)
        if went_on_as:
            _part(by, referral, went_on_as)
        if referral.stage == ReferralStage.CLOSED.value:
            placed = referral.accepted_offer() is not None
            _move(
                referral,
                ReferralStage.PLACED if placed else ReferralStage.ASKING,
                closed_at=None,
                next_look_at=by.received_at,
            )
            timeline.append(referral, "reopened", by, {})
            ports.journeys().open(referral, by)
        recording.refresh_needs(referral, by)
    return baby


def take_back(by: By, referral: Referral, *, reason: str) -> Referral:
    """The referral was raised in error: every baby ends so, and the units get a second message."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        for baby in held.babies.filter(ending=""):
            end_baby(by, baby, Ending.RAISED_IN_ERROR, words=reason)
    return timeline_row(referral.pk)


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
            f"{referral.code} is this referral. Choose the other code of the same baby.",
            code="same_referral",
        )
    with transaction.atomic():
        held = _hold_all(referral.pk, into.pk)
        referral, into = held[referral.pk], held[into.pk]
        _require_joinable(referral, into)
        placed = referral.accepted_offer()
        why = f"the same baby is called for as {into.code}"
        for offer in referral.offers.filter(stage__in=LIVE_OFFERS):
            _withdraw(_fresh(offer, referral), by, why)
        referral.joined_into = into
        referral.save(update_fields=["joined_into"])
        timeline.append(referral, "joined", by, {"into": into.code})
        timeline.append(into, "joined", by, {"from": referral.code})
        alerting.settle(notices_about(referral, into), why, by)
        if referral.raised_by:
            alerting.tell_person(
                referral,
                referral.raised_by,
                by,
                "joined",
                f"referral:{referral.pk}:joined:{referral.head_seq}",
                messages.joined(referral, into),
            )
        for baby in referral.babies.filter(ending=""):
            end_baby(by, baby, Ending.RAISED_IN_ERROR, words=why)
        if placed and not into.accepted_offer():
            ask(by, into, placed.unit)
    return timeline_row(referral.pk)


def timeline_row(referral_id: int) -> Referral:
    """The row as it stands now, not held."""
    return Referral.objects.select_related("district", "origin").get(pk=referral_id)


def _ending_body(
    referral: Referral, baby: Baby, ending: Ending, told: EndingTold
) -> dict[str, Any]:
    body: dict[str, Any] = {"baby": baby.birth_order, "ending": ending.value}
    if ending in DEATHS:
        body |= {"band": baby.code, "ended_at": baby.ended_at}
    if told.determined_by:
        body["determined_by"] = timeline.committed(
            timeline.keep_text(referral, "determined_by", told.determined_by)
        )
    if told.words:
        body["words"] = timeline.committed(timeline.keep_text(referral, "ending", told.words))
    return body


def _tell_of(by: By, baby: Baby, told: BabyTold) -> None:
    if told.name:
        recording.name_person(by, baby, told.name)
    if told.details:
        recording.describe_baby(by, baby, told.details)
    if told.facts:
        recording.observe(by, baby, told.facts)


def _free_code() -> str:
    """A case code nobody has; longer when the short ones grow rare."""
    source = random.SystemRandom()
    for attempt in range(200):
        code = make_code(source, 4 + attempt // 20)
        if not Referral.objects.filter(code=code).exists():
            return code
    raise RuntimeError("no free case code was found in 200 draws")


def _require_open(referral: Referral) -> None:
    if not referral.is_open:
        raise NotPossible(
            f"{referral.code} is closed. Reverse an ending with a reason to open it again, "
            "or raise a new referral.",
            code="closed",
        )


def _hold_all(*numbers: int) -> dict[int, Referral]:
    """Several referrals, always held from the lowest number up."""
    return {number: timeline.hold(number) for number in sorted(set(numbers))}


def _hold_with_joined(number: int) -> tuple[Referral, Referral | None]:
    """A referral and the one it was joined into, if any."""
    other = Referral.objects.values_list("joined_into", flat=True).get(pk=number)
    held = _hold_all(number, *([other] if other else []))
    return held[number], held.get(other or 0)


def _require_joinable(referral: Referral, into: Referral) -> None:
    _require_open(referral)
    _require_open(into)
    if referral.district_id != into.district_id:
        raise NotPossible(
            f"{referral.code} and {into.code} belong to different districts. "
            "Ring the other desk; each closes its own.",
            code="other_district",
        )
    vehicle = ports.journeys().vehicle_of(referral)
    if vehicle and not ports.journeys().vehicle_of(into):
        raise NotPossible(
            f"Only {referral.code} has a vehicle, {vehicle}. Close {into.code} into "
            f"{referral.code} instead, or first send a vehicle for {into.code}.",
            code="only_vehicle",
        )


def _part(by: By, referral: Referral, other: Referral) -> None:
    """An ending was taken back after a join: they are two babies after all."""
    referral.joined_into = None
    referral.save(update_fields=["joined_into"])
    timeline.append(referral, "parted", by, {"other": other.code})
    timeline.append(other, "parted", by, {"other": referral.code})


def _fresh(offer: Offer, referral: Referral) -> Offer:
    offer = Offer.objects.select_related("unit__site").get(pk=offer.pk)
    offer.referral = referral
    return offer


def _question_now(offer: Offer, referral: Referral) -> Offer:
    """The unit's question as it stands: an answer to an old one answers the one asked since."""
    offer = _fresh(offer, referral)
    if offer.stage in LIVE_OFFERS:
        return offer
    since = referral.offers.filter(unit=offer.unit, stage__in=LIVE_OFFERS).first()
    return _fresh(since, referral) if since else offer


def _move(referral: Referral, to: ReferralStage, **also: Any) -> None:
    seen = ReferralStage(referral.stage)
    require_step(REFERRAL_STEPS, seen, to, what=referral.code)
    if not Referral.objects.filter(pk=referral.pk).claim_stage(
        seen=seen.value, to=to.value, **also
    ):
        raise NotPossible(f"{referral.code} has just changed. Look again.", code="changed")
    referral.refresh_from_db()


def _claim(offer: Offer, to: OfferStage, **also: Any) -> None:
    if not Offer.objects.filter(pk=offer.pk).claim_stage(seen=offer.stage, to=to.value, **also):
        raise NotPossible("This question has just been answered. Look again.", code="changed")
    referral, unit = offer.referral, offer.unit
    offer.refresh_from_db()
    offer.referral, offer.unit = referral, unit


def _answer(offer: Offer, to: OfferStage, by: By, **also: Any) -> None:
    _claim(offer, to, answered_at=by.received_at, answered_by=by.name, **also)


def _tell_reception(referral: Referral, offer: Offer, by: By) -> None:
    if referral.raised_by:
        alerting.tell_person(
            referral,
            referral.raised_by,
            by,
            "reception_changed",
            f"offer:{offer.pk}:reception:attendant:{referral.head_seq}",
            messages.reception_changed(offer),
        )
    ports.journeys().reception_changed(referral, offer, by)


def _withdraw(offer: Offer, by: By, why: str) -> None:
    require_step(OFFER_STEPS, OfferStage(offer.stage), OfferStage.WITHDRAWN, what="this question")
    was_open = offer.stage == OfferStage.OPEN.value
    _claim(offer, OfferStage.WITHDRAWN)
    cots.release_cots(offer, by)
    timeline.append(
        offer.referral,
        "withdrawn",
        by,
        {"offer": offer.pk, "unit": offer.unit.code, "was_open": was_open, "why": why},
    )
    _settle_question(offer, by, why)
    alerting.tell_unit(
        offer, by, "withdrawn", f"offer:{offer.pk}:withdrawn", messages.withdrawn(offer, why)
    )


def _unplace(referral: Referral, offer: Offer, by: By, text: alerting.Text) -> None:
    cots.release_cots(offer, by)
    _move(referral, ReferralStage.ASKING)
    ports.journeys().unplaced(referral, by)
    seq = referral.head_seq
    alerting.tell_desk(referral, by, "unplaced", f"offer:{offer.pk}:unplaced:{seq}", text)
    if referral.raised_by:
        alerting.tell_person(
            referral,
            referral.raised_by,
            by,
            "unplaced",
            f"offer:{offer.pk}:unplaced:attendant:{seq}",
            text,
        )


def _settle_question(offer: Offer, by: By, reason: str) -> None:
    alerting.settle(offer.alerts.open().filter(kind__in=alerting.TO_UNITS), reason, by)


def _settle_search(referral: Referral, by: By, reason: str) -> None:
    kinds = ("question", "nobody_can_take", "unanswered", "unplaced")
    alerting.settle(referral.alerts.open().filter(kind__in=kinds), reason, by)


def _close(referral: Referral, by: By) -> None:
    endings = set(referral.babies.values_list("ending", flat=True))
    for offer in referral.offers.filter(stage=OfferStage.OPEN.value).select_related("unit"):
        _withdraw(_fresh(offer, referral), by, "the referral has ended")
    accepted = referral.accepted_offer()
    if accepted:
        accepted.referral = referral
        if Ending.HANDED_OVER.value in endings:
            CotHold.objects.filter(offer=accepted).update(used_at=by.received_at)
        else:
            _withdraw(accepted, by, "the referral has ended")
    _move(referral, ReferralStage.CLOSED, closed_at=by.received_at)
    # Plain notices still go out: the withdrawal above must reach the unit.
    owed = referral.alerts.open().filter(Q(needs_answer=True) | Q(for_desk=True))
    alerting.settle(owed, "the referral has ended", by)
    timeline.append(referral, "closed", by, {"endings": sorted(endings)})
    ports.journeys().closed(referral, by)
