"""The words of our own short language for an SMS typed on a keypad, each in one place.

Plain English words for the facts of ``terms.py`` and ``quantities.py``; order, case and punctuation
do not matter. What a word means is a list of slots and values; a slot is a field of the record, or
one of the helpers that ``folding.py`` resolves (``support`` with a bag, ``gas``).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    DeclineReason,
    HeartRateBand,
    Placenta,
    Response,
    Support,
)

Meaning = tuple[tuple[str, Any], ...]
MOTHER_SLOTS = frozenset({"bleeding", "placenta", "consciousness", "systolic_mmhg",
                          "diastolic_mmhg"})  # fmt: skip


def _is(slot: str, value: Any) -> Meaning:
    return ((slot, value),)


_VENTILATED = _is("breathing", Breathing.VENTILATED.value)
BAG = "bag"
"""Bag and mask, before it is known whether with air or oxygen."""
_BAGGING: Meaning = (*_VENTILATED, ("support", BAG))
_NO_BREATH = _is("breathing", Breathing.NONE.value)
_NO_HEART = _is("heart_rate_band", HeartRateBand.NONE_DETECTED.value)
_PLACENTA_IN = _is("placenta", Placenta.NOT_DELIVERED.value)

_PHRASES: dict[str, Meaning] = {
    # How the baby breathes. "breath" alone is the name of a number, so that no unread word beside
    # it ("breath bad") can turn into "breathes well".
    "vent|vented|ventilated|ventilating|bagged": _VENTILATED,
    "breath ok|breath good|breath well|breath regular|breathes well|breathing well|regular":
        _is("breathing", Breathing.REGULAR.value),
    "gasp|gasps|gasping|breath slow|breath gasp|breath gasping|slow breath":
        _is("breathing", Breathing.SLOW_OR_GASPING.value),
    "no breath|not breath|breath no|breath none|nobreath|breath stopped": _NO_BREATH,
    # What helps.
    "bag|bagging|mask|bag mask|bag and mask": _BAGGING,
    "oxygen|o2": _is("gas", "oxygen"),
    "air": _is("gas", "air"),
    "prongs|prong": _is("support", Support.OXYGEN_BY_PRONGS.value),
    "cpap": _is("support", Support.CPAP.value),
    "machine|ventilator": (*_VENTILATED, ("support", Support.VENTILATOR.value)),
    "nohelp|no help|no support": _is("support", Support.NONE.value),
    # Heart, colour, answer to touch, chest, convulsions.
    "no heart|no heartbeat|no hr|hr no|hr none|noheart": _NO_HEART,
    "hr under 60|hr below 60|hr < 60": _is("heart_rate_band", HeartRateBand.UNDER_60.value),
    "hr 60-99|hr 60-100": _is("heart_rate_band", HeartRateBand.FROM_60_TO_99.value),
    "hr over 100|hr above 100|hr > 100|hr >= 100":
        _is("heart_rate_band", HeartRateBand.AT_LEAST_100.value),
    "pink": _is("colour", Colour.PINK.value),
    "blue hands|hands blue|bluehands": _is("colour", Colour.BLUE_HANDS_AND_FEET.value),
    "blue|pale": _is("colour", Colour.BLUE_OR_PALE.value),
    "strong|vigorous": _is("response", Response.VIGOROUS.value),
    "weak": _is("response", Response.WEAK.value),
    "limp|no response|noresponse": _is("response", Response.NONE.value),
    "chest yes|chest up|chest moves": _is("chest_moving", True),
    "no chest|chest no|chest still": _is("chest_moving", False),
    "fits yes|fits|fit|convulsions": _is("convulsions", True),
    "no fits|fits no|nofits|no convulsions": _is("convulsions", False),
    "girl": _is("sex", "girl"),
    "boy": _is("sex", "boy"),
    # The mother.
    "bleeding heavy|bleeding yes|bleeding|bleeds|bleed": _is("bleeding", Bleeding.HEAVY.value),
    "no bleeding|bleeding no|bleeding ok|bleeding usual|nobleeding":
        _is("bleeding", Bleeding.NONE_OR_USUAL.value),
    "placenta out|placenta ok": _is("placenta", Placenta.DELIVERED.value),
    "placenta part|placenta parts": _is("placenta", Placenta.INCOMPLETE.value),
    "placenta in|placenta no|no placenta|placenta not out": _PLACENTA_IN,
    "awake": _is("consciousness", Consciousness.AWAKE.value),
    "drowsy": _is("consciousness", Consciousness.DROWSY.value),
    "unresponsive": _is("consciousness", Consciousness.UNRESPONSIVE.value),
    # The call itself, and who is there.
    "help": _is("calls", True),
    "new|another": _is("new", True),
    "twins": _is("babies", 2),
    "triplets": _is("babies", 3),
    "onlyme|only me": _is("alone", True),
    "correct|correction|fix": _is("corrects", True),
    # What a driver says, as in ``transport/calc/stages.py``.
    "coming|set off|setoff|collecting": _is("milestone", "collecting"),
    "at post|atpost": _is("milestone", "at_origin"),
    "on road|onroad|on the road|left post|leftpost": _is("milestone", "on_the_road"),
    "at unit|atunit|at hospital": _is("milestone", "arrived"),
}  # fmt: skip

PHRASES: dict[tuple[str, ...], Meaning] = {
    tuple(phrase.split()): meaning
    for phrases, meaning in _PHRASES.items()
    for phrase in phrases.split("|")
}
LONGEST_PHRASE = max(map(len, PHRASES))


@dataclass(frozen=True)
class Measure:
    """A number of the record: its names, the units that may follow, whether it has decimals.

    A number with one of ``alone`` behind it needs no name.
    """

    slot: str
    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    alone: tuple[str, ...] = ()
    whole: bool = False


MEASURES = (
    Measure("heart_rate", ("hr", "heart", "pulse"), ("bpm", "min"), ("bpm",), whole=True),
    Measure("respiratory_rate", ("breath", "breaths", "breathes", "breathing", "rr"), ("min",),
            whole=True),
    Measure("temperature_c", ("temp", "temperature", "tmp"), ("c",), ("c",)),
    Measure("spo2", ("sat", "sats", "spo2", "saturation"), ("%",), whole=True),
    Measure("oxygen_flow_l_min", ("flow",), ("l", "lpm", "litres", "min"), ("l", "lpm", "litres")),
    Measure("fio2", ("fio2",), ("%",)),
    Measure("weight_g", ("weight", "wt", "weighs"), ("g", "kg", "gram", "grams", "kilo"),
            ("g", "kg", "gram", "grams", "kilo")),
    Measure("gestation_weeks", ("weeks", "week", "wk", "wks", "gestation"),
            ("weeks", "week", "wk", "wks"), ("weeks", "week", "wk", "wks")),
    Measure("glucose", ("sugar", "glucose"), ("mg", "mmol"), ()),
    Measure("pressure", ("bp", "pressure")),
    Measure("oxygen_bar", ("gauge", "bar"), ("bar", "psi"), ("bar", "psi"), whole=True),
    Measure("born", ("born", "age"), ("min", "mins", "m", "h", "hours", "hour", "d", "days", "day"),
            ()),
    Measure("ventilated_since", ("since",)),
    Measure("position", ("pos", "position", "gps")),
)  # fmt: skip
BY_NAME: Mapping[str, Measure] = {name: each for each in MEASURES for name in each.names}
BY_UNIT: Mapping[str, Measure] = {unit: each for each in MEASURES for unit in each.alone}
UNITS = frozenset(unit for each in MEASURES for unit in each.units)
MINUTES_OF = {"h": 60.0, "hour": 60.0, "hours": 60.0, "d": 1440.0, "day": 1440.0, "days": 1440.0}

BABY, MOTHER = "baby", "mother"
SECTIONS = {"baby": BABY, "babies": BABY, "newborn": BABY, "mother": MOTHER, "mum": MOTHER}
NEGATIONS = frozenset({"no", "not", "none", "never", "without"})
GUESSES = frozenset({"about", "guess", "guessed"})
FILLERS = frozenset(
    {"and", "the", "is", "a", "an", "of", "with", "has", "please", "pls", "now", "i", "we"}
)
"""Words that carry no fact; everything else that is not understood is named."""

GRAVE = frozenset(
    {"died", "dead", "death", "dies", "dying", "stillborn", "cancel", "cancelled", "stop",
     "stopped", "mistake", "error", "wrong", "divert", "diverted", "recovered", "refuse",
     "refused", "refuses", "declined", "handover", "handed", "end", "ended", "close", "closed"}
)  # fmt: skip
"""Words about what an SMS alone never does: they are kept, and a person at the desk rings."""

AFTER_BREATH = frozenset({"weak", "bad", "poor", "shallow", "fast", "hard", "noisy", "alone"})
"""Beside "breath" these are about breathing, and say nothing that the record has a word for."""

HINTS = {
    "alone": "breath ok, or only me",
    "oxygen": "bag oxygen, prongs or cpap",
    "air": "bag air",
    "arrived": "at post, or at unit",
    "left": "left post, or set off",
    "placenta": "placenta out, part or in",
    "chest": "chest yes or no",
    "breath": "a number, ok, slow or no",
}
"""What to write instead, for words that could mean two things."""

YES = frozenset({"yes", "y", "yess", "accept"})
NO = frozenset({"no", "n", "decline"})
DOORS = frozenset({"door", "entrance"})
REASONS: dict[str, DeclineReason] = {
    word: reason
    for words, reason in (
        ("cot cots full bed beds", DeclineReason.NO_COT),
        ("staff nurse nurses", DeclineReason.NO_STAFF),
        ("equipment machine kit", DeclineReason.NO_EQUIPMENT),
        ("oxygen o2", DeclineReason.NO_OXYGEN),
        ("power light", DeclineReason.NO_POWER),
        ("level", DeclineReason.BEYOND_OUR_LEVEL),
        ("other", DeclineReason.OTHER),
    )
    for word in words.split()
}


VOCABULARY = (
    frozenset(word for phrase in PHRASES for word in phrase if word.isalnum())
    | frozenset(BY_NAME) | UNITS | frozenset(SECTIONS) | NEGATIONS | GUESSES | FILLERS | GRAVE
    | frozenset(HINTS) | AFTER_BREATH
)  # fmt: skip
_KEYS = ("abc", "def", "ghi", "jkl", "mno", "pqrs", "tuv", "wxyz")
_KEY_OF = {letter: key for key in _KEYS for letter in key}
SHORTEST_GUESSED = 5


@lru_cache(4096)
def known_word(word: str) -> str:
    """The word of the vocabulary that is meant: itself, or the only one a slip of a finger away.

    A slip is a letter missing, doubled or too many, two letters swapped, or another letter of the
    same key. Short words are never guessed. What cannot be told is returned as it is.
    """
    if word in VOCABULARY or len(word) < SHORTEST_GUESSED or not word.isalpha():
        return word
    near = [
        each for each in VOCABULARY if len(each) >= SHORTEST_GUESSED and _is_a_slip_of(word, each)
    ]
    return near[0] if len(near) == 1 else word


def _is_a_slip_of(typed: str, meant: str) -> bool:
    if len(typed) == len(meant):
        wrong = [place for place in range(len(meant)) if typed[place] != meant[place]]
        if len(wrong) == 1:
            return _KEY_OF.get(typed[wrong[0]]) == _KEY_OF.get(meant[wrong[0]])
        first, *rest = wrong
        return rest == [first + 1] and typed[first : first + 2] == meant[first : first + 2][::-1]
    longer, shorter = (typed, meant) if len(typed) > len(meant) else (meant, typed)
    return len(longer) == len(shorter) + 1 and any(
        longer[:place] + longer[place + 1 :] == shorter for place in range(len(longer))
    )
