"""Travel times that a district learns: its completed journeys, the refit, the model in use.

A refit is judged before it is used. Every fifth journey is held back; a model made without those
is tried on them, beside the one in use (made without them as well). One that does worse is kept,
with the figures and the reason, and not used.
"""

import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any
from zlib import crc32

import numpy as np
from django.db.models import F, Q

from referrals.calc.terms import VehicleKind
from referrals.models import District, Entry
from referrals.nudging import nudge
from transport.calc.daylight import is_dark
from transport.calc.district_travel import is_rainy_month, travel_settings
from transport.calc.journeys import UNKNOWN_VEHICLE, VEHICLES, Journeys
from transport.calc.learned import (
    LearnedTravel,
    learned_estimator,
    off_by,
    road_terms,
    try_out,
)
from transport.calc.learning import learn
from transport.calc.places import Place
from transport.calc.road_base import RoadBase
from transport.calc.road_rows import Key, key_of
from transport.calc.travel import (
    How,
    TravelEstimate,
    TravelEstimator,
    TravelSettings,
    fixed_estimator,
    geodesic_km,
)
from transport.models import Estimate, PastJourney, RoadTable, Transfer, TravelModel
from transport.road_table import TableRoads, fill, in_force

HELD_BACK = 5
"""Every fifth journey; common practice, no source."""
FEWEST_TO_JUDGE = 10
"""With fewer held back, chance decides: the refit is used, and says that it was not judged."""
MODELS_KEPT = 20
LOOK_SECONDS = 60.0
_looked_at = -LOOK_SECONDS
REFIT_AFTER = timedelta(hours=24)
"""With no journey since the newest model it is refitted once a day: what is older counts for less,
and a changed setting is learned with."""


@dataclass(frozen=True, kw_only=True)
class Completed:
    """One completed journey, wherever it is known from; None where nobody knows."""

    key: str
    started_at: datetime
    origin: Place
    destination: Place
    minutes: float
    rainy: bool | None
    dark: bool | None
    vehicle: VehicleKind | None


def plain_settings(district: District | None) -> TravelSettings:
    """The settings of the estimator without experience."""
    if district is None:
        return TravelSettings()
    return travel_settings(district.travel_settings, detour_factor=district.detour_factor)


def estimator_for(district: District | None, *, reckon: bool = False) -> TravelEstimator:
    """The estimator of a district: with experience and roads where there are any, else without.

    ``reckon``: ways that stand in no row are worked out, which is not for what a person waits for.
    """
    table = in_force(district)
    roads = TableRoads(table, reckon=reckon) if table else None
    model = newest_adopted(district, table)
    if model is None:
        return fixed_estimator(plain_settings(district), roads)
    learned, settings, version = _read_model(*model)
    return learned_estimator(learned, fixed_estimator(settings, roads), model_version=version)


def newest_adopted(district: District | None, table: int | None) -> tuple[int, datetime] | None:
    """The number of the model in use, and when it was made; it knows the roads of one table."""
    return (
        TravelModel.objects.filter(district=district, adopted=True, road_table=table)
        .values_list("pk", "made_at")
        .first()
    )


@lru_cache(maxsize=8)
def _read_model(pk: int, made_at: datetime) -> tuple[LearnedTravel, TravelSettings, str]:
    # A model never changes once it is stored: its number and time are enough to find it again.
    row = TravelModel.objects.get(pk=pk, made_at=made_at)
    return LearnedTravel.from_bytes(bytes(row.stored)), _settings_from(row.settings), str(row)


def refit(district: District | None, now: datetime) -> TravelModel | None:
    """Learn anew from every journey known; nothing where there is none."""
    completed = list(completed_journeys(district))
    if not completed:
        return None
    settings = plain_settings(district)
    table = in_force(district)
    journeys = _columns(completed, settings, _roads_of(completed, table), now)
    held = np.array([crc32(each.key.encode()) % HELD_BACK == 0 for each in completed])
    judged = _Judged.of(journeys, held, settings, _newest_judge(district, table))
    learned = learn(journeys, spreads=judged.model.spreads if judged.model else None)
    row = TravelModel.objects.create(
        district=district,
        road_table_id=table,
        made_at=now,
        journeys=len(completed),
        newest_journey_at=max(each.started_at for each in completed),
        adopted=judged.adopted,
        reason=judged.reason,
        trials=judged.trials,
        settings=_settings_as_json(settings),
        stored=learned.as_bytes(),
        judge=judged.model.as_bytes() if judged.model else None,
    )
    _forget_old(district)
    return row


def refit_is_due(district: District | None, now: datetime) -> bool:
    """Whether a journey was completed or roads were read since, or a day has gone by."""
    newest = TravelModel.objects.filter(district=district).first()
    arrived = _own_journeys(district).order_by("-arrived_at").values_list("arrived_at", flat=True)
    if newest is None:
        return arrived.exists() or _brought_in(district).exists()
    if newest.road_table_id != in_force(district):
        return True
    since = arrived.first()
    if since is not None and since > newest.made_at:
        return True
    return now - newest.made_at >= REFIT_AFTER


