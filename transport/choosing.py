"""From rows to the ranking of units and back; what was shown is kept."""

import logging
import math
from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache, partial
from typing import Any

from django.db import transaction
from django.db.models import Q, prefetch_related_objects
from django.utils.translation import gettext as _

from referrals.calc.states import OfferStage
from referrals.calc.terms import Capability, VehicleKind
from referrals.models import District, Referral, Site, Unit
from referrals.ports import Suggestion
from referrals.reading import assess, babies_on_the_way
from transport.calc import ranking as ranks
from transport.calc.closures import closures_of
from transport.calc.finalists import box_around
from transport.calc.legs import leg_words
from transport.calc.plans import MeetingPlace, PlanSettings, plans_for
from transport.calc.stages import TransferStage
from transport.calc.travel import (
    Place,
    TravelEstimate,
)
from transport.cylinders import bottles, carried_bottles, oxygen_flow
from transport.models import Cylinder, Ranking, Transfer, Vehicle
from transport.models.transfers import ABOARD
from transport.roads import estimator_of, is_dark, is_rainy, reserve_of
from transport.units_in_sight import units_in_sight

log = logging.getLogger(__name__)

MINUTES_UNTIL_BACK = 90.0
"""Assumed until a vehicle on a journey is free again; common practice, no source."""


def ranking_for(referral: Referral, now: datetime) -> ranks.Ranking:
    """Every unit in reach as a candidate, with reasons, as things stand now."""
    referral = _with_record(referral)
    live = referral.transfers.live().select_related("vehicle__base", "stands_at__site").first()
    if live:
        live.referral = referral
    sent = live if live and live.vehicle else None
    carrying = sent if sent and sent.stage == TransferStage.ON_THE_ROAD.value else None
    origin = _where_the_baby_is(referral, live, carrying)
    cylinders = _cylinders_around(referral)
    asking = ranks.Asking(
        origin=origin,
        babies=max(len(babies_on_the_way(referral)), 1),
        needs=assess(referral, now),
        flow_l_min=oxygen_flow(referral),
        loading_minutes=0.0 if carrying else referral.district.loading_minutes,
        now_dark=is_dark(origin, now),
        rainy=is_rainy(referral.district, now),
        cylinders=tuple(bottles(cylinders.pop(None, []))),
    )
    settings = ranks.RankingSettings(
        bedside_minutes=referral.district.bedside_minutes, reserve=reserve_of(referral.district)
    )
    units = units_in_sight(referral, asking, settings)
    around = _vehicle_facts(referral.district, cylinders, now)
    own = _sent_facts(sent, origin, now) if sent else []
    estimate = estimator_of(referral.district, now)
    ranking = ranks.rank(asking, units.facts, own if sent else around, settings, estimate=estimate)
    others = [each for each in around if each.key not in {one.key for one in own}]
    plans = plans_for(
        asking,
        ranking,
        units.facts,
        [*own, *others],
        partial(_meeting_places, referral.district),
        PlanSettings(),
        estimate=estimate,
    )
    return replace(
        ranking,
        plans=plans,
        possible_not_shown=ranking.possible_not_shown + units.possible_left_out,
        impossible_not_shown=ranking.impossible_not_shown + units.impossible_left_out,
        looked_within_km=units.within_km,
    )


def _with_record(referral: Referral) -> Referral:
    """The referral with its babies, mother and what was observed of them, read once and now.

    A copy: whoever asked for the ranking goes on with a row that remembers nothing of it.
    """
    seen = copy(referral)
    seen._prefetched_objects_cache = {}  # type: ignore[attr-defined]
    seen._state.fields_cache.pop("mother", None)
    prefetch_related_objects([seen], "babies__observations", "mother__observations")
    return seen


def _where_the_baby_is(
    referral: Referral, live: Transfer | None, carrying: Transfer | None
) -> Place:
    newest = last_place(carrying) if carrying else None
    if newest:
        return newest
    if live and live.stands_at:
        return place_of(live.stands_at.site)
    return pick_up_place(live) if live else place_of(referral.origin)


def last_place(transfer: Transfer) -> Place | None:
    """Where the newest position of a journey was."""
    newest = transfer.track().order_by("-recorded_at").first()
    return Place(newest.latitude, newest.longitude) if newest else None


def pick_up_place(transfer: Transfer) -> Place:
    """Where a vehicle finds mother and baby: at the post, or where the last one left them.

    Where that is not known, the post stands for it, as the place they set out from.
    """
    if transfer.waits_latitude is not None and transfer.waits_longitude is not None:
        return Place(transfer.waits_latitude, transfer.waits_longitude)
    return place_of(transfer.referral.origin)


