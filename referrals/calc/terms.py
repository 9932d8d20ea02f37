"""The words of the record, each in one place, as text codes that are stored and sent.

Every enumeration here is used by the models (as allowed values), by the pure computations
(as inputs) and by the API (as JSON values). A code is never renamed once released.
Words people read are translated at the edge (``referrals/labels.py``), never here.
"""

from enum import StrEnum


class Breathing(StrEnum):
    """How the baby breathes now."""

    REGULAR = "regular"
    SLOW_OR_GASPING = "slow_or_gasping"
    NONE = "none"
    VENTILATED = "ventilated"


class Support(StrEnum):
    """What helps the baby breathe now."""

    NONE = "none"
    OXYGEN_BY_PRONGS = "oxygen_by_prongs"
    BAG_AND_MASK_AIR = "bag_and_mask_air"
    BAG_AND_MASK_OXYGEN = "bag_and_mask_oxygen"
    CPAP = "cpap"
    VENTILATOR = "ventilator"


class HeartRateBand(StrEnum):
    """Heart rate as felt at the cord or heard by stethoscope, beats a minute."""

    NONE_DETECTED = "none_detected"
    UNDER_60 = "under_60"
    FROM_60_TO_99 = "from_60_to_99"
    AT_LEAST_100 = "at_least_100"


class Colour(StrEnum):
    """Colour of the baby as seen."""

    PINK = "pink"
    BLUE_HANDS_AND_FEET = "blue_hands_and_feet"
    BLUE_OR_PALE = "blue_or_pale"


class Response(StrEnum):
    """Response of the baby to touch."""

    VIGOROUS = "vigorous"
    WEAK = "weak"
    NONE = "none"


class GlucoseUnit(StrEnum):
    """Unit in which a glucose value was read; values are compared in that unit."""

    MG_DL = "mg_dl"
    MMOL_L = "mmol_l"


class Bleeding(StrEnum):
    """The mother's bleeding."""

    NONE_OR_USUAL = "none_or_usual"
    HEAVY = "heavy"


class Placenta(StrEnum):
    """Whether the placenta has come."""

    DELIVERED = "delivered"
    INCOMPLETE = "incomplete"
    NOT_DELIVERED = "not_delivered"


class Consciousness(StrEnum):
    """The mother's consciousness."""

    AWAKE = "awake"
    DROWSY = "drowsy"
    UNRESPONSIVE = "unresponsive"


class Capability(StrEnum):
    """Something a unit (or a vehicle) can do; ordered by no number, matched as a set."""

    BAG_AND_MASK = "bag_and_mask"
    THERMAL_CARE = "thermal_care"
    OXYGEN = "oxygen"
    INTRAVENOUS_FLUIDS = "intravenous_fluids"
    CPAP = "cpap"
    VENTILATOR = "ventilator"
    SURGERY = "surgery"
    OBSTETRIC_EMERGENCY_CARE = "obstetric_emergency_care"


class Urgency(StrEnum):
    """How quickly people are asked again; the fastest applies while nothing is known."""

    VENTILATED = "ventilated"
    URGENT = "urgent"
    STABLE = "stable"


class Ending(StrEnum):
    """How the referral ended for one baby."""

    HANDED_OVER = "handed_over"
    RECOVERED = "recovered"
    FAMILY_DECLINED = "family_declined"
    DIED_BEFORE_DEPARTURE = "died_before_departure"
    DIED_ON_THE_WAY = "died_on_the_way"
    PLACED_ELSEWHERE = "placed_elsewhere"
    RAISED_IN_ERROR = "raised_in_error"


class OutcomeState(StrEnum):
    """How a baby is, told back to the post that called."""

    IMPROVING = "improving"
    STILL_IN_CARE = "still_in_care"
    GONE_HOME = "gone_home"
    TRANSFERRED_ON = "transferred_on"
    DIED = "died"


class OutcomeMoment(StrEnum):
    """At which moment an outcome tells how a baby is."""

    AT_24_HOURS = "at_24_hours"
    AT_7_DAYS = "at_7_days"
    AT_DISCHARGE = "at_discharge"
    DEATH = "death"


class ConditionOnArrival(StrEnum):
    """How the receiving unit finds a baby at the handover."""

    BREATHES_ALONE = "breathes_alone"
    BREATHES_WITH_HELP = "breathes_with_help"
    VENTILATED = "ventilated"
    NO_SIGNS_OF_LIFE = "no_signs_of_life"


class DeclineReason(StrEnum):
    """Why a unit cannot take the baby."""

    NO_COT = "no_cot"
    NO_STAFF = "no_staff"
    NO_EQUIPMENT = "no_equipment"
    NO_OXYGEN = "no_oxygen"
    NO_POWER = "no_power"
    BEYOND_OUR_LEVEL = "beyond_our_level"
    OTHER = "other"


class CameOf(StrEnum):
    """What came of a call that somebody made to find a unit or a vehicle."""

    NO_ANSWER = "no_answer"
    RINGS_BACK = "rings_back"
    YES = "yes"
    NO = "no"


class EntryChannel(StrEnum):
    """The way by which an event reached the record."""

    PAGE = "page"
    API = "api"
    LINK = "link"
    SMS = "sms"
    DESK = "desk"
    SYSTEM = "system"


class Became(StrEnum):
    """What became of an SMS or a missed call that came in."""

    RAISED = "raised"
    TOLD = "told"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    CALL_BACK = "call_back"
    KEPT = "kept"


class Role(StrEnum):
    """What a member of staff does, at a site, a unit or a district."""

    ATTENDANT = "attendant"
    UNIT = "unit"
    DRIVER = "driver"
    DESK = "desk"
    LEAD = "lead"


class VehicleKind(StrEnum):
    """Kinds of vehicle that carry a baby."""

    AMBULANCE = "ambulance"
    CAR = "car"
    PICKUP = "pickup"
    MOTORCYCLE = "motorcycle"
    BOAT = "boat"
