"""The one place where the state of a vehicle changes: sent, coming back, ready again."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from referrals import timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.calc.spelled import spelled
from referrals.calc.states import NotPossible
from referrals.calc.wording import marked, words
from referrals.models import Referral
from transport.models import Meeting, Transfer, Vehicle
from transport.models.vehicles import READY_STEPS


def vehicle_ready(
    by: By, vehicle: Vehicle, *, filled: bool = True, gauges: Mapping[str, float] | None = None
) -> Vehicle:
    """The escort is home, the cylinders are filled, the vehicle is clean: it is free again.

    Who said so stands on the timeline of the journey that it comes back from. ``gauges`` holds what
    the cylinders show, by label and in their own unit; the others are full if they were
    ``filled``, and keep their reading where nobody has written down what full is.

    Raises:
        NotPossible: ``busy``, or ``unknown_cylinder`` for a label that the vehicle does not carry.
        ImpossibleQuantity: for a pressure that cannot be.
    """
    with transaction.atomic():
        referral, vehicle = _held_with_journey(vehicle)
        if vehicle.state == "busy":
            raise NotPossible(
                words(
                    "%(vehicle)s is on a journey. It is free after the handover.",
                    vehicle=vehicle.name,
                ),
                code="busy",
            )
        before = {row.label: row.shows for row in vehicle.cylinders.all()}
        read = _read_gauges(vehicle, gauges or {}, by, filled=filled)
        if referral and vehicle.state == "returning":
            body = {"vehicle": vehicle.code, "filled": filled, "gauges": read, "before": before}
            timeline.append(referral, "vehicle_ready", by, body)
        set_state(vehicle, "free")
    return vehicle


def step_done(by: By, vehicle: Vehicle, step: str) -> Vehicle:
    """One of the three steps toward being ready again; with the last one the vehicle is free.

    With ``filled`` the gauges of its cylinders stand at full, where that is written down.

    Raises:
        NotPossible: ``unknown_step``; ``not_returning`` while it does not come back from anywhere.
    """
    _require_step(step)
    with transaction.atomic():
        referral, vehicle = _held_with_journey(vehicle)
        _require_returning(vehicle)
        if vehicle.steps_done()[step]:
            return vehicle
        before = {row.label: row.shows for row in vehicle.cylinders.all()}
        read = _read_gauges(vehicle, {}, by, filled=step == "filled")
        _write_steps(vehicle, {step: by.at})
        ready = all(vehicle.steps_done().values())
        if referral:
            gauges = {"gauges": read, "before": before} if read else {}
            body = {"vehicle": vehicle.code, "step": step, **gauges}
            timeline.append(referral, "vehicle_step", by, body)
        if referral and ready:
            whole = {"vehicle": vehicle.code, "filled": True, "gauges": {}, "before": {}}
            timeline.append(referral, "vehicle_ready", by, whole)
        if ready:
            set_state(vehicle, "free")
    return vehicle


def step_undone(by: By, vehicle: Vehicle, step: str) -> Vehicle:
    """That step was told by mistake; gauges show again what they showed before.

    Raises:
        NotPossible: ``unknown_step``; ``not_returning`` when the vehicle is free or sent since.
    """
    _require_step(step)
    with transaction.atomic():
        referral, vehicle = _held_with_journey(vehicle)
        _require_returning(vehicle)
        if not vehicle.steps_done()[step]:
            return vehicle
        read = _gauges_before(referral, vehicle, by) if referral and step == "filled" else {}
        _write_steps(vehicle, {step: None})
        if referral:
            body = {"vehicle": vehicle.code, "step": step, "gauges": read}
            timeline.append(referral, "vehicle_step_undone", by, body)
    return vehicle


def vehicle_not_ready(by: By, vehicle: Vehicle) -> Vehicle:
    """Called ready by mistake: it is on its way back again, until somebody says otherwise.

    Raises:
        NotPossible: ``busy``, when it was sent on a journey since.
    """
    with transaction.atomic():
        referral, vehicle = _held_with_journey(vehicle)
        if vehicle.state == "busy":
            raise NotPossible(
                _("%s was sent on a journey since. Take it back from there first.") % vehicle.name,
                code="busy",
            )
        if referral and vehicle.state == "free":
            read = _gauges_before(referral, vehicle, by)
            body = {"vehicle": vehicle.code, "gauges": read}
            timeline.append(referral, "vehicle_not_ready", by, body)
        set_state(vehicle, "returning")
    return vehicle


def hold(pk: int) -> Vehicle:
    """The vehicle's row, held until the transaction ends; the referral's is held before it."""
    return Vehicle.objects.select_for_update(of=("self",)).get(pk=pk)


def require_free(vehicle: Vehicle) -> None:
    """Refuse a vehicle that cannot be sent now, and say why (``vehicle_not_free``)."""
    if vehicle.state == "free":
        return
    busy = vehicle.transfers.live().select_related("referral").first()
    sentence = (
        marked(
            "%(vehicle)s is %(state)s for %(code)s. Choose another vehicle, or mark it ready when "
            "it is."
        )
        if busy
        else marked(
            "%(vehicle)s is %(state)s. Choose another vehicle, or mark it ready when it is."
        )
    )
    raise NotPossible(
        words(
            sentence,
            vehicle=vehicle.name,
            state=spelled(vehicle.state),
            code=busy.referral.code if busy else "",
        ),
        code="vehicle_not_free",
    )


def set_state(vehicle: Vehicle, state: str) -> None:
    """Write the state of a vehicle, inside the transaction of a verb.

    What was done to make it ready counts for one return only.
    """
    vehicle.state = state
    _write_steps(vehicle, dict.fromkeys(READY_STEPS), "state")


def _write_steps(vehicle: Vehicle, steps: Mapping[str, datetime | None], *also: str) -> None:
    for step, moment in steps.items():
        setattr(vehicle, f"{step}_at", moment)
    vehicle.save(update_fields=[*also, *(f"{step}_at" for step in steps)])


def _held_with_journey(vehicle: Vehicle) -> tuple[Referral | None, Vehicle]:
    """The referral it comes back from, then the vehicle, both held."""
    last = _last_journey(vehicle)
    referral = timeline.hold(last.referral_id) if last else None
    return referral, hold(vehicle.pk)


def _require_step(step: str) -> None:
    if step not in READY_STEPS:
        raise NotPossible(
            words("A step is one of: %(known)s.", known=", ".join(READY_STEPS)),
            code="unknown_step",
        )


def _require_returning(vehicle: Vehicle) -> None:
    if vehicle.state != "returning":
        raise NotPossible(
            words(
                "%(vehicle)s is %(state)s: it does not come back from a journey now.",
                vehicle=vehicle.name,
                state=spelled(vehicle.state),
            ),
            code="not_returning",
        )


def _last_journey(vehicle: Vehicle) -> Transfer | None:
    """The journey a vehicle comes back from, be it only part of one."""
    ended = vehicle.transfers.exclude(finished_at=None).order_by("-finished_at").first()
    parts = Meeting.objects.filter(
        Q(first_vehicle=vehicle, moved_at__isnull=False)
        | Q(vehicle=vehicle, ended_at__isnull=False)
    )
    part = parts.select_related("transfer").order_by("-set_at").first()
    if part and (ended is None or ended.finished_at is None or part.set_at > ended.finished_at):
        return part.transfer
    return ended


def _gauges_before(referral: Referral, vehicle: Vehicle, by: By) -> dict[str, float]:
    """Nobody has filled the cylinders: they show again what they showed before, unless read since.

    Returns the pressures by label.
    """
    said = referral.entries.filter(
        kind__in=("vehicle_ready", "vehicle_step"), body__vehicle=vehicle.code
    ).order_by("-seq")
    ready = next((entry for entry in said if entry.body.get("gauges")), None)
    if ready is None:
        return {}
    since = vehicle.cylinders.filter(read_at__gt=ready.corrected_at)
    read_since = set(since.values_list("label", flat=True))
    changed = set(ready.body.get("gauges", {})) - read_since
    before = {
        label: pressure
        for label, pressure in ready.body.get("before", {}).items()
        if label in changed
    }
    return _read_gauges(vehicle, before, by, filled=False)


def _read_gauges(
    vehicle: Vehicle, gauges: Mapping[str, float], by: By, *, filled: bool
) -> dict[str, float]:
    """Store what the cylinders hold, as told; returns the pressures by label."""
    rows = {row.label: row for row in vehicle.cylinders.order_by("label", "pk")}
    unknown = sorted(set(gauges) - set(rows))
    if unknown:
        raise NotPossible(
            words(
                "%(vehicle)s carries no cylinder %(label)s; it carries: %(known)s.",
                vehicle=vehicle.name,
                label=unknown[0],
                known=", ".join(rows) or "-",
            ),
            code="unknown_cylinder",
        )
    full = {label: row.full for label, row in rows.items() if filled and row.full is not None}
    read = {**full, **gauges}
    for label, pressure in read.items():
        require_possible(f"oxygen_{rows[label].gauge}", pressure)
        rows[label].read(pressure, by.at, by.name)
    return read
