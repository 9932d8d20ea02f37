"""The watch: what each referral owes somebody now, worked out from its state, again and again.

Nothing here depends on a message having arrived. Whatever is due is found from the rows, so a
lost nudge costs one sweep and a lost process nothing.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from referrals import alerting, cots, lifecycle, messages, ports, timeline
from referrals.acting import by_system
from referrals.calc.needs import lacking
from referrals.calc.states import OfferStage, ReferralStage
from referrals.calc.terms import Capability, Urgency
from referrals.concerns_of_baby import concerns_of_babies
from referrals.concerns_of_heart import concerns_of_heart
from referrals.models import Alert, CotHold, Referral
from referrals.owed_after import concerns_after_handover
from referrals.ports import WATCHED, Concern, concern_key
from referrals.saying import Words, to_spell, to_tell
from referrals.twice import tell_desk_of_twice

LAPSE_AFTER_ANSWER_TIMES = 6
LOOK_AGAIN = timedelta(minutes=5)
AGAIN, UNIT = ":again:", ":unit"
REMIND, REMIND_STABLE = timedelta(minutes=10), timedelta(minutes=30)
"""How long a concern that somebody has taken may still stand before it is raised again; common
practice, no source."""


def look_at(referral_id: int, now: datetime) -> None:
    """Bring one referral's alerts in line with its state and book the next look."""
    _ask_on(referral_id, now)
    by = by_system(now)
    with transaction.atomic():
        referral = timeline.hold(referral_id)
        _ask_new_shift(referral, now)
        if referral.is_open and any(_cot_missing(referral)):
            # The unit may have reported more cots since.
            referral = timeline.hold(referral_id)
            cots.fit_cots(by, referral)
        if referral.is_open:
            # Two calls at the same moment do not see each other when they are raised.
            tell_desk_of_twice(referral, by)
        concerns = list(concerns_of(referral, now))
        for concern in concerns:
            if concern.due_at <= now and (key := _key_to_raise(referral, concern, now)):
                older = referral.alerts.unsettled().filter(kind__in=concern.supersedes)
                alerting.settle(older, to_tell("now: %(kind)s", kind=to_spell(concern.kind)), by)
                alerting.raise_concern(referral, replace(concern, key=key), by)
                if concern.unit_too:
                    _tell_unit_too(referral, concern, key, now)
        _settle_gone(referral, {concern.key for concern in concerns}, now)
        referral.next_look_at = _next_look(referral, concerns, now)
        referral.save(update_fields=["next_look_at"])


def _tell_unit_too(referral: Referral, concern: Concern, key: str, now: datetime) -> None:
    """Whoever is on duty at the accepting unit reads it too; without one the desk rings."""
    offer = referral.accepted_offer()
    if offer is None:
        return
    offer.referral = referral
    said = alerting.Text(sentence=concern.sentence, message=concern.sms, path=f"/unit/{offer.pk}/")
    alerting.tell_unit(offer, by_system(now), concern.kind, f"{key}{UNIT}", said)


def concerns_of(referral: Referral, now: datetime) -> Iterator[Concern]:
    """Everything about a referral that needs a person, now or from a later time on."""
    if referral.is_open:
        yield from _concerns_of_search(referral, now)
        yield from _new_shift_silent(referral, now)
        yield from _unit_no_longer_fits(referral)
        yield from _cot_missing(referral)
        yield from concerns_of_babies(referral, now)
        yield from concerns_of_heart(referral, now)
        yield from ports.journeys().concerns(referral, now)
    else:
        yield from concerns_after_handover(referral, now)


def _key_to_raise(referral: Referral, concern: Concern, now: datetime) -> str | None:
    """The key under which a concern is raised now; nothing while somebody is told already.

    Taken by a person and still so after a while, or settled and back: it is raised again. What is
    ``told_once`` is not, when somebody has taken it.
    """
    raised = Q(key=concern.key) | Q(key__startswith=f"{concern.key}{AGAIN}")
    alerts = referral.alerts.filter(raised).exclude(key__endswith=UNIT)
    newest = alerts.order_by("-pk").first()
    if newest is None:
        return concern.key
    taken = newest.acknowledged_at
    if newest.is_open or (taken and (concern.told_once or now < taken + _patience_with(concern))):
        return None
    return f"{concern.key}{AGAIN}{alerts.count()}"


def _patience_with(concern: Concern) -> timedelta:
    return REMIND_STABLE if concern.urgency is Urgency.STABLE else REMIND


def _ask_on(referral_id: int, now: datetime) -> None:
    """Ask the best unit when none is asked or answering; lapse questions nobody will answer."""
    referral = Referral.objects.select_related("district").get(pk=referral_id)
    if referral.stage not in (ReferralStage.RAISED.value, ReferralStage.ASKING.value):
        return
    patience = timedelta(minutes=referral.district.offer_answer_minutes * LAPSE_AFTER_ANSWER_TIMES)
    open_offers = list(referral.offers.filter(stage=OfferStage.OPEN.value))
    for offer in open_offers:
        if offer.asked_at + patience <= now:
            lifecycle.lapse(offer, now)
    if not any(offer.asked_at + patience > now for offer in open_offers):
        lifecycle.ask_best(referral_id, now)


