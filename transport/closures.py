"""The one place where closures are reported and lifted, and open journeys learn of it.

A closure changes estimates and never a decision: every open journey of the district is ranked and
estimated anew, and the desk is told of each whose way it touches. A closure whose time has ended
stops counting by itself; the sweep then renews once more.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, timeline
from referrals.acting import By, by_system
from referrals.calc.states import NotPossible
from referrals.calc.terms import VehicleKind
from referrals.models import Alert, District, Referral, Site
from referrals.models.alerts import AlertQuerySet
from referrals.saying import for_the_record, to_tell
from transport import choosing, estimating, messages, roads
from transport.calc.closures import ClosureKind
from transport.calc.legs import ways_of
from transport.calc.places import Place, haversine_from
from transport.models import Closure, Transfer

log = logging.getLogger(__name__)
RADIUS_KM, HOURS = 2.0, 12.0
"""When nobody says how far or how long; common practice, no source."""
MOST_RADIUS_KM, MOST_HOURS = 50.0, 24.0 * 60
ALERT = "road_closed"


@dataclass(frozen=True, kw_only=True)
class ClosureTold:
    """What is closed: at ``place``, or the road ``between`` two sites; for how many hours."""

    kind: ClosureKind
    name: str
    place: Place | None = None
    between: tuple[Site, Site] | None = None
    radius_km: float = RADIUS_KM
    hours: float = HOURS
    words: str = ""


def report(by: By, district: District, told: ClosureTold) -> Closure:
    """Write a closure down and bring every open journey of the district up to date.

    Raises:
        NotPossible: without a place, or for a radius or a time that cannot be.
    """
    _require_possible(told)
    with transaction.atomic():
        closure = Closure.objects.create(
            district=district,
            kind=told.kind.value,
            name=told.name[:120],
            latitude=told.place.latitude if told.place else None,
            longitude=told.place.longitude if told.place else None,
            one_end=told.between[0] if told.between else None,
            other_end=told.between[1] if told.between else None,
            radius_km=told.radius_km,
            words=told.words[:300],
            reported_by=by.name[:150],
            reported_at=by.received_at,
            ends_at=by.received_at + timedelta(hours=told.hours),
        )
        _renew(closure, "reported", by)
    return closure


def report_from_vehicle(by: By, transfer: Transfer, words: str = "") -> Closure:
    """The driver presses 'the road is closed here': where the vehicle was last, at that time.

    Raises:
        NotPossible: when no position of the vehicle is known.
    """
    place = _place_of_press(transfer, by.at)
    if place is None:
        raise NotPossible(
            _("Your position is not known here. Please ring the desk and say where."),
            code="no_position",
        )
    where = _nearest_site(transfer.referral.district, place)
    name = for_the_record(to_tell("road near %(where)s", where=where))
    told = ClosureTold(kind=ClosureKind.ROAD, name=name, place=place, words=words)
    return report(by, transfer.referral.district, told)


def lift(by: By, closure: Closure) -> Closure:
    """It is open again. A second press changes nothing."""
    with transaction.atomic():
        closure = Closure.objects.select_for_update(of=("self",)).get(pk=closure.pk)
        if closure.lifted_at or closure.ends_at <= by.received_at:
            return closure
        closure.lifted_at, closure.lifted_by = by.received_at, by.name[:150]
        closure.save(update_fields=["lifted_at", "lifted_by"])
        _renew(closure, "lifted", by)
    return closure


def keep_up(now: datetime) -> None:
    """Once a sweep: renew after closures that ended by themselves; tell of ways touched since.

    A fault with one closure is logged, and never keeps the rest of the sweep from running.
    """
    ended = Closure.objects.filter(lifted_at=None, renewed_at=None, ends_at__lte=now)
    standing = Closure.objects.standing(now).select_related("one_end", "other_end")
    for look, rows in ((_end_by_itself, ended), (_tell_of_changes, standing)):
        for closure in rows:
            try:
                look(closure, now)
            except Exception:
                log.exception("the sweep could not follow closure %s", closure.pk)


def _end_by_itself(closure: Closure, now: datetime) -> None:
    with transaction.atomic():
        closure = Closure.objects.select_for_update(of=("self",)).get(pk=closure.pk)
        if closure.renewed_at is None:
            closure.renewed_at = now
            closure.save(update_fields=["renewed_at"])
            _renew(closure, "ended", by_system(now))


def _require_possible(told: ClosureTold) -> None:
    if (told.place is None) == (told.between is None):
        raise NotPossible(
            _("Say where it is: two sites with the road between them, or a point."),
            code="no_place",
        )
    if told.between and told.between[0].pk == told.between[1].pk:
        raise NotPossible(_("Name two different sites."), code="no_place")
    if not 0 < told.radius_km <= MOST_RADIUS_KM:
        raise NotPossible(
            _("The radius is above 0 and up to %(most)g km.") % {"most": MOST_RADIUS_KM},
            code="radius",
        )
    if not 0 < told.hours <= MOST_HOURS:
        raise NotPossible(
            _("Say for how many hours, up to %(most)g. It can be reported again.")
            % {"most": MOST_HOURS},
            code="hours",
        )


def _renew(closure: Closure, change: str, by: By) -> None:
    """Rank and estimate every open journey anew; tell the desk of those that are touched."""
    open_ones = Referral.objects.filter(district=closure.district, closed_at=None)
    # In one order, so that two reports at once never wait for each other.
    for pk in open_ones.order_by("pk").values_list("pk", flat=True):
        with transaction.atomic():
            referral = timeline.hold(pk)
            transfer = _live(referral)
            if transfer is None:
                continue
            now = by.received_at
            choosing.keep(referral, choosing.ranking_for(referral, now), now)
            _renew_estimates(transfer, now)
            touched = _touches(closure, transfer, now)
            body = {"closure": closure.pk, "kind": closure.kind, "change": change}
            timeline.append(referral, "roads_changed", by, body | {"touched": touched})
            if change == "reported" and touched:
                _tell(closure, transfer, by)
            elif change != "reported":
                alerting.settle(_alerts(closure, transfer), to_tell("it is open again"), by)


def _renew_estimates(transfer: Transfer, now: datetime) -> None:
    estimating.keep_estimate(transfer, "road", estimating.road_estimate(transfer, now), now)
    if transfer.vehicle and transfer.at_origin_at is None and transfer.on_the_road_at is None:
        collection = estimating.collection_estimate(transfer, now)
        estimating.keep_estimate(transfer, "collection", collection, now)
    # The sweep works a live window out again that has no time.
    Transfer.objects.filter(pk=transfer.pk).update(window_at=None)


def _tell_of_changes(closure: Closure, now: datetime) -> None:
    """A way that came to pass a closure after it was reported, or that no longer does."""
    live = Transfer.objects.live().filter(referral__district=closure.district_id)
    for transfer in live.select_related("referral__district", "referral__origin", "vehicle__base",
                                        "destination__site").order_by("pk"):  # fmt: skip
        touched, known = _touches(closure, transfer, now), _alerts(closure, transfer)
        if touched and not known.exists():
            with transaction.atomic():
                transfer.referral = timeline.hold(transfer.referral_id)
                _tell(closure, transfer, by_system(now))
        elif not touched and known.open().exists():
            with transaction.atomic():
                timeline.hold(transfer.referral_id)
                alerting.settle(known, to_tell("the way no longer passes it"), by_system(now))


def _live(referral: Referral) -> Transfer | None:
    transfer = (
        referral.transfers.live().select_related("vehicle__base", "destination__site").first()
    )
    if transfer:
        transfer.referral = referral
    return transfer


def _touches(closure: Closure, transfer: Transfer, now: datetime) -> bool:
    closed, district = roads.closed_place(closure), transfer.referral.district
    # As if everything were open: what is closed may be why the way there is another one now.
    plain = roads.estimator_with(district, now, [])
    rainy = roads.is_rainy(district, now)
    return any(
        closed.touches(*part)
        for start, end, kind in _ways_ahead(transfer, now)
        for part in ways_of(
            plain(start, end, vehicle=kind, rainy=rainy, dark=None), start, end, kind
        )
    )


def _ways_ahead(transfer: Transfer, now: datetime) -> Iterator[tuple[Place, Place, VehicleKind]]:
    """The ways still to be driven: to the baby, and to the unit or to those that are asked."""
    if transfer.arrived_at:
        return
    post, kind = choosing.place_of(transfer.referral.origin), estimating.kind_of(transfer)
    vehicle = choosing.whereabouts(transfer.vehicle, now) if transfer.vehicle else None
    with_baby = transfer.on_the_road_at is not None
    if vehicle and not with_baby and transfer.at_origin_at is None:
        yield vehicle, post, kind
    start = choosing.last_place(transfer) or post if with_baby else post
    if transfer.destination:
        yield start, choosing.place_of(transfer.destination.site), kind
        return
    asked = transfer.referral.offers.filter(stage="open").select_related("unit__site")
    for offer in asked:
        yield start, choosing.place_of(offer.unit.site), kind


def _alerts(closure: Closure, transfer: Transfer) -> AlertQuerySet:
    return Alert.objects.filter(key=_key(closure, transfer))


def _key(closure: Closure, transfer: Transfer) -> str:
    return f"transfer:{transfer.pk}:closure:{closure.pk}"


def _tell(closure: Closure, transfer: Transfer, by: By) -> None:
    alerting.tell_desk(
        transfer.referral,
        by,
        ALERT,
        _key(closure, transfer),
        messages.road_closed(transfer, closure),
    )


def _place_of_press(transfer: Transfer, at: datetime) -> Place | None:
    """Where the vehicle was when it was pressed; a press may have waited for a connection."""
    by_then = transfer.track().filter(recorded_at__lte=at + timedelta(minutes=1))
    newest = by_then.order_by("-recorded_at").first()
    if newest:
        return Place(newest.latitude, newest.longitude)
    vehicle = transfer.vehicle
    fresh = vehicle and vehicle.seen_at and abs(at - vehicle.seen_at) < timedelta(minutes=30)
    if vehicle and fresh and vehicle.latitude is not None and vehicle.longitude is not None:
        return Place(vehicle.latitude, vehicle.longitude)
    return None


def _nearest_site(district: District, place: Place) -> str:
    sites = list(district.sites.all())
    if not sites:
        return f"{place.latitude:.3f}, {place.longitude:.3f}"
    far = haversine_from(place)
    return min(sites, key=lambda site: far(site.latitude, site.longitude)).name
