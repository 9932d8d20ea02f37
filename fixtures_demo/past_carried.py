"""A referral of the invented past whose babies a vehicle carried to a unit."""

from datetime import datetime, timedelta
from typing import Any

from fixtures_demo.past_cast import DESK, Row
from fixtures_demo.past_told import SEEN, Told, by_person, observed_by_then
from referrals import timeline
from referrals.acting import By, by_system
from referrals.calc.states import OfferStage
from referrals.calc.terms import (
    ConditionOnArrival,
    Ending,
    EntryChannel,
    OutcomeMoment,
    OutcomeState,
)
from referrals.models import Baby, CotHold, Examination, Observation, Offer, Outcome, Staff
from referrals.recording import thermal
from transport.calc.stages import TransferStage
from transport.driver_links import by_driver
from transport.models import Check, Handover, Milestone, Transfer

CHECK_EVERY, CHECKS_AN_HOUR = timedelta(minutes=14), 4
READY_AFTER, TOLD_AFTER, READ_AFTER = (timedelta(hours=hours) for hours in (1, 18, 3))
EXAMINED_AFTER = timedelta(hours=2)
MILESTONES = {
    TransferStage.COLLECTING: "collecting",
    TransferStage.AT_ORIGIN: "at_origin",
    TransferStage.ON_THE_ROAD: "departed",
    TransferStage.ARRIVED: "arrived",
}
"""Under which name the files have the minutes of each."""

FOUND = {
    "ventilated": ConditionOnArrival.VENTILATED,
    "urgent": ConditionOnArrival.BREATHES_WITH_HELP,
    "stable": ConditionOnArrival.BREATHES_ALONE,
}
HOW_IT_WENT = (
    ("improving", "Breathing better, and warm. Thank you for calling early."),
    ("improving", "On oxygen, pink, taking milk by tube. You did well."),
    ("still_in_care", "Still weak. The mother is beside the cot. We will tell you more."),
    ("gone_home", "Gone home with the mother. Thank you."),
)
TOLD_LATER = (
    (6, "at_7_days", "improving", "Breathes alone and gains weight. Thank you again."),
    (16, "at_discharge", "gone_home", "Gone home with the mother, feeding at the breast."),
)
"""Days after the handover, the moment, the state and the words."""
NO_FINDING = "Whole baby looked at; nothing found that was not told."


