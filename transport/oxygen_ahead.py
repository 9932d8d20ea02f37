"""Whether the oxygen lasts the rest of a journey, from rows: each vehicle for its own part."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from transport.calc.oxygen import (
    CHANGEOVER_MINUTES,
    Cylinder,
    OxygenPlan,
    Swap,
    after_use,
    cautions_of,
)
from transport.calc.oxygen import plan_oxygen as plan_of
from transport.calc.places import haversine_km
from transport.calc.travel import How, Place, TravelTime, add, certain
from transport.calc.travel_time import through
from transport.choosing import last_place, pick_up_place, place_of
from transport.cylinders import bottles, carried, oxygen_flow, spare_bottles, standing_at_sites
from transport.estimating import (
    PLANS,
    kind_of,
    loading_left,
    meeting_ahead,
    projected_arrival,
    road_estimate,
    way_with_baby,
)
from transport.models import Meeting, Transfer, Vehicle
from transport.roads import estimator_of, is_dark, is_rainy, reserve_of

ON_THE_WAY = 1.25
"""A site is on the way while the way by it is at most so much longer; project choice."""

LONGEST_P90 = 40.0
"""Times the median: wider than that is no travel time any more."""


@dataclass(frozen=True)
class VehicleOxygen:
    """The oxygen of one vehicle for its own part of the journey."""

    vehicle: Vehicle
    plan: OxygenPlan


def oxygen_plan(transfer: Transfer, now: datetime) -> OxygenPlan | None:
    """Whether the oxygen with the baby lasts for this vehicle's part; see ``oxygen_plans``."""
    plans = oxygen_plans(transfer, now)
    return plans[0].plan if plans else None


def oxygen_plans(transfer: Transfer, now: datetime) -> list[VehicleOxygen]:
    """The plan of the vehicle with the baby, then of the one that is to meet it.

    The first needs enough to the meeting place, a wait there and the changing over; the second
    from there to the bedside. Nothing while no flow or no way is known.
    """
    flow, vehicle = oxygen_flow(transfer.referral), transfer.vehicle
    if flow is None or vehicle is None:
        return []
    held = _left_in_cylinders(transfer, flow, now)
    meeting = transfer.standing_meeting()
    if meeting:
        plans = _to_and_from(transfer, meeting, flow, held, now)
    else:
        plan = _to_the_unit(transfer, flow, held, now)
        plans = [VehicleOxygen(vehicle, plan)] if plan else []
    # A doubt is about a gauge as it was read, not about what is reckoned to be left since.
    return [
        replace(each, plan=replace(each.plan, cautions=cautions_of(bottles(carried(each.vehicle)))))
        for each in plans
    ]


def _to_the_unit(
    transfer: Transfer, flow: float, held: list[Cylinder], now: datetime
) -> OxygenPlan | None:
    on_the_road = transfer.on_the_road_at is not None
    road = road_estimate(transfer, now)
    if road is None or road.distribution is None:
        return None
    district = transfer.referral.district
    journey = _rest_of_road(transfer, road.distribution, now) if on_the_road else road.distribution

    spares = spare_bottles(transfer, last_place(transfer))

    def planned(swaps: list[Swap]) -> OxygenPlan:
        return plan_of(
            cylinders=held,
            flow_l_min=flow,
            journey=journey,
            waiting_minutes=0.0,
            loading_minutes=0.0 if on_the_road else loading_left(transfer, now),
            bedside_minutes=district.bedside_minutes,
            reserve=reserve_of(district),
            spares=spares,
            swaps=swaps,
            under_way=on_the_road,
        )

    plan = planned([])
    # Only a shortage is worth the estimates that a swap takes.
    return plan if plan.enough else planned(_swaps(transfer, now))


