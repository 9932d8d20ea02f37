"""What the transport side does when a referral moves: it fills the place ``referrals`` keeps."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from referrals.acting import By
from referrals.models import Baby, Offer, Referral, Unit
from referrals.ports import Concern, Suggestion
from transport import (
    by_phone,
    choosing,
    closures,
    concerns,
    desk,
    estimating,
    experience,
    handing_over,
    lifecycle,
    proposing,
    road_table,
    tracking,
    where_to,
)


class TransportJourneys:
    """See ``referrals.ports.Journeys``."""

    def open(self, referral: Referral, by: By) -> None:
        """Begin to look for a vehicle, and show the referral at the desk."""
        lifecycle.open_transfer(referral, by)
        desk.open_row(referral, by.received_at)

    def next_units(self, referral: Referral, count: int, now: datetime) -> list[Suggestion]:
        """The best units not asked yet."""
        return choosing.suggestions(referral, count, now)

    def as_ranked(self, referral: Referral, unit: Unit, now: datetime) -> dict[str, Any]:
        """The candidate in a list made and kept now."""
        return choosing.as_ranked(referral, unit, now)

    def placed(self, referral: Referral, offer: Offer, by: By) -> None:
        """The journey goes to the unit that accepted; its road time is kept."""
        where_to.set_destination(referral, offer.unit, by)
        transfer = referral.transfers.live().select_related("vehicle", "destination__site").first()
        if transfer:
            transfer.referral = referral
            estimating.keep_estimate(
                transfer,
                "road",
                estimating.road_estimate(transfer, by.received_at),
                by.received_at,
            )

    def reception_changed(self, referral: Referral, offer: Offer, by: By) -> None:
        """The driver learns of another entrance or receiver."""
        where_to.tell_reception(referral, offer, by)

    def unplaced(self, referral: Referral, by: By) -> None:
        """The journey has no destination until another unit accepts."""
        where_to.set_destination(referral, None, by)

    def unit_refused(self, referral: Referral, offer: Offer, by: By) -> None:
        """A vehicle sent there without a yes does not go there any more."""
        where_to.unit_refused(referral, offer.unit, by)

    def handover_undone(self, referral: Referral, baby: Baby, by: By) -> None:
        """The signatures stay on the timeline and are taken off the row."""
        handing_over.unsign(referral, baby)

    def closed(self, referral: Referral, by: By) -> None:
        """The journey ends with the referral."""
        lifecycle.finish(referral, by)

    def vehicle_of(self, referral: Referral) -> str:
        """The vehicle of the live journey."""
        transfer = referral.transfers.live().select_related("vehicle").first()
        return transfer.vehicle.name if transfer and transfer.vehicle else ""

    def driven_from(self, number: str) -> list[Referral]:
        """See ``by_phone``."""
        return by_phone.driven_from(number)

    def observed(
        self, by: By, baby: Baby, facts: Mapping[str, Any], *, oxygen_bar: float | None = None
    ) -> None:
        """See ``by_phone``."""
        by_phone.observe(by, baby, facts, oxygen_bar=oxygen_bar)

    def reached(self, by: By, referral: Referral, milestone: str) -> None:
        """See ``by_phone``."""
        by_phone.reach(by, referral, milestone)

    def position_told(self, by: By, referral: Referral, place: tuple[float, float]) -> None:
        """See ``by_phone``."""
        by_phone.tell_position(by, referral, place)

    def concerns(self, referral: Referral, now: datetime) -> Iterable[Concern]:
        """What about the journey needs a person."""
        return concerns.concerns_of_journey(referral, now)

    def refresh(self, now: datetime) -> None:
        """Follow closures, fold in positions, propose vehicles, renew the desk's rows, learn."""
        closures.keep_up(now)
        for transfer in tracking.refresh_windows(now):
            desk.make_row(transfer.referral, now)
        proposing.keep_up(now)
        desk.refresh_stale(now)
        experience.ask_for_refits(now)
        road_table.ask_for_ways()