def ask_for_refits(now: datetime) -> None:
    """Once a sweep: a worker is asked to learn anew where that is due; looked at once a minute."""
    global _looked_at
    if time.monotonic() - _looked_at < LOOK_SECONDS:
        return
    _looked_at = time.monotonic()
    for district in District.objects.order_by("pk"):
        if refit_is_due(district, now):
            nudge("transport.tasks.report_refit", district.pk)


def completed_journeys(district: District | None) -> Iterator[Completed]:
    """Journeys of the service itself, then those brought in from files."""
    yield from _completed_here(district)
    for row in _brought_in(district).iterator():
        yield Completed(
            key=row.key,
            started_at=row.started_at,
            origin=Place(row.origin_latitude, row.origin_longitude),
            destination=Place(row.destination_latitude, row.destination_longitude),
            minutes=row.minutes,
            rainy=row.rainy,
            dark=row.dark,
            vehicle=VehicleKind(row.vehicle) if row.vehicle else None,
        )


def _brought_in(district: District | None) -> Any:
    """Journeys from files, of a district or of none."""
    whose = Q(source__district=district) | Q(source__district=None)
    return PastJourney.objects.filter(whose, source__undone_at=None)


def _own_journeys(district: District | None) -> Any:
    """Transfers of one vehicle from the post to the unit's door, without a change on the way."""
    return Transfer.objects.filter(
        referral__district=district,
        arrived_at__isnull=False,
        on_the_road_at__isnull=False,
        left_post_at=F("on_the_road_at"),
        arrived_at__gt=F("on_the_road_at"),
        destination__isnull=False,
        vehicle__isnull=False,
        stretch=1,
    ).exclude(meetings__moved_at__isnull=False)


def _completed_here(district: District | None) -> Iterator[Completed]:
    if district is None:
        return
    rows = list(
        _own_journeys(district).select_related("referral__origin", "destination__site", "vehicle")
    )
    turned = _changed_destination(rows)
    rain_noted = {
        transfer: inputs.get("rainy")
        for transfer, inputs in Estimate.objects.filter(transfer__in=rows, purpose="road")
        .order_by("made_at", "pk")
        .values_list("transfer_id", "inputs")
    }
    for row in rows:
        if row.pk in turned or row.on_the_road_at is None or row.destination is None:
            continue
        post, site = row.referral.origin, row.destination.site
        if row.arrived_at is None or post.land != site.land:
            # A crossing has minutes of its own; it says nothing about the road.
            continue
        origin = Place(post.latitude, post.longitude)
        rainy = rain_noted.get(row.pk)
        yield Completed(
            key=f"transfer-{row.pk}",
            started_at=row.on_the_road_at,
            origin=origin,
            destination=Place(site.latitude, site.longitude),
            minutes=(row.arrived_at - row.on_the_road_at).total_seconds() / 60,
            rainy=_by_month(district, row.on_the_road_at) if rainy is None else bool(rainy),
            dark=is_dark(origin, row.on_the_road_at),
            vehicle=VehicleKind(row.vehicle.kind) if row.vehicle else None,
        )


def _changed_destination(rows: Iterable[Transfer]) -> set[int]:
    """Those that were sent somewhere else after they had left."""
    left = {row.referral_id: (row.pk, row.on_the_road_at) for row in rows}
    told = Entry.objects.filter(referral__in=list(left), kind="destination")
    turned = set()
    for referral, at in told.values_list("referral_id", "happened_at"):
        transfer, on_the_road_at = left[referral]
        if on_the_road_at and at > on_the_road_at:
            turned.add(transfer)
    return turned


def _by_month(district: District, moment: datetime) -> bool | None:
    if not district.travel_settings.get("rainy_months"):
        return None
    return is_rainy_month(district.travel_settings, moment.month)


def _roads_of(completed: list[Completed], table: int | None) -> RoadBase | None:
    """The roads of a table, with a row for every way that was driven."""
    if table is None:
        return None
    driven: dict[Key, set[Key]] = defaultdict(set)
    for each in completed:
        driven[key_of(each.origin)].add(key_of(each.destination))
    fill(RoadTable.objects.defer("network").get(pk=table), driven)
    return TableRoads(table)


def _columns(
    completed: list[Completed], settings: TravelSettings, roads: RoadBase | None, now: datetime
) -> Journeys:
    prior = _Prior(settings, roads)
    expected = [prior(each) for each in completed]
    return Journeys(
        origins=np.array([[each.origin.latitude, each.origin.longitude] for each in completed]),
        destinations=np.array(
            [[each.destination.latitude, each.destination.longitude] for each in completed]
        ),
        geodesic_km=np.array([geodesic_km(each.origin, each.destination) for each in completed]),
        prior_minutes=np.array([minutes for minutes, _terms in expected]),
        roads=np.array([terms for _minutes, terms in expected]),
        minutes=np.array([each.minutes for each in completed]),
        rainy=np.array([_share(each.rainy) for each in completed]),
        dark=np.array([_share(each.dark) for each in completed]),
        vehicles=np.array(
            [
                UNKNOWN_VEHICLE if each.vehicle is None else VEHICLES.index(each.vehicle)
                for each in completed
            ]
        ),
        age_days=np.array([(now - each.started_at) / timedelta(days=1) for each in completed]),
    )


