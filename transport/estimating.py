"""When the baby will be where, from rows: estimates that are kept, and the live arrival window."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from referrals.calc.terms import VehicleKind
from transport.calc.arrival import ArrivalSettings, ArrivalWindow, Fix, arrival_window
from transport.calc.closures import past
from transport.calc.oxygen import Cylinder, OxygenPlan, after_use, plan_oxygen
from transport.calc.stages import TransferStage
from transport.calc.travel import Place, TravelEstimate, TravelTime, add, certain
from transport.choosing import (
    carried_bottles,
    last_place,
    oxygen_flow,
    pick_up_place,
    place_of,
    whereabouts,
)
from transport.models import Estimate, Transfer
from transport.roads import (
    closed_places,
    closure_settings,
    estimator_of,
    is_dark,
    is_rainy,
    plain_estimator_of,
    reserve_of,
)


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
    boards, unit = pick_up_place(transfer), place_of(transfer.destination.site)
    kind, district = kind_of(transfer), transfer.referral.district
    closed = closed_places(district, now)
    # A closure that the vehicle has left behind is no longer on the way.
    start = last_place(transfer) if transfer.on_the_road_at else None
    met = [each for each in closed if each.touches(start or boards, unit, kind)]
    setting_off = transfer.on_the_road_at or now
    made = plain_estimator_of(district)(
        boards,
        unit,
        vehicle=kind,
        rainy=is_rainy(district, setting_off),
        dark=is_dark(boards, setting_off),
    )
    return past(made, met, closure_settings(district))


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
    if transfer.stage == TransferStage.ON_THE_ROAD.value and transfer.on_the_road_at:
        live = live_window(transfer, now)
        return Window(live.p10, live.p50, live.p90, live.method) if live else None
    road = road_estimate(transfer, now)
    if road is None or road.distribution is None or transfer.vehicle is None:
        return None
    left = [road.distribution, certain(_loading_left(transfer, now))]
    if transfer.at_origin_at is None:
        collection = collection_estimate(transfer, now)
        if collection is None or collection.distribution is None:
            return None
        left.append(collection.distribution)
    whole = add(left)
    early, likely, late = (now + timedelta(minutes=whole.quantile(p)) for p in (0.1, 0.5, 0.9))
    return Window(early, likely, late, f"{road.method}, before departure")


def live_window(transfer: Transfer, now: datetime) -> ArrivalWindow | None:
    """The arrival window of a vehicle on the road, from the prior and its positions."""
    road = road_estimate(transfer, now)
    if road is None or road.distribution is None or transfer.destination is None:
        return None
    departed_at = transfer.on_the_road_at or now
    fixes = [
        Fix(at, Place(latitude, longitude), accuracy)
        for at, latitude, longitude, accuracy in transfer.positions.filter(
            recorded_at__gte=departed_at - timedelta(minutes=1)
        ).values_list("recorded_at", "latitude", "longitude", "accuracy_m")
    ]
    return arrival_window(
        departed_at=departed_at,
        prior=road.distribution,
        origin=pick_up_place(transfer),
        destination=place_of(transfer.destination.site),
        fixes=fixes,
        now=now,
        settings=ArrivalSettings(silent_after_minutes=transfer.referral.district.silence_minutes),
    )


def oxygen_plan(transfer: Transfer, now: datetime) -> OxygenPlan | None:
    """Whether the oxygen in the vehicle lasts to the bedside; nothing while no flow is known."""
    flow = oxygen_flow(transfer.referral)
    if flow is None or transfer.vehicle is None:
        return None
    road = road_estimate(transfer, now)
    if road is None or road.distribution is None:
        return None
    on_the_road = transfer.on_the_road_at is not None
    journey = _rest_of_road(transfer, road.distribution, now) if on_the_road else road.distribution
    return plan_oxygen(
        cylinders=_left_in_cylinders(transfer, flow, now),
        flow_l_min=flow,
        journey=journey,
        waiting_minutes=0.0,
        loading_minutes=0.0 if on_the_road else transfer.referral.district.loading_minutes,
        bedside_minutes=transfer.referral.district.bedside_minutes,
        reserve=reserve_of(transfer.referral.district),
        under_way=on_the_road,
    )


def _left_in_cylinders(transfer: Transfer, flow_l_min: float, now: datetime) -> list[Cylinder]:
    """What the cylinders in the vehicle hold now: the last reading less what was used since."""
    carried = carried_bottles(transfer)
    boarded = transfer.on_the_road_at
    if boarded is None:
        return carried
    read = transfer.checks.filter(oxygen_bar__isnull=False).order_by("checked_at").last()
    since = max(read.checked_at, boarded) if read else boarded
    minutes = max((now - since).total_seconds() / 60, 0.0)
    return after_use(carried, minutes * flow_l_min)


def _rest_of_road(transfer: Transfer, whole: TravelTime, now: datetime) -> TravelTime:
    window = projected_arrival(transfer, now)
    if window is None or transfer.arrived_at:
        return certain(0.0)
    median = max((window.p50 - now).total_seconds() / 60, 0.0)
    return TravelTime(median, whole.sigma)


def _loading_left(transfer: Transfer, now: datetime) -> float:
    loading = transfer.referral.district.loading_minutes
    if transfer.at_origin_at is None:
        return loading
    return max(loading - (now - transfer.at_origin_at).total_seconds() / 60, 0.0)


def kind_of(transfer: Transfer) -> VehicleKind:
    """What drives: the vehicle sent, or an ambulance until one is."""
    return VehicleKind(transfer.vehicle.kind) if transfer.vehicle else VehicleKind.AMBULANCE
