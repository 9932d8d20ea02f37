"""Whom to reach: contacts of units, the desk and single people, as plain records for a ladder."""

from collections import defaultdict
from collections.abc import Iterable

from referrals.calc.escalation import Reach
from referrals.models import Contact, District, Staff, Unit


def rungs_of_unit(unit: Unit) -> list[list[Reach]]:
    """The contacts of a unit, step by step."""
    return _rungs(unit.contacts.select_related("staff"))


def rungs_of_desk(district: District) -> list[list[Reach]]:
    """The contacts of the district's desk, step by step; its screen is always on the first."""
    screen = Reach(name=f"{district.name} desk", username="", channel="screen", address="desk")
    rungs = _rungs(district.contacts.select_related("staff"))
    return [[screen, *(rungs[0] if rungs else [])], *rungs[1:]]


def reach_person(staff: Staff) -> list[Reach]:
    """Every quiet way to one person: by SMS where a phone is known, else by e-mail."""
    ways = []
    if staff.phone:
        ways.append(("sms", staff.phone.as_e164))
    elif staff.email:
        ways.append(("email", staff.email))
    return [
        Reach(name=str(staff), username=staff.username, channel=channel, address=address)
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
            )
        )
    return [by_step[step] for step in sorted(by_step)]