def _sent_facts(sent: Transfer, origin: Place, now: datetime) -> list[ranks.VehicleFacts]:
    """The vehicle that was sent: no other one counts for this referral, wherever it is."""
    vehicle = sent.vehicle
    if vehicle is None:
        return []
    with_baby = sent.stage in (TransferStage.AT_ORIGIN.value, *ABOARD)
    place = origin if with_baby else whereabouts(vehicle, now)
    facts = ranks.VehicleFacts(
        key=vehicle.code,
        name=vehicle.name,
        kind=VehicleKind(vehicle.kind),
        place=place,
        minutes_until_free=0.0,
        capabilities=frozenset(Capability(each) for each in vehicle.capabilities),
        cylinders=tuple(carried_bottles(sent)),
    )
    return [facts]


def _meeting_places(district: District, around: Place, radius_km: float) -> list[MeetingPlace]:
    """The known sites of the district on land in the box around a circle."""
    sites = district.sites.exclude(kind="landing")
    box = box_around(around, radius_km)
    if box:
        sites = sites.filter(
            latitude__range=(box.south, box.north), longitude__range=(box.west, box.east)
        )
    rows = sites.order_by("code").values_list("code", "name", "latitude", "longitude")
    return [
        MeetingPlace(code, name, Place(latitude, longitude))
        for code, name, latitude, longitude in rows
    ]


def keep(referral: Referral, ranking: ranks.Ranking, now: datetime) -> Ranking:
    """Store the ranking as it is shown."""
    return Ranking.objects.create(referral=referral, made_at=now, body=ranking.as_dict())


def suggestions(referral: Referral, count: int, now: datetime) -> list[Suggestion]:
    """The best units to ask next: first those never asked, then withdrawn, then lapsed ones."""
    ranking = ranking_for(referral, now)
    kept = keep(referral, ranking, now)
    order = {None: 0, OfferStage.WITHDRAWN.value: 1, OfferStage.LAPSED.value: 2}
    # A unit that had said yes and was left is full, or was declined: it is not asked again.
    already = {
        code: "left" if stage == OfferStage.WITHDRAWN.value and answered_at else stage
        for code, stage, answered_at in referral.offers.order_by("asked_at").values_list(
            "unit__code", "stage", "answered_at"
        )
    }
    able = [
        candidate
        for candidate in ranking.candidates
        if candidate.possible and already.get(candidate.key) in order
    ]
    able.sort(key=lambda candidate: (order[already.get(candidate.key)], candidate.order))
    chosen = able[:count]
    units = Unit.objects.select_related("site").in_bulk(
        [candidate.key for candidate in chosen], field_name="code"
    )
    return [
        Suggestion(units[candidate.key], shown_of(referral, kept, candidate.key))
        for candidate in chosen
    ]


def shown_of(referral: Referral, kept: Ranking, key: str) -> dict[str, Any]:
    """What is kept with an offer: the candidate as it was shown, and where the list stands.

    ``ranking`` is the number of the list, ``made_at`` when it was made, ``passed_over`` the units
    before this one that could take the baby and had not been asked. Empty for a unit that was not
    on the list.
    """
    listed = kept.body["candidates"]
    shown = next((each for each in listed if each["key"] == key), None)
    if shown is None:
        return {}
    asked = set(referral.offers.values_list("unit__code", flat=True))
    passed_over = [
        {name: each[name] for name in ("key", "name", "order")}
        for each in listed
        if each["possible"] and each["order"] < shown["order"] and each["key"] not in asked
    ]
    where = {"ranking": kept.pk, "made_at": kept.made_at.isoformat(), "passed_over": passed_over}
    return {**shown, **where}


def as_ranked(referral: Referral, unit: Unit, now: datetime) -> dict[str, Any]:
    """The same from a list made now; empty, with the fault in the log, where that fails."""
    try:
        # A fault here must not undo the question: it ends at this savepoint.
        with transaction.atomic():
            return shown_of(referral, keep(referral, ranking_for(referral, now), now), unit.code)
    except Exception:
        log.exception("%s: no ranking could be kept with the question", referral.code)
        return {}


_KINDS = {kind.value: kind for kind in VehicleKind}


@lru_cache(maxsize=256)
def _equipment(names: tuple[str, ...]) -> frozenset[Capability]:
    return frozenset(map(Capability, names))


def _cylinders_around(referral: Referral) -> dict[int | None, list[Any]]:
    """The cylinders in the district's vehicles by vehicle, and under None those at the post."""
    rows = (
        Cylinder.objects.filter(
            Q(vehicle__district=referral.district_id) | Q(vehicle=None, site=referral.origin_id)
        )
        .order_by("pk")
        .values_list(
            "vehicle_id",
            "label",
            "water_litres",
            "bar",
            "full_bar",
            "us_size",
            "psi",
            "full_psi",
            named=True,
        )
    )
    around: dict[int | None, list[Any]] = {}
    for row in rows:
        around.setdefault(row.vehicle_id, []).append(row)
    return around


