"""The words people read for every code of the record, in their own language.

Codes are stored and sent; words are shown. The words for journeys stand in ``transport/labels.py``.
"""

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from referrals.calc import terms
from referrals.calc.quantities import QUANTITIES
from referrals.calc.spelled import spelled
from referrals.calc.states import OfferStage, ReferralStage
from referrals.calc.wording import words

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    Text = str | _StrPromise
else:
    Text = Any
Words = Mapping[StrEnum, Text]

SEXES: dict[str, Text] = {
    "female": _("Girl"),
    "male": _("Boy"),
    "not_clear": _("Not clear"),
}
"""Stored as told, without a list in the record."""

LABELS: dict[type[StrEnum], Words] = {
    terms.Breathing: {
        terms.Breathing.VENTILATED: _("Being ventilated (bag and mask)"),
        terms.Breathing.NONE: _("Not breathing"),
        terms.Breathing.SLOW_OR_GASPING: _("Slow or gasping"),
        terms.Breathing.REGULAR: _("Breathes regularly alone"),
    },
    terms.Support: {
        terms.Support.BAG_AND_MASK_AIR: _("Bag and mask, air"),
        terms.Support.BAG_AND_MASK_OXYGEN: _("Bag and mask, oxygen"),
        terms.Support.OXYGEN_BY_PRONGS: _("Oxygen by prongs"),
        terms.Support.CPAP: _("CPAP"),
        terms.Support.VENTILATOR: _("Ventilator"),
        terms.Support.NONE: _("No support"),
    },
    terms.HeartRateBand: {
        terms.HeartRateBand.NONE_DETECTED: _("No heartbeat found"),
        terms.HeartRateBand.UNDER_60: _("Under 60"),
        terms.HeartRateBand.FROM_60_TO_99: _("60 to 99"),
        terms.HeartRateBand.AT_LEAST_100: _("100 or more"),
    },
    terms.Colour: {
        terms.Colour.PINK: _("Pink"),
        terms.Colour.BLUE_HANDS_AND_FEET: _("Blue hands and feet"),
        terms.Colour.BLUE_OR_PALE: _("Blue or pale"),
    },
    terms.Response: {
        terms.Response.VIGOROUS: _("Strong"),
        terms.Response.WEAK: _("Weak"),
        terms.Response.NONE: _("None"),
    },
    terms.GlucoseUnit: {
        terms.GlucoseUnit.MG_DL: _("mg/dL"),
        terms.GlucoseUnit.MMOL_L: _("mmol/L"),
    },
    terms.Bleeding: {
        terms.Bleeding.NONE_OR_USUAL: _("None or usual"),
        terms.Bleeding.HEAVY: _("Heavy"),
    },
    terms.Placenta: {
        terms.Placenta.DELIVERED: _("Has come"),
        terms.Placenta.INCOMPLETE: _("Not complete"),
        terms.Placenta.NOT_DELIVERED: _("Has not come"),
    },
    terms.Consciousness: {
        terms.Consciousness.AWAKE: _("Awake"),
        terms.Consciousness.DROWSY: _("Drowsy"),
        terms.Consciousness.UNRESPONSIVE: _("Does not answer"),
    },
    terms.Capability: {
        terms.Capability.BAG_AND_MASK: _("Bag and mask"),
        terms.Capability.THERMAL_CARE: _("Warmth"),
        terms.Capability.OXYGEN: _("Oxygen"),
        terms.Capability.INTRAVENOUS_FLUIDS: _("Fluids by vein"),
        terms.Capability.CPAP: _("CPAP"),
        terms.Capability.VENTILATOR: _("Ventilator"),
        terms.Capability.SURGERY: _("Surgery"),
        terms.Capability.OBSTETRIC_EMERGENCY_CARE: _("Emergency care for the mother"),
    },
    terms.Urgency: {
        terms.Urgency.VENTILATED: _("Ventilated by hand"),
        terms.Urgency.URGENT: _("Needs care soon"),
        terms.Urgency.STABLE: _("Stable"),
    },
    terms.Ending: {
        terms.Ending.HANDED_OVER: _("Handed over to the unit"),
        terms.Ending.RECOVERED: _("Breathes well and stays with the mother"),
        terms.Ending.FAMILY_DECLINED: _("The family does not want the transfer"),
        terms.Ending.DIED_BEFORE_DEPARTURE: _("The baby has died, before leaving"),
        terms.Ending.DIED_ON_THE_WAY: _("The baby has died, on the way"),
        terms.Ending.PLACED_ELSEWHERE: _("Another place took the baby"),
        terms.Ending.RAISED_IN_ERROR: _("Called for by mistake"),
    },
    terms.OutcomeState: {
        terms.OutcomeState.IMPROVING: _("Getting better"),
        terms.OutcomeState.STILL_IN_CARE: _("Still in care"),
        terms.OutcomeState.GONE_HOME: _("Gone home"),
        terms.OutcomeState.TRANSFERRED_ON: _("Sent on to another unit"),
        terms.OutcomeState.DIED: _("Has died"),
    },
    terms.OutcomeMoment: {
        terms.OutcomeMoment.AT_24_HOURS: _("After the first day"),
        terms.OutcomeMoment.AT_7_DAYS: _("After the first week"),
        terms.OutcomeMoment.AT_DISCHARGE: _("When the baby left the unit"),
        terms.OutcomeMoment.DEATH: _("When the baby died"),
    },
    terms.ConditionOnArrival: {
        terms.ConditionOnArrival.BREATHES_ALONE: _("Breathes alone"),
        terms.ConditionOnArrival.BREATHES_WITH_HELP: _("Breathes, with oxygen or pressure"),
        terms.ConditionOnArrival.VENTILATED: _("Ventilated"),
        terms.ConditionOnArrival.NO_SIGNS_OF_LIFE: _("No signs of life on arrival"),
    },
    terms.DeclineReason: {
        terms.DeclineReason.NO_COT: _("No free cot"),
        terms.DeclineReason.NO_STAFF: _("Not enough staff"),
        terms.DeclineReason.NO_EQUIPMENT: _("Equipment missing or in use"),
        terms.DeclineReason.NO_OXYGEN: _("No oxygen"),
        terms.DeclineReason.NO_POWER: _("No power"),
        terms.DeclineReason.BEYOND_OUR_LEVEL: _("Needs more than we can do"),
        terms.DeclineReason.OTHER: _("Another reason"),
    },
    terms.CameOf: {
        terms.CameOf.NO_ANSWER: _("No answer"),
        terms.CameOf.RINGS_BACK: _("Will ring back"),
        terms.CameOf.YES: _("Yes"),
        terms.CameOf.NO: _("No"),
    },
    terms.EntryChannel: {
        terms.EntryChannel.PAGE: _("page"),
        terms.EntryChannel.API: _("other system"),
        terms.EntryChannel.LINK: _("link in a message"),
        terms.EntryChannel.SMS: _("SMS"),
        terms.EntryChannel.DESK: _("desk, by voice"),
        terms.EntryChannel.SYSTEM: _("by itself"),
    },
    terms.Became: {
        terms.Became.RAISED: _("called for help"),
        terms.Became.TOLD: _("added to a case"),
        terms.Became.ACCEPTED: _("a unit said yes"),
        terms.Became.DECLINED: _("a unit said no"),
        terms.Became.CALL_BACK: _("the desk rings back"),
        terms.Became.KEPT: _("kept for a person to read"),
    },
    terms.Role: {
        terms.Role.ATTENDANT: _("birth attendant"),
        terms.Role.UNIT: _("receiving unit"),
        terms.Role.DRIVER: _("driver"),
        terms.Role.DESK: _("district desk"),
        terms.Role.LEAD: _("district lead"),
    },
    terms.VehicleKind: {
        terms.VehicleKind.AMBULANCE: _("ambulance"),
        terms.VehicleKind.CAR: _("car"),
        terms.VehicleKind.PICKUP: _("pick-up"),
        terms.VehicleKind.MOTORCYCLE: _("motorcycle"),
        terms.VehicleKind.BOAT: _("boat"),
    },
    ReferralStage: {
        ReferralStage.RAISED: _("called for"),
        ReferralStage.ASKING: _("units are being asked"),
        ReferralStage.PLACED: _("a unit takes the baby"),
        ReferralStage.CLOSED: _("closed"),
    },
    OfferStage: {
        OfferStage.OPEN: _("asked, no answer yet"),
        OfferStage.ACCEPTED: _("takes the baby"),
        OfferStage.DECLINED: _("cannot take the baby"),
        OfferStage.LAPSED: _("did not answer"),
        OfferStage.WITHDRAWN: _("no longer asked"),
    },
}

