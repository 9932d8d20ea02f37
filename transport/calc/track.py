"""The way of a vehicle as its positions tell it, and what they show of trouble on the way.

Positions come late, twice, out of order and wrong; whatever their order, the same set of them says
the same. Signs here only ask a person: nobody is told to hurry or to turn round.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from transport.calc.places import Place, haversine_km

SPOT_OF = 5
"""How many positions say where a spot is; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Fix:
    """A position of the vehicle: when (corrected device time), where, and how sure, metres."""

    at: datetime
    place: Place
    accuracy_m: float | None = None


@dataclass(frozen=True)
class ArrivalSettings:
    """Fixed numbers of the first version; all common practice, no source. Refuses nonsense.

    - ``arrived_within_m``: arrival is suggested inside this distance of the destination.
    - ``standing_within_m``: positions closer together than this are the same standstill.
    - ``worst_accuracy_m``, ``fastest_km_h``: what is worse or faster is not believed.
    - ``off_corridor_ratio``, ``off_corridor_km``: off the corridor when the way through the
      position is longer than the straight line by the ratio and by the kilometres.
    - ``receding_km``: so much farther from the destination than before is driving away from it;
      a road in the hills leads away too, but hardly so far. On the corridor it takes
      ``corridor_factor`` times as much: most roads that lead away lead aside, and a vehicle that
      turns round on its own road is on the corridor.
    - ``local_sigma``, ``local_minutes``: how much the pace of a short stretch differs from that of
      the journey (log units), and how long such a stretch is; see ``calc/pace.py``.
    - ``winding_sigma``: how wrong the share of the way can be where only straight lines are known.
    - ``silent_after_minutes``: no position for longer than this is silence.
    """

    arrived_within_m: float = 300.0
    standing_within_m: float = 150.0
    worst_accuracy_m: float = 2000.0
    fastest_km_h: float = 150.0
    off_corridor_ratio: float = 1.1
    off_corridor_km: float = 3.0
    receding_km: float = 5.0
    corridor_factor: float = 2.0
    local_sigma: float = 0.5
    local_minutes: float = 10.0
    winding_sigma: float = 0.3
    silent_after_minutes: float = 10.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 < value < math.inf:
                raise ValueError(f"{name} must be above 0, not {value}")


@dataclass(frozen=True, slots=True)
class Standstill:
    """One spot that the last positions have not left: seen at both ends, not guessed in a gap."""

    since: datetime
    until: datetime
    place: Place

    @property
    def minutes(self) -> float:
        """From the first position at the spot to the last."""
        return (self.until - self.since) / timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class WayOff:
    """Away from the destination, straight km: what is left now, and the least before.

    ``since`` is when the vehicle was nearest to the destination.
    """

    since: datetime
    km_left: float
    nearest_km: float


def believable(
    fixes: Iterable[Fix],
    *,
    origin: Place,
    departed_at: datetime,
    now: datetime,
    settings: ArrivalSettings,
) -> list[Fix]:
    """The positions to count, by time: one an instant, from departure to now, no impossible leap.

    Of several at one instant the most accurate stays. A position is dropped when none of its
    neighbours in time could be reached from it at ``fastest_km_h``: the one before and the one
    after, at the end of the track the two before. The origin at departure counts as the first.
    """
    at_instant: dict[datetime, Fix] = {}
    for fix in sorted(fixes, key=_most_accurate_last):
        if departed_at <= fix.at <= now and (fix.accuracy_m or 0.0) <= settings.worst_accuracy_m:
            at_instant[fix.at] = fix
    track = [Fix(departed_at, origin), *(at_instant[at] for at in sorted(at_instant))]
    return [track[i] for i in range(1, len(track)) if not _is_leap(track, i, settings)]


