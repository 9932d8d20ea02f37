"""When the vehicle will arrive, from the estimate made before and the positions on the way.

Positions come late, twice, out of order and wrong; whatever their order, the same set of them gives
the same window. Arrival is suggested here and decided by people.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Protocol

from transport.calc.pace import Pace
from transport.calc.places import Place, haversine_km
from transport.calc.track import (
    ArrivalSettings,
    Fix,
    Standstill,
    WayOff,
    believable,
    standstill,
    way_off,
)
from transport.calc.travel import geodesic_km
from transport.calc.travel_time import TravelTime

PRIOR_ONLY = "prior_only"
POSITIONS_AND_PRIOR = "positions_and_prior"

DETOUR = 1.4
"""Road km / straight km of a whole way: the default of ``TravelSettings``, sources there."""

SURPRISE_MINUTES = 3.0
"""What one position may move the likely arrival by, over what the time since the last explains."""

STRAIGHT_SHARE = 0.1
"""Share of the way at which half of the detour is left; fitted to invented winding roads."""


class WayLeft(Protocol):
    """How much of the way to the destination is left from each of some places.

    In km or in expected minutes: only its share of the whole is used. ``by_line`` is one; what
    knows the roads is better where they wind. It may have no answer for a place off its roads.
    """

    def __call__(self, places: Sequence[Place], /) -> Sequence[float | None]:
        """One answer for each place: not negative, 0 at the destination."""


def by_line(origin: Place, destination: Place) -> WayLeft:
    """The way left where no road is known, km, from straight lines to both ends.

    A road that winds leads away and comes back, so the line to the destination alone shows too
    much left, and its share of the lines to both ends too little where the vehicle goes astray:
    the geometric mean of the two counts. A short end of a road is straighter than the whole, so
    its detour falls from ``DETOUR`` to 1. Measured along real roads, the error at the middle is a
    third less than that of the line alone (``tests/benchmarks/arrival.py``).
    """
    whole = geodesic_km(origin, destination)

    def left(place: Place) -> float:
        ahead = haversine_km(place, destination)
        both = haversine_km(place, origin) + ahead
        if both <= 0.0:
            return 0.0
        line = ahead * math.sqrt(whole / both)
        return line * (1.0 + (DETOUR - 1.0) * line / (line + STRAIGHT_SHARE * whole))

    return lambda places: [left(place) for place in places]


@dataclass(frozen=True, slots=True)
class ArrivalWindow:
    """Arrival between ``p10`` and ``p90``, most likely by ``p50``; none of them before now.

    ``slip_minutes`` is how much later than first estimated the median now is (negative: earlier).
    ``remaining_km`` is the straight line left. ``suggestion_arrived`` only asks a person.
    ``standing`` is the spot where the vehicle was last, for however short; ``off`` is a way that
    no road to the destination leads.
    """

    p10: datetime
    p50: datetime
    p90: datetime
    method: str
    last_fix_at: datetime | None
    remaining_km: float
    suggestion_arrived: bool
    standing: Standstill | None
    silent_minutes: float
    silent: bool
    off: WayOff | None
    slip_minutes: float


def arrival_window(
    *,
    departed_at: datetime,
    prior: TravelTime,
    origin: Place,
    destination: Place,
    fixes: Iterable[Fix],
    now: datetime,
    settings: ArrivalSettings,
    heading_since: datetime | None = None,
    way_left: WayLeft | None = None,
) -> ArrivalWindow:
    """The arrival window at ``now``.

    Without a believable position: the prior, given that the vehicle has not arrived by now. With
    positions: what is left of the way (``way_left``, else ``by_line``), at the pace that
    this journey has shown (``calc/pace.py``), so the window narrows on the way. ``prior`` is the
    estimate at departure, all minutes from then. ``heading_since`` is when this destination was
    told: what was driven before went elsewhere.
    """
    track = believable(fixes, origin=origin, departed_at=departed_at, now=now, settings=settings)
    pace = Pace.of(prior, local_sigma=settings.local_sigma, local_minutes=settings.local_minutes)
    latest = [(fix.place, _minutes(fix.at - departed_at)) for fix in track[-3:]]
    sights = _sights(pace, origin, latest, way_left, winding=0.0) if way_left else []
    if not sights:
        lines = by_line(origin, destination)
        sights = _sights(pace, origin, latest, lines, winding=settings.winding_sigma)
    if sights:
        method = POSITIONS_AND_PRIOR
        sight = _counted(sights)
        counted_from, rest = departed_at + timedelta(minutes=sight.driven), sight.rest
    else:
        method, counted_from, rest = PRIOR_ONLY, departed_at, prior
    p10, p50, p90 = (_instant(rest, p, counted_from, now) for p in (0.1, 0.5, 0.9))
    last_fix_at = track[-1].at if track else None
    silence = silent_minutes(last_fix_at=last_fix_at, departed_at=departed_at, now=now)
    return ArrivalWindow(
        p10=p10,
        p50=p50,
        p90=p90,
        method=method,
        last_fix_at=last_fix_at,
        remaining_km=geodesic_km(track[-1].place if track else origin, destination),
        suggestion_arrived=bool(track) and _is_at(track[-1], destination, settings),
        standing=standstill(track, settings),
        silent_minutes=silence,
        silent=silence > settings.silent_after_minutes,
        off=_off(track, origin, destination, heading_since or departed_at, settings),
        slip_minutes=_minutes(p50 - departed_at) - prior.p50,
    )


def _off(
    track: Sequence[Fix],
    origin: Place,
    destination: Place,
    heading_since: datetime,
    settings: ArrivalSettings,
) -> WayOff | None:
    before = [fix.place for fix in track if fix.at <= heading_since]
    return way_off(
        track[len(before) :],
        origin=before[-1] if before else origin,
        destination=destination,
        settings=settings,
    )


def silent_minutes(*, last_fix_at: datetime | None, departed_at: datetime, now: datetime) -> float:
    """Minutes since the vehicle was last heard, or since it left if never; never negative."""
    heard_at = departed_at if last_fix_at is None else max(last_fix_at, departed_at)
    return max(0.0, _minutes(now - heard_at))


@dataclass(frozen=True, slots=True)
class _Sight:
    """What one position shows: minutes driven until then, and the share of the way left."""

    pace: Pace
    driven: float
    share_left: float
    winding: float

    @property
    def rest(self) -> TravelTime:
        """The rest of the way from there."""
        return self.pace.rest(self.share_left, self.driven, winding_sigma=self.winding)

    @property
    def likely(self) -> float:
        """The arrival, minutes after departure."""
        return self.driven + self.rest.p50

    def led_to_expect(self, later: "_Sight") -> bool:
        """Whether a later one lies between standing still since, and twice as far."""
        stood = replace(self, driven=later.driven)
        slack = stood.likely - self.likely + SURPRISE_MINUTES
        return abs(later.likely - self.likely) <= slack


def _sights(
    pace: Pace,
    origin: Place,
    latest: Sequence[tuple[Place, float]],
    way_left: WayLeft,
    *,
    winding: float,
) -> list[_Sight]:
    """What the last positions show; without those for which the way left is not known."""
    whole, *left = way_left([origin, *(place for place, _driven in latest)])
    if not whole:
        return []
    return [
        _Sight(pace, driven, each / whole, winding)
        for (_place, driven), each in zip(latest, left, strict=True)
        if each is not None
    ]


def _counted(latest: Sequence[_Sight]) -> _Sight:
    """What counts of the last three positions, oldest first.

    The newest counts at once where it is no surprise. A surprise counts when the next position
    bears it out: until then, what stands in the middle, so that one wrong position moves little.
    """
    if len(latest) < 3 or latest[-2].led_to_expect(latest[-1]):
        return latest[-1]
    return sorted(latest, key=lambda sight: sight.likely)[1]


def _instant(
    rest: TravelTime, probability: float, counted_from: datetime, now: datetime
) -> datetime:
    """A quantile of the arrival, given that at ``now`` the vehicle has not arrived."""
    passed = max(0.0, _minutes(now - counted_from))
    minutes = rest.quantile_after(probability, passed)
    return max(now, counted_from + timedelta(minutes=minutes))


def _is_at(fix: Fix, destination: Place, settings: ArrivalSettings) -> bool:
    """Whether the vehicle seems to be there; a position vaguer than the radius says nothing."""
    if (fix.accuracy_m or 0.0) > settings.arrived_within_m:
        return False
    return geodesic_km(fix.place, destination) * 1000 <= settings.arrived_within_m


def _minutes(duration: timedelta) -> float:
    return duration / timedelta(minutes=1)