FIELDS: dict[str, Text] = {
    "breathing": _("Breathing"),
    "support": _("Helped by"),
    "support_since": _("Helped so since"),
    "chest_moving": _("Chest rises with each squeeze"),
    "heart_rate": _("Heart rate"),
    "heart_rate_band": _("Heart rate"),
    "respiratory_rate": _("Breathing rate"),
    "temperature_c": _("Temperature"),
    "spo2": _("SpO2"),
    "oxygen_flow_l_min": _("Oxygen flow"),
    "fio2": _("Oxygen fraction"),
    "colour": _("Colour"),
    "capillary_refill_s": _("Pink again after pressing"),
    "response": _("Answer to touch"),
    "glucose": _("Glucose"),
    "glucose_unit": _("Glucose unit"),
    "convulsions": _("Convulsions"),
    "weight_g": _("Weight"),
    "gestation_weeks": _("Weeks of pregnancy"),
    "bleeding": _("Bleeding"),
    "placenta": _("Placenta"),
    "systolic_mmhg": _("Upper blood pressure"),
    "diastolic_mmhg": _("Lower blood pressure"),
    "consciousness": _("The mother is"),
    "age_years": _("Age"),
    "travels": _("Travels with the baby"),
    "sex": _("Sex"),
    "born_at": _("Born at"),
    "ventilated_since": _("Ventilated since"),
    "weight_guessed": _("Weight is a guess"),
    "oxygen_bar": _("Oxygen pressure"),
    "oxygen_psi": _("Oxygen pressure"),
}
"""The name of every fact, as it stands before its value."""