def standstill(track: Sequence[Fix], settings: ArrivalSettings) -> Standstill | None:
    """Where the vehicle stands at the end of a track, and for how long it has been seen there.

    A spot is where most of its first few positions were, so that the one from which the vehicle
    rolled to a stop does not decide. It is left when two positions in a row lie farther from it
    than ``standing_within_m`` and the accuracy of both; a single one beyond may be noise. Creeping
    leaves a spot in the end.
    """
    spot: list[Fix] = []
    middle: Fix | None = None
    last_there: Fix | None = None
    away: Fix | None = None
    for fix in track:
        if middle is not None and _has_left(middle, fix, settings):
            if away is None:
                away = fix
                continue
            # The second in a row: a new spot begins with the first, if both are of one.
            spot, middle, last_there = [away], away, away
            if _has_left(middle, fix, settings):
                away = fix
                continue
        last_there, away = fix, None
        if len(spot) < SPOT_OF:
            spot.append(fix)
            middle = _middle(spot)
    if middle is None or last_there is None:
        return None
    return Standstill(spot[0].at, last_there.at, middle.place)


def _middle(spot: Sequence[Fix]) -> Fix:
    """The position that is nearest to all of them."""
    return min(spot, key=lambda one: sum(haversine_km(one.place, each.place) for each in spot))


def way_off(
    track: Sequence[Fix], *, origin: Place, destination: Place, settings: ArrivalSettings
) -> WayOff | None:
    """Whether the track ends farther off than any plausible road leads; folded over all of it.

    It begins when a position is off the corridor and ``receding_km`` (and its own accuracy)
    farther from the destination than the vehicle has been, or ``corridor_factor`` times as much
    on the corridor. It is over when the vehicle is on the corridor again within that limit, or
    half of ``receding_km`` nearer than it has been since: the long way round leads there.
    """
    nearest = now_km = haversine_km(origin, destination)
    nearest_at: datetime | None = None
    farthest: float | None = None
    for fix in track:
        now_km = haversine_km(fix.place, destination)
        outside = _is_off_corridor(fix.place, origin, destination, settings)
        limit = settings.receding_km * (1.0 if outside else settings.corridor_factor)
        if farthest is not None:
            farthest = max(farthest, now_km)
            back = not outside and now_km - nearest < limit
            if back or now_km <= farthest - settings.receding_km / 2:
                farthest, nearest, nearest_at = None, now_km, fix.at
        elif now_km - nearest >= limit + (fix.accuracy_m or 0.0) / 1000:
            farthest = now_km
        elif now_km < nearest or nearest_at is None:
            nearest, nearest_at = min(nearest, now_km), fix.at
    if farthest is None:
        return None
    return WayOff(nearest_at or track[0].at, now_km, nearest)


def _most_accurate_last(fix: Fix) -> tuple[float, float, float]:
    accuracy = math.inf if fix.accuracy_m is None else fix.accuracy_m
    return -accuracy, fix.place.latitude, fix.place.longitude


def _is_leap(track: Sequence[Fix], i: int, settings: ArrivalSettings) -> bool:
    """Whether no neighbour of the i-th position (i >= 1) could be reached from it."""
    is_last = i == len(track) - 1
    neighbours = track[max(0, i - 2) : i] if is_last else [track[i - 1], track[i + 1]]
    return all(_too_fast(track[i], other, settings) for other in neighbours)


def _too_fast(first: Fix, second: Fix, settings: ArrivalSettings) -> bool:
    """Whether the leap exceeds the fastest speed, both positions being off by their accuracy."""
    slack_km = ((first.accuracy_m or 0.0) + (second.accuracy_m or 0.0) + 100.0) / 1000
    hours = abs(second.at - first.at) / timedelta(hours=1)
    return haversine_km(first.place, second.place) > settings.fastest_km_h * hours + slack_km


def _has_left(anchor: Fix, fix: Fix, settings: ArrivalSettings) -> bool:
    noise_m = (anchor.accuracy_m or 0.0) + (fix.accuracy_m or 0.0)
    return haversine_km(anchor.place, fix.place) * 1000 > settings.standing_within_m + noise_m


def _is_off_corridor(
    place: Place, origin: Place, destination: Place, settings: ArrivalSettings
) -> bool:
    direct_km = haversine_km(origin, destination)
    through_km = haversine_km(origin, place) + haversine_km(place, destination)
    beyond_ratio = through_km > direct_km * settings.off_corridor_ratio
    return beyond_ratio and through_km > direct_km + settings.off_corridor_km
