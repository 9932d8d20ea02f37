"""Whom to reach: contacts of units, the desk and single people, as plain records for a ladder."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from referrals.calc.escalation import Ladder, Reach
from referrals.calc.rota import Turn
from referrals.models import Contact, District, Shift, Staff, Unit
from referrals.saying import for_the_record, to_tell


def ladder_of_unit(unit: Unit, begins: datetime) -> Ladder:
    """The contacts of a unit, step by step, for an alert that begins at a moment."""
    return Ladder(
        rungs=_rungs(unit.contacts.select_related("staff")),
        begins=begins,
        zone=ZoneInfo(unit.site.district.time_zone),
        turns=turns_by_name(unit.shifts.select_related("staff")),
    )


def ladder_of_desk(district: District, begins: datetime) -> Ladder:
    """The contacts of the district's desk, step by step; its screen is always on the first."""
    screen = Reach(
        name=for_the_record(to_tell("%(district)s desk", district=district.name)),
        username="",
        channel="screen",
        address="desk",
    )
    rungs = _rungs(district.contacts.select_related("staff"))
    return Ladder(
        rungs=[[screen, *(rungs[0] if rungs else [])], *rungs[1:]],
        begins=begins,
        zone=ZoneInfo(district.time_zone),
        turns=turns_by_name(district.shifts.select_related("staff")),
    )


def turns_by_name(shifts: Iterable[Shift]) -> dict[str, list[Turn]]:
    """The shifts of each person of one team, by user name."""
    found: dict[str, list[Turn]] = defaultdict(list)
    for shift in shifts:
        found[shift.staff.username].append(shift.turn)
    return dict(found)


def reach_person(staff: Staff) -> list[Reach]:
    """Every quiet way to one person: by SMS where a phone is known, else by e-mail."""
    ways = []
    if staff.phone:
        ways.append(("sms", staff.phone.as_e164))
    elif staff.email:
        ways.append(("email", staff.email))
    return [
        Reach(
            name=str(staff),
            username=staff.username,
            channel=channel,
            address=address,
            language=staff.language,
        )
        for channel, address in ways
    ]


def _rungs(contacts: Iterable[Contact]) -> list[list[Reach]]:
    by_step: dict[int, list[Reach]] = defaultdict(list)
    for contact in contacts:
        by_step[contact.step].append(
            Reach(
                name=str(contact.staff),
                username=contact.staff.username,
                channel=contact.channel,
                address=contact.address,
                language=contact.staff.language,
            )
        )
    return [by_step[step] for step in sorted(by_step)]
