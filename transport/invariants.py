"""What must hold in the database at every moment, looked at read-only beside the running service.

Each look yields one sentence for every violation it finds. A look that races with a writer could
see half of a change that is being committed; so whatever it finds is looked at once more, and
only what still stands is a violation.
"""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Count, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from referrals import clock
from referrals.calc.folding import Event, fold
from referrals.calc.states import OfferStage, ReferralStage
from referrals.heads import read_heads
from referrals.models import Alert, CotReport, Delivery, Offer, Referral, Unit
from referrals.sweeping import sweep_is_alive
from referrals.verifying import check_timelines, steady
from transport import told_rows
from transport.calc.folding import fold_transfers
from transport.calc.stages import WITH_VEHICLE, TransferStage, furthest
from transport.models import Meeting, Transfer, Vehicle

LOOK_AGAIN_SECONDS = 0.2


@dataclass(frozen=True)
class Violation:
    """Which invariant does not hold, and where."""

    invariant: str
    sentence: str


@dataclass(frozen=True)
class Moment:
    """When it is looked, how late something may be, and whether a sweep lives."""

    now: datetime
    grace: timedelta
    sweep_lives: bool

    @property
    def latest(self) -> datetime:
        """Whatever was due before this is overdue."""
        return self.now - self.grace


def moment(grace_minutes: float) -> Moment:
    """Now, with a grace by the clock that the deadlines use."""
    now = clock.now()
    grace = timedelta(minutes=grace_minutes) * clock.speed()
    return Moment(now, grace, sweep_is_alive(now))


def violations(grace_minutes: float) -> Iterator[Violation]:
    """Every violation of every invariant that still stands at a second look."""
    for name, look in LOOKS.items():
        found = list(look(moment(grace_minutes)))
        if not found:
            continue
        time.sleep(LOOK_AGAIN_SECONDS)
        still = set(look(moment(grace_minutes)))
        yield from (Violation(name, sentence) for sentence in found if sentence in still)


def one_acceptance(at: Moment) -> Iterator[str]:
    """Never two accepted offers of one referral."""
    accepted = Offer.objects.filter(stage=OfferStage.ACCEPTED.value).order_by()
    twice = accepted.values("referral__code").annotate(count=Count("pk")).filter(count__gt=1)
    for row in twice:
        yield f"{row['referral__code']} has {row['count']} accepted offers."


def acceptances_hold_cots(at: Moment) -> Iterator[str]:
    """An accepted offer keeps a cot, and no other offer does."""
    offers = Offer.objects.select_related("referral", "unit").order_by("pk")
    accepted = Q(stage=OfferStage.ACCEPTED.value)
    held = Q(hold__isnull=False, hold__released_at=None)
    for offer in offers.filter(accepted & ~held).iterator():
        yield f"{offer.referral.code}: {offer.unit.code} accepted, but no cot is held for it."
    for offer in offers.filter(held & ~accepted).iterator():
        yield f"{offer.referral.code}: {offer.unit.code} holds a cot for an offer {offer.stage}."


def cots_add_up(at: Moment) -> Iterator[str]:
    """Free cots are never below zero; free and held ones are not more than there can be."""
    newest = CotReport.objects.filter(unit=OuterRef("pk"), withdrawn_at=None).order_by(
        "-reported_at", "-pk"
    )
    waiting = Q(holds__released_at=None, holds__used_at=None)
    units = Unit.objects.annotate(
        held=Coalesce(Sum("holds__cots", filter=waiting), 0),
        reported=Coalesce(Subquery(newest.values("cots_free")[:1]), 0),
    )
    for unit in units.filter(cots_free__lt=0):
        yield f"{unit.code} has {unit.cots_free} free cots."
    for unit in units.filter(cots_free__gt=F("cots_total") + F("reported") - F("held")):
        yield (
            f"{unit.code} has {unit.cots_free} cots free and {unit.held} held, more than its "
            f"{unit.cots_total} and the {unit.reported} last reported."
        )


