"""Travel times asked from outside: questions read from words or a table, answered all or none."""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from referrals import clock
from referrals.calc.terms import VehicleKind
from referrals.management.answers import bad_input, similar
from referrals.models import District, Site
from transport.calc.legs import leg_words
from transport.calc.travel import (
    InvalidPlace,
    Place,
    TravelEstimate,
    TravelEstimator,
    parse_place,
)
from transport.choosing import place_of
from transport.experience import estimator_for
from transport.roads import estimator_of, is_dark, is_rainy
from transport.tables import BadTable, Fault, Row, read_table

ENDS = (
    ("origin_lat", "origin"),
    ("origin_lon", "origin"),
    ("dest_lat", "destination"),
    ("dest_lon", "destination"),
)
"""The columns that say where; a site code stands for both coordinates."""
KINDS = [kind.value for kind in VehicleKind]


class NotAPlace(ValueError):
    """Neither a known site nor coordinates."""


@dataclass(frozen=True, kw_only=True)
class End:
    """One end of a journey, and the district it lies in where that is known."""

    name: str
    place: Place
    district: District | None


@dataclass(frozen=True, kw_only=True)
class Question:
    """From where, to where, when, with what."""

    origin: End
    destination: End
    vehicle: VehicleKind = VehicleKind.AMBULANCE
    rainy: bool | None = None
    at: datetime | None = None


class Travel:
    """Answers questions about travel times with what the database knows, be it nothing."""

    def __init__(self, district: District | None = None) -> None:
        self.named = district
        self.zone_was_guessed = False
        self.passed_over: list[str] = []
        self.now = clock.now()
        self._estimators: dict[tuple[int, datetime] | None, TravelEstimator] = {}

    @cached_property
    def home(self) -> District | None:
        """The district that was named, else the only one there is."""
        if self.named:
            return self.named
        two = list(District.objects.order_by("pk")[:2])
        return two[0] if len(two) == 1 else None

    @cached_property
    def _sites(self) -> dict[str, Site]:
        sites = Site.objects.select_related("district")
        return {site.code.lower(): site for site in sites}

    def end(self, text: str) -> End:
        """The place that a site code or ``lat,lon`` means; raises NotAPlace."""
        if "," in text:
            try:
                return self.end_at(parse_place(text))
            except InvalidPlace as error:
                raise NotAPlace(f"{error}.") from error
        site = self._sites.get(text.strip().lower())
        if site is None:
            known = similar(text, (site.code for site in self._sites.values()))
            raise NotAPlace(f"{text!r} is neither a site code nor latitude,longitude.{known}")
        return End(name=site.name, place=place_of(site), district=site.district)

    def end_at(self, place: Place) -> End:
        """A place by its coordinates."""
        name = f"{place.latitude:.5f},{place.longitude:.5f}"
        return End(name=name, place=place, district=None)

    def moment(self, text: str) -> datetime:
        """An ISO time; one without a zone is read in the district's. Raises ValueError."""
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
        if self.home is None:
            self.zone_was_guessed = True
            return moment.replace(tzinfo=UTC)
        return moment.replace(tzinfo=ZoneInfo(self.home.time_zone)).astimezone(UTC)

    def estimate(self, question: Question) -> TravelEstimate:
        """The travel time as the service itself would estimate it there."""
        district = question.origin.district or question.destination.district or self.home
        rainy = question.rainy
        if rainy is None:
            rainy = is_rainy(district, question.at or self.now) if district else False
        return self._estimator(district, question.at or self.now)(
            question.origin.place,
            question.destination.place,
            vehicle=question.vehicle,
            rainy=rainy,
            dark=is_dark(question.origin.place, question.at) if question.at else None,
        )

    def read_questions(self, path: Path) -> list[Question]:
        """The questions of a CSV file, in row order; raises BadTable with every fault."""
        faults: list[Fault] = []
        rows = read_table(
            path,
            faults,
            required=ENDS,
            optional=("at", "rainy", "vehicle"),
            passed_over=self.passed_over,
        )
        questions = [self._question(row) for row in rows]
        if faults:
            raise BadTable(faults)
        return [question for question in questions if question is not None]

    def _question(self, row: Row) -> Question | None:
        origin = self.end_in(row, "origin", "origin_lat", "origin_lon")
        destination = self.end_in(row, "destination", "dest_lat", "dest_lon")
        at = self._moment_in(row)
        rainy = row.yes_or_no("rainy")
        kind = row.one_of("vehicle", KINDS, required=False)
        if origin is None or destination is None or (kind and kind not in KINDS):
            return None
        return Question(
            origin=origin,
            destination=destination,
            vehicle=VehicleKind(kind or VehicleKind.AMBULANCE),
            rainy=rainy,
            at=at,
        )

    def end_in(self, row: Row, code: str, latitude: str, longitude: str) -> End | None:
        """One end of a row's journey, by site code or coordinates; None and a fault if neither."""
        named = row.text(code, required=False)
        if named:
            try:
                return self.end(named)
            except NotAPlace as error:
                row.wrong(code, str(error))
                return None
        north = row.number_in(latitude, -90, 90)
        east = row.number_in(longitude, -180, 180)
        if north is None or east is None:
            return None
        return self.end_at(Place(north, east))

    def _moment_in(self, row: Row) -> datetime | None:
        text = row.text("at", required=False)
        try:
            return self.moment(text) if text else None
        except (ValueError, OverflowError):
            row.wrong("at", f"must be a time like 2025-03-01T14:30, not {text!r}")
            return None

    def _estimator(self, district: District | None, moment: datetime) -> TravelEstimator:
        key = (district.pk, moment) if district else None
        if key not in self._estimators:
            self._estimators[key] = (
                estimator_of(district, moment, reckon=True)
                if district
                else estimator_for(None, reckon=True)
            )
        return self._estimators[key]


def answer_of(estimate: TravelEstimate) -> dict[str, Any]:
    """The six keys that every answer has."""
    return {
        "p50_minutes": estimate.p50_minutes,
        "p90_minutes": estimate.p90_minutes,
        "geodesic_km": estimate.geodesic_km,
        "road_km": estimate.road_km,
        "method": estimate.method,
        "reachable": estimate.reachable,
    }


def sentence_of(question: Question, estimate: TravelEstimate) -> str:
    """The answer for a person, with the window."""
    journey = (
        f"From {question.origin.name} to {question.destination.name} by {question.vehicle.value}"
    )
    straight = f"{estimate.geodesic_km:.1f} km in a straight line"
    if estimate.distribution is None or estimate.road_km is None:
        why = estimate.inputs.get("no_way")
        because = f": {why}" if why else ""
        return f"{journey}: no way is known{because} ({straight}; {estimate.method})."
    time = estimate.distribution
    steps = leg_words(estimate.inputs)
    return (
        f"{journey}: about {time.p50:.0f} min, in eight journeys of ten {time.p10:.0f} to "
        f"{time.p90:.0f} min; about {estimate.road_km:.1f} km of way, {straight} "
        f"({estimate.method})." + (f" {steps[0].upper()}{steps[1:]}." if steps else "")
    )


def district_of_code(code: str | None) -> District | None:
    """The district that a command names; raises the command's error where there is none."""
    if code is None:
        return None
    district = District.objects.filter(code__iexact=code).first()
    if district is None:
        known = similar(code, District.objects.values_list("code", flat=True))
        raise bad_input(f"there is no district {code!r}.{known}")
    return district
