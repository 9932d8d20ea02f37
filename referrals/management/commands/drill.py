"""``manage.py drill``: who really answers tonight, and how fast?"""

import time
from datetime import timedelta
from typing import Any

from django.core.management.base import CommandParser

from referrals import clock, drilling
from referrals.contacts import ladder_of_desk, ladder_of_unit
from referrals.drilling import Tried
from referrals.management.answers import AnswerCommand, bad_input, fault_found, similar
from referrals.models import District, Unit

LOOK_EVERY_SECONDS = 1.0
SAY_EVERY_SECONDS = 30.0


class Command(AnswerCommand):
    """Send a test alert to the people on call, marked as a drill, and wait for their answers."""

    help = (
        "Tell the people on call of the desk and of every unit (or of those named) by their real "
        "channels that this is a drill, and say who answered and how fast. Exit 1 if a team did "
        "not answer. Ctrl-C ends the drill; nobody is rung about it after that."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Which teams, and for how long."""
        parser.add_argument("teams", nargs="*", metavar="TEAM", help="unit code, or desk")
        parser.add_argument("--district", metavar="CODE", help="needed where there are several")
        parser.add_argument(
            "--minutes", type=float, default=15.0, metavar="M", help="wait so long (default 15)"
        )
        parser.add_argument("--preview", action="store_true", help="say who would be told first")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Begin, wait, end, then answer."""
        if options["minutes"] <= 0:
            raise bad_input("--minutes is more than 0.")
        owners = _owners(_district(options["district"]), options["teams"])
        if options["preview"]:
            body = [_who_first(owner) for owner in owners]
            lines = [f"{one['team']}: {', '.join(one['first'])}" for one in body]
            self.answer({"teams": body}, as_json=options["json"], text="\n".join(lines))
            return
        tried = self._drill(owners, timedelta(minutes=options["minutes"]))
        self.answer(
            {"teams": [_result(one) for one in tried]},
            as_json=options["json"],
            text="\n".join(_sentence(one) for one in tried),
        )
        if any(one.seconds is None for one in tried):
            raise fault_found()

    def _drill(self, owners: list[Unit | District], minutes: timedelta) -> list[Tried]:
        begun = said = time.monotonic()
        tried = drilling.begin(owners, clock.now())
        try:
            while True:
                tried = drilling.go_on(tried, clock.now())
                waiting = [one.team for one in tried if one.seconds is None]
                gone = time.monotonic() - begun
                if not waiting or gone >= minutes.total_seconds():
                    break
                if time.monotonic() - said >= SAY_EVERY_SECONDS or said == begun:
                    said = time.monotonic()
                    self.note(f"{gone:.0f} s: waiting for {', '.join(waiting)}")
                time.sleep(LOOK_EVERY_SECONDS)
        except KeyboardInterrupt:
            self.note("the drill was stopped")
        finally:
            drilling.end(tried, clock.now())
        return tried


def _district(code: str | None) -> District:
    every = District.objects.order_by("code")
    if code is None:
        if every.count() != 1:
            codes = ", ".join(every.values_list("code", flat=True)) or "none"
            raise bad_input(f"name a district with --district; there is {codes}.")
        return every.get()
    found = every.filter(code__iexact=code).first()
    if found is None:
        known = similar(code, every.values_list("code", flat=True))
        raise bad_input(f"there is no district {code}.{known}")
    return found


def _owners(district: District, teams: list[str]) -> list[Unit | District]:
    units = {
        unit.code.lower(): unit
        for unit in Unit.objects.filter(site__district=district)
        .select_related("site__district")
        .order_by("code")
    }
    if not teams:
        return [district, *units.values()]
    owners: list[Unit | District] = []
    for team in dict.fromkeys(one.lower() for one in teams):
        if team != "desk" and team not in units:
            known = similar(team, ["desk", *(unit.code for unit in units.values())])
            raise bad_input(f"there is no unit {team}.{known}")
        owners.append(district if team == "desk" else units[team])
    return owners


def _who_first(owner: Unit | District) -> dict[str, Any]:
    now = clock.now()
    at_desk = isinstance(owner, District)
    ladder = ladder_of_desk(owner, now) if isinstance(owner, District) else None
    reach = (ladder or ladder_of_unit(owner, now)).rung(0, 0)  # type: ignore[arg-type]
    return {
        "team": "desk" if at_desk else owner.code,
        "first": [f"{one.name} by {one.channel}" for one in reach],
    }


def _result(tried: Tried) -> dict[str, Any]:
    alert = tried.alert
    return {
        "team": tried.team,
        "raised_at": alert.raised_at.isoformat(),
        "answered_by": alert.acknowledged_by or None,
        "answered_by_way_of": alert.acknowledged_channel or None,
        "seconds": tried.seconds,
        "step": alert.step,
        "messages": [
            {
                "to": message.contact_name,
                "channel": message.channel,
                "state": message.state,
                "error": message.error,
            }
            for message in drilling.messages_of(tried)
        ],
    }


def _sentence(tried: Tried) -> str:
    sent = drilling.messages_of(tried)
    lost = [f"{one.contact_name} by {one.channel}: {one.error}" for one in sent if one.error]
    words = f"; not reached: {'; '.join(lost)}" if lost else ""
    if tried.seconds is None:
        return f"{tried.team}: NOBODY answered, {len(sent)} messages{words}"
    who = f"{tried.alert.acknowledged_by} by {tried.alert.acknowledged_channel}"
    return f"{tried.team}: {who} after {tried.seconds:.0f} s, {len(sent)} messages{words}"
