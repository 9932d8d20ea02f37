"""A baby and a mother who are well, and any others: what the tests of needs start from."""

from dataclasses import fields
from typing import Any

from hypothesis import strategies as st

from referrals.calc.quantities import QUANTITIES
from referrals.calc.status import BabyStatus, MotherStatus, quantity_of
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    GlucoseUnit,
    HeartRateBand,
    Placenta,
    Response,
    Support,
)

# A baby who needs nothing: every fact known, every fact good.
WELL = BabyStatus(
    breathing=Breathing.REGULAR,
    support=Support.NONE,
    heart_rate=140,
    heart_rate_band=HeartRateBand.AT_LEAST_100,
    respiratory_rate=45,
    minutes_since_birth=600,
    minutes_ventilated=0,
    weight_g=3200,
    gestation_weeks=39,
    temperature_c=36.9,
    spo2=96,
    colour=Colour.PINK,
    response=Response.VIGOROUS,
    glucose=60,
    glucose_unit=GlucoseUnit.MG_DL,
    convulsions=False,
)
WELL_MOTHER = MotherStatus(
    bleeding=Bleeding.NONE_OR_USUAL,
    placenta=Placenta.DELIVERED,
    systolic_mmhg=115,
    diastolic_mmhg=70,
    consciousness=Consciousness.AWAKE,
)

WORDED = {
    "breathing": Breathing,
    "support": Support,
    "heart_rate_band": HeartRateBand,
    "colour": Colour,
    "response": Response,
    "glucose_unit": GlucoseUnit,
    "bleeding": Bleeding,
    "placenta": Placenta,
    "consciousness": Consciousness,
}


def values_of(field: str) -> st.SearchStrategy[Any]:
    """Return any possible value of a field, with the limits that matter made likely."""
    if field == "convulsions":
        return st.booleans()
    if field in WORDED:
        return st.sampled_from(list(WORDED[field]))
    if field == "glucose":
        return st.sampled_from([0.5, 1.2, 2.0, 2.6, 4.0, 24.0, 25.0, 44.0, 45.0, 90.0])
    bounds = QUANTITIES[quantity_of(field) or ""]
    usual = st.floats(bounds.unusual_low, bounds.unusual_high)
    return usual | st.floats(bounds.possible_low, bounds.possible_high)


BABY_VALUES = {field.name: values_of(field.name) for field in fields(BabyStatus)}
MOTHER_VALUES = {field.name: values_of(field.name) for field in fields(MotherStatus)}


def statuses(kind: type, values: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[Any]:
    return st.fixed_dictionaries({}, optional=values).map(lambda known: kind(**known))


babies = statuses(BabyStatus, BABY_VALUES)
mothers = statuses(MotherStatus, MOTHER_VALUES)
