"""The published scores as tables, each with its source and what it was published for.

Scores whose points could not be verified are not here, and none that needs a laboratory which a
rural post does not have. Points marked as value from memory must be compared with the paper
before a district uses them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from referrals.calc.quantities import (
    GLUCOSE_MG_DL_PER_MMOL_L,
    QUANTITIES,
    Verdict,
    check_quantity,
)
from referrals.calc.scores import (
    Band,
    Finding,
    Item,
    Score,
    ScoreKind,
    above,
    below,
    stepped,
)
from referrals.calc.wording import marked, words

WORSE = marked("higher is worse")
BETTER = marked("higher is better")

# Lee SK and others, Transport risk index of physiologic stability, J Pediatr 2001;139:220. The
# temperature lines 36.1 and 37.6 and the range 0-65 were looked up, the other points are values
# from memory. A baby ventilated by bag and mask counts as severe: it has no breaths of its own.
TRIPS = Score(
    kind=ScoreKind.TRIPS,
    name=marked("TRIPS"),
    lowest=0,
    highest=65,
    higher_is_worse=True,
    direction=WORSE,
    published_for=marked(
        "Published to compare the condition of groups of babies before and after a transport, and "
        "how many died within 7 days. It does not say what one baby needs."
    ),
    source=marked("Lee SK et al., J Pediatr 2001;139:220 (points: value from memory)"),
    items=(
        Item(
            code="temperature",
            words=marked("Temperature"),
            quantity="temperature_c",
            points_of=stepped(
                ((36.0, 8), (36.5, 1), (37.1, 0), (37.6, 1), (math.inf, 8)), rounded=1
            ),
            points_in_words=marked(
                "36.6 to 37.1: 0; 36.1 to 36.5 or 37.2 to 37.6: 1; below or above: 8"
            ),
        ),
        Item(
            code="respiratory",
            words=marked("Breathing"),
            findings=(
                Finding(code="none", words=marked("None of these signs"), points=0),
                Finding(
                    code="moderate",
                    words=marked("More than 60 breaths a minute, or SpO2 below 85 %"),
                    points=5,
                ),
                Finding(
                    code="severe",
                    words=marked("Does not breathe, gasps, is ventilated or intubated"),
                    points=14,
                ),
            ),
        ),
        Item(
            code="systolic",
            words=marked("Upper blood pressure of the baby"),
            quantity="baby_systolic_mmhg",
            points_of=stepped(((19, 26), (40, 16), (math.inf, 0))),
            points_in_words=marked("above 40: 0; 20 to 40: 16; below 20: 26"),
        ),
        Item(
            code="response",
            words=marked("Answer to an unpleasant touch"),
            findings=(
                Finding(code="vigorous", words=marked("Pulls away strongly, cries"), points=0),
                Finding(code="lethargic", words=marked("Weak, no cry"), points=6),
                Finding(
                    code="none",
                    words=marked("None, or a fit, or paralysed by medicine"),
                    points=17,
                ),
            ),
        ),
    ),
)


@dataclass(frozen=True, kw_only=True)
class TopsLimits:
    """Where each item of TOPS begins to count as deranged (values from memory).

    Studies used 36.5 or 36.0 °C and 40 or 45 mg/dL; these are the first of each. Glucose in
    mmol/L is compared with the same line converted by molar mass.
    """

    temperature_c: float = 36.5
    spo2: float = 90
    capillary_refill_s: float = 3
    glucose_mg_dl: float = 40


def tops(limits: TopsLimits) -> Score:
    """Return TOPS with these limits: one point for each item that is deranged, 0 to 4.

    Mathur NB, Arora D, Acta Paediatr 2007;96:172 counts deranged items; other papers count normal
    ones under the same name, so every total is shown with the words.
    """
    glucose = limits.glucose_mg_dl
    return Score(
        kind=ScoreKind.TOPS,
        name=marked("TOPS, items deranged"),
        lowest=0,
        highest=4,
        higher_is_worse=True,
        direction=marked("deranged items counted; higher is worse"),
        published_for=marked(
            "Published as a count of findings on arrival after a transport, set against how many "
            "babies died in hospital. It does not say what one baby needs."
        ),
        source=marked("Mathur NB, Arora D, Acta Paediatr 2007;96:172 (limits: value from memory)"),
        items=(
            Item(
                code="temperature",
                words=marked("Temperature"),
                quantity="temperature_c",
                points_of=below({"temperature_c": limits.temperature_c}),
                points_in_words=marked("deranged when low"),
            ),
            Item(
                code="oxygenation",
                words=marked("SpO2"),
                quantity="spo2",
                points_of=below({"spo2": limits.spo2}),
                points_in_words=marked("deranged when low"),
            ),
            Item(
                code="perfusion",
                words=marked("Time until the skin is pink again after pressing"),
                quantity="capillary_refill_s",
                points_of=above(limits.capillary_refill_s),
                points_in_words=marked("deranged when long"),
            ),
            Item(
                code="sugar",
                words=marked("Glucose"),
                quantity="glucose_mg_dl",
                other_units=("glucose_mmol_l",),
                points_of=below(
                    {
                        "glucose_mg_dl": glucose,
                        "glucose_mmol_l": glucose / GLUCOSE_MG_DL_PER_MMOL_L,
                    }
                ),
                points_in_words=marked("deranged when low"),
            ),
        ),
    )


def _three(code: str, name: str, none: str, one: str, two: str) -> Item:
    """An item with 0, 1 or 2 points; the code of a finding is its points."""
    found = zip(("0", "1", "2"), (none, one, two), strict=True)
    return Item(
        code=code,
        words=name,
        findings=tuple(Finding(code=c, words=w, points=int(c)) for c, w in found),
    )


APGAR = Score(
    kind=ScoreKind.APGAR,
    name=marked("Apgar score"),
    lowest=0,
    highest=10,
    higher_is_worse=False,
    direction=BETTER,
    minutes=(1, 5, 10, 15, 20),
    asks_for_help_given=True,
    published_for=marked(
        "Published to describe a baby at set minutes after birth. Ventilation is never begun, "
        "delayed or ended because of it. What is seen is scored, and that help was given is said "
        "with it."
    ),
    source=marked("Apgar V, Curr Res Anesth Analg 1953;32:260"),
    items=(
        _three(
            "colour",
            marked("Colour"),
            marked("Blue or pale"),
            marked("Body pink, hands and feet blue"),
            marked("Pink all over"),
        ),
        _three(
            "heart_rate",
            marked("Heart rate"),
            marked("None"),
            marked("Below 100"),
            marked("100 or more"),
        ),
        _three(
            "reflex",
            marked("Answer to being touched"),
            marked("None"),
            marked("A grimace"),
            marked("Cries, coughs or pulls away"),
        ),
        _three(
            "tone",
            marked("Muscle tone"),
            marked("Limp"),
            marked("Some bending"),
            marked("Moves actively"),
        ),
        _three(
            "breathing",
            marked("Breathing by itself"),
            marked("None"),
            marked("Slow or irregular"),
            marked("Good, cries"),
        ),
    ),
    bands=(
        Band(low=0, high=3, words=marked("called low")),
        Band(low=4, high=6, words=marked("called moderately abnormal")),
        Band(low=7, high=10, words=marked("called reassuring")),
    ),
)

SILVERMAN = Score(
    kind=ScoreKind.SILVERMAN,
    name=marked("Silverman-Andersen score"),
    lowest=0,
    highest=10,
    higher_is_worse=True,
    direction=WORSE,
    published_for=marked(
        "Published to describe how hard a baby works to breathe. A baby that gets its breaths from "
        "a bag or a ventilator cannot be scored by it."
    ),
    source=marked("Silverman WA, Andersen DH, Pediatrics 1956;17:1"),
    items=(
        _three(
            "chest",
            marked("Chest and belly"),
            marked("Move together"),
            marked("Chest lags behind"),
            marked("See-saw"),
        ),
        _three(
            "intercostal",
            marked("Skin between the ribs"),
            marked("Not drawn in"),
            marked("Drawn in, just visible"),
            marked("Drawn in, marked"),
        ),
        _three(
            "xiphoid",
            marked("Below the breastbone"),
            marked("Not drawn in"),
            marked("Drawn in, just visible"),
            marked("Drawn in, marked"),
        ),
        _three(
            "nostrils",
            marked("Nostrils"),
            marked("Do not widen"),
            marked("Widen a little"),
            marked("Widen, marked"),
        ),
        _three(
            "grunt",
            marked("Grunting"),
            marked("None"),
            marked("Heard with a stethoscope only"),
            marked("Heard with the ear alone"),
        ),
    ),
    bands=(
        Band(low=0, high=0, words=marked("called none")),
        Band(low=1, high=3, words=marked("called mild")),
        Band(low=4, high=6, words=marked("called moderate")),
        Band(low=7, high=10, words=marked("called severe")),
    ),
)

SCORES: dict[ScoreKind, Score] = {
    ScoreKind.TRIPS: TRIPS,
    ScoreKind.TOPS: tops(TopsLimits()),
    ScoreKind.APGAR: APGAR,
    ScoreKind.SILVERMAN: SILVERMAN,
}

_LIMIT_NAMES = tuple(field.name for field in fields(TopsLimits))


def fault_of_limits(settings: Any) -> str:
    """Return what is wrong with a district's limits for TOPS, in words; empty if nothing is."""
    known = ", ".join(_LIMIT_NAMES)
    if not isinstance(settings, Mapping) or not set(settings) <= set(_LIMIT_NAMES):
        return words(
            "must be limits by name (%(known)s), not %(found)r", known=known, found=settings
        )
    for name, value in settings.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or check_quantity(name, value) is Verdict.IMPOSSIBLE:
            return words(
                "%(name)s: %(bounds)s, not %(found)r",
                name=name,
                bounds=QUANTITIES[name].sentence(),
                found=value,
            )
    return ""


def score_named(kind: ScoreKind, limits: Mapping[str, float] | None = None) -> Score:
    """Return the table of a score; ``limits`` are those a district has set for TOPS."""
    if kind is ScoreKind.TOPS and limits:
        return tops(TopsLimits(**limits))
    return SCORES[kind]
