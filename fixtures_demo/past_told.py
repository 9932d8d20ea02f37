"""One referral of the invented past: what each of them has, and those that ended at the post."""

from datetime import datetime, timedelta
from random import Random
from typing import Any

from fixtures_demo.past_cast import Past, Row
from referrals import recording, timeline
from referrals.acting import By, by_staff
from referrals.calc.states import ReferralStage
from referrals.calc.terms import Ending, EntryChannel
from referrals.ending_rules import DEATHS
from referrals.models import Baby, Mother, Observation, Referral, Staff
from transport.calc.stages import TransferStage
from transport.models import Transfer

SETS_OFF_AFTER = timedelta(minutes=1)
SEEN: dict[str, dict[str, Any]] = {
    "ventilated": {
        "breathing": "ventilated",
        "support": "bag_and_mask_oxygen",
        "oxygen_flow_l_min": 2.0,
    },
    "urgent": {"breathing": "regular", "support": "oxygen_by_prongs", "oxygen_flow_l_min": 1.0},
    "stable": {"breathing": "regular", "support": "none", "temperature_c": 36.2},
}
"""How a baby of each urgency was found; invented, and enough for the rules to derive a need."""
Line = tuple[datetime, str, By, dict[str, Any]]
"""What an Entry will say: when, its kind, by whom, its body."""


class Told:
    """One referral of the past; what is common to all of them."""

    def __init__(self, past: Past, row: Row, raised_at: datetime) -> None:
        self.past, self.row, self.raised_at = past, row, raised_at
        self.chance = Random(row["code"])
        self.post = past.sites[row["origin"]]
        self.attendant = past.attendants[self.post.pk]
        self.lines: list[Line] = []

    def write(self) -> None:
        """The rows, then the timeline in the order of time."""
        self.referral = self._referral()
        self.babies = self._babies()
        self.transfer = self._transfer()
        self.timeline_of_the_raise()
        self.rest()
        self._close()
        for _, kind, by, body in sorted(self.lines, key=lambda line: line[0]):
            timeline.append(self.referral, kind, by, body)

    def rest(self) -> None:
        """What came after the raise."""
        raise NotImplementedError

    def endings(self) -> list[Ending]:
        """How it ended, for each baby in the order of birth."""
        names = self.row.get("endings") or self.row["ending"]
        return [Ending(name) for name in names.split(";")]

    def closed_at(self) -> datetime:
        """When the last ending was written down."""
        raise NotImplementedError

    def at(self, name: str, row: Row | None = None) -> datetime:
        """When something was; the driver sets off a little after being sent."""
        if name == "collecting":
            return self.at("vehicle_assigned") + SETS_OFF_AFTER
        minutes = int((row or self.row)[f"{name}_after_minutes"])
        return self.raised_at + timedelta(minutes=minutes)

    def say(self, kind: str, by: By, body: dict[str, Any] | None = None) -> None:
        """Note what the timeline will say."""
        self.lines.append((by.received_at, kind, by, body or {}))

    def kept(self, kind: str, text: str) -> dict[str, Any]:
        """Words that may name a person, as they stand in an Entry."""
        return timeline.committed(timeline.keep_text(self.referral, kind, text))

    def by_attendant(self, at: datetime) -> By:
        """The attendant who called."""
        return by_person(self.attendant, at)

    def _referral(self) -> Referral:
        made = Referral.objects.create(
            code=self.past.free_code(),
            district=self.past.district,
            origin=self.post,
            raised_by=self.attendant,
            raised_at=self.raised_at,
            stage=ReferralStage.CLOSED.value,
            closed_at=self.closed_at(),
        )
        Mother.objects.create(referral=made)
        return timeline.hold(made.pk)

    def _babies(self) -> list[Baby]:
        born_at = self.raised_at - timedelta(minutes=8 + int(40 * self.chance.random()))
        ventilated = SEEN[self.row["urgency"]]["breathing"] == "ventilated"
        weights = self.row.get("weights_g") or self.row["weight_g"]
        rows = zip(
            weights.split(";"), self.row["gestation_weeks"].split(";"), self.endings(), strict=True
        )
        return Baby.objects.bulk_create(
            Baby(
                referral=self.referral,
                birth_order=order,
                sex=self.chance.choice(("girl", "boy")),
                born_at=born_at,
                ventilated_since=self.raised_at if ventilated else None,
                weight_g=int(weight),
                gestation_weeks=float(weeks),
                ending=ending.value,
                ended_at=self.closed_at(),
                ended_by=str(self.attendant),
            )
            for order, (weight, weeks, ending) in enumerate(rows, start=1)
        )

    def _transfer(self) -> Transfer:
        return Transfer.objects.create(
            referral=self.referral,
            wanted_at=self.raised_at,
            stage=TransferStage.STOOD_DOWN.value,
            finished_at=self.closed_at(),
        )

    def timeline_of_the_raise(self) -> None:
        """What was told at once, and the needs that follow from it."""
        by, append = self.by_attendant(self.raised_at), timeline.append
        body = {"site": self.post.code, "babies": len(self.babies)}
        append(self.referral, "raised", by, body)
        for baby in self.babies:
            described = {"born_at": baby.born_at, "sex": baby.sex}
            body = {"baby": baby.birth_order, "facts": described, "was": {}}
            append(self.referral, "described", by, body)
            seen = SEEN[self.row["urgency"]] | {
                "weight_g": baby.weight_g, "gestation_weeks": baby.gestation_weeks
            }  # fmt: skip
            append(self.referral, "observed", by, {"baby": baby.birth_order, "facts": seen})
            Observation.objects.create(baby=baby, **observed_by_then(by), **seen)
        recording.refresh_needs(self.referral, by)
        append(self.referral, "transfer_wanted", by, {"transfer": self.transfer.pk})

    def _close(self) -> None:
        by = self.by_attendant(self.closed_at())
        for baby in self.babies:
            ending = Ending(baby.ending)
            body: dict[str, Any] = {"baby": baby.birth_order, "ending": ending.value}
            if ending in DEATHS:
                body |= {"band": baby.code, "ended_at": baby.ended_at}
            if ending in DEATHS | {Ending.RECOVERED}:
                body["determined_by"] = self.kept("determined_by", by.name)
            self.say("ended", by, body)
        self.say("closed", by, {"endings": sorted({baby.ending for baby in self.babies})})
        self.say(f"transfer_{self.transfer.stage}", by, {"transfer": self.transfer.pk})


class AtThePost(Told):
    """A referral that ended before any vehicle left with the baby."""

    def closed_at(self) -> datetime:
        """Soon after the raise."""
        return self.at("ended")

    def rest(self) -> None:
        """Nobody was asked: it was over."""


def by_person(staff: Staff, at: datetime, channel: EntryChannel = EntryChannel.PAGE) -> By:
    return by_staff(staff, channel=channel, now=at)


def observed_by_then(by: By) -> dict[str, Any]:
    return {"observed_at": by.at, "received_at": by.received_at, "observed_by": by.name}
