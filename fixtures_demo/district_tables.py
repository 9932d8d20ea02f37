"""The hand-written facts of the invented district: places, units, people, vehicles.

Nothing here is real. Positions are kilometres east and north of ``CENTRE``, which lies in the
open South Indian Ocean, more than 1,500 km from any land. Telephone numbers are 555-0100 to
555-0199, the range that the North American Numbering Plan keeps for fiction (ATIS-0300115);
e-mail addresses use the reserved ending ``.example`` (RFC 2606).
"""

from typing import NamedTuple

CENTRE_LATITUDE, CENTRE_LONGITUDE = -22.5, 86.0
DISTRICT_CODE = "TLV"
PHONE_REGION, PHONE_PREFIX = "US", "+1202555"


class Site(NamedTuple):
    """A place with its position in kilometres from the centre."""

    code: str
    name: str
    kind: str
    east_km: float
    north_km: float
    land: str = ""


class Unit(NamedTuple):
    """A receiving unit; ``median_answer_minutes`` shapes the invented history only."""

    code: str
    site: str
    name: str
    level: str
    capabilities: str
    cots_total: int
    cots_open: int
    entrance: str
    median_answer_minutes: float


class Person(NamedTuple):
    """Somebody who works in the district; ``place`` is a site, unit or district code."""

    name: str
    role: str
    place: str
    language: str = "en"

    @property
    def username(self) -> str:
        """First name and family name in lower case, joined by a dot."""
        return self.name.lower().replace(" ", ".")


class Vehicle(NamedTuple):
    """A vehicle; ``oxygen`` tells whether it carries a cylinder of its own."""

    code: str
    name: str
    kind: str
    base: str
    capabilities: str
    driver: str
    oxygen: bool


class Leg(NamedTuple):
    """A ferry or boat that joins two road parts, one way; empty hours: at any time."""

    name: str
    origin: str
    destination: str
    median_minutes: str
    p90_minutes: str
    waiting_minutes: str
    kinds: str
    runs_from: str = ""
    runs_until: str = ""


class Cylinder(NamedTuple):
    """An oxygen cylinder, metric (litres of water, bar) or by US size letter (psi)."""

    label: str
    vehicle: str = ""
    site: str = ""
    water_litres: str = ""
    bar: str = ""
    full_bar: str = ""
    us_size: str = ""
    psi: str = ""


class Reserve(NamedTuple):
    """Somebody outside the service whom the desk may ring."""

    name: str
    kind: str
    words: str


SITES = (
    Site("ORL", "Port Orlime Hospital", "hospital", 9.8, 25.2),
    Site("KES", "Kesawari Hospital", "hospital", -42.0, 8.4),
    Site("BAN", "Bandolay Health Centre", "health_centre", 5.6, -22.4),
    Site("THO", "Thornabel Health Centre", "health_centre", 37.8, 5.6),
    Site("ISV", "Isovelo Health Post", "health_post", -19.6, 25.2),
    Site("SAL", "Saltfen Health Post", "health_post", -4.2, 11.2),
    Site("PEL", "Pelluna Health Post", "health_post", -33.6, -28.0),
    Site("MRW", "Mirrow Heights Health Post", "health_post", -11.2, -2.8),
    Site("NAV", "Naveloto Health Post", "health_post", -28.0, -14.0),
    Site("QUI", "Quillamo Health Post", "health_post", 19.6, -18.2),
    Site("DUM", "Dunmallow Health Post", "health_post", 30.8, -12.6),
    Site("COR", "Corriden Health Post", "health_post", 23.8, 19.6),
    Site("SEF", "Seftima Islet Health Post", "health_post", 54.0, 21.9, "Seftima Islet"),
    Site("YRD", "Port Orlime vehicle yard", "depot", 11.1, 24.2),
    Site("QAY", "Port Orlime landing", "landing", 9.9, 28.2),
    Site("HUR", "Hurrowen landing", "landing", 42.0, 15.6),
    Site("LND", "Seftima Islet landing", "landing", 52.3, 21.1, "Seftima Islet"),
)