def _ask_new_shift(referral: Referral, now: datetime) -> None:
    """Ask the accepting unit again once its shift has changed; the shift before is asked no more.

    The first look after the change finds it, so the question comes within ``LOOK_AGAIN``.
    """
    offer = referral.accepted_offer() if referral.is_open else None
    if offer is None:
        return
    offer.referral = referral
    change = offer.shift_to_confirm(now)
    if change is None:
        return
    by = by_system(now)
    asked = alerting.ask_new_shift(offer, by, change, messages.still_ready(offer))
    older = offer.alerts.unsettled().filter(kind="still_ready").exclude(pk=asked.pk)
    alerting.settle(older, to_tell("a newer shift is asked"), by)


def _new_shift_silent(referral: Referral, now: datetime) -> Iterator[Concern]:
    offer = referral.accepted_offer()
    if offer is None:
        return
    offer.referral = referral
    change = offer.shift_to_confirm(now)
    if change is None:
        return
    asked = offer.alerts.filter(kind="still_ready").order_by("-pk").first()
    patience = timedelta(minutes=referral.district.offer_answer_minutes)
    yield Concern(
        key=concern_key(referral, "not_reconfirmed", f"{change.isoformat()}:{offer.pk}"),
        kind="not_reconfirmed",
        due_at=(asked.raised_at if asked else now) + patience,
        sentence=(
            to_tell(
                "The shift of %(unit)s changed at %(at)s and nobody has said that it is still "
                "ready for %(code)s. Ring them.",
                unit=offer.unit,
                at=messages.clock_time(change, referral),
                code=referral.code,
            )
        ),
        path=f"/desk/{referral.code}/",
        urgency=Urgency(referral.urgency),
    )


def _unit_no_longer_fits(referral: Referral) -> Iterator[Concern]:
    """The baby or the mother has come to need more than the accepting unit has, or it has closed.

    What stood when the unit said yes is not raised: it was known and decided by people then.
    """
    offer = referral.accepted_offer()
    if offer is None or offer.answered_at is None:
        return
    unit, care = offer.unit, {Capability(each) for each in offer.unit.capabilities}
    since = referral.needs.filter(superseded_at=None, overridden_by="")
    missing: set[Capability] = set()
    for need in since.filter(derived_at__gt=offer.answered_at):
        needed = frozenset(Capability(each) for each in need.capabilities)
        missing |= lacking(needed=needed, offered=frozenset(care))
    if missing:
        yield _about_unit(
            referral,
            "needs_more",
            f"{offer.pk}:{','.join(sorted(missing))}",
            messages.needs_more(offer, sorted(missing)),
        )
    reported = unit.cots_reported_at
    if not unit.is_open and reported and reported > offer.answered_at:
        yield _about_unit(referral, "unit_closed", offer.pk, messages.unit_closed(offer))


def _cot_missing(referral: Referral) -> Iterator[Concern]:
    """A twin was told of after the acceptance, and the unit had no second cot free."""
    offer = referral.accepted_offer()
    hold = CotHold.objects.filter(offer=offer, released_at=None, used_at=None).first()
    needed = cots.cots_needed(referral)
    if offer and hold and hold.cots < needed:
        offer.referral = referral
        sentence = messages.cot_missing(offer, hold.cots, needed)
        yield _about_unit(referral, "cot_missing", f"{offer.pk}:{needed}", sentence)


def _about_unit(referral: Referral, kind: str, subject: object, sentence: Words) -> Concern:
    return Concern.about(referral, kind, subject, referral.raised_at, sentence)


def _concerns_of_search(referral: Referral, now: datetime) -> Iterator[Concern]:
    urgency = Urgency(referral.urgency)
    if referral.stage == ReferralStage.PLACED.value:
        return
    open_offers = list(referral.offers.filter(stage=OfferStage.OPEN.value).select_related("unit"))
    if not open_offers:
        yield Concern(
            key=concern_key(referral, "nobody_can_take", referral.offers.count()),
            kind="nobody_can_take",
            due_at=referral.raised_at,
            sentence=messages.nobody_can_take(referral, now),
            path=f"/desk/{referral.code}/",
            urgency=urgency,
        )
    patience = timedelta(minutes=referral.district.offer_answer_minutes)
    for offer in open_offers:
        yield Concern(
            key=concern_key(referral, "unanswered", offer.pk),
            kind="unanswered",
            due_at=offer.asked_at + patience,
            sentence=(
                to_tell(
                    "%(unit)s was asked at %(at)s and has not said yes or no for %(code)s. Ring "
                    "them.",
                    unit=offer.unit,
                    at=messages.clock_time(offer.asked_at, referral),
                    code=referral.code,
                )
            ),
            path=f"/desk/{referral.code}/",
            urgency=urgency,
        )


def _settle_gone(referral: Referral, standing: set[str], now: datetime) -> None:
    watched: Iterable[Alert] = referral.alerts.unsettled().filter(
        key__startswith=f"{WATCHED}:{referral.pk}:"
    )
    gone = [alert for alert in watched if _cause(alert) not in standing]
    alerting.settle(gone, to_tell("settled"), by_system(now))


def _cause(alert: Alert) -> str:
    """The key of the concern, raised again or told to the unit too: it stands as long as that."""
    return alert.key.partition(AGAIN)[0].removesuffix(UNIT)


def _next_look(referral: Referral, concerns: list[Concern], now: datetime) -> datetime | None:
    later = [concern.due_at for concern in concerns if concern.due_at > now]
    if referral.is_open:
        return min([now + LOOK_AGAIN, *later])
    return min(later) if later else None
