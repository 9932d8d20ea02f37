"""When the vehicle will arrive, from the estimate made before and the positions on the way.

Positions come late, twice, out of order and wrong; whatever their order, the same set of them gives
the same window. Arrival is suggested here and decided by people.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from transport.calc.places import Place, haversine_km
from transport.calc.travel import geodesic_km
from transport.calc.travel_time import TravelTime

PRIOR_ONLY = "prior_only"
POSITIONS_AND_PRIOR = "positions_and_prior"


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
    - ``pace_share``: share of the way after which observed pace weighs as much as the prior.
    - ``least_sigma``: spread of the rest of the way that no observation takes away.
    - ``silent_after_minutes``: no position for longer than this is silence.
    """

    arrived_within_m: float = 300.0
    standing_within_m: float = 150.0
    worst_accuracy_m: float = 2000.0
    fastest_km_h: float = 150.0
    off_corridor_ratio: float = 1.5
    off_corridor_km: float = 3.0
    pace_share: float = 0.25
    least_sigma: float = 0.15
    silent_after_minutes: float = 10.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0.0 < value < math.inf:
                raise ValueError(f"{name} must be above 0, not {value}")


@dataclass(frozen=True, slots=True)
class ArrivalWindow:
    """Arrival between ``p10`` and ``p90``, most likely by ``p50``; none of them before now.

    ``slip_minutes`` is how much later than first estimated the median now is (negative: earlier).
    ``remaining_km`` is the straight line left. ``suggestion_arrived`` only asks a person.
    """

    p10: datetime
    p50: datetime
    p90: datetime
    method: str
    last_fix_at: datetime | None
    remaining_km: float
    suggestion_arrived: bool
    standing_still_minutes: float
    silent_minutes: float
    silent: bool
    off_corridor: bool
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
) -> ArrivalWindow:
    """The arrival window at ``now``.

    Without a believable position: the prior, given that the vehicle has not arrived by now. With
    positions: the time of the whole way is the prior updated by the observed pace (log-normal with
    known variance, conjugate normal update on the logarithm: Gelman A et al., Bayesian Data
    Analysis, 3rd ed., section 2.5), and the rest of it is in proportion to the straight line left,
    so the window narrows on the way. ``prior`` is the estimate at departure, all minutes from then.
    """
    track = believable(fixes, origin=origin, departed_at=departed_at, now=now, settings=settings)
    whole_km = geodesic_km(origin, destination)
    remaining_km = geodesic_km(track[-1].place, destination) if track else whole_km
    if track and whole_km > 0.0:
        method = POSITIONS_AND_PRIOR
        counted_from = track[-1].at
        rest = _rest_of_way(prior, remaining_km / whole_km, counted_from - departed_at, settings)
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
        remaining_km=remaining_km,
        suggestion_arrived=bool(track) and _is_at(track[-1], destination, settings),
        standing_still_minutes=_standing_still_minutes(track, settings),
        silent_minutes=silence,
        silent=silence > settings.silent_after_minutes,
        off_corridor=bool(track)
        and _is_off_corridor(track[-1].place, origin, destination, settings),
        slip_minutes=_minutes(p50 - departed_at) - prior.p50,
    )


def silent_minutes(*, last_fix_at: datetime | None, departed_at: datetime, now: datetime) -> float:
    """Minutes since the vehicle was last heard, or since it left if never; never negative."""
    heard_at = departed_at if last_fix_at is None else max(last_fix_at, departed_at)
    return max(0.0, _minutes(now - heard_at))


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


def _rest_of_way(
    prior: TravelTime, share_left: float, elapsed: timedelta, settings: ArrivalSettings
) -> TravelTime:
    """Time from the last position on: posterior of the whole way x the share of it that is left."""
    share_done = 1.0 - share_left
    elapsed_minutes = _minutes(elapsed)
    weight, whole_minutes = 0.0, prior.p50
    if share_done > 0.0 and elapsed_minutes > 0.0 and prior.p50 > 0.0:
        weight = share_done / (share_done + settings.pace_share)
        observed_minutes = elapsed_minutes / share_done
        whole_minutes = prior.p50 ** (1 - weight) * observed_minutes**weight
    sigma = max(settings.least_sigma, prior.sigma * math.sqrt(1 - weight))
    return TravelTime(whole_minutes * share_left, sigma)


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


def _is_off_corridor(
    place: Place, origin: Place, destination: Place, settings: ArrivalSettings
) -> bool:
    direct_km = haversine_km(origin, destination)
    through_km = haversine_km(origin, place) + haversine_km(place, destination)
    beyond_ratio = through_km > direct_km * settings.off_corridor_ratio
    return beyond_ratio and through_km > direct_km + settings.off_corridor_km


def _standing_still_minutes(track: Sequence[Fix], settings: ArrivalSettings) -> float:
    """Minutes for which the last positions have been in one spot: seen, not guessed in a gap."""
    since = track[-1].at if track else None
    for fix in reversed(track):
        apart_m = haversine_km(fix.place, track[-1].place) * 1000
        if apart_m > settings.standing_within_m:
            break
        since = fix.at
    return _minutes(track[-1].at - since) if since is not None else 0.0


def _minutes(duration: timedelta) -> float:
    return duration / timedelta(minutes=1)
