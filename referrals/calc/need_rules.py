"""The table of needs: which finding calls for which capability, with a source in each row.

The words of a row are facts for the people who decide; local protocol and the clinician in charge
come first. No row advises to stop or to wait, and none names a treatment: only what a unit must
be able to do.
"""

from referrals.calc import need_conditions as when
from referrals.calc.need_conditions import NeedRule
from referrals.calc.status import BabyStatus, MotherStatus, is_being_ventilated
from referrals.calc.terms import (
    Bleeding,
    Capability,
    Consciousness,
    HeartRateBand,
    Placenta,
    Response,
    Support,
    Urgency,
)
from referrals.calc.thermal import ThermalClass
from referrals.calc.wording import marked

WHO_2003 = "WHO, Managing newborn problems, 2003"
WHO_LEVELS = "WHO levels of newborn care, quoted in BMC Pediatrics 2023, Table 1"
AHA_2020 = "2020 AHA guidelines, Part 5, Circulation 2020;142(S2)"
ICMR_2020 = "ICMR Standard Treatment Workflow, Neonatal transport, July 2020"
WHO_1997 = "WHO, Thermal protection of the newborn, 1997"
LEE_2001 = "Lee et al., J Pediatr 2001;139:220, value from memory"
COMMON_PRACTICE = marked("common practice, no source")

BREATHING_FACTS = ("breathing", "support", "respiratory_rate")
HEART_FACTS = ("heart_rate", "heart_rate_band")

NO_CAPABILITY: frozenset[Capability] = frozenset()
WARMTH = frozenset({Capability.THERMAL_CARE})
OXYGEN = frozenset({Capability.OXYGEN})
FLUIDS = frozenset({Capability.INTRAVENOUS_FLUIDS})
CPAP = frozenset({Capability.CPAP})
VENTILATOR = frozenset({Capability.VENTILATOR})
BASIC_SUPPORT = frozenset({Capability.BAG_AND_MASK, Capability.OXYGEN, Capability.THERMAL_CARE})
OBSTETRIC = frozenset({Capability.OBSTETRIC_EMERGENCY_CARE})

SIX_HOURS_MINUTES = 6 * 60
# The seven basic signal functions include what stops bleeding and brings the placenta.
EMERGENCY_CARE = (
    "WHO/UNFPA/UNICEF/AMDD, Monitoring emergency obstetric care, 2009, value from memory"
)