_ESSENTIAL = "bag_and_mask;thermal_care"
_SPECIAL = _ESSENTIAL + ";oxygen;intravenous_fluids"
_WITH_CPAP = _SPECIAL + ";cpap;obstetric_emergency_care"
_INTENSIVE = _SPECIAL + ";cpap;ventilator;surgery;obstetric_emergency_care"

UNITS = (
    Unit(
        code="ORL-NB",
        site="ORL",
        name="Port Orlime newborn intensive care",
        level="intensive",
        capabilities=_INTENSIVE,
        cots_total=8,
        cots_open=2,
        entrance="Blue door beside the water tank, then the ramp on the left",
        median_answer_minutes=4.0,
    ),
    Unit(
        code="KES-NB",
        site="KES",
        name="Kesawari newborn ward",
        level="special_with_cpap",
        capabilities=_WITH_CPAP,
        cots_total=10,
        cots_open=3,
        entrance="Gate on the harbour side, ring the bell under the lamp",
        median_answer_minutes=5.0,
    ),
    Unit(
        code="BAN-NB",
        site="BAN",
        name="Bandolay newborn room",
        level="special",
        capabilities=_SPECIAL,
        cots_total=6,
        cots_open=2,
        entrance="Through the maternity veranda, second door",
        median_answer_minutes=7.0,
    ),
    Unit(
        code="THO-NB",
        site="THO",
        name="Thornabel newborn corner",
        level="essential",
        capabilities=_ESSENTIAL,
        cots_total=2,
        cots_open=1,
        entrance="Front door under the breadfruit tree, turn right",
        median_answer_minutes=6.0,
    ),
)

# Each unit has three people, in the order in which its ladder of calls names them.
PEOPLE = (
    Person("Amara Tellowin", "attendant", "ISV"),
    Person("Wezi Oranday", "attendant", "SAL"),
    Person("Solveig Marrapen", "attendant", "PEL"),
    Person("Tomasi Bellaqua", "attendant", "MRW"),
    Person("Ngozi Harvelund", "attendant", "NAV", "fr"),
    Person("Lupe Sandrivo", "attendant", "QUI"),
    Person("Mei Corrowan", "attendant", "DUM"),
    Person("Farida Estolane", "attendant", "COR"),
    Person("Iluka Penhallory", "attendant", "SEF"),
    Person("Josune Larkamba", "attendant", "THO", "fr"),
    Person("Hana Wendorra", "unit", "ORL-NB"),
    Person("Kofi Brantelle", "unit", "ORL-NB"),
    Person("Ravi Ostermoor", "unit", "ORL-NB"),
    Person("Miriam Castowell", "unit", "KES-NB"),
    Person("Teuila Norvanga", "unit", "KES-NB"),
    Person("Anselm Quirrado", "unit", "KES-NB"),
    Person("Blessing Amorvale", "unit", "BAN-NB"),
    Person("Yusra Fennimbe", "unit", "BAN-NB", "fr"),
    Person("Piotr Halloweni", "unit", "BAN-NB"),
    Person("Delphine Onarreed", "unit", "THO-NB", "fr"),
    Person("Sione Gracevale", "unit", "THO-NB"),
    Person("Noor Vallimore", "unit", "THO-NB"),
    Person("Mateus Dunnaway", "driver", "YRD"),
    Person("Ilse Kambarra", "driver", "KES"),
    Person("Samuel Torrivane", "driver", "BAN"),
    Person("Zodwa Pickerill", "driver", "NAV"),
    Person("Aroha Seamarsh", "driver", "LND"),
    Person("Leena Morrastad", "desk", DISTRICT_CODE),
    Person("Emeka Fairlowe", "desk", DISTRICT_CODE),
    Person("Rosalind Tuvaley", "desk", DISTRICT_CODE),
    Person("Adaeze Wintermoor", "lead", DISTRICT_CODE),
)