def _to_and_from(
    transfer: Transfer, meeting: Meeting, flow: float, held: list[Cylinder], now: datetime
) -> list[VehicleOxygen]:
    ahead, district = meeting_ahead(transfer, meeting, now), transfer.referral.district
    if ahead is None or transfer.vehicle is None:
        return []
    on_the_road = transfer.on_the_road_at is not None
    way = way_with_baby(transfer, place_of(meeting.site), now).distribution
    first = plan_of(
        cylinders=held,
        flow_l_min=flow,
        # Before they board, the vehicle's cylinders are not drawn on.
        journey=ahead.both if on_the_road else way or ahead.both,
        waiting_minutes=0.0 if on_the_road else PLANS.waiting_minutes,
        loading_minutes=0.0 if on_the_road else loading_left(transfer, now),
        bedside_minutes=PLANS.changing_minutes,
        reserve=reserve_of(district),
        under_way=on_the_road,
    )
    plans = [VehicleOxygen(transfer.vehicle, first)]
    if ahead.onward:
        second = plan_of(
            cylinders=bottles(carried(meeting.vehicle)),
            flow_l_min=flow,
            journey=ahead.onward,
            waiting_minutes=0.0,
            loading_minutes=PLANS.changing_minutes,
            bedside_minutes=district.bedside_minutes,
            reserve=reserve_of(district),
        )
        plans.append(VehicleOxygen(meeting.vehicle, second))
    return plans


def _swaps(transfer: Transfer, now: datetime) -> list[Swap]:
    """The cylinders at sites between the baby and the unit, with the time by each of them."""
    if transfer.destination is None:
        return []
    here, goal = last_place(transfer), place_of(transfer.destination.site)
    here = here if here and transfer.on_the_road_at else pick_up_place(transfer)
    straight_km = haversine_km(here, goal)
    standing_minutes = 0.0 if transfer.on_the_road_at else loading_left(transfer, now)
    bedside_minutes = transfer.referral.district.bedside_minutes
    swaps = []
    for site, bottle in standing_at_sites(transfer):
        if site.pk in (transfer.referral.origin_id, transfer.destination.site_id):
            continue
        place = place_of(site)
        by_there_km = haversine_km(here, place) + haversine_km(place, goal)
        if by_there_km > straight_km * ON_THE_WAY:
            continue
        there, onward = _way(transfer, here, place, now), _way(transfer, place, goal, now)
        if there is None or onward is None:
            continue
        until = add([certain(standing_minutes), there])
        rest = add([until, certain(CHANGEOVER_MINUTES), onward, certain(bedside_minutes)])
        swaps.append(Swap(bottle, str(site), until, rest))
    return swaps


def _way(transfer: Transfer, start: Place, goal: Place, now: datetime) -> TravelTime | None:
    district = transfer.referral.district
    how: How = {
        "vehicle": kind_of(transfer),
        "rainy": is_rainy(district, now),
        "dark": is_dark(start, now),
    }
    return estimator_of(district, now)(start, goal, **how).distribution


def _left_in_cylinders(transfer: Transfer, flow_l_min: float, now: datetime) -> list[Cylinder]:
    """What the cylinders in the vehicle hold now: the last reading less what was used since."""
    rows = carried(transfer.vehicle) if transfer.vehicle else []
    begun = _drawn_since(transfer, now)
    if begun is None:
        return bottles(rows)
    since = max([begun, *(row.read_at for row in rows if row.read_at)])
    return after_use(bottles(rows), max((now - since) / timedelta(minutes=1), 0.0) * flow_l_min)


def _drawn_since(transfer: Transfer, now: datetime) -> datetime | None:
    """From when on the vehicle's own oxygen flows: for the minutes of loading before they leave.

    A vehicle that stands longer at the post is not taken to have given oxygen all the while.
    """
    there = transfer.at_origin_at
    if transfer.moved_at_meeting() is not None:
        there = None
    left = transfer.boarded_at() if transfer.on_the_road_at else None
    if there is None:
        return left
    loading = timedelta(minutes=transfer.referral.district.loading_minutes)
    return max(there, (left or now) - loading)


def _rest_of_road(transfer: Transfer, whole: TravelTime, now: datetime) -> TravelTime:
    """What the arrival window leaves of the road, as wide as the window is now.

    A log-normal through its P50 and P90; past the likely time, the same P90 from a median of a
    minute, so that a late vehicle is never taken for one that has arrived.
    """
    window = projected_arrival(transfer, now)
    if window is None or transfer.arrived_at:
        return certain(0.0)
    median, late = ((each - now) / timedelta(minutes=1) for each in (window.p50, window.p90))
    if late <= 0.0:
        return TravelTime(1.0, whole.sigma)
    median = max(median, min(1.0, late))
    return through(median, max(median, min(late, median * LONGEST_P90)))
