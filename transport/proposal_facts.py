"""What the joint choice of vehicles is told, from rows: journeys that want one, who could go.

Each fact carries a mark made from everything it depends on. What was worked out from the same
marks is not worked out again.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from referrals.calc.rota import Turn, duty_at
from referrals.calc.terms import Capability, Urgency, VehicleKind
from referrals.models import District, Site, Unit
from referrals.reading import assess, babies_on_the_way
from transport.calc.places import Place
from transport.calc.stages import TransferStage
from transport.calc.travel import TravelEstimate, TravelTime, certain
from transport.calc.vehicle_costs import Fixing, Going, Wanted, Ways
from transport.choosing import oxygen_flow, pick_up_place, place_of, whereabouts
from transport.experience import newest_adopted
from transport.models import Closure, CrewShift, Leg, Meeting, Transfer, Vehicle
from transport.models.vehicles import READY_STEPS
from transport.road_table import in_force
from transport.roads import estimator_of, is_dark, is_rainy

STEP_MINUTES = {"escort_home": 30.0, "filled": 15.0, "clean": 15.0}
"""How long each step takes until a vehicle is ready again (common practice, no source)."""
STEP_SIGMA = 0.5
"""Spread of that, in natural-log units (common practice, no source)."""
ANEW_AFTER = timedelta(minutes=15)
"""As often everything is worked out again, whatever has changed: darkness, ferries, minutes since
birth."""
CREW_AHEAD_SHIFTS = 3
"""How many shifts that follow each other without a gap are looked at."""


@dataclass(frozen=True)
class JourneyFacts:
    """A journey that wants a vehicle, where it begins and where care is."""

    transfer: Transfer
    wanted: Wanted
    start: Place
    care: Place | None
    unit: str
    mark: str

    def kept(self) -> dict[str, Any]:
        """What has to be kept to have the same again, while its mark stays."""
        return {"mark": self.mark, "wanted": asdict(self.wanted), "unit": self.unit}


@dataclass(frozen=True)
class VehicleFacts:
    """A vehicle that could go and where it is."""

    vehicle: Vehicle
    going: Going
    place: Place | None
    mark: str


def wanting(district: District) -> list[Transfer]:
    """The journeys of a district that want a vehicle, from the moment of the raise."""
    rows = Transfer.objects.filter(
        referral__district=district, stage=TransferStage.WANTED.value
    ).select_related("referral__district", "referral__origin", "destination__site")
    return list(rows.order_by("pk"))


def journey_facts(transfer: Transfer, kept: Mapping[str, Any], now: datetime) -> JourneyFacts:
    """What counts of one journey; read again only where something about it has changed."""
    referral = transfer.referral
    unit = _unit_in_sight(transfer)
    mark = mark_of(referral.head_seq, transfer.assignment, unit.pk if unit else None, _spell(now))
    care = place_of(unit.site) if unit else None
    if kept.get("mark") == mark:
        told = kept["wanted"]
        wanted = Wanted(**{**told, "urgency": Urgency(told["urgency"])})
    else:
        wanted = _wanted(transfer, unit, now)
    name = str(unit) if unit else ""
    return JourneyFacts(transfer, wanted, pick_up_place(transfer), care, name, mark)


def _wanted(transfer: Transfer, unit: Unit | None, now: datetime) -> Wanted:
    referral = transfer.referral
    urgency = Urgency(referral.urgency)
    return Wanted(
        key=referral.code,
        urgency=urgency,
        babies=max(len(babies_on_the_way(referral)), 1),
        oxygen=(oxygen_flow(referral) or 0.0) > 0.0 or urgency is not Urgency.STABLE,
        mother_unwell=Capability.OBSTETRIC_EMERGENCY_CARE in assess(referral, now).capabilities,
        on_the_roadside=transfer.waits_on_the_road,
        at_water=_at_water(referral.origin) and (unit is None or _at_water(unit.site)),
    )


def _unit_in_sight(transfer: Transfer) -> Unit | None:
    """Where it goes; before an acceptance the best candidate as it was ranked last."""
    if transfer.destination:
        return transfer.destination
    units = Unit.objects.select_related("site")
    ranked = transfer.referral.rankings.order_by("-made_at", "-pk").first()
    candidates = ranked.body.get("candidates", []) if ranked else []
    best = next((each["key"] for each in candidates if each.get("possible")), None)
    if best:
        return units.filter(code=best).first()
    standing = transfer.referral.district.standing_unit_id
    return units.filter(pk=standing).first() if standing else None


def _at_water(site: Site) -> bool:
    return bool(site.land) or site.kind == "landing"


def vehicles_in(district: District, now: datetime) -> list[VehicleFacts]:
    """Every vehicle that is not out of service, those found by phone included."""
    rows = (
        Vehicle.objects.filter(district=district)
        .exclude(state="out_of_service")
        .select_related("base")
        .prefetch_related("cylinders", "crew_shifts")
        .order_by("code")
    )
    live = Transfer.objects.live().filter(vehicle__district=district)
    on = dict(live.values_list("vehicle", "referral__code"))
    meeting = Meeting.objects.standing().filter(vehicle__district=district)
    on |= dict(meeting.values_list("vehicle", "transfer__referral__code"))
    zone = ZoneInfo(district.time_zone)
    return [_vehicle(row, on.get(row.pk, ""), zone, now) for row in rows]


def _vehicle(row: Vehicle, code: str, zone: ZoneInfo, now: datetime) -> VehicleFacts:
    place = whereabouts(row, now)
    until = _crew_until(row.crew_shifts.all(), zone, now)
    missing = [step for step in READY_STEPS if row.steps_done()[step] is None]
    aboard = frozenset(row.capabilities)
    going = Going(
        key=row.code,
        name=row.name,
        kind=VehicleKind(row.kind),
        until_free=_until_free(row, missing),
        busy_with=(code or "?") if row.state == "busy" else "",
        oxygen=any(cylinder.shows > 0 for cylinder in row.cylinders.all()),
        warmth=Capability.THERMAL_CARE.value in aboard,
        fixings=None if row.fixings is None else frozenset(Fixing(each) for each in row.fixings),
        crew_minutes=None if until is None else max((until - now) / timedelta(minutes=1), 0.0),
        range_km=row.range_km,
    )
    marks = (
        row.code, row.name, row.kind, going.until_free.p50, going.busy_with, going.oxygen,
        going.warmth, row.fixings, row.range_km, until, place,
    )  # fmt: skip
    return VehicleFacts(row, going, place, mark_of(*marks))


def _until_free(row: Vehicle, missing: Iterable[str]) -> TravelTime:
    if row.state != "returning":
        return certain(0.0)
    minutes = sum(STEP_MINUTES[step] for step in missing)
    return TravelTime(minutes, STEP_SIGMA)


def _crew_until(shifts: Iterable[CrewShift], zone: ZoneInfo, now: datetime) -> datetime | None:
    """Until when somebody is on duty; now itself when nobody is, None where no hours are kept."""
    turns = [Turn(weekday=row.weekday, starts=row.starts, ends=row.ends) for row in shifts]
    if not turns:
        return None
    until = now
    for _ in range(CREW_AHEAD_SHIFTS):
        span = duty_at(turns, zone, until)
        if span is None:
            break
        until = span.ends
    return until


@dataclass
class Roads:
    """The ways of a district now; each asked for once."""

    district: District
    now: datetime
    mark: str = field(init=False)
    _road: dict[Any, TravelEstimate] = field(default_factory=dict)

    def __post_init__(self) -> None:
        closures = Closure.objects.standing(self.now).filter(district=self.district)
        table = in_force(self.district)
        legs = Leg.objects.running().filter(district=self.district)
        self._estimate = estimator_of(self.district, self.now)
        self._rainy = is_rainy(self.district, self.now)
        self.mark = mark_of(
            sorted(closures.values_list("pk", flat=True)),
            sorted(legs.values_list("pk", "median_minutes", "p90_minutes", "waiting_minutes")),
            table,
            newest_adopted(self.district, table),
            self.district.travel_settings,
            self.district.detour_factor,
            self.district.loading_minutes,
            self._rainy,
            _spell(self.now),
        )

    def ways(self, journey: JourneyFacts, vehicle: VehicleFacts) -> Ways:
        """From where the vehicle is to the baby, and from there to care."""
        kind = vehicle.going.kind
        to_baby = vehicle.place and self._way(vehicle.place, journey.start, kind)
        road = None
        if journey.care:
            key = (journey.start, journey.care, kind)
            if key not in self._road:
                self._road[key] = self._way(journey.start, journey.care, kind)
            road = self._road[key]
        return Ways(
            to_baby=to_baby or None,
            road=road,
            loading_minutes=self.district.loading_minutes,
        )

    def _way(self, start: Place, goal: Place, kind: VehicleKind) -> TravelEstimate:
        dark = is_dark(start, self.now)
        return self._estimate(start, goal, vehicle=kind, rainy=self._rainy, dark=dark)


def _spell(now: datetime) -> int:
    """A number that changes every ``ANEW_AFTER``."""
    return int(now.timestamp() // ANEW_AFTER.total_seconds())


def mark_of(*facts: object) -> str:
    """A short mark that is the same as long as every fact is."""
    told = json.dumps(facts, default=str, sort_keys=True)
    return hashlib.blake2b(told.encode(), digest_size=8).hexdigest()
