"""What the transport side does when a referral moves: it fills the place ``referrals`` keeps."""

from collections.abc import Iterable
from datetime import datetime

from referrals.acting import By
from referrals.models import Baby, Offer, Referral
from referrals.ports import Concern, Suggestion
from transport import choosing, closures, concerns, desk, estimating, lifecycle, tracking


class TransportJourneys:
    """See ``referrals.ports.Journeys``."""

    def open(self, referral: Referral, by: By) -> None:
        """Begin to look for a vehicle, and show the referral at the desk."""
        lifecycle.open_transfer(referral, by)
        desk.open_row(referral, by.received_at)

    def next_units(self, referral: Referral, count: int, now: datetime) -> list[Suggestion]:
        """The best units not asked yet."""
        return choosing.suggestions(referral, count, now)

    def placed(self, referral: Referral, offer: Offer, by: By) -> None:
        """The journey goes to the unit that accepted; its road time is kept."""
        lifecycle.set_destination(referral, offer.unit, by)
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
        lifecycle.tell_reception(referral, offer, by)

    def unplaced(self, referral: Referral, by: By) -> None:
        """The journey has no destination until another unit accepts."""
        lifecycle.set_destination(referral, None, by)

    def unit_refused(self, referral: Referral, offer: Offer, by: By) -> None:
        """A vehicle sent there without a yes does not go there any more."""
        lifecycle.unit_refused(referral, offer.unit, by)

    def handover_undone(self, referral: Referral, baby: Baby, by: By) -> None:
        """The signatures stay on the timeline and are taken off the row."""
        lifecycle.unsign(referral, baby)

    def closed(self, referral: Referral, by: By) -> None:
        """The journey ends with the referral."""
        lifecycle.finish(referral, by)

    def vehicle_of(self, referral: Referral) -> str:
        """The vehicle of the live journey."""
        transfer = referral.transfers.live().select_related("vehicle").first()
        return transfer.vehicle.name if transfer and transfer.vehicle else ""

    def concerns(self, referral: Referral, now: datetime) -> Iterable[Concern]:
        """What about the journey needs a person."""
        return concerns.concerns_of_journey(referral, now)

    def refresh(self, now: datetime) -> None:
        """Follow closures, fold in new positions, and bring the desk's rows up to date."""
        closures.keep_up(now)
        for transfer in tracking.refresh_windows(now):
            desk.make_row(transfer.referral, now)
        desk.refresh_stale(now)
