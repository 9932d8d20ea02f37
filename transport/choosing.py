"""From rows to the ranking of units and back; what was shown is kept."""

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache, partial
from typing import Any, NamedTuple

from django.db.models import BooleanField, ExpressionWrapper, Q, TextField
from django.db.models.functions import Cast

from referrals.calc.states import OfferStage
from referrals.calc.terms import Capability, VehicleKind
from referrals.models import District, Referral, Site, Unit
from referrals.ports import Suggestion
from referrals.reading import assess, babies_on_the_way, known_facts
from transport.calc import ranking as ranks
from transport.calc.closures import closures_of
from transport.calc.oxygen import Cylinder as Bottle
from transport.calc.oxygen import metric_cylinder, us_cylinder
from transport.calc.places import haversine_from
from transport.calc.plans import MeetingPlace, PlanSettings, plans_for
from transport.calc.ranking_rules import can_take, missing_preferences
from transport.calc.stages import TransferStage
from transport.calc.travel import (
    Place,
    TravelEstimate,
)
from transport.models import Cylinder, Ranking, Transfer, Vehicle
from transport.models.transfers import ABOARD
from transport.roads import estimator_of, is_dark, is_rainy, reserve_of

MINUTES_UNTIL_BACK = 90.0
"""Assumed until a vehicle on a journey is free again; common practice, no source."""


def ranking_for(referral: Referral, now: datetime) -> ranks.Ranking:
    """Every unit in reach as a candidate, with reasons, as things stand now."""
    live = referral.transfers.live().select_related("vehicle__base").first()
    sent = live if live and live.vehicle else None
    carrying = sent if sent and sent.stage == TransferStage.ON_THE_ROAD.value else None
    origin = _where_the_baby_is(referral, carrying)
    asking = ranks.Asking(
        origin=origin,
        babies=max(len(babies_on_the_way(referral)), 1),
        needs=assess(referral, now),
        flow_l_min=oxygen_flow(referral),
        loading_minutes=0.0 if carrying else referral.district.loading_minutes,
        now_dark=is_dark(origin, now),
        rainy=is_rainy(referral.district, now),
        cylinders=tuple(bottles(Cylinder.objects.filter(site=referral.origin, vehicle=None))),
    )
    settings = ranks.RankingSettings(
        bedside_minutes=referral.district.bedside_minutes, reserve=reserve_of(referral.district)
    )
    units = _units_in_sight(referral, asking, settings)
    around = vehicle_facts(referral.district, now)
    own = _sent_facts(sent, referral, now) if sent else []
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
    )


def _where_the_baby_is(referral: Referral, carrying: Transfer | None) -> Place:
    newest = last_place(carrying) if carrying else None
    if newest:
        return newest
    live = referral.transfers.live().first()
    return pick_up_place(live) if live else place_of(referral.origin)


def last_place(transfer: Transfer) -> Place | None:
    """Where the newest position of a journey was."""
    newest = transfer.positions.order_by("-recorded_at").first()
    return Place(newest.latitude, newest.longitude) if newest else None


def pick_up_place(transfer: Transfer) -> Place:
    """Where a vehicle finds mother and baby: at the post, or where the last one left them.

    Where that is not known, the post stands for it, as the place they set out from.
    """
    if transfer.waits_latitude is not None and transfer.waits_longitude is not None:
        return Place(transfer.waits_latitude, transfer.waits_longitude)
    return place_of(transfer.referral.origin)


def _sent_facts(sent: Transfer, referral: Referral, now: datetime) -> list[ranks.VehicleFacts]:
    """The vehicle that was sent: no other one counts for this referral, wherever it is."""
    vehicle = sent.vehicle
    if vehicle is None:
        return []
    with_baby = sent.stage in (TransferStage.AT_ORIGIN.value, *ABOARD)
    carrying = sent if sent.stage == TransferStage.ON_THE_ROAD.value else None
    place = _where_the_baby_is(referral, carrying) if with_baby else whereabouts(vehicle, now)
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


def _meeting_places(district: District) -> list[MeetingPlace]:
    """Every known site of the district on land."""
    return [
        MeetingPlace(site.code, site.name, place_of(site))
        for site in district.sites.exclude(kind="landing").order_by("code")
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
        Suggestion(units[candidate.key], candidate.as_dict() | {"ranking": kept.pk})
        for candidate in chosen
    ]


@dataclass(frozen=True)
class _InSight:
    """The units near enough to be worked out, and how many others can take the babies or not."""

    facts: list[ranks.UnitFacts]
    possible_left_out: int
    impossible_left_out: int


def _units_in_sight(
    referral: Referral, asking: ranks.Asking, settings: ranks.RankingSettings
) -> _InSight:
    """The units that the ranking would pick by itself, in two queries.

    Facts are made of these alone: of ten thousand units all but some thirty are only counted.
    """
    rows = list(_unit_rows(referral.district))
    known = _Known(asking, _asked_already(referral), referral.district.standing_unit_id)
    able: list[_UnitRow] = []
    unable: list[_UnitRow] = []
    for row in rows:
        (able if known.can_take(row) else unable).append(row)
    near_able = known.nearest(able, settings.possible_limit)
    near_unable = known.nearest(unable, settings.impossible_limit)
    return _InSight(
        [known.facts(row) for row in near_able + near_unable],
        len(able) - len(near_able),
        len(unable) - len(near_unable),
    )


class _UnitRow(NamedTuple):
    pk: int
    code: str
    name: str
    site: str
    latitude: float
    longitude: float
    care: str
    cots_free: int
    reported: bool
    is_open: bool


