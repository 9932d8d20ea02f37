"""Codes as they are read inside a sentence: ``no_cot`` is 'no cot', in the reader's language.

Where a list of choices is shown the fuller words of ``referrals/labels.py`` stand instead.
"""

from referrals.calc.wording import marked, words

SPELLED = frozenset(
    {
        # Stages of a referral and of a question.
        marked("raised"),
        marked("asking"),
        marked("placed"),
        marked("closed"),
        marked("open"),
        marked("accepted"),
        marked("declined"),
        marked("lapsed"),
        marked("withdrawn"),
        # Reasons of a unit that cannot take the baby.
        marked("no cot"),
        marked("no staff"),
        marked("no equipment"),
        marked("no oxygen"),
        marked("no power"),
        marked("beyond our level"),
        marked("other"),
        # Endings.
        marked("handed over"),
        marked("recovered"),
        marked("family declined"),
        marked("died before departure"),
        marked("died on the way"),
        marked("placed elsewhere"),
        marked("raised in error"),
        # Care.
        marked("bag and mask"),
        marked("thermal care"),
        marked("oxygen"),
        marked("intravenous fluids"),
        marked("CPAP"),
        marked("ventilator"),
        marked("surgery"),
        marked("obstetric emergency care"),
        # Kinds of alerts.
        marked("confirmed"),
        marked("drill"),
        marked("joined"),
        marked("link"),
        marked("needs more"),
        marked("nobody can take"),
        marked("not reached"),
        marked("not reconfirmed"),
        marked("outcome"),
        marked("outcome not told"),
        marked("not examined"),
        marked("perhaps twice"),
        marked("question"),
        marked("reception changed"),
        marked("still ready"),
        marked("unanswered"),
        marked("unit closed"),
        marked("unplaced"),
        marked("another baby"),
        marked("baby added"),
        marked("cot missing"),
        marked("answer"),
        marked("call back"),
        marked("comes no more"),
        marked("in charge"),
        marked("put right"),
        marked("cold"),
        marked("breathes worse"),
        marked("no heartbeat"),
        # Rules of need.
        marked("nothing known"),
        marked("breathing not known"),
        marked("not breathing"),
        marked("slow or gasping"),
        marked("being ventilated"),
        marked("on ventilator"),
        marked("on cpap"),
        marked("heart under 60"),
        marked("heart 60 to 99"),
        marked("heart over 180"),
        marked("short of oxygen despite oxygen"),
        marked("spo2 low"),
        marked("blue or pale"),
        marked("breathing difficulty"),
        marked("on oxygen"),
        marked("ventilated over a minute"),
        marked("convulsions"),
        marked("no response"),
        marked("weak response"),
        marked("under 1000 g or 28 weeks"),
        marked("under 1500 g or 32 weeks"),
        marked("under 1800 g or 34 weeks"),
        marked("severe cold"),
        marked("moderate cold"),
        marked("mild cold"),
        marked("hot"),
        marked("glucose very low"),
        marked("glucose low"),
        marked("six hours from birth"),
        marked("mother heavy bleeding"),
        marked("mother placenta"),
        marked("mother not awake"),
        marked("mother pressure low"),
        marked("mother pressure high"),
        # Ways to reach somebody.
        marked("sms"),
        marked("voice"),
        marked("email"),
        marked("screen"),
    }
)
"""Every code that a sentence may hold; those of journeys stand in ``transport/calc/spelled.py``."""


def plain(code: str) -> str:
    """A code without its underscores, in capitals where it is written so; not translated."""
    return "CPAP" if code == "cpap" else code.replace("_", " ")


def spelled(code: str) -> str:
    """The words of a code in the language active now; one that nobody marked stays as it is."""
    return words(plain(code))