# Worst first: the first row that fires is the one people read.
RULES: tuple[NeedRule[BabyStatus], ...] = (
    NeedRule[BabyStatus](
        code="nothing_known",
        words=marked("Nothing is known yet: the safest is assumed"),
        source=COMMON_PRACTICE,
        applies=when.nothing_is_known,
        capabilities=BASIC_SUPPORT,
        preferred_capabilities=CPAP | VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=when.BABY_FACTS,
    ),
    NeedRule[BabyStatus](
        code="breathing_not_known",
        words=marked("Breathing is not known: the safest is assumed"),
        source=COMMON_PRACTICE,
        applies=when.breathing_is_unknown,
        capabilities=BASIC_SUPPORT,
        preferred_capabilities=CPAP | VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=BREATHING_FACTS,
    ),
    NeedRule[BabyStatus](
        code="not_breathing",
        words=marked("Not breathing: breaths are given without a break, also on the road"),
        source=f"{WHO_2003}, P-3 and P-4; capabilities: {WHO_LEVELS}",
        applies=when.not_breathing,
        capabilities=BASIC_SUPPORT | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=("breathing", "respiratory_rate"),
    ),
    NeedRule[BabyStatus](
        code="slow_or_gasping",
        words=marked("Gasping or fewer than 20 breaths a minute: breaths are given"),
        source=f"{WHO_2003}, P-3 and C-66; capabilities: {WHO_LEVELS}",
        applies=when.slow_or_gasping,
        capabilities=BASIC_SUPPORT | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=("breathing", "respiratory_rate"),
    ),
    NeedRule[BabyStatus](
        code="being_ventilated",
        words=marked("Being ventilated: needs a unit with CPAP, better a ventilator"),
        source=WHO_LEVELS,
        applies=is_being_ventilated,
        capabilities=BASIC_SUPPORT | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=("breathing", "support"),
    ),
    NeedRule[BabyStatus](
        code="on_ventilator",
        words=marked("On a ventilator: needs a unit with a ventilator"),
        source=f"{WHO_LEVELS}; {ICMR_2020}",
        applies=when.one_of("support", Support.VENTILATOR),
        capabilities=BASIC_SUPPORT | VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=("support",),
    ),
    NeedRule[BabyStatus](
        code="on_cpap",
        words=marked("On CPAP: needs a unit with CPAP, better a ventilator"),
        source=WHO_LEVELS,
        applies=when.one_of("support", Support.CPAP),
        capabilities=BASIC_SUPPORT | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.URGENT,
        facts=("support",),
    ),
    NeedRule[BabyStatus](
        code="heart_under_60",
        words=marked("Heart rate under 60 or not detected"),
        source=AHA_2020,
        applies=when.heart_rate_band_in(HeartRateBand.NONE_DETECTED, HeartRateBand.UNDER_60),
        capabilities=BASIC_SUPPORT | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=HEART_FACTS,
    ),
    NeedRule[BabyStatus](
        code="heart_60_to_99",
        words=marked("Heart rate 60-99: not yet adequate"),
        source=AHA_2020,
        applies=when.heart_rate_band_in(HeartRateBand.FROM_60_TO_99),
        capabilities=BASIC_SUPPORT,
        preferred_capabilities=CPAP | VENTILATOR,
        urgency=Urgency.VENTILATED,
        facts=HEART_FACTS,
    ),
    NeedRule[BabyStatus](
        code="heart_over_180",
        words=marked("Heart rate over 180: may be a sign of shock"),
        source=f"{WHO_2003}, F-5",
        applies=when.above("heart_rate", 180),
        capabilities=OXYGEN | FLUIDS,
        urgency=Urgency.URGENT,
        facts=("heart_rate",),
    ),
    NeedRule[BabyStatus](
        code="short_of_oxygen_despite_oxygen",
        words=marked("Low SpO2, or blue or pale, although oxygen is given"),
        source=f"{ICMR_2020}; {WHO_2003}, F-50",
        applies=when.both(when.gets_oxygen, when.either(when.spo2_is_low, when.blue_or_pale)),
        capabilities=OXYGEN | WARMTH | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.URGENT,
        facts=("support", "spo2", "minutes_since_birth", "colour"),
    ),
    NeedRule[BabyStatus](
        code="spo2_low",
        words=marked("SpO2 below the range for the age"),
        source="AHA algorithm 2015 to ten minutes; later ERC guidelines 2021, value from memory",
        applies=when.spo2_is_low,
        capabilities=OXYGEN | WARMTH,
        preferred_capabilities=CPAP,
        urgency=Urgency.URGENT,
        facts=("spo2", "minutes_since_birth"),
    ),
    NeedRule[BabyStatus](
        code="blue_or_pale",
        words=marked("Blue or pale"),
        source=ICMR_2020,
        applies=when.blue_or_pale,
        capabilities=OXYGEN | WARMTH,
        preferred_capabilities=CPAP,
        urgency=Urgency.URGENT,
        facts=("colour",),
    ),
    NeedRule[BabyStatus](
        code="breathing_difficulty",
        words=marked("Breathing rate of 20-29 or over 60: breathing difficulty"),
        source=f"{WHO_2003}, P-3 and P-4",
        applies=when.either(
            when.both(when.at_least("respiratory_rate", 20), when.below("respiratory_rate", 30)),
            when.above("respiratory_rate", 60),
        ),
        capabilities=OXYGEN | WARMTH,
        preferred_capabilities=CPAP,
        urgency=Urgency.URGENT,
        facts=("respiratory_rate",),
    ),
    NeedRule[BabyStatus](
        code="on_oxygen",
        words=marked("On oxygen by prongs: needs a unit with oxygen"),
        source=WHO_LEVELS,
        applies=when.one_of("support", Support.OXYGEN_BY_PRONGS),
        capabilities=OXYGEN | WARMTH,
        urgency=Urgency.URGENT,
        facts=("support",),
    ),
    NeedRule[BabyStatus](
        code="ventilated_over_a_minute",
        words=marked("Was ventilated for more than a minute"),
        source=ICMR_2020,
        applies=when.above("minutes_ventilated", 1),
        capabilities=BASIC_SUPPORT,
        urgency=Urgency.URGENT,
        facts=("minutes_ventilated",),
    ),
    NeedRule[BabyStatus](
        code="convulsions",
        words=marked("Convulsions"),
        source=f"{ICMR_2020}, value from memory",
        applies=when.one_of("convulsions", True),
        capabilities=BASIC_SUPPORT | FLUIDS,
        urgency=Urgency.URGENT,
        facts=("convulsions",),
    ),
    NeedRule[BabyStatus](
        code="no_response",
        words=marked("Does not respond to touch"),
        source=f"{LEE_2001}; capabilities: {COMMON_PRACTICE}",
        applies=when.one_of("response", Response.NONE),
        capabilities=BASIC_SUPPORT | FLUIDS,
        urgency=Urgency.URGENT,
        facts=("response",),
    ),
    NeedRule[BabyStatus](
        code="weak_response",
        words=marked("Responds weakly to touch"),
        source=f"{LEE_2001}; capabilities: {COMMON_PRACTICE}",
        applies=when.one_of("response", Response.WEAK),
        capabilities=OXYGEN | WARMTH,
        urgency=Urgency.URGENT,
        facts=("response",),
    ),
    NeedRule[BabyStatus](
        code="under_1000_g_or_28_weeks",
        words=marked("Under 1000 g or 28 weeks: needs intensive care if it is in reach"),
        source=ICMR_2020,
        applies=when.either(when.below("weight_g", 1000), when.below("gestation_weeks", 28)),
        capabilities=OXYGEN | WARMTH | FLUIDS | CPAP,
        preferred_capabilities=VENTILATOR,
        urgency=Urgency.URGENT,
        facts=("weight_g", "gestation_weeks"),
    ),
    NeedRule[BabyStatus](
        code="under_1500_g_or_32_weeks",
        words=marked("Under 1500 g or 32 weeks: a very small baby"),
        source=f"{WHO_2003}, Table C-1; AAP, Pediatrics 2012;130:587",
        applies=when.either(when.below("weight_g", 1500), when.below("gestation_weeks", 32)),
        capabilities=OXYGEN | WARMTH | FLUIDS | CPAP,
        urgency=Urgency.URGENT,
        facts=("weight_g", "gestation_weeks"),
    ),
    NeedRule[BabyStatus](
        code="under_1800_g_or_34_weeks",
        words=marked("Under 1800 g or 34 weeks: needs special care"),
        source=ICMR_2020,
        applies=when.either(when.below("weight_g", 1800), when.below("gestation_weeks", 34)),
        capabilities=OXYGEN | WARMTH | FLUIDS,
        urgency=Urgency.URGENT,
        facts=("weight_g", "gestation_weeks"),
    ),
    NeedRule[BabyStatus](
        code="severe_cold",
        words=marked("Temperature under 32 °C: severe cold"),
        source=f"{WHO_1997}; {WHO_2003}, F-70",
        applies=when.thermal_class_in(ThermalClass.SEVERE_HYPOTHERMIA),
        capabilities=WARMTH | OXYGEN | FLUIDS,
        urgency=Urgency.URGENT,
        facts=("temperature_c",),
    ),
    NeedRule[BabyStatus](
        code="moderate_cold",
        words=marked("Temperature of 32.0-35.9 °C: moderate cold"),
        source=WHO_1997,
        applies=when.thermal_class_in(ThermalClass.MODERATE_HYPOTHERMIA),
        capabilities=WARMTH,
        preferred_capabilities=FLUIDS,
        urgency=Urgency.URGENT,
        facts=("temperature_c",),
    ),
    NeedRule[BabyStatus](
        code="mild_cold",
        words=marked("Temperature of 36.0-36.4 °C: mild cold"),
        source=WHO_1997,
        applies=when.thermal_class_in(ThermalClass.MILD_HYPOTHERMIA),
        capabilities=WARMTH,
        urgency=Urgency.STABLE,
        facts=("temperature_c",),
    ),
    NeedRule[BabyStatus](
        code="hot",
        words=marked("Temperature over 37.5 °C: hot"),
        source=f"{WHO_2003}, F-69",
        applies=when.thermal_class_in(ThermalClass.HYPERTHERMIA),
        capabilities=WARMTH,
        urgency=Urgency.URGENT,
        facts=("temperature_c",),
    ),
    NeedRule[BabyStatus](
        code="glucose_very_low",
        words=marked("Glucose under 25 mg/dL (1.1 mmol/L): very low"),
        source=f"{WHO_2003}, F-91",
        applies=when.glucose_below(mg_dl=25, mmol_l=1.1),
        capabilities=FLUIDS,
        urgency=Urgency.URGENT,
        facts=("glucose", "glucose_unit"),
    ),
    NeedRule[BabyStatus](
        code="glucose_low",
        words=marked("Glucose under 45 mg/dL (2.6 mmol/L): low"),
        source=f"{WHO_2003}, F-91 and F-92",
        applies=when.glucose_below(mg_dl=45, mmol_l=2.6),
        capabilities=FLUIDS,
        urgency=Urgency.URGENT,
        facts=("glucose", "glucose_unit"),
    ),
    NeedRule[BabyStatus](
        code="six_hours_from_birth",
        words=marked("Six hours from birth: a line in time for the clinician, no advice"),
        source="Canadian Paediatric Society, position statement 2018",
        applies=when.both(
            when.below("minutes_since_birth", SIX_HOURS_MINUTES),
            when.either(when.needs_breaths, when.at_least("minutes_ventilated", 10)),
        ),
        capabilities=NO_CAPABILITY,
        urgency=Urgency.STABLE,
        limit_minutes=SIX_HOURS_MINUTES,
        facts=(
            "minutes_since_birth",
            "breathing",
            "support",
            "respiratory_rate",
            "minutes_ventilated",
        ),
    ),
)