def _share(known: bool | None) -> float:
    return 0.5 if known is None else float(known)


class _Prior:
    """Median minutes without experience, and the road terms; the same question is asked once.

    A journey that was driven where no road is known was driven all the same: by the straight line.
    """

    def __init__(self, settings: TravelSettings, roads: RoadBase | None) -> None:
        self._by_road = fixed_estimator(settings, roads)
        self._straight = fixed_estimator(settings)
        self._asked: dict[tuple[Any, ...], tuple[float, list[float]]] = {}

    def __call__(self, journey: Completed) -> tuple[float, list[float]]:
        vehicle = journey.vehicle or VehicleKind.AMBULANCE
        key = (journey.origin, journey.destination, vehicle, journey.rainy, journey.dark)
        if key not in self._asked:
            weathers = [journey.rainy] if journey.rainy is not None else [False, True]
            made = [self._estimate(journey, vehicle, rainy) for rainy in weathers]
            minutes = [each.p50_minutes or 0.0 for each in made]
            # Half-way in logs, as the model puts a season that is not known.
            middle = float(np.exp(np.mean(np.log(np.maximum(minutes, 0.1)))))
            self._asked[key] = middle, road_terms(made[0].inputs)
        return self._asked[key]

    def _estimate(self, journey: Completed, vehicle: VehicleKind, rainy: bool) -> TravelEstimate:
        how: How = {"vehicle": vehicle, "rainy": rainy, "dark": journey.dark}
        ends = journey.origin, journey.destination
        made = self._by_road(*ends, **how)
        return made if made.reachable else self._straight(*ends, **how)


@dataclass(frozen=True, kw_only=True)
class _Judged:
    """A refit tried on held-back journeys, and whether it is to be used."""

    model: LearnedTravel | None
    adopted: bool
    reason: str
    trials: dict[str, Any]

    @classmethod
    def of(
        cls,
        journeys: Journeys,
        held: Any,
        settings: TravelSettings,
        rival: LearnedTravel | None,
    ) -> "_Judged":
        if held.sum() < FEWEST_TO_JUDGE or held.all():
            reason = f"too few journeys to judge by ({int(held.sum())} held back): used as it is"
            return cls(model=None, adopted=True, reason=reason, trials={})
        kept_back = journeys.take(held)
        model = learn(journeys.take(~held))
        named: dict[str, LearnedTravel | None] = {"this": model, "without experience": None}
        if rival is not None:
            named["in use"] = rival
        trials = {
            name: asdict(try_out(each, kept_back, prior_sigma=settings.sigma))
            for name, each in named.items()
        }
        worse = [
            name
            for name, each in named.items()
            if each is not model and _is_worse(model, each, kept_back)
        ]
        figures = "; ".join(
            f"{name}: median error {100 * trial['median_error']:.0f} %"
            for name, trial in trials.items()
        )
        verdict = f"worse than {' and '.join(worse)}, not used" if worse else "used"
        return cls(
            model=model,
            adopted=not worse,
            reason=f"{verdict} ({len(kept_back)} journeys held back; {figures})"[:300],
            trials=trials,
        )


def _is_worse(model: LearnedTravel, rival: LearnedTravel | None, kept_back: Journeys) -> bool:
    """Whether a model errs more on the same journeys, by more than chance would have it."""
    difference = np.abs(off_by(model, kept_back)) - np.abs(off_by(rival, kept_back))
    standard_error = float(np.std(difference, ddof=1)) / len(difference) ** 0.5
    return float(np.mean(difference)) > standard_error


def _newest_judge(district: District | None, table: int | None) -> LearnedTravel | None:
    """Of the same roads: what another table taught is not to be compared on this one's minutes."""
    rows = TravelModel.objects.filter(district=district, adopted=True, road_table=table)
    row = rows.exclude(judge=None).first()
    return LearnedTravel.from_bytes(bytes(row.judge)) if row and row.judge else None


def _forget_old(district: District | None) -> None:
    """Keep the newest, and whatever is in use or was so last."""
    rows = TravelModel.objects.filter(district=district)
    adopted = rows.filter(adopted=True).values_list("pk", flat=True)[:2]
    newest = rows.values_list("pk", flat=True)[:MODELS_KEPT]
    rows.exclude(pk__in=[*adopted, *newest]).delete()


def _settings_as_json(settings: TravelSettings) -> dict[str, Any]:
    speeds = {kind.value: speed for kind, speed in settings.free_flow_km_h.items()}
    fixed = {
        name: getattr(settings, name)
        for name in settings.__dataclass_fields__
        if name != "free_flow_km_h"
    }
    return {**fixed, "free_flow_km_h": speeds}


def _settings_from(stored: dict[str, Any]) -> TravelSettings:
    speeds = {VehicleKind(kind): speed for kind, speed in stored["free_flow_km_h"].items()}
    return TravelSettings(**{**stored, "free_flow_km_h": speeds})
