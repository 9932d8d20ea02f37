"""The air temperature at which an incubator is begun, from the table of the WHO.

A starting point only: the baby and the incubator are measured again, hourly for the first eight
hours (WHO, Managing newborn problems, 2003, C-8), and the clinician in charge decides.
"""

from dataclasses import dataclass

from referrals.calc.quantities import Verdict, check_quantity, require_possible
from referrals.calc.wording import marked, words

SOURCE = marked("WHO, Managing newborn problems, 2003, Table C-3, page C-7")
ROOM_STEP_C = 7
"""A single wall loses so much: 1 °C more for each 7 °C of room below the incubator (C-7)."""

WEEK = 7
NEVER = 10**6


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of the table: up to which weight, and up to which day each air temperature holds.

    ``below_g`` is not included. The table prints bands with holes (1.5-2.0, 2.1-2.5, over 2.5 kg):
    they are closed here in the middle, and 2.5 kg belongs to the lighter band.
    """

    below_g: float
    printed: str
    until_day: tuple[tuple[int, float], ...]


TABLE: tuple[Row, ...] = (
    Row(
        below_g=1500,
        printed=marked("less than 1.5 kg"),
        until_day=((10, 35.0), (3 * WEEK, 34.0), (5 * WEEK, 33.0), (NEVER, 32.0)),
    ),
    Row(
        below_g=2050,
        printed=marked("1.5 to 2.0 kg"),
        until_day=((10, 34.0), (4 * WEEK, 33.0), (NEVER, 32.0)),
    ),
    Row(
        below_g=2500.5,
        printed=marked("2.1 to 2.5 kg"),
        until_day=((2, 34.0), (3 * WEEK, 33.0), (NEVER, 32.0)),
    ),
    Row(
        below_g=NEVER,
        printed=marked("more than 2.5 kg"),
        until_day=((2, 33.0), (NEVER, 32.0)),
    ),
)


@dataclass(frozen=True, kw_only=True)
class IncubatorStart:
    """Where to begin, °C. ``added_c`` is for the room; ``air_c`` holds both."""

    table_c: float
    added_c: int
    day: int
    band: str
    weight_guessed: bool

    @property
    def air_c(self) -> float:
        """The air temperature to begin with."""
        return self.table_c + self.added_c

    def in_words(self) -> str:
        """What it rests on: weight band, day, room."""
        rests_on = words(
            "%(band)s, day %(day)d of life: %(table).0f °C",
            band=words(self.band),
            day=self.day,
            table=self.table_c,
        )
        if self.weight_guessed:
            rests_on = words("%(rests_on)s; the weight is a guess", rests_on=rests_on)
        if self.added_c:
            rests_on = words(
                "%(rests_on)s; %(added)d °C more for a single wall in this room",
                rests_on=rests_on,
                added=self.added_c,
            )
        return rests_on


def day_of_life(minutes_since_birth: float) -> int:
    """Return the day of life, the first 24 hours being day 1."""
    return int(max(minutes_since_birth, 0) // (24 * 60)) + 1


def incubator_start(
    *,
    weight_g: float | None,
    minutes_since_birth: float | None,
    weight_guessed: bool = False,
    room_c: float | None = None,
    single_walled: bool = False,
) -> IncubatorStart | None:
    """Return where an incubator is begun for a baby, or ``None`` while weight or age is missing.

    WHO, Managing newborn problems, 2003, Table C-3. The correction for the room counts whole
    steps of 7 °C, as printed, and only for a single wall; without a room temperature there is
    none. Raises ``ImpossibleQuantity`` for a room that cannot be.
    """
    if weight_g is None or minutes_since_birth is None:
        return None
    if check_quantity("weight_g", weight_g) is Verdict.IMPOSSIBLE:
        return None
    day = day_of_life(minutes_since_birth)
    row = next(each for each in TABLE if weight_g < each.below_g)
    table_c = next(celsius for last, celsius in row.until_day if day <= last)
    added = 0
    if room_c is not None and single_walled:
        below = table_c - require_possible("room_c", room_c)
        added = max(int(below // ROOM_STEP_C), 0)
    return IncubatorStart(
        table_c=table_c,
        added_c=added,
        day=day,
        band=row.printed,
        weight_guessed=weight_guessed,
    )