MOTHER_RULES: tuple[NeedRule[MotherStatus], ...] = (
    NeedRule[MotherStatus](
        code="mother_heavy_bleeding",
        words=marked("Mother: heavy bleeding"),
        source=EMERGENCY_CARE,
        applies=when.one_of("bleeding", Bleeding.HEAVY),
        capabilities=OBSTETRIC,
        urgency=Urgency.URGENT,
        facts=("bleeding",),
    ),
    NeedRule[MotherStatus](
        code="mother_placenta",
        words=marked("Mother: placenta not delivered or not complete"),
        source=EMERGENCY_CARE,
        applies=when.one_of("placenta", Placenta.NOT_DELIVERED, Placenta.INCOMPLETE),
        capabilities=OBSTETRIC,
        urgency=Urgency.URGENT,
        facts=("placenta",),
    ),
    NeedRule[MotherStatus](
        code="mother_not_awake",
        words=marked("Mother: drowsy or unresponsive"),
        source=COMMON_PRACTICE,
        applies=when.one_of("consciousness", Consciousness.DROWSY, Consciousness.UNRESPONSIVE),
        capabilities=OBSTETRIC,
        urgency=Urgency.URGENT,
        facts=("consciousness",),
    ),
    NeedRule[MotherStatus](
        code="mother_pressure_low",
        words=marked("Mother: systolic pressure under 90 mmHg"),
        source="WHO, Managing complications in pregnancy and childbirth, 2017, value from memory",
        applies=when.below("systolic_mmhg", 90),
        capabilities=OBSTETRIC,
        urgency=Urgency.URGENT,
        facts=("systolic_mmhg",),
    ),
    NeedRule[MotherStatus](
        code="mother_pressure_high",
        words=marked("Mother: pressure of 160 systolic or 110 diastolic or more"),
        source="WHO, recommendations on pre-eclampsia and eclampsia, 2011, value from memory",
        applies=when.either(
            when.at_least("systolic_mmhg", 160), when.at_least("diastolic_mmhg", 110)
        ),
        capabilities=OBSTETRIC,
        urgency=Urgency.URGENT,
        facts=("systolic_mmhg", "diastolic_mmhg"),
    ),
)
