"""Who is on call in a district now, and when in the coming days nobody would be."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain
from zoneinfo import ZoneInfo

from referrals.calc.rota import Span, duty_at, gaps
from referrals.contacts import turns_by_name
from referrals.models import Contact, District, Shift, Staff, Unit

LOOK_AHEAD = timedelta(days=7)


@dataclass(frozen=True)
class OnDuty:
    """One person, and until when."""

    staff: Staff
    until: datetime


@dataclass(frozen=True)
class Team:
    """The desk (``unit`` is None) or a unit: who of its ladder is on duty, and the gaps ahead."""

    unit: Unit | None
    has_rota: bool
    on_duty: list[OnDuty]
    gaps: list[Span]


def teams_of(district: District, now: datetime) -> list[Team]:
    """The desk first, then every unit by code; only people of the ladders count."""
    zone = ZoneInfo(district.time_zone)
    units = Unit.objects.filter(site__district=district).select_related("site").order_by("code")
    units = units.prefetch_related("contacts__staff", "shifts__staff")
    desk = (district.contacts.select_related("staff"), district.shifts.select_related("staff"))
    teams = [_team(None, *desk, zone, now)]
    return teams + [_team(u, u.contacts.all(), u.shifts.all(), zone, now) for u in units]


def first_at_desk(district: District, now: datetime) -> tuple[Staff | None, bool]:
    """Who answers for the desk now: the first of its ladder on duty by the rota, and True.

    Where nobody of it is on duty, the first of the ladder, and False.
    """
    contacts = list(district.contacts.select_related("staff"))
    shifts = district.shifts.select_related("staff")
    team = _team(None, contacts, shifts, ZoneInfo(district.time_zone), now)
    on_duty = {each.staff.pk for each in team.on_duty}
    people = [contact.staff for contact in contacts]
    here = next((staff for staff in people if staff.pk in on_duty), None)
    return (here, True) if here else (next(iter(people), None), False)


def _team(
    unit: Unit | None,
    contacts: Iterable[Contact],
    shifts: Iterable[Shift],
    zone: ZoneInfo,
    now: datetime,
) -> Team:
    people = {contact.staff.username: contact.staff for contact in contacts}
    every_shift = list(shifts)
    turns = turns_by_name(shift for shift in every_shift if shift.staff.username in people)
    if not every_shift:
        return Team(unit, has_rota=False, on_duty=[], gaps=[])
    held = {name: duty_at(of_one, zone, now) for name, of_one in turns.items()}
    on_duty = [OnDuty(people[name], span.ends) for name, span in held.items() if span]
    ahead = gaps(chain.from_iterable(turns.values()), zone, now, now + LOOK_AHEAD)
    return Team(unit, has_rota=True, on_duty=on_duty, gaps=ahead)
