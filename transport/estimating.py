"""When the baby will be where, from rows: estimates that are kept, and the live arrival window."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import NormalDist
from typing import Any

from referrals.calc.terms import VehicleKind
from transport.calc.arrival import ArrivalWindow, arrival_window
from transport.calc.closures import ClosureKind, closures_of
from transport.calc.meeting import meet
from transport.calc.plans import PlanSettings
from transport.calc.stages import TransferStage
from transport.calc.track import ArrivalSettings, Fix
from transport.calc.travel import How, Place, TravelEstimate, TravelTime, add, certain
from transport.choosing import (
    last_place,
    pick_up_place,
    place_of,
    whereabouts,
)
from transport.models import Estimate, Meeting, Transfer
from transport.roads import (
    closed_places,
    estimator_of,
    estimator_with,
    is_dark,
    is_rainy,
)

PLANS = PlanSettings()
"""Minutes of waiting and changing over, as the plans are reckoned with."""


@dataclass(frozen=True)
class Window:
    """An arrival window, and how it came about."""

    p10: datetime
    p50: datetime
    p90: datetime
    method: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON: ISO times in UTC."""
        return {
            "p10": self.p10.isoformat(),
            "p50": self.p50.isoformat(),
            "p90": self.p90.isoformat(),
            "method": self.method,
        }


def road_estimate(transfer: Transfer, now: datetime) -> TravelEstimate | None:
    """From where the baby boards to the destination; an ambulance until a vehicle is sent."""
    if transfer.destination is None:
        return None
    return way_with_baby(transfer, place_of(transfer.destination.site), now)


def way_with_baby(transfer: Transfer, goal: Place, now: datetime) -> TravelEstimate:
    """From where the baby boards to a goal, with what is closed on what is still ahead."""
    boards = pick_up_place(transfer)
    district, setting_off = transfer.referral.district, transfer.on_the_road_at or now
    closed = closed_places(district, now)
    how: How = {
        "vehicle": kind_of(transfer),
        "rainy": is_rainy(district, setting_off),
        "dark": is_dark(boards, setting_off),
    }
    start = last_place(transfer) if transfer.on_the_road_at else None
    if start and closed:
        # A closure that the vehicle has left behind is no longer on the way.
        ahead = closures_of(estimator_with(district, now, closed)(start, goal, **how))
        landing = ClosureKind.LANDING
        closed = [each for each in closed if each.kind is landing or each.name in ahead]
    made = estimator_with(district, setting_off, closed)(boards, goal, **how)
    if not made.reachable and transfer.on_the_road_at:
        # They are on their way over it: a landing closed behind them changes nothing.
        made = estimator_with(district, setting_off, [])(boards, goal, **how)
    return made


def collection_estimate(transfer: Transfer, now: datetime) -> TravelEstimate | None:
    """From where the vehicle is to the baby; nothing while its place is not known."""
    place = whereabouts(transfer.vehicle, now) if transfer.vehicle else None
    if place is None:
        return None
    district = transfer.referral.district
    return estimator_of(district, now)(
        place,
        pick_up_place(transfer),
        vehicle=kind_of(transfer),
        rainy=is_rainy(district, now),
        dark=is_dark(place, now),
    )


def keep_estimate(
    transfer: Transfer, purpose: str, estimate: TravelEstimate | None, now: datetime
) -> None:
    """Store an estimate that people see, with its method and inputs."""
    if estimate is None:
        return
    Estimate.objects.create(
        referral=transfer.referral,
        transfer=transfer,
        purpose=purpose,
        made_at=now,
        method=estimate.method,
        model_version=estimate.model_version,
        inputs=dict(estimate.inputs),
        p10_minutes=estimate.p10_minutes,
        p50_minutes=estimate.p50_minutes,
        p90_minutes=estimate.p90_minutes,
        geodesic_km=estimate.geodesic_km,
        road_km=estimate.road_km,
    )


def projected_arrival(transfer: Transfer, now: datetime) -> Window | None:
    """When the baby is expected at the unit, at every stage of the journey."""
    if transfer.arrived_at:
        return Window(transfer.arrived_at, transfer.arrived_at, transfer.arrived_at, "arrived")
    meeting = transfer.standing_meeting()
    if meeting:
        return _arrival_through(transfer, meeting, now)
    if transfer.stage == TransferStage.ON_THE_ROAD.value and transfer.on_the_road_at:
        live = live_window(transfer, now)
        return Window(live.p10, live.p50, live.p90, live.method) if live else None
    road = road_estimate(transfer, now)
    if road is None or road.distribution is None or transfer.vehicle is None:
        return None
    left = _until_boarded(transfer, now)
    if left is None:
        return None
    return _window(add([*left, road.distribution]), now, f"{road.method}, before departure")


def _window(whole: TravelTime, now: datetime, method: str) -> Window:
    early, likely, late = (now + timedelta(minutes=whole.quantile(p)) for p in (0.1, 0.5, 0.9))
    return Window(early, likely, late, method)


def _until_boarded(transfer: Transfer, now: datetime) -> list[TravelTime] | None:
    """Until the vehicle leaves with the baby; nothing while its place is not known."""
    left = [certain(loading_left(transfer, now))]
    if transfer.at_origin_at is None:
        collection = collection_estimate(transfer, now)
        if collection is None or collection.distribution is None:
            return None
        left.append(collection.distribution)
    return left


