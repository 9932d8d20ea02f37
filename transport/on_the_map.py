"""What stands on the desk's map: places, vehicles and journeys as they are known now.

A position is shown with its age, and a place that nobody told is said to be assumed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from referrals.models import District, Site, Unit
from transport.calc.map_drawing import quarter
from transport.calc.places import Place, haversine_km
from transport.choosing import last_place, pick_up_place, place_of
from transport.estimating import Window, projected_arrival
from transport.models import Closure, Transfer, Vehicle
from transport.models.transfers import ABOARD

AT_A_PLACE_KM = 0.5
"""A vehicle this near to a known place is said to be at it; common practice, no source."""
POSTS = ("health_post", "health_centre")


@dataclass(frozen=True)
class Near:
    """Where something is, in relation to the nearest known place."""

    site: Site
    km: float
    quarter: str

    @property
    def is_there(self) -> bool:
        """Whether it is at the place itself."""
        return self.km <= AT_A_PLACE_KM


@dataclass(frozen=True)
class PlaceSeen:
    """A place of the district, and what kind of symbol it has."""

    site: Site
    place: Place
    kind: str
    units: tuple[Unit, ...]


@dataclass(frozen=True)
class VehicleSeen:
    """A vehicle. ``told_at`` is empty where its base stands for a position that nobody told."""

    vehicle: Vehicle
    place: Place | None
    told_at: datetime | None
    near: Near | None
    journey: Transfer | None
    is_silent: bool


@dataclass(frozen=True)
class JourneySeen:
    """An open journey: where mother and baby are, the way come so far, and what is planned."""

    transfer: Transfer
    baby: Place
    near: Near | None
    is_aboard: bool
    trail: tuple[Place, ...]
    planned: tuple[Place, ...]
    window: Window | None


@dataclass(frozen=True)
class ClosureSeen:
    """Something reported closed: at a point with a radius, or the road between two sites."""

    closure: Closure
    ends: tuple[Place, ...]
    radius_km: float


@dataclass(frozen=True)
class Seen:
    """Everything on the map of one district; a crossing is a name and its two ends."""

    places: list[PlaceSeen]
    vehicles: list[VehicleSeen]
    journeys: list[JourneySeen]
    closures: list[ClosureSeen]
    crossings: list[tuple[str, Place, Place]]


def seen_now(district: District, now: datetime) -> Seen:
    """Everything that is known now."""
    places = _places(district)
    sites = [each.site for each in places]
    rows = (
        Transfer.objects.live()
        .filter(referral__district=district)
        .select_related(
            "referral__district", "referral__origin", "vehicle__base", "destination__site"
        )
        .order_by("wanted_at", "pk")
    )
    journeys = list(rows)
    return Seen(
        places,
        _vehicles(district, journeys, sites, now),
        [_journey(transfer, sites, now) for transfer in journeys],
        [_closure(row) for row in _standing(district, now)],
        _crossings(district),
    )


def nearest(place: Place, sites: Iterable[Site]) -> Near | None:
    """The nearest known place, how far it is, and toward which side of it one is."""
    distances = ((haversine_km(place_of(site), place), site.pk, site) for site in sites)
    found = min(distances, default=None)
    if found is None:
        return None
    km, _, site = found
    return Near(site, km, quarter(place_of(site), place))


def _places(district: District) -> list[PlaceSeen]:
    sites = district.sites.prefetch_related("units").order_by("name")
    seen = []
    for site in sites:
        units = tuple(site.units.all())
        kind = "other"
        if units:
            kind = "unit" if any(unit.is_open for unit in units) else "unit_closed"
        elif site.kind in POSTS:
            kind = "post"
        elif site.kind == "landing":
            kind = "landing"
        seen.append(PlaceSeen(site, place_of(site), kind, units))
    return seen


def _vehicles(
    district: District, journeys: list[Transfer], sites: list[Site], now: datetime
) -> list[VehicleSeen]:
    on_journey = {transfer.vehicle_id: transfer for transfer in journeys if transfer.vehicle_id}
    patience = timedelta(minutes=district.silence_minutes)
    seen = []
    for vehicle in district.vehicles.select_related("base", "driver").order_by("code"):
        place, told_at = _told_place(vehicle), vehicle.seen_at
        if place is None:
            told_at = None
            place = place_of(vehicle.base) if vehicle.base else None
        journey = on_journey.get(vehicle.pk)
        silent = journey is not None and (told_at is None or told_at + patience < now)
        near = nearest(place, sites) if place else None
        seen.append(VehicleSeen(vehicle, place, told_at, near, journey, silent))
    return seen


def _told_place(vehicle: Vehicle) -> Place | None:
    if vehicle.latitude is None or vehicle.longitude is None or vehicle.seen_at is None:
        return None
    return Place(vehicle.latitude, vehicle.longitude)


def _journey(transfer: Transfer, sites: list[Site], now: datetime) -> JourneySeen:
    aboard = transfer.stage in ABOARD
    trail = _trail(transfer)
    boards = pick_up_place(transfer)
    baby = (last_place(transfer) or boards) if aboard else boards
    planned = [baby]
    if not aboard and trail:
        planned = [trail[-1], boards]
    if transfer.destination:
        planned.append(place_of(transfer.destination.site))
    return JourneySeen(
        transfer=transfer,
        baby=baby,
        near=nearest(baby, sites),
        is_aboard=aboard,
        trail=trail,
        planned=tuple(planned) if len(planned) > 1 else (),
        window=projected_arrival(transfer, now),
    )


def _trail(transfer: Transfer) -> tuple[Place, ...]:
    """Where the vehicle sent now has been since it was sent."""
    if transfer.vehicle is None or transfer.assigned_at is None:
        return ()
    rows = transfer.track().filter(recorded_at__gte=transfer.assigned_at).order_by("recorded_at")
    return tuple(Place(*at) for at in rows.values_list("latitude", "longitude"))


def _crossings(district: District) -> list[tuple[str, Place, Place]]:
    """Ferries and boats that run, each way between two landings once."""
    found: dict[frozenset[int], tuple[str, Place, Place]] = {}
    for leg in district.legs.running().select_related("origin", "destination"):
        ends = frozenset((leg.origin_id, leg.destination_id))
        found.setdefault(ends, (leg.name, place_of(leg.origin), place_of(leg.destination)))
    return list(found.values())


def _standing(district: District, now: datetime) -> Iterable[Closure]:
    rows = Closure.objects.standing(now).filter(district=district)
    return rows.select_related("one_end", "other_end")


def _closure(row: Closure) -> ClosureSeen:
    ends = tuple(place_of(site) for site in (row.one_end, row.other_end) if site)
    if row.latitude is not None and row.longitude is not None:
        ends = (Place(row.latitude, row.longitude),)
    return ClosureSeen(row, ends, row.radius_km)
