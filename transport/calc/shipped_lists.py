"""The shipped checklists as data: each item with its words, source and whether it must be seen to.

Wording and order are our own. A district adopts them or puts lists of its own in their place; an
older version stays here, since a form of it may still come from a phone. ``needs`` names the
capability that asks for an item of the unit's preparation.
"""

from dataclasses import asdict, dataclass
from typing import Any

from referrals.calc.terms import Capability
from referrals.calc.wording import marked

WHO_2003 = "WHO, Managing newborn problems, 2003"
MEMORY = "value from memory"
PRACTICE = marked("common practice, no source")

TESTED = marked("Tried, not only looked at")
SUPPLIES = marked("With us")
BREATHS = marked("Breaths without a gap")
OXYGEN = marked("Oxygen")
WARMTH = marked("Warmth")
WHO_IT_IS = marked("Who it is")
PEOPLE = marked("Mother and family")
UNIT = marked("The unit")
AT_THE_COT = marked("At the cot")


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing to see to."""

    code: str
    words: str
    source: str
    must: bool = False
    group: str = ""
    needs: str = ""

    def as_dict(self) -> dict[str, Any]:
        """As a template stores it; what is empty is left out."""
        return {name: value for name, value in asdict(self).items() if value != ""}


@dataclass(frozen=True, kw_only=True)
class ShippedList:
    """One version of a list. ``when`` is birth, departure or preparation."""

    code: str
    version: int
    title: str
    when: str
    items: tuple[Item, ...]


def _item(
    code: str, words: str, source: str, *, must: bool = False, group: str = "", needs: str = ""
) -> Item:
    return Item(code=code, words=words, source=source, must=must, group=group, needs=needs)


BAG = _item(
    "bag_works",
    marked("Bag: squeezed against the palm it presses back, let go it fills again"),
    f"{WHO_2003}, P-1", must=True, group=TESTED,
)  # fmt: skip
VALVE = _item(
    "valve_works",
    marked("Valve of the bag: opens with each squeeze and shuts when it fills"),
    PRACTICE, must=True, group=TESTED,
)  # fmt: skip
RELIEF = _item(
    "relief_valve",
    marked("Relief valve: mask shut on the palm, a hard squeeze lets air out there"),
    PRACTICE, must=True, group=TESTED,
)  # fmt: skip
MASKS = _item(
    "second_mask",
    marked("Masks of both sizes, 0 and 1, whole and clean, each fits the bag"),
    f"{WHO_2003}, P-1", must=True, group=TESTED,
)  # fmt: skip
SUCTION = _item(
    "suction", marked("Suction: switched on or pressed, it draws"), f"{WHO_2003}, P-2 and C-64",
    must=True, group=TESTED,
)  # fmt: skip

BEFORE_BIRTH = (
    BAG,
    VALVE,
    RELIEF,
    MASKS,
    SUCTION,
    _item("light", marked("A light, and a torch with spare batteries"), f"{WHO_2003}, C-64",
          group=TESTED),
    _item("warm_place", marked("A firm, dry, warm place to lay the baby; room warm, no draught"),
          f"{WHO_2003}, C-5", must=True, group=WARMTH),
    _item("cloths", marked("Two dry warm cloths and a cap"), f"{WHO_2003}, C-5", must=True,
          group=WARMTH),
    _item("thermometer", marked("Thermometer that reads below 35 °C"), f"{WHO_2003}, C-64",
          group=WARMTH),
    _item("oxygen", marked("Cylinder, flow meter and tubing are there, pressure is read"),
          f"{WHO_2003}, C-64", group=OXYGEN),
    _item("clock", marked("A clock or phone that shows seconds"), PRACTICE, group=SUPPLIES),
    _item("stethoscope", marked("Stethoscope"), f"{WHO_2003}, C-64", group=SUPPLIES),
    _item("second_person", marked("It is known who comes to help, and how to call them"), PRACTICE,
          must=True, group=BREATHS),
    _item("numbers", marked("The desk's number stands where it can be seen"), PRACTICE,
          group=UNIT),
)  # fmt: skip

DEPARTURE = (
    BAG,
    VALVE,
    RELIEF,
    MASKS,
    SUCTION,
    _item("ventilation_on_the_way",
          marked("Who gives the breaths from bed to vehicle, and on each step and door, is agreed"),
          PRACTICE, must=True, group=BREATHS),
    _item("relief", marked("Somebody can take over the bag on the road"), PRACTICE, group=BREATHS),
    _item("oxygen", marked("Cylinder, flow meter and tubing are in, pressure is read"),
          f"{WHO_2003}, C-64", must=True, group=OXYGEN),
    _item("oxygen_minutes",
          marked("The minutes it lasts are set against twice the way; short: breaths with air"),
          f"{WHO_2003}, C-64", group=OXYGEN),
    _item("warmth", marked("Dry, cap on, covered; skin-to-skin or another source of warmth"),
          f"{WHO_2003}, C-63 to C-65", must=True, group=WARMTH),
    _item("temperature", marked("Temperature was taken just before"), f"{WHO_2003}, C-63",
          group=WARMTH),
    _item("warm_vehicle", marked("Vehicle is warm, windows shut"), f"{WHO_2003}, C-64",
          group=WARMTH),
    _item("band", marked("Written band with case code and birth order is on"), PRACTICE,
          must=True, group=WHO_IT_IS),
    _item("papers", marked("Referral note, birth record and observation sheet are with us"),
          f"{WHO_2003}, A-4", group=WHO_IT_IS),
    _item("treatments_due",
          marked("Treatments due on the way are written down with their times"),
          f"{WHO_2003}, C-64", must=True, group=WHO_IT_IS),
    _item("mother", marked("Mother travels, or knows why not and where the baby goes"),
          f"{WHO_2003}, C-63", group=PEOPLE),
    _item("mother_seen", marked("The mother's own condition was looked at"), f"{WHO_2003}, C-63",
          must=True, group=PEOPLE),
    _item("family", marked("Mother and family were told why, and asked what they want to know"),
          f"{WHO_2003}, C-63", must=True, group=PEOPLE),
    _item("consent", marked("Consent or refusal is written down, and whose it is"),
          f"{WHO_2003}, C-63", must=True, group=PEOPLE),
    _item("unit_knows", marked("A person at the receiving unit has said yes"),
          f"{WHO_2003}, C-64", must=True, group=UNIT),
    _item("supplies",
          marked("Cloths, gloves, feeding tubes, set for a line, expressed milk if mother stays"),
          f"{WHO_2003}, C-64", group=SUPPLIES),
    _item("torch_and_phone", marked("Torch, charged phone, fuel"), f"{WHO_2003}, C-64; {MEMORY}",
          group=SUPPLIES),
)  # fmt: skip

PREPARATION = (
    _item("cot", marked("Cot free, clean and made up"), PRACTICE, must=True, group=AT_THE_COT),
    _item("warmer", marked("Warm place ready, room warmed"), f"{WHO_2003}, C-5", must=True,
          group=AT_THE_COT),
    _item("bag_and_mask", marked("Bag and mask tried at the cot"), f"{WHO_2003}, P-1", must=True,
          group=AT_THE_COT),
    _item("suction", marked("Suction tried at the cot"), f"{WHO_2003}, P-2", group=AT_THE_COT),
    _item("oxygen", marked("Oxygen at the cot, flow meter tried"), f"{WHO_2003}, C-25",
          group=AT_THE_COT, needs=Capability.OXYGEN.value),
    _item("cpap", marked("CPAP set up and tried"), PRACTICE, group=AT_THE_COT,
          needs=Capability.CPAP.value),
    _item("ventilator", marked("Ventilator set up and tried"), PRACTICE, group=AT_THE_COT,
          needs=Capability.VENTILATOR.value),
    _item("line", marked("Set for a line laid out"), f"{WHO_2003}, C-64", group=AT_THE_COT,
          needs=Capability.INTRAVENOUS_FLUIDS.value),
    _item("person_at_entrance", marked("Somebody meets them at the entrance"), PRACTICE, must=True,
          group=PEOPLE),
    _item("surgeon", marked("Surgeon on call told"), PRACTICE, group=PEOPLE,
          needs=Capability.SURGERY.value),
    _item("obstetric", marked("Midwife or doctor for the mother told"), PRACTICE, group=PEOPLE,
          needs=Capability.OBSTETRIC_EMERGENCY_CARE.value),
    _item("mother_place", marked("A place for the mother"), f"{WHO_2003}, C-64", group=PEOPLE),
)  # fmt: skip

DEPARTURE_1 = (
    _item("bag_works", marked("Bag and mask squeeze and refill, mask fits"), f"{WHO_2003}, P-1",
          must=True),
    _item("second_mask", marked("Masks of both sizes are with us"), f"{WHO_2003}, P-1"),
    _item("ventilation_on_the_way", marked("Who ventilates between bed and vehicle is agreed"),
          PRACTICE, must=True),
    _item("relief", marked("Somebody can relieve the one ventilating"), PRACTICE),
    _item("oxygen", marked("Cylinder, flow meter and tubing are in, pressure is read"),
          f"{WHO_2003}, C-64", must=True),
    _item("warmth", marked("Dry, cap on, covered, source of warmth"), f"{WHO_2003}, C-63 to C-65",
          must=True),
    _item("suction", marked("Suction works"), f"{WHO_2003}, C-64"),
    _item("band", marked("Written band with case code and birth order is on"), PRACTICE, must=True),
    _item("papers", marked("Referral note and observation sheet are with us"), f"{WHO_2003}, A-4"),
    _item("mother", marked("Mother travels, or is told why not"), f"{WHO_2003}, C-63"),
    _item("family", marked("Reason explained, consent or refusal recorded"), f"{WHO_2003}, C-63"),
    _item("unit_knows", marked("A person at the receiving unit has said yes"), f"{WHO_2003}, C-64"),
    _item("torch_and_phone", marked("Torch, charged phone, fuel"), f"{WHO_2003}, C-64; {MEMORY}"),
)  # fmt: skip

SHIPPED = (
    ShippedList(code="ready-before-birth", version=1, title=marked("Ready before a birth"),
                when="birth", items=BEFORE_BIRTH),
    ShippedList(code="before-leaving", version=1, title=marked("Before leaving"),
                when="departure", items=DEPARTURE_1),
    ShippedList(code="before-leaving", version=2, title=marked("Before leaving"),
                when="departure", items=DEPARTURE),
    ShippedList(code="unit-prepares", version=1, title=marked("Preparing for the baby"),
                when="preparation", items=PREPARATION),
)  # fmt: skip