def _unit_rows(district: District) -> Iterator[_UnitRow]:
    # Capabilities stay text until they are looked at: few units differ in them.
    rows = Unit.objects.filter(site__district=district).values_list(
        "pk", "code", "name", "site__name", "site__latitude", "site__longitude",
        Cast("capabilities", TextField()), "cots_free",
        ExpressionWrapper(Q(cots_reported_at__isnull=False), BooleanField()), "is_open",
    )  # fmt: skip
    return map(_UnitRow._make, rows)


@dataclass
class _Known:
    """What the ranking asks of a unit; units alike in care, cots and opening are asked once."""

    asking: ranks.Asking
    already: dict[int, str]
    standing: int | None
    takes: dict[tuple[Any, ...], bool] = field(default_factory=dict)
    lacks: dict[str, int] = field(default_factory=dict)

    def can_take(self, row: _UnitRow) -> bool:
        """Whether every gate holds."""
        alike = (row.care, row.cots_free, row.reported, row.is_open, self.already.get(row.pk))
        if alike not in self.takes:
            self.takes[alike] = can_take(self.asking, self.facts(row))
        return self.takes[alike]

    def nearest(self, rows: list[_UnitRow], limit: int) -> list[_UnitRow]:
        """The rows that the ranking would work out of these."""
        far = haversine_from(self.asking.origin)
        for row in rows:
            if row.care not in self.lacks:
                self.lacks[row.care] = missing_preferences(self.asking, self.facts(row))
        chosen = ranks.finalists(
            [(self.lacks[row.care], far(row.latitude, row.longitude)) for row in rows],
            [i for i, row in enumerate(rows) if row.pk in self.already or row.pk == self.standing],
            limit,
        )
        return [rows[i] for i in chosen]

    def facts(self, row: _UnitRow) -> ranks.UnitFacts:
        """A unit as the ranking sees it."""
        return ranks.UnitFacts(
            key=row.code,
            name=f"{row.name}, {row.site}",
            place=Place(row.latitude, row.longitude),
            capabilities=_care(row.care),
            cots_free=row.cots_free if row.reported else None,
            open=bool(row.is_open),
            already=self.already.get(row.pk),
            is_default=row.pk == self.standing,
        )


def _asked_already(referral: Referral) -> dict[int, str]:
    """What became of the newest question to each unit."""
    return {
        unit: f"declined: {reason.replace('_', ' ')}" if stage == "declined" else stage
        for unit, stage, reason in referral.offers.order_by("asked_at").values_list(
            "unit_id", "stage", "decline_reason"
        )
    }


@lru_cache(maxsize=1024)
def _care(text: str) -> frozenset[Capability]:
    return frozenset(Capability(each) for each in json.loads(text))


def vehicle_facts(district: District, now: datetime) -> list[ranks.VehicleFacts]:
    """The vehicles that can be sent, now or when they are back, in two queries."""
    vehicles = (
        Vehicle.objects.filter(district=district)
        .exclude(state="out_of_service")
        .select_related("base")
        .only("code", "name", "kind", "state", "capabilities", "latitude", "longitude", "seen_at",
              "base__latitude", "base__longitude")
    )  # fmt: skip
    carried: dict[int | None, list[Cylinder]] = defaultdict(list)
    for cylinder in Cylinder.objects.filter(vehicle__district=district).order_by("pk"):
        carried[cylinder.vehicle_id].append(cylinder)
    return [
        ranks.VehicleFacts(
            key=vehicle.code,
            name=vehicle.name,
            kind=VehicleKind(vehicle.kind),
            place=whereabouts(vehicle, now),
            minutes_until_free=0.0 if vehicle.state == "free" else MINUTES_UNTIL_BACK,
            capabilities=frozenset(Capability(each) for each in vehicle.capabilities),
            cylinders=tuple(bottles(carried[vehicle.pk])),
        )
        for vehicle in vehicles
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
        yield "no room to ventilate on a motorcycle"
    if kind is VehicleKind.BOAT:
        yield "needs a landing at both ends"
    if needs_oxygen and not vehicle.cylinders.all():
        yield "no oxygen cylinder written down"
    if vehicle.base is None and vehicle.latitude is None:
        yield "where it is now is not known"


def whereabouts(vehicle: Vehicle, now: datetime) -> Place | None:
    """Where a vehicle is: its last position if that is fresh, else its base."""
    fresh = vehicle.seen_at and (now - vehicle.seen_at).total_seconds() < 1800
    if fresh and vehicle.latitude is not None and vehicle.longitude is not None:
        return Place(vehicle.latitude, vehicle.longitude)
    return place_of(vehicle.base) if vehicle.base else None


def place_of(site: Site) -> Place:
    """The coordinates of a site."""
    return Place(site.latitude, site.longitude)


def bottles(cylinders: Iterable[Cylinder]) -> list[Bottle]:
    """Cylinders as the oxygen computation sees them."""
    return [
        us_cylinder(row.us_size, row.psi or 0.0)
        if row.us_size
        else metric_cylinder(row.water_litres or 0.0, row.bar or 0.0, row.label)
        for row in cylinders
    ]


def oxygen_flow(referral: Referral) -> float | None:
    """The oxygen of all babies together, L/min; nothing when no flow was told for any."""
    flows = []
    for baby in babies_on_the_way(referral):
        facts = known_facts(baby.observations.all())
        if "oxygen_flow_l_min" in facts:
            flows.append(float(facts["oxygen_flow_l_min"][0]))
    return sum(flows) if flows else None


def carried_bottles(transfer: Transfer) -> list[Bottle]:
    """The oxygen that travels: the vehicle's cylinders, and the post's until it has left."""
    if transfer.vehicle is None:
        return []
    return bottles(transfer.vehicle.cylinders.order_by("label"))
