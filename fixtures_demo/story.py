"""One journey of the invented district, played by its people over real HTTP.

The parts are separate, so that the demo can play the beginning and leave the rest to whoever
looks at it, and the headless run can play all of it.
"""

import itertools
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from fixtures_demo.driver import Fix, Point, SimulatedDriver
from fixtures_demo.people_shown import on_duty
from fixtures_demo.players import Driver, Player, Unexpected, wait_for
from referrals import clock
from referrals.models import Staff, Unit
from transport.calc.places import Place, haversine_km
from transport.models import Vehicle

ATTENDANT = "wezi.oranday"
VEHICLES = ("AMB-1", "AMB-2", "PIC-1")
"""Who is asked to drive, the first that is free."""
CHECK_MINUTES = 13.0
LOADING_MINUTES = 6.0
KM_H = 45.0

Say = Callable[[str], None]


@dataclass
class Story:
    """A journey under way: its people, its case, and how far it has come."""

    url: str
    say: Say
    attendant: Player = field(init=False)
    officer: Player = field(init=False)
    nurse: Player = field(init=False)
    driver: Driver = field(init=False)
    code: str = ""
    transfer: int = 0
    vehicle: str = VEHICLES[0]
    last_check: datetime | None = None

    def __post_init__(self) -> None:
        """The attendant and the desk are at work from the start."""
        self.attendant = Player(self.url, ATTENDANT)
        district = self.attendant.staff.roles.get().district
        officer = on_duty(district, clock.now())
        if officer is None:
            raise Unexpected("nobody works at the desk")
        self.officer = Player(self.url, officer.username)

    def call_for_help(self) -> None:
        """One press, then what is seen of the baby."""
        raised = self.attendant.post("/referrals/", {})
        self.code, self.transfer = raised["code"], raised["transfer"]["id"]
        self.say(f"{self.code}: raised")
        self.attendant.post(
            f"/referrals/{self.code}/observations/",
            {
                "breathing": "ventilated",
                "support": "bag_and_mask_oxygen",
                "heart_rate": 110,
                "spo2": 84,
                "temperature_c": 36.2,
                "oxygen_flow_l_min": 2.0,
                "weight_g": 2900,
                "gestation_weeks": 38,
            },
        )

    def find_a_place(self) -> None:
        """The nurse on duty reads the question on the phone and says yes."""
        offer = wait_for(self._open_offer, what="a question to a unit")
        unit = Unit.objects.get(code=offer["unit"])
        team = [Player(self.url, each.username) for each in Staff.objects.filter(roles__unit=unit)]

        def asked() -> Player | None:
            return next((each for each in team if each.newest_message(self.code)), None)

        self.nurse = wait_for(asked, what=f"the question's SMS to {unit}")
        self.nurse.post(f"/offers/{offer['id']}/accept/", {"receiver": str(self.nurse.staff)})
        self.say(f"{self.code}: {unit} takes the baby")

    def send_a_vehicle(self) -> None:
        """The desk hears of it and sends the ambulance; the driver opens the link."""
        wait_for(lambda: self.officer.newest_message(self.code), what="the desk's SMS")
        free = Vehicle.objects.filter(state="free").values_list("code", flat=True)
        self.vehicle = next((code for code in VEHICLES if code in free), self.vehicle)
        sent = self.officer.post(
            f"/transfers/{self.transfer}/assign/",
            {"vehicle": self.vehicle, "escort_name": str(self.attendant.staff)},
        )
        self.driver = Driver(self.url, sent["driver_phone"], self.code)
        self.say(f"{self.code}: {sent['vehicle_name']} is sent")

    def drive_to_the_post(self, *, seed: str = "collect") -> None:
        """From where the vehicle stands to the baby."""
        self._reach("collecting")
        vehicle = Vehicle.objects.select_related("base").get(code=self.vehicle)
        post = self.attendant.staff.roles.get().site
        if vehicle.base is None or post is None:
            raise Unexpected("the ambulance has no base, or the attendant no post")
        self._drive(vehicle.base.code, post.code, seed, check=False)
        self._reach("at_origin")

    def load(self) -> None:
        """What to see to before leaving, then off."""
        lists = self.attendant.get(f"/transfers/{self.transfer}/checklists/")
        template = next(each for each in lists if each["when"] == "departure")
        self.attendant.post(
            f"/transfers/{self.transfer}/checklists/",
            {
                "template": template["template"],
                "version": template["version"],
                "answers": {item["code"]: "yes" for item in template["items"]},
            },
        )
        band = {"baby": 1, "band": f"{self.code}-1"}
        self.attendant.post(f"/transfers/{self.transfer}/bands/", band)
        _pass_minutes(LOADING_MINUTES)
        self._reach("on_the_road")
        self.last_check = clock.now()

    def drive_to_the_unit(self, *, seed: str = "carry") -> None:
        """With baby and mother, checks on the way."""
        journey = self.officer.get(f"/transfers/{self.transfer}/")
        unit = Unit.objects.select_related("site").get(code=journey["destination"])
        post = self.attendant.staff.roles.get().site
        if post is None:
            raise Unexpected("the attendant has no post")
        self._drive(post.code, unit.site.code, seed, check=True)
        self._reach("arrived")

    def hand_over(self) -> None:
        """Both sides sign; later the attendant hears how it went."""
        signature = {"baby": 1, "band_checked": True}
        self.attendant.post(
            f"/transfers/{self.transfer}/handover/",
            signature | {"side": "giver", "name": str(self.attendant.staff)},
        )
        self.nurse.post(
            f"/transfers/{self.transfer}/handover/",
            signature
            | {
                "side": "receiver",
                "name": str(self.nurse.staff),
                "condition": "ventilated",
                "temperature_c": 36.6,
            },
        )
        self.say(f"{self.code}: handed over")
        self.nurse.post(
            f"/referrals/{self.code}/outcome/",
            {"baby": 1, "state": "improving", "words": "On CPAP, pink and warm. Thank you."},
        )
        self.officer.post(f"/vehicles/{self.vehicle}/ready/", {})

    def _open_offer(self) -> Any:
        offers = self.attendant.get(f"/referrals/{self.code}/offers/")
        return next((offer for offer in offers if offer["stage"] == "open"), None)

    def _reach(self, milestone: str) -> None:
        self.driver.post(f"/transfers/{self.transfer}/milestones/", {"milestone": milestone})
        self.say(f"{self.code}: {milestone.replace('_', ' ')}")

    def _drive(self, start: str, end: str, seed: str, *, check: bool) -> None:
        roads = SimulatedDriver()
        route = roads.route(start, end)
        begun = clock.now()
        arrives = begun + timedelta(hours=_length_km(route) / KM_H)
        for fix in roads.positions(route, begun, arrives, 60.0, seed):
            _wait_for_clock(fix.recorded_at)
            self._tell(fix)
            if check and self._check_is_due(fix.recorded_at):
                self._check(fix.recorded_at)

    def _tell(self, fix: Fix) -> None:
        self.driver.http.post(
            f"/transfers/{self.transfer}/positions/",
            json={
                "key": f"{self.transfer}-{fix.recorded_at.timestamp():.0f}",
                "happened_at": fix.recorded_at.isoformat(),
                "sent_at": clock.now().isoformat(),
                "latitude": fix.latitude,
                "longitude": fix.longitude,
                "accuracy_m": fix.accuracy_m,
            },
        ).raise_for_status()

    def _check_is_due(self, at: datetime) -> bool:
        since = self.last_check
        return since is not None and at - since >= timedelta(minutes=CHECK_MINUTES)

    def _check(self, at: datetime) -> None:
        self.attendant.post(
            f"/transfers/{self.transfer}/checks/",
            {
                "baby": 1,
                "breathing": "ventilated",
                "heart_rate": 130,
                "spo2": 91,
                "temperature_c": 36.5,
                "oxygen_bar": 120,
            },
        )
        self.last_check = at
        self.say(f"{self.code}: check made")


def _length_km(route: Sequence[Point]) -> float:
    places = [Place(latitude, longitude) for latitude, longitude in route]
    return sum(haversine_km(a, b) for a, b in itertools.pairwise(places))


def _wait_for_clock(moment: datetime) -> None:
    seconds = (moment - clock.now()).total_seconds() / clock.speed()
    if seconds > 0:
        time.sleep(seconds)


def _pass_minutes(minutes: float) -> None:
    time.sleep(minutes * 60 / clock.speed())