def open_referrals_are_looked_at(at: Moment) -> Iterator[str]:
    """Every open referral has a next look, which is not overdue while a sweep lives."""
    opened = Referral.objects.open().order_by("pk")
    for code in opened.filter(next_look_at=None).values_list("code", flat=True):
        yield f"{code} is open, but nobody will look at it again."
    if at.sweep_lives:
        for code in opened.filter(next_look_at__lt=at.latest).values_list("code", flat=True):
            yield f"{code} is open and its next look is overdue."


def alerts_go_on(at: Moment) -> Iterator[str]:
    """An alert that needs an answer has one, is closed, or has a next step, not overdue."""
    alerts = Alert.objects.open().filter(needs_answer=True).order_by("pk")
    for alert in alerts.filter(due_at=None):
        yield f"Alert {alert.key} is unanswered and has no next step."
    if at.sweep_lives:
        for alert in alerts.filter(due_at__lt=at.latest):
            yield f"Alert {alert.key} is unanswered and its next step is overdue."


def deliveries_are_tried(at: Moment) -> Iterator[str]:
    """No message waits longer than the grace without a first try."""
    waiting = Delivery.objects.filter(state="queued", tries=0, due_at__lt=at.latest)
    for delivery in waiting.order_by("pk").iterator():
        yield f"Delivery {delivery.pk} ({delivery.channel}) waits and was never tried."


def closed_means_ended(at: Moment) -> Iterator[str]:
    """A closed referral has an ending for every baby and nothing open; an open one does not."""
    closed = Referral.objects.filter(stage=ReferralStage.CLOSED.value)
    for row in closed.filter(babies__ending="").distinct():
        yield f"{row.code} is closed, but not every baby has an ending."
    ended = Referral.objects.open().exclude(babies__ending="")
    for row in ended.filter(babies__isnull=False).distinct():
        yield f"{row.code} is open, but every baby has an ending."
    for offer in Offer.objects.filter(referral__in=closed, stage=OfferStage.OPEN.value):
        yield f"{offer.referral.code} is closed, but {offer.unit.code} is still asked."
    for transfer in Transfer.objects.live().filter(referral__in=closed):
        yield f"{transfer.referral.code} is closed, but its journey is {transfer.stage}."


def one_journey_per_vehicle(at: Moment) -> Iterator[str]:
    """A vehicle has at most one journey or meeting ahead, and is busy exactly while it has one."""
    live = Q(transfers__stage__in=[stage.value for stage in WITH_VEHICLE])
    met = Q(meetings__moved_at=None, meetings__ended_at=None, meetings__isnull=False)
    vehicles = Vehicle.objects.annotate(
        journeys=Count("transfers", filter=live, distinct=True)
        + Count("meetings", filter=met, distinct=True)
    ).order_by("pk")
    for vehicle in vehicles.filter(journeys__gt=1):
        yield f"{vehicle.code} is on {vehicle.journeys} journeys at once."
    for vehicle in vehicles.filter(journeys__gt=0).exclude(state="busy"):
        yield f"{vehicle.code} is on a journey, but it is called {vehicle.state}."
    for vehicle in vehicles.filter(state="busy", journeys=0):
        yield f"{vehicle.code} is called busy, but it is on no journey."


def meetings_have_two_vehicles(at: Moment) -> Iterator[str]:
    """A meeting stands only for a live journey that has a vehicle; a baby has moved over once."""
    standing = Meeting.objects.standing().select_related("transfer__referral", "vehicle")
    for meeting in standing.order_by("pk"):
        transfer, code = meeting.transfer, meeting.transfer.referral.code
        if transfer.stage not in [stage.value for stage in WITH_VEHICLE]:
            yield f"{code}: {meeting.vehicle.code} is to meet a journey that is {transfer.stage}."
        elif transfer.vehicle_id != meeting.first_vehicle_id:
            yield f"{code}: {meeting.vehicle.code} is to meet a vehicle that does not carry it."
        elif transfer.assignment >= meeting.assignment:
            yield f"{code}: the link of {meeting.vehicle.code} fits another vehicle."
    for meeting in Meeting.objects.filter(moved_at__isnull=False, ended_at__isnull=False):
        yield f"{meeting.transfer.referral.code}: moved over at a meeting that was called off."


