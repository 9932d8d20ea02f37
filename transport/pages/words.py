"""Words of the desk and the driver's page, each translatable, each in one place.

The words for codes of the record stand in ``referrals/labels.py``.
"""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from referrals.calc.spelled import spelled

Words = Mapping[str, str | Promise]

MILESTONE_BUTTONS: Words = {
    "collecting": _("I have set off"),
    "at_origin": _("I am at the post"),
    "on_the_road": _("We leave with mother and baby"),
    "arrived": _("We have arrived"),
}
"""What the driver presses; first person, because the driver says it."""

MEETING_BUTTONS: Words = {
    "at_origin": _("I am at the meeting place"),
    "on_the_road": _("Mother and baby are with us: we leave"),
}
"""What the second driver presses instead, before the baby has moved over."""

MEETING_TOLD: Words = {
    "second_left": _("the second vehicle has set off"),
    "first_there": _("the first vehicle is at the meeting place"),
    "second_there": _("the second vehicle is at the meeting place"),
}

MEETING_STEPS_ASKED: Words = {
    **MEETING_TOLD,
    "moved_over": _("mother and baby are in the second vehicle"),
    "drive_on": _("it does not come: the first vehicle drives on"),
    "not_there": _("the first vehicle is not there: that was a mistake"),
    "not_moved": _("they have not moved over: that was a mistake"),
}
"""What the desk writes down for the drivers."""

MILESTONES_TOLD: Words = {
    "collecting": _("set off"),
    "at_origin": _("reached the post"),
    "on_the_road": _("left with mother and baby"),
    "arrived": _("arrived at the unit"),
}

STAGES: Words = {
    "wanted": _("no vehicle yet"),
    "assigned": _("vehicle sent, has not set off"),
    "collecting": _("on its way to the baby"),
    "at_origin": _("at the post"),
    "on_the_road": _("on the road with the baby"),
    "arrived": _("at the unit, not signed over"),
    "handed_over": _("handed over"),
    "stood_down": _("the journey has ended"),
}

SEGMENTS: Words = {
    "before": _("born"),
    "asking": _("asking units"),
    "placed": _("placed"),
    "wanted": _("no vehicle"),
    "assigned": _("sent"),
    "collecting": _("coming"),
    "at_origin": _("at the post"),
    "on_the_road": _("on the road"),
    "arrived": _("at the unit"),
}
"""Short labels that fit into a segment of the ribbon."""

VEHICLE_STATES: Words = {
    "free": _("free"),
    "busy": _("on a journey"),
    "returning": _("on its way back, not ready"),
    "out_of_service": _("out of service"),
}

READY_STEPS_ASKED: Words = {
    "escort_home": _("The escort is home"),
    "filled": _("The cylinders are filled"),
    "clean": _("The vehicle is clean"),
}
"""What is pressed, by desk or driver, until a vehicle is free again."""

READY_STEPS_DONE: Words = {
    "escort_home": _("the escort of %s is home"),
    "filled": _("the cylinders of %s are filled"),
    "clean": _("%s is clean"),
}

STOP_REASONS: Words = {
    "baby": _("the baby needs care"),
    "oxygen": _("oxygen"),
    "road": _("the road is blocked"),
    "vehicle": _("the vehicle"),
    "other": _("another reason"),
}
"""Why a driver stops: short, to be pressed and not typed."""

CLOSURE_KINDS: Words = {
    "road": _("a road"),
    "bridge": _("a bridge"),
    "landing": _("a landing"),
}

CLOSURE_CHANGES: Words = {
    "reported": _("reported closed"),
    "lifted": _("reported open again"),
    "ended": _("closed no longer: the time given is over"),
}

QUARTERS: Words = {
    "n": _("north of"),
    "ne": _("north-east of"),
    "e": _("east of"),
    "se": _("south-east of"),
    "s": _("south of"),
    "sw": _("south-west of"),
    "w": _("west of"),
    "nw": _("north-west of"),
}
"""On which side of a known place something is."""

CALL_GROUPS: Words = {
    "post": _("The post"),
    "units": _("Units"),
    "vehicles": _("Vehicles and who drives them"),
    "desk": _("The desk's own people"),
    "outside": _("Outside the district"),
}

OTHER_CHANNELS: Words = {
    "voice": _("voice call"),
    "sms": _("SMS"),
    "email": _("e-mail"),
    "screen": _("screen"),
    "call": _("missed call"),
    "page": _("page"),
    "api": _("other system"),
}


def word(table: Words, code: str) -> str:
    """The word for a code; one that is not in the table is shown as it is, never hidden."""
    return str(table[code]) if code in table else spelled(code)
