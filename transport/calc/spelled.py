"""The codes of journeys as they are read inside a sentence; see ``referrals/calc/spelled.py``."""

from referrals.calc.wording import marked

SPELLED = frozenset(
    {
        # Stages of a journey.
        marked("wanted"),
        marked("assigned"),
        marked("collecting"),
        marked("at origin"),
        marked("on the road"),
        marked("arrived"),
        marked("handed over"),
        marked("stood down"),
        # States of a vehicle.
        marked("free"),
        marked("busy"),
        marked("returning"),
        marked("out of service"),
        # Kinds of alerts.
        marked("went on"),
        marked("turned away"),
        marked("alone"),
        marked("arrival moved"),
        marked("arrival told"),
        marked("arrival suggested"),
        marked("band unchecked"),
        marked("check missed"),
        marked("collection overdue"),
        marked("departure overdue"),
        marked("handover unsigned"),
        marked("late note"),
        marked("list open"),
        marked("no vehicle"),
        marked("not accepted"),
        marked("not set off"),
        marked("oxygen short"),
        marked("road closed"),
        marked("off the way"),
        marked("past a limit"),
        marked("post silent"),
        marked("standing still"),
        marked("stopped"),
        marked("temperature missed"),
        marked("vehicle sent"),
        marked("vehicle silent"),
        marked("vehicle wanted"),
    }
)