@dataclass(frozen=True)
class MeetingAhead:
    """How long from now until the first is at the meeting place, until both are, and onward."""

    first: TravelTime
    both: TravelTime
    onward: TravelTime | None


def meeting_ahead(transfer: Transfer, meeting: Meeting, now: datetime) -> MeetingAhead | None:
    """The meeting as it stands now; nothing while the way of the first is not known."""
    ours = _first_until_there(transfer, meeting, now)
    if ours is None:
        return None
    theirs = _second_until_there(transfer, meeting, now)
    waiting = PLANS.waiting_minutes
    both = meet(ours, theirs, waiting_minutes=waiting).time if theirs else ours
    return MeetingAhead(ours, both, _onward_from(transfer, meeting, now))


def _first_until_there(transfer: Transfer, meeting: Meeting, now: datetime) -> TravelTime | None:
    if meeting.first_there_at:
        return certain(0.0)
    goal = place_of(meeting.site)
    if transfer.on_the_road_at:
        live = live_window(transfer, now)
        return _time_of(live, now) if live else None
    way, left = way_with_baby(transfer, goal, now), _until_boarded(transfer, now)
    if way.distribution is None or left is None:
        return None
    return add([*left, way.distribution])


def _second_until_there(transfer: Transfer, meeting: Meeting, now: datetime) -> TravelTime | None:
    """Nothing where the place of the second vehicle is not known: the first decides alone."""
    if meeting.second_there_at:
        return certain(0.0)
    place, district = whereabouts(meeting.vehicle, now), transfer.referral.district
    if place is None:
        return None
    made = estimator_of(district, now)(
        place,
        place_of(meeting.site),
        vehicle=VehicleKind(meeting.vehicle.kind),
        rainy=is_rainy(district, now),
        dark=is_dark(place, now),
    )
    return made.distribution


def _onward_from(transfer: Transfer, meeting: Meeting, now: datetime) -> TravelTime | None:
    if transfer.destination is None:
        return None
    start, district = place_of(meeting.site), transfer.referral.district
    made = estimator_of(district, now)(
        start,
        place_of(transfer.destination.site),
        vehicle=VehicleKind(meeting.vehicle.kind),
        rainy=is_rainy(district, now),
        dark=is_dark(start, now),
    )
    return made.distribution


def _arrival_through(transfer: Transfer, meeting: Meeting, now: datetime) -> Window | None:
    ahead = meeting_ahead(transfer, meeting, now)
    if ahead is None or ahead.onward is None:
        return None
    whole = add([ahead.both, certain(PLANS.changing_minutes), ahead.onward])
    return _window(whole, now, "meeting")


def _time_of(live: ArrivalWindow, now: datetime) -> TravelTime:
    """A window as a time from now: its median, and the spread that its P90 shows."""
    median, late = ((each - now).total_seconds() / 60 for each in (live.p50, live.p90))
    if median <= 0.0:
        return certain(0.0)
    sigma = math.log(max(late / median, 1.0)) / NormalDist().inv_cdf(0.9)
    return TravelTime(median, min(sigma, 3.0))


def goes_next(transfer: Transfer) -> Place | None:
    """Where the vehicle with the baby drives now; nothing while nobody has said."""
    meeting = transfer.standing_meeting()
    if meeting:
        return place_of(meeting.site)
    return place_of(transfer.destination.site) if transfer.destination else None


def live_window(transfer: Transfer, now: datetime) -> ArrivalWindow | None:
    """The arrival window of a vehicle on the road, from the prior and its positions.

    It arrives where it goes next: at a meeting place, or at the unit.
    """
    goal = goes_next(transfer)
    road = way_with_baby(transfer, goal, now) if goal else None
    if goal is None or road is None or road.distribution is None:
        return None
    departed_at = transfer.on_the_road_at or now
    fixes = [
        Fix(at, Place(latitude, longitude), accuracy)
        for at, latitude, longitude, accuracy in transfer.track()
        .filter(recorded_at__gte=departed_at - timedelta(minutes=1))
        .values_list("recorded_at", "latitude", "longitude", "accuracy_m")
    ]
    return arrival_window(
        departed_at=departed_at,
        prior=road.distribution,
        origin=pick_up_place(transfer),
        destination=goal,
        fixes=fixes,
        now=now,
        settings=ArrivalSettings(
            silent_after_minutes=transfer.referral.district.silence_minutes,
            receding_km=transfer.referral.district.off_way_km,
        ),
        heading_since=_heading_since(transfer),
    )


def _heading_since(transfer: Transfer) -> datetime | None:
    """When this goal was told, since a journey may have been sent elsewhere before."""
    kinds = ("destination", "sent_without_acceptance", "meeting_set", "meeting_off")
    told = transfer.referral.entries.filter(kind__in=kinds)
    return told.order_by("-seq").values_list("received_at", flat=True).first()


def loading_left(transfer: Transfer, now: datetime) -> float:
    """Minutes of loading that are still ahead before the vehicle leaves with the baby."""
    loading = transfer.referral.district.loading_minutes
    if transfer.at_origin_at is None:
        return loading
    return max(loading - (now - transfer.at_origin_at).total_seconds() / 60, 0.0)


def kind_of(transfer: Transfer) -> VehicleKind:
    """What drives: the vehicle sent, or an ambulance until one is."""
    return VehicleKind(transfer.vehicle.kind) if transfer.vehicle else VehicleKind.AMBULANCE
