"""How long the oxygen lasts, with which chance to the bedside, and the words for when it may not.

``pressures`` (units of gauges), ``cylinders`` (what they hold), ``use`` (flows, mixtures, one
cylinder after the other), ``plan`` (against a time as a distribution), ``closing`` (what closes a
gap), ``planning`` (the plan with its words). A shortage is said, never acted on: ventilation goes
on with air whatever the gauge shows.
"""

from transport.calc.oxygen.closing import closing_cylinders, closing_swap
from transport.calc.oxygen.cylinders import (
    DEFAULT_RESERVE,
    NO_RESERVE,
    UK_CYLINDERS,
    US_FACTOR_LITRES_PER_PSI,
    Cylinder,
    Reserve,
    doubtful_unit_words,
    litres_available,
    metric_cylinder,
    overfull_words,
    read_cylinder,
    require_likely,
    uk_cylinder,
    us_cylinder,
)
from transport.calc.oxygen.plan import (
    Delayed,
    OxygenPlan,
    Supply,
    Swap,
    TimeNeeded,
    cautions_of,
    chance_of_touching_reserve,
)
from transport.calc.oxygen.planning import AIR_WORDS, in_hundred, plan_oxygen
from transport.calc.oxygen.pressures import GaugeUnit, InvalidOxygen, in_unit, read_pressure
from transport.calc.oxygen.use import (
    CHANGEOVER_MINUTES,
    Change,
    after_use,
    air_to_oxygen_ratio,
    changes,
    fraction_of_oxygen,
    in_use,
    minutes_left,
    minutes_of,
    minutes_of_all,
    oxygen_for_fraction,
    together,
)

__all__ = [
    "AIR_WORDS",
    "CHANGEOVER_MINUTES",
    "DEFAULT_RESERVE",
    "NO_RESERVE",
    "UK_CYLINDERS",
    "US_FACTOR_LITRES_PER_PSI",
    "Change",
    "Cylinder",
    "Delayed",
    "GaugeUnit",
    "InvalidOxygen",
    "OxygenPlan",
    "Reserve",
    "Supply",
    "Swap",
    "TimeNeeded",
    "after_use",
    "air_to_oxygen_ratio",
    "cautions_of",
    "chance_of_touching_reserve",
    "changes",
    "closing_cylinders",
    "closing_swap",
    "doubtful_unit_words",
    "fraction_of_oxygen",
    "in_hundred",
    "in_unit",
    "in_use",
    "litres_available",
    "metric_cylinder",
    "minutes_left",
    "minutes_of",
    "minutes_of_all",
    "overfull_words",
    "oxygen_for_fraction",
    "plan_oxygen",
    "read_cylinder",
    "read_pressure",
    "require_likely",
    "together",
    "uk_cylinder",
    "us_cylinder",
]