VEHICLES = (
    Vehicle(
        code="AMB-1",
        name="Ambulance of Port Orlime",
        kind="ambulance",
        base="YRD",
        capabilities="bag_and_mask;thermal_care;oxygen;intravenous_fluids",
        driver="mateus.dunnaway",
        oxygen=True,
    ),
    Vehicle(
        code="AMB-2",
        name="Ambulance of Kesawari",
        kind="ambulance",
        base="KES",
        capabilities="bag_and_mask;thermal_care;oxygen",
        driver="ilse.kambarra",
        oxygen=True,
    ),
    Vehicle(
        code="PIC-1",
        name="Pickup of Bandolay",
        kind="pickup",
        base="BAN",
        capabilities="bag_and_mask;oxygen",
        driver="samuel.torrivane",
        oxygen=True,
    ),
    Vehicle(
        code="MOT-1",
        name="Motorcycle of Naveloto",
        kind="motorcycle",
        base="NAV",
        capabilities="",
        driver="zodwa.pickerill",
        oxygen=False,
    ),
    Vehicle(
        code="BOT-1",
        name="Boat of Seftima, the Morning Tern",
        kind="boat",
        base="LND",
        capabilities="bag_and_mask;thermal_care;oxygen",
        driver="aroha.seamarsh",
        oxygen=True,
    ),
)

# Minutes and hours are invented. The small ferry takes vehicles and runs by day; the boat takes
# people alone, at any hour.
_FERRY = "ambulance;car;pickup;motorcycle"
LEGS = (
    Leg("Hurrowen ferry", "LND", "HUR", "35", "50", "25", _FERRY, "06:00", "18:00"),
    Leg("Hurrowen ferry, back", "HUR", "LND", "40", "60", "25", _FERRY, "06:00", "18:00"),
    Leg("boat to Port Orlime", "LND", "QAY", "95", "130", "10", "boat"),
    Leg("boat to Seftima", "QAY", "LND", "105", "150", "10", "boat"),
)

# Sizes are common ones; the gauge readings are invented. PIC-1's is a US size E, read in psi.
CYLINDERS = (
    Cylinder("A1", vehicle="AMB-1", water_litres="10.0", bar="130", full_bar="137"),
    Cylinder("A2", vehicle="AMB-1", water_litres="4.7", bar="95", full_bar="137"),
    Cylinder("A3", vehicle="AMB-2", water_litres="4.7", bar="120", full_bar="137"),
    Cylinder("A4", vehicle="PIC-1", us_size="E", psi="1800"),
    Cylinder("A5", vehicle="BOT-1", water_litres="2.0", bar="180", full_bar="230"),
    Cylinder("B1", site="ORL", water_litres="47.2", bar="110", full_bar="137"),
    Cylinder("B2", site="KES", water_litres="47.2", bar="60", full_bar="137"),
    Cylinder("B3", site="BAN", water_litres="23.6", bar="90", full_bar="137"),
    Cylinder("B4", site="PEL", water_litres="2.3", bar="100", full_bar="137"),
    Cylinder("B5", site="SEF", water_litres="2.3", bar="125", full_bar="137"),
)

RESERVES = (
    Reserve("Newborn unit of the hospital ship Ansilva", "unit", "off the north shore at times"),
    Reserve("Cooperative of the Orlime bakers", "vehicle", "a covered van, by day"),
    Reserve("Fishers of Hurrowen", "vehicle", "two boats, not in a swell"),
    Reserve("Aeroplane strip of Bandolay", "vehicle", "a small aeroplane now and then"),
)

# Starting values for a district that has not measured its own; every one is meant to be changed.
# Speeds on paved road and gravel: Western Kenya access model, Malaria Journal 2017;16:367,
# Table 1 (classes A/B and C/D). The other numbers are invented for this district. The speed on a
# track and the rain and night factors: no published source was found.
SETTINGS: dict[str, object] = {
    "rainy_months": [12, 1, 2, 3],
    "speeds_km_h": {"paved": 50, "gravel": 30, "track": 20, "sea": 30},
    "rain_factors": {"paved": 1.1, "gravel": 1.3, "track": 1.5, "sea": 1.3},
    "night_factor": 1.15,
    "standing_default_unit": "ORL-NB",
    "ventilated_waits": [1, 2, 4],
    "stable_waits": [3, 6, 10],
    "send_without_acceptance_after_minutes": {"ventilated": 10, "urgent": 20, "stable": 60},
    "check_every_minutes": 15,
    "temperature_every_minutes": 60,
    "position_silent_after_minutes": 10,
    "oxygen_reserve_bar": 15,
}
