"""P6: the desk's snapshot of 5,000 open journeys as JSON.

The baselines read the same 5,000 journeys: JSON that the database builds from its tables, and the
stored bodies put together without looking at them.
"""

import json
from datetime import datetime, timedelta
from typing import Any

import common
from common import Line

OPEN = 5_000
ALERTS = 250


def measure() -> list[Line]:
    """All lines of one database."""
    common.setup()
    from django.db import connection

    from referrals import clock
    from transport import desk

    now = clock.now()
    district = make_journeys(now)
    shown = desk.open_rows(district, now)
    assert len(shown) == OPEN + 1, len(shown)
    built = BUILT[connection.vendor]
    assert len(json.loads(_one_text(built, district.pk))) == OPEN + 1

    def snapshot() -> bytes:
        return json.dumps(desk.open_rows(district, now)).encode()

    def built_by_database() -> bytes:
        return _one_text(built, district.pk).encode()

    def stored_bodies() -> bytes:
        return _stored(district.pk)

    with common.queries_counted() as counted:
        desk.open_rows(district, now)
    whole, database, stored = (
        common.median(each)
        for each in common.side_by_side(
            snapshot, built_by_database, stored_bodies, times=common.repeats(25)
        )
    )
    sizes = [len(each()) / 1e6 for each in (snapshot, built_by_database, stored_bodies)]
    return [
        Line(
            what=f"P6 snapshot of {OPEN:,} / JSON built by the database",
            measured=whole, baseline=database, at_most=1.5,
            note=f"{sizes[0]:.1f} / {sizes[1]:.1f} MB, {counted[0]} queries",
        ),
        Line(
            what="   the same / stored bodies joined", measured=whole, baseline=stored,
            note=f"{sizes[2]:.1f} MB",
        ),
    ]  # fmt: skip


def make_journeys(now: datetime) -> Any:
    """One journey told from beginning to end of the road, and 5,000 rows like it."""
    from world import a_journey

    from fixtures_demo.load import load_district
    from referrals.models import Referral, Unit
    from transport import desk, tracking
    from transport.calc.stages import TransferStage

    district = load_district(now)
    begun = now - timedelta(minutes=50)
    journey = a_journey(begun, Unit.objects.get(code="ORL-NB"), stage=TransferStage.ON_THE_ROAD)
    fix = tracking.PositionTold(key="k", happened_at=now, latitude=-22.4, longitude=85.9)
    tracking.record(journey, [fix], received_at=now)
    desk.make_row(Referral.objects.select_related("district", "origin").get(
        pk=journey.referral_id), now)  # fmt: skip
    _copies(journey, now)
    return district