class Carried(Told):
    """A referral whose babies a vehicle carried to a unit."""

    def closed_at(self) -> datetime:
        """At the handover, or where the vehicle came to when a baby had died on the way."""
        return self.at("arrived" if self.died() else "handed_over")

    def died(self) -> bool:
        """Whether no baby was handed over."""
        return Ending.HANDED_OVER not in self.endings()

    def rest(self) -> None:
        """Asked, accepted, collected, carried, signed over, told of."""
        for row in self.past.offers[self.row["code"]]:
            self._offer(row)
        self._road()
        self._checks()
        if not self.died():
            self._sign()
            self._examine()
            self._tell_back()
        ready = self.past.on_duty(DESK, self.at("arrived") + READY_AFTER)
        by = by_person(ready, self.at("arrived") + READY_AFTER, EntryChannel.DESK)
        self.say("vehicle_ready", by, {"vehicle": self.row["vehicle"]})

    def _transfer(self) -> Transfer:
        vehicle = self.past.vehicles[self.row["vehicle"]]
        name, phone = vehicle.who_drives()
        stage = TransferStage.STOOD_DOWN if self.died() else TransferStage.HANDED_OVER
        reached = {f"{each.value}_at": self.at(name) for each, name in self._milestones().items()}
        return Transfer.objects.create(
            referral=self.referral,
            stage=stage.value,
            vehicle=vehicle,
            destination=self.past.units[self.row["destination_unit"]],
            assignment=1,
            driver_name=name,
            driver_phone=phone,
            escort_name=str(self.attendant),
            wanted_at=self.raised_at,
            assigned_at=self.at("vehicle_assigned"),
            left_post_at=self.at("departed"),
            finished_at=self.closed_at(),
            **reached,
        )

    def _milestones(self) -> dict[TransferStage, str]:
        """With a baby that died on the way nobody pressed that they had arrived."""
        left_out = {TransferStage.ARRIVED} if self.died() else set()
        return {stage: name for stage, name in MILESTONES.items() if stage not in left_out}

    def _offer(self, row: Row) -> None:
        unit, asked_at = self.past.units[row["unit"]], self.at("asked", row)
        stage = OfferStage(row["answer"])
        answered_at = self.at("answered", row) if row["answered_after_minutes"] else None
        nurse = self.past.on_duty(unit.code, answered_at or asked_at)
        accepted = stage is OfferStage.ACCEPTED
        if accepted and self.died():
            stage = OfferStage.WITHDRAWN
        offer = Offer.objects.create(
            referral=self.referral,
            unit=unit,
            stage=stage.value,
            asked_at=asked_at,
            answered_at=answered_at,
            answered_by=str(nurse) if answered_at else "",
            decline_reason=row["reason"],
            receiver=str(nurse) if accepted else "",
            entrance=unit.entrance if accepted else "",
        )
        body = {"offer": offer.pk, "unit": unit.code}
        self.say("unit_asked", by_system(asked_at), body | {"shown": {}})
        if answered_at is None:
            self.say("lapsed", by_system(self.at("accepted")), body)
        elif accepted:
            self._accepted(offer, by_person(nurse, answered_at), body)
        else:
            reason = {"reason": row["reason"], "after_acceptance": False}
            self.say("declined", by_person(nurse, answered_at), body | reason)

    def _accepted(self, offer: Offer, by: By, body: dict[str, Any]) -> None:
        over = {"released_at" if self.died() else "used_at": self.closed_at()}
        CotHold.objects.create(
            offer=offer, unit=offer.unit, cots=len(self.babies), held_at=by.at, **over
        )
        told = {"receiver": self.kept("receiver", offer.receiver), "entrance": offer.entrance}
        self.say("accepted", by, body | told)
        self.say("destination", by, {"unit": offer.unit.code, "was": None})
        if self.died():
            why = {"was_open": False, "why": "the referral has ended"}
            self.say("withdrawn", self.by_attendant(self.closed_at()), body | why)

    def _road(self) -> None:
        sent_at = self.at("vehicle_assigned")
        officer = by_person(self.past.on_duty(DESK, sent_at), sent_at, EntryChannel.DESK)
        of_transfer = {"transfer": self.transfer.pk}
        sent = {"vehicle": self.row["vehicle"], "instead_of": None}
        self.say("transfer_assigned", officer, of_transfer | sent)
        rows = []
        for stage, name in self._milestones().items():
            by = by_driver(self.transfer, now=self.at(name))
            body = of_transfer | {"milestone": stage.value, "applied": True}
            self.say("milestone", by, body)
            rows.append(
                Milestone(
                    transfer=self.transfer,
                    assignment=1,
                    kind=stage.value,
                    reached_at=by.at,
                    received_at=by.received_at,
                    reported_by=by.name,
                )
            )
        Milestone.objects.bulk_create(rows)

    def _checks(self) -> None:
        left, arrived = self.at("departed"), self.at("arrived")
        seen = []
        for number in range(1, int((arrived - left) / CHECK_EVERY) + 1):
            by = self.by_attendant(left + number * CHECK_EVERY)
            for baby in self.babies:
                facts = self._seen_on_the_way(number)
                body = {"baby": baby.birth_order}
                self.say("observed", by, body | {"facts": facts} | thermal(facts))
                self.say("checked", by, body | {"oxygen_bar": None})
                seen.append(Observation(baby=baby, **observed_by_then(by), **facts))
        Observation.objects.bulk_create(seen)
        Check.objects.bulk_create(
            Check(
                transfer=self.transfer,
                baby=row.baby,
                observation=row,
                checked_at=row.observed_at,
                checked_by=row.observed_by,
            )
            for row in seen
        )

    def _seen_on_the_way(self, number: int) -> dict[str, Any]:
        found = SEEN[self.row["urgency"]]
        facts = {key: found[key] for key in ("breathing", "support")} | {
            "heart_rate": 120 + int(30 * self.chance.random()),
            "spo2": 88 + int(8 * self.chance.random()),
        }
        warmth = {"temperature_c": round(36.1 + 0.8 * self.chance.random(), 1)}
        return facts | (warmth if number % CHECKS_AN_HOUR == 0 else {})

    def _sign(self) -> None:
        at = self.at("handed_over")
        nurse, degrees = self._receiver(), self.row["temperatures_on_arrival_c"].split(";")
        condition = FOUND[self.row["urgency"]].value
        for baby, celsius in zip(self.babies, map(float, degrees), strict=True):
            found = {"condition": condition, "temperature_c": celsius}
            for side, who, what in (
                ("giver", self.attendant, {"condition": "", "temperature_c": None}),
                ("receiver", nurse, found),
            ):
                body = {"baby": baby.birth_order, "side": side, "band_checked": True}
                name = {"name": self.kept("signed", str(who))}
                self.say("handover_signed", by_person(who, at), body | name | what)
            Handover.objects.create(
                transfer=self.transfer,
                baby=baby,
                given_by=str(self.attendant),
                given_at=at,
                given_band_checked=True,
                received_by=str(nurse),
                received_at=at,
                received_band_checked=True,
                **found,
            )

    def _examine(self) -> None:
        """Soon after the handover, each baby by who received it."""
        at = min(self.at("handed_over") + EXAMINED_AFTER, self._halfway())
        by = by_person(self._receiver(), at)
        for baby in self.babies:
            Examination.objects.create(
                baby=baby,
                examined_at=at,
                examined_by=by.name,
                findings=(text := timeline.keep_text(self.referral, "examination", NO_FINDING)),
                told_by=by.name,
                recorded_at=at,
            )
            told = {"examined_at": at, "findings": timeline.committed(text)}
            self.say("examined", by, {"baby": baby.birth_order} | told)

    def _tell_back(self) -> None:
        """The next day at the latest, and before the demo begins; then until they have left."""
        at = min(self.at("handed_over") + TOLD_AFTER, self._halfway())
        for baby in self.babies:
            state, words = self.chance.choice(HOW_IT_WENT)
            if state == OutcomeState.GONE_HOME:
                self._outcome(baby, at, OutcomeMoment.AT_DISCHARGE, state, words)
                continue
            self._outcome(baby, at, OutcomeMoment.AT_24_HOURS, state, words)
            for days, moment, later_state, later in TOLD_LATER:
                told_at = self.at("handed_over") + timedelta(days=days)
                if told_at < self.past.now:
                    self._outcome(baby, told_at, moment, later_state, later)

    def _outcome(self, baby: Baby, at: datetime, moment: str, state: str, words: str) -> None:
        read_at = at + READ_AFTER if at + READ_AFTER < self.past.now else None
        text = timeline.keep_text(self.referral, "outcome", words)
        outcome = Outcome.objects.create(
            baby=baby,
            moment=moment,
            state=state,
            words=text,
            told_by=(by := by_person(self._receiver(), at)).name,
            told_at=at,
            read_at=read_at,
        )
        body = {"baby": baby.birth_order}
        told = {"state": state, "words": timeline.committed(text), "moment": moment}
        self.say("outcome_told", by, body | told)
        if read_at:
            reader = self.by_attendant(read_at)
            self.say("outcome_read", reader, body | {"outcome": outcome.pk})

    def _halfway(self) -> datetime:
        """Half of the time from the handover until the demo begins."""
        handed_over = self.at("handed_over")
        return handed_over + (self.past.now - handed_over) / 2

    def _receiver(self) -> Staff:
        return self.past.on_duty(self.row["destination_unit"], self.at("arrived"))
