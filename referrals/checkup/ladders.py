"""The people: could every unit and every desk be reached, at every hour of the coming days?"""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from referrals import clock
from referrals.checkup.finding import Finding, caution, fault, good
from referrals.models import Contact, District
from referrals.on_call import LOOK_AHEAD, Team, teams_of

WAKES = {"voice"}
GAPS_NAMED = 3


def check_ladders() -> Iterator[Finding]:
    """Every team's ladder: empty, without an address, without a call, with hours nobody holds."""
    districts = District.objects.order_by("code")
    if not districts:
        yield fault(
            "ladders",
            "there is no district",
            why="nobody can be told anything",
            mend="manage.py import_district, or the admin pages",
        )
    for district in districts:
        now = clock.now()
        found = [
            finding for team in teams_of(district, now) for finding in _of_team(district, team)
        ]
        yield from found or [good("ladders", f"{district}: every team can be reached")]


def _of_team(district: District, team: Team) -> Iterator[Finding]:
    owner = team.unit or district
    name = f"{team.unit.code}" if team.unit else _("the desk of %s") % district
    subject = "ladder"
    contacts: list[Contact] = list(owner.contacts.select_related("staff"))
    if not contacts:
        yield fault(
            subject,
            f"{name} has no contacts",
            why="nobody there is told; the desk learns of it only when the time is up"
            if team.unit
            else "what nobody answers ends at a desk that nobody watches",
            mend="add contacts in the admin pages",
        )
        return
    lost = [str(c.staff) for c in contacts if c.channel != "screen" and not c.address]
    if lost:
        yield fault(
            subject,
            f"{name}: no number or mailbox for {', '.join(sorted(set(lost)))}",
            why="that step of the ladder reaches nobody",
            mend="add the phone or mailbox to the person",
        )
    gone = sorted({str(c.staff) for c in contacts if not c.staff.is_active})
    if gone:
        yield fault(
            subject,
            f"{name}: {', '.join(gone)} may no longer sign in",
            why="that step reaches somebody who can do nothing",
            mend="take them off the ladder",
        )
    if not WAKES & {contact.channel for contact in contacts}:
        yield caution(
            subject,
            f"{name} is never called by voice",
            why="an SMS does not wake a person at night",
            mend="add a contact by voice",
        )
    if len({contact.staff_id for contact in contacts}) < 2:
        yield caution(
            subject,
            f"{name} has one person only",
            why="when that one does not answer nobody else there is tried",
            mend="add a second person",
        )
    yield from _hours(district, name, team)


def _hours(district: District, name: str, team: Team) -> Iterator[Finding]:
    zone = ZoneInfo(district.time_zone)
    if not team.has_rota:
        yield caution(
            "rota",
            f"{name} has no rota",
            why="the ladder calls in its fixed order, whoever is on duty",
            mend="enter shifts in the admin pages",
        )
    elif team.gaps:
        first = [
            f"{gap.begins.astimezone(zone):%a %d.%m. %H:%M} to "
            f"{gap.ends.astimezone(zone):%a %d.%m. %H:%M}"
            for gap in team.gaps[:GAPS_NAMED]
        ]
        more = len(team.gaps) - len(first)
        yield fault(
            "rota",
            f"{name}: nobody on duty {'; '.join(first)}" + (f" and {more} more" if more else ""),
            why=f"in the coming {LOOK_AHEAD.days} days nobody is meant to answer then",
            mend="fill the shifts",
        )