_ENUM_OF = {
    "breathing": terms.Breathing,
    "support": terms.Support,
    "heart_rate_band": terms.HeartRateBand,
    "colour": terms.Colour,
    "response": terms.Response,
    "glucose_unit": terms.GlucoseUnit,
    "bleeding": terms.Bleeding,
    "placenta": terms.Placenta,
    "consciousness": terms.Consciousness,
}


def word(member: StrEnum) -> str:
    """The words for one code."""
    return str(LABELS[type(member)][member])


def word_of(kind: type[StrEnum], code: str) -> str:
    """The words for a stored code; a code from another version is shown as it is."""
    try:
        return word(kind(code))
    except ValueError:
        return spelled(code)


def inside_a_sentence(words: str) -> str:
    """Words as they are written after others: small, unless they are capitals like CPAP.

    English only; another language decides about its capitals in its own translations.
    """
    if not (get_language() or "en").startswith("en") or words[1:2].isupper():
        return words
    return words[:1].lower() + words[1:]


def choices(kind: type[StrEnum]) -> list[tuple[str, Text]]:
    """The codes and words of a list, in the order in which people are asked."""
    return [(member.value, words) for member, words in LABELS[kind].items()]


def fact_in_words(name: str, value: Any) -> str:
    """A fact with its name and unit: 'Temperature 36.4 °C'."""
    return f"{FIELDS.get(name, name)}: {value_in_words(name, value)}"


TOLD_KINDS: dict[str, Text] = {
    "reading": _("a reading of the baby"),
    "mother": _("a reading of the mother"),
    "treatment": _("a treatment given"),
    "advice": _("advice"),
    "outcome": _("how it went"),
    "score": _("a score"),
    "check": _("a check on the way"),
    "band": _("the reading of a band"),
    "chest": _("a step tried for the chest"),
    "examination": _("the first full examination"),
}
"""What a person can tell, correct and take back."""


def value_in_words(name: str, value: Any) -> str:
    """The value of a fact as people read it, with its unit."""
    if value in (None, ""):
        return str(_("not known"))
    if isinstance(value, bool):
        return str(_("yes") if value else _("no"))
    if name in ("born_at", "ventilated_since", "support_since"):
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        return f"{timezone.localtime(moment):%H:%M}"
    if name == "sex":
        return str(SEXES.get(value, value))
    if name in _ENUM_OF:
        return word_of(_ENUM_OF[name], value)
    bounds = QUANTITIES.get(name)
    text = f"{value:g}" if isinstance(value, int | float) else str(value)
    return f"{text} {words(bounds.unit)}".strip() if bounds else text