def _copies(journey: Any, now: datetime) -> None:
    """Rows like those of one journey, written in bulk: every table that a snapshot may read."""
    from referrals.models import Baby, Offer, Referral
    from transport.models import DeskRow, Position, Transfer, Vehicle

    like, numbers = journey.referral, range(OPEN)
    vehicles = Vehicle.objects.bulk_create(
        _like(journey.vehicle, code=f"copy-{n}", name=f"Vehicle {n}") for n in numbers
    )
    referrals = Referral.objects.bulk_create(_like(like, code=f"B{n:06}") for n in numbers)
    babies, offer, fix = like.babies.get(), like.offers.get(), journey.positions.get()
    Baby.objects.bulk_create(_like(babies, referral=each) for each in referrals)
    Offer.objects.bulk_create(_like(offer, referral=each) for each in referrals)
    transfers = Transfer.objects.bulk_create(
        _like(journey, referral=referral, vehicle=vehicle)
        for referral, vehicle in zip(referrals, vehicles, strict=True)
    )
    Position.objects.bulk_create(_like(fix, transfer=each) for each in transfers)
    row = DeskRow.objects.get(referral=like)
    DeskRow.objects.bulk_create(
        _like(row, referral=each, body=row.body | {"code": each.code}) for each in referrals
    )
    _alerts(referrals[:: OPEN // ALERTS], now)


def _alerts(referrals: list[Any], now: datetime) -> None:
    from referrals.models import Alert

    Alert.objects.bulk_create(
        Alert(
            key=f"copy:{each.pk}", kind="check_overdue", district=each.district, referral=each,
            sentence="No check of the baby for 25 minutes.", message="Check overdue",
            urgency=each.urgency, needs_answer=True, for_desk=True, plan=[], raised_at=now,
        )
        for each in referrals
    )  # fmt: skip


def _like(row: Any, **other: Any) -> Any:
    values = {field.attname: getattr(row, field.attname) for field in row._meta.fields}
    del values[row._meta.pk.attname]
    for name in other:
        values.pop(f"{name}_id", None)
        values.pop(name, None)
    return type(row)(**values, **other)


def _one_text(query: str, district_id: int) -> str:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(query, [district_id])
        return str(cursor.fetchone()[0])


def _stored(district_id: int) -> bytes:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT CAST(body AS text) FROM transport_deskrow"
            " WHERE district_id = %s AND is_open ORDER BY sort_at",
            [district_id],
        )
        return ("[" + ",".join(row[0] for row in cursor) + "]").encode()


_TABLES = """
FROM referrals_referral r
JOIN referrals_site s ON s.id = r.origin_id
LEFT JOIN transport_transfer t ON t.referral_id = r.id
LEFT JOIN transport_vehicle v ON v.id = t.vehicle_id
LEFT JOIN referrals_unit u ON u.id = t.destination_id
WHERE r.district_id = %s AND r.stage <> 'closed'
"""
_FIELDS = """
'id', r.id, 'code', r.code, 'site', s.name, 'site_phone', s.phone, 'stage', r.stage,
'urgency', r.urgency, 'alone', r.alone, 'raised_at', r.raised_at, 'closed_at', r.closed_at,
'transfer', t.id, 'transfer_stage', t.stage, 'vehicle', v.name, 'driver', t.driver_name,
'driver_phone', t.driver_phone, 'unit', u.name, 'unit_phone', u.phone,
'wanted', t.wanted_at, 'assigned', t.assigned_at, 'collecting', t.collecting_at,
'at_origin', t.at_origin_at, 'on_the_road', t.on_the_road_at, 'arrived', t.arrived_at,
'window', t."window", 'last_fix_at', t.last_fix_at
"""
_BABY = "'birth_order', b.birth_order, 'born_at', b.born_at, 'ventilated', b.ventilated_since"
_OFFER = "'id', o.id, 'unit', ou.name, 'stage', o.stage, 'asked_at', o.asked_at"
_FIX = "'at', p.recorded_at, 'latitude', p.latitude, 'longitude', p.longitude"
_BABIES = "FROM referrals_baby b WHERE b.referral_id = r.id"
_OFFERS = (
    "FROM referrals_offer o JOIN referrals_unit ou ON ou.id = o.unit_id WHERE o.referral_id = r.id"
)
_NEWEST_FIX = (
    "FROM transport_position p WHERE p.transfer_id = t.id ORDER BY p.recorded_at DESC LIMIT 1"
)


def _built(make: str, gather: str) -> str:
    """One statement that answers with the whole list as JSON."""
    babies = f"(SELECT {gather}({make}({_BABY})) {_BABIES})"
    offers = f"(SELECT {gather}({make}({_OFFER})) {_OFFERS})"
    fix = f"(SELECT {make}({_FIX}) {_NEWEST_FIX})"
    beside = f"'babies', {babies}, 'offers', {offers}, 'fix', {fix}"
    return f"SELECT CAST({gather}({make}({_FIELDS}, {beside})) AS text) {_TABLES}"


BUILT = {
    "sqlite": _built("json_object", "json_group_array"),
    "postgresql": _built("json_build_object", "json_agg"),
}

if __name__ == "__main__":
    common.main(measure, "Desk snapshot")