def stages_follow_milestones(at: Moment) -> Iterator[str]:
    """A journey with a vehicle stands at the furthest milestone of that vehicle."""
    with_vehicle = Transfer.objects.filter(stage__in=[stage.value for stage in WITH_VEHICLE])
    for transfer in with_vehicle.select_related("referral").prefetch_related("milestones"):
        reached = furthest(
            TransferStage(row.kind)
            for row in transfer.milestones.all()
            if (row.assignment, row.stretch) == (transfer.assignment, transfer.stretch)
            and row.applied
            and not row.withdrawn_at
        )
        if reached.value != transfer.stage:
            yield (
                f"{transfer.referral.code}: its journey is {transfer.stage}, "
                f"but its milestones say {reached.value}."
            )


def stages_follow_entries(at: Moment) -> Iterator[str]:
    """Stages and endings on the rows are what the entries amount to."""
    for pk in Referral.objects.order_by("pk").values_list("pk", flat=True).iterator():
        yield from steady(pk, lambda referral: list(_against_entries(referral)))


def chains_hold(at: Moment) -> Iterator[str]:
    """Every timeline verifies, and agrees with the heads kept outside the database."""
    for checked in check_timelines(read_heads(settings.HEADS_FILE)):
        for fault in checked.faults:
            yield f"{fault.referral}, entry {fault.seq}: {fault.sentence}."


def _against_entries(referral: Referral) -> Iterator[str]:
    events = list(referral.entries.order_by("seq").values_list("kind", "body"))
    folded = fold(events)
    if referral.stage != folded.stage.value:
        yield f"{referral.code} is {referral.stage}, but its entries say {folded.stage.value}."
    yield from _differences(
        referral.code,
        "offer",
        dict(referral.offers.values_list("pk", "stage")),
        {number: stage.value for number, stage in folded.offers.items()},
    )
    endings = dict(referral.babies.exclude(ending="").values_list("birth_order", "ending"))
    yield from _differences(referral.code, "baby", endings, folded.endings)
    yield from _withdrawn_differences(referral, events)
    yield from _differences(
        referral.code,
        "transfer",
        dict(referral.transfers.values_list("pk", "stage")),
        {number: one.stage.value for number, one in fold_transfers(events).items()},
    )


def _withdrawn_differences(referral: Referral, events: list[Event]) -> Iterator[str]:
    """What is marked as taken back, against the entries that say so."""
    entries = {(body["what"], body["row"]) for kind, body in events if kind == "told_withdrawn"}
    stored = {
        (kind, number)
        for kind in told_rows.KINDS
        for number in told_rows.rows_of(referral, kind)
        .exclude(withdrawn_at=None)
        .values_list("pk", flat=True)
    }
    for kind, number in sorted(entries ^ stored):
        word = "is not" if (kind, number) in entries else "is"
        yield f"{referral.code}: {kind} {number} {word} taken back, against its entries."


def _differences(
    code: str, what: str, stored: dict[int, str], folded: dict[int, str]
) -> Iterator[str]:
    for number in sorted(stored.keys() | folded.keys()):
        row, entries = stored.get(number, "nothing"), folded.get(number, "nothing")
        if row != entries:
            yield f"{code}: {what} {number} is {row}, but its entries say {entries}."


Look = Callable[[Moment], Iterable[str]]
LOOKS: dict[str, Look] = {
    look.__name__: look
    for look in (
        one_acceptance,
        acceptances_hold_cots,
        cots_add_up,
        open_referrals_are_looked_at,
        alerts_go_on,
        deliveries_are_tried,
        closed_means_ended,
        one_journey_per_vehicle,
        meetings_have_two_vehicles,
        stages_follow_milestones,
        stages_follow_entries,
        chains_hold,
    )
}
