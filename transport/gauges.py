"""Which cylinder a gauge reading is of, and what it shows again when the check was wrong."""

from datetime import timedelta

from transport import cylinders
from transport.calc.oxygen import GaugeUnit, in_unit, in_use
from transport.models import Check, Cylinder, Vehicle

ONE_CHECK = timedelta(minutes=5)
"""Answers of one person about one baby within this time are one check, and an answer changed
within it is a correction; later the baby may have changed. Common practice, no source."""


def read_off(made: Check) -> None:
    """Store what the gauge shows with the cylinder in use, in the unit of its own gauge.

    Nothing is stored when it was read later already, or before this vehicle was sent.
    """
    read, vehicle = _reading(made), _vehicle_then(made)
    if read is None or vehicle is None:
        return
    row = made.cylinder or _cylinder_in_use(made, vehicle, *read)
    if row is None or (row.read_at and row.read_at > made.checked_at):
        return
    if made.cylinder is None:
        made.cylinder, made.shown_before, made.read_before = row, row.shows, row.read_at
    row.read(in_unit(*read, GaugeUnit(row.gauge)), made.checked_at, made.checked_by)


def forget(wrong: Check) -> None:
    """The cylinder shows again what it showed before a check that was wrong, unless read since."""
    cylinder = wrong.cylinder
    if cylinder is None or cylinder.read_at != wrong.checked_at:
        return
    others = Check.objects.filter(transfer=wrong.transfer_id, cylinder=cylinder)
    others = others.exclude(pk=wrong.pk)
    newest = others.standing().filter(checked_at__lte=wrong.checked_at).last()
    if newest:
        read = _reading(newest)
        shown = in_unit(*read, GaugeUnit(cylinder.gauge)) if read else cylinder.shows
        cylinder.read(shown, newest.checked_at, newest.checked_by)
    else:
        first = others.filter(checked_at__lt=wrong.checked_at).first() or wrong
        cylinder.read(first.shown_before or 0.0, first.read_before, "")


def _reading(made: Check) -> tuple[float, GaugeUnit] | None:
    for name, pressure in made.gauges().items():
        return pressure, GaugeUnit(name.removeprefix("oxygen_"))
    return None


def _vehicle_then(made: Check) -> Vehicle | None:
    """The vehicle they were in at the time of a check; none where it is not known."""
    transfer = made.transfer
    met = transfer.moved_at_meeting()
    if met and met.moved_at and made.checked_at < met.moved_at:
        return met.first_vehicle
    sent_since = transfer.assigned_at and made.checked_at < transfer.assigned_at and not met
    return None if sent_since else transfer.vehicle


def _cylinder_in_use(
    made: Check, vehicle: Vehicle, pressure: float, unit: GaugeUnit
) -> Cylinder | None:
    """The cylinder in use; who reads again within the time of one check means the same one."""
    rows = cylinders.carried(vehicle)
    for row in rows:
        lately = row.read_at and made.checked_at - ONE_CHECK < row.read_at <= made.checked_at
        if lately and row.read_by == made.checked_by and row.gauge == unit:
            return row
    place = in_use(cylinders.bottles(rows), pressure, unit)
    return rows[place] if place is not None else None