def _vehicle_facts(
    district: District, cylinders: Mapping[int | None, list[Any]], now: datetime
) -> list[ranks.VehicleFacts]:
    """The vehicles that can be sent, now or when they are back."""
    rows = (
        Vehicle.objects.filter(district=district)
        .exclude(state="out_of_service")
        .values_list("pk", "code", "name", "kind", "state", "capabilities", "latitude",
                     "longitude", "seen_at", "base__latitude", "base__longitude", named=True)
    )  # fmt: skip
    return [
        ranks.VehicleFacts(
            key=row.code,
            name=row.name,
            kind=_KINDS[row.kind],
            place=_where(
                _place(row.latitude, row.longitude),
                row.seen_at,
                _place(row.base__latitude, row.base__longitude),
                now,
            ),
            minutes_until_free=0.0 if row.state == "free" else MINUTES_UNTIL_BACK,
            capabilities=_equipment(tuple(row.capabilities)),
            cylinders=tuple(bottles(cylinders.get(row.pk, ()))),
        )
        for row in rows
    ]


@dataclass(frozen=True)
class VehicleChoice:
    """A free vehicle: when it could be with the baby, and what speaks against it."""

    vehicle: Vehicle
    to_baby: TravelEstimate | None
    against: tuple[str, ...]

    @property
    def closures(self) -> tuple[str, ...]:
        """What is reported closed on the straight way to the baby."""
        return closures_of(self.to_baby) if self.to_baby else ()

    @property
    def over_leg(self) -> str:
        """The ferry or boat leg on the way to the baby, step by step."""
        return leg_words(self.to_baby.inputs) if self.to_baby else ""


def vehicle_choices(referral: Referral, now: datetime) -> list[VehicleChoice]:
    """The free vehicles, those with nothing against them first, then the nearest in time."""
    estimate, rainy = estimator_of(referral.district, now), is_rainy(referral.district, now)
    free = (
        Vehicle.objects.filter(district=referral.district, state="free")
        .select_related("base", "driver")
        .prefetch_related("cylinders")
    )
    needs_oxygen = (oxygen_flow(referral) or 0.0) > 0.0 or referral.urgency != "stable"
    choices = []
    for vehicle in free:
        place, kind = whereabouts(vehicle, now), VehicleKind(vehicle.kind)
        to_baby = (
            estimate(
                place,
                place_of(referral.origin),
                vehicle=kind,
                rainy=rainy,
                dark=is_dark(place, now),
            )
            if place
            else None
        )
        choices.append(
            VehicleChoice(vehicle, to_baby, tuple(_against(vehicle, kind, needs_oxygen, referral)))
        )
    return sorted(choices, key=_nearest_without_objection)


def _nearest_without_objection(choice: VehicleChoice) -> tuple[int, float, str]:
    minutes = choice.to_baby.p50_minutes if choice.to_baby else None
    return (len(choice.against), minutes if minutes is not None else math.inf, choice.vehicle.code)


def _against(
    vehicle: Vehicle, kind: VehicleKind, needs_oxygen: bool, referral: Referral
) -> Iterator[str]:
    if kind is VehicleKind.MOTORCYCLE and referral.urgency == "ventilated":
        yield _("no room to ventilate on a motorcycle")
    if kind is VehicleKind.BOAT:
        yield _("needs a landing at both ends")
    if needs_oxygen and not vehicle.cylinders.all():
        yield _("no oxygen cylinder written down")
    if vehicle.base is None and vehicle.latitude is None:
        yield _("where it is now is not known")


def whereabouts(vehicle: Vehicle, now: datetime) -> Place | None:
    """Where a vehicle is: its last position if that is fresh or it has no base, else its base."""
    last = _place(vehicle.latitude, vehicle.longitude)
    return _where(last, vehicle.seen_at, place_of(vehicle.base) if vehicle.base else None, now)


def _where(
    last: Place | None, seen_at: datetime | None, base: Place | None, now: datetime
) -> Place | None:
    fresh = seen_at and (now - seen_at).total_seconds() < 1800
    return last if last and (fresh or base is None) else base


def _place(latitude: float | None, longitude: float | None) -> Place | None:
    known = latitude is not None and longitude is not None
    return Place(latitude, longitude) if known else None  # type: ignore[arg-type]


def place_of(site: Site) -> Place:
    """The coordinates of a site."""
    return Place(site.latitude, site.longitude)
