"""What needs a person at the desk now: each open alert in a sentence, with what deals with it.

Alerts about one referral stand together, so that one call can settle several; the most urgent
comes first.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals.charge import TAKES_CHARGE
from referrals.models import Alert, District, Offer, Referral
from referrals.twice import other_of
from transport import choosing
from transport.models import Transfer

FIRST = (
    "call_back",
    "stopped",
    "no_heartbeat",
    "breathes_worse",
    "nobody_can_take",
    "turned_away",
    "unplaced",
    "no_vehicle",
    "not_accepted",
    "oxygen_short",
    "vehicle_wanted",
    "check_missed",
    "temperature_missed",
    "cold",
    "hot",
    "alone",
    "post_silent",
    "unanswered",
    "not_reconfirmed",
    "needs_more",
    "unit_closed",
    "cot_missing",
    "standing_still",
    "off_the_way",
    "meeting_waits",
    "meeting_off",
    "not_moved_over",
    "vehicle_silent",
    "road_closed",
    "arrival_moved",
    "past_a_limit",
    "not_set_off",
    "collection_overdue",
    "departure_overdue",
    "list_open",
)
"""Among equally urgent babies: what keeps a baby longest without help comes first."""

URGENCY = ("ventilated", "urgent", "stable")
CHOICES_WORKED_OUT = 8
TAKEN_SHOWN_FOR = timedelta(minutes=30)

RING_DRIVER = {
    "stopped", "oxygen_short", "check_missed", "vehicle_silent", "not_set_off",
    "collection_overdue", "departure_overdue", "arrival_suggested", "late_note",
    "road_closed", "turned_away", "standing_still", "off_the_way", "temperature_missed",
    "meeting_waits", "meeting_off", "not_moved_over", "meeting_suggested", "second_goes",
    "list_open",
}  # fmt: skip
MEETING = {"meeting_waits", "not_moved_over", "meeting_suggested"}
RING_POST = {
    "post_silent",
    "perhaps_twice",
    "alone",
    "departure_overdue",
    "oxygen_short",
    "no_vehicle",
    "vehicle_wanted",
    "cold",
    "hot",
    "breathes_worse",
    "no_heartbeat",
}
RING_UNIT = {
    "handover_unsigned", "outcome_not_told", "not_examined", "arrival_suggested", "not_reconfirmed",
    "needs_more", "unit_closed", "cot_missing", "arrival_moved", "past_a_limit", "cold", "hot",
    "breathes_worse",
    "no_heartbeat",
}  # fmt: skip
NEXT_UNIT = {"unanswered", "nobody_can_take", "unplaced", "not_accepted"}
CHECK = {"check_missed", "temperature_missed", "alone"}
WANTS_VEHICLE = {"vehicle_wanted", "no_vehicle"}
DRIVER_SAYS = {"not_set_off", "collection_overdue", "departure_overdue", "late_note"}
OTHER_VEHICLE = {
    "vehicle_silent", "not_set_off", "collection_overdue", "stopped", "standing_still",
}  # fmt: skip
OPENS = (
    (CHECK, gettext_lazy("Enter the check"), "?open=check#check"),
    ({"turned_away"}, gettext_lazy("They drive on"), "?open=go_on#vehicle"),
    (DRIVER_SAYS, gettext_lazy("Enter what the driver says"), "?open=milestone#vehicle"),
    ({"handover_unsigned"}, gettext_lazy("Enter the signature"), "?open=sign#handover"),
    (OTHER_VEHICLE, gettext_lazy("Send another vehicle"), "#vehicle"),
    (MEETING, gettext_lazy("The meeting"), "#meeting"),
    ({"oxygen_short"}, gettext_lazy("The oxygen in words"), "#oxygen"),
    (
        {"needs_more", "unit_closed", "cot_missing"},
        gettext_lazy("Take it elsewhere"),
        "?open=divert#units",
    ),
    ({"not_reconfirmed"}, gettext_lazy("Write down what they say"), "#units"),
    ({"no_heartbeat"}, gettext_lazy("Who decides what"), "?open=advice#baby"),
    ({"list_open"}, gettext_lazy("The list before leaving"), "?open=tick#list"),
    ({"outcome_not_told"}, gettext_lazy("Write the outcome"), "?open=outcome#outcome"),
    ({"not_examined"}, gettext_lazy("Write the examination"), "?open=examined#outcome"),
)
"""Which part of the case's page deals with which kinds; ``open`` names the fold that is open."""


@dataclass(frozen=True)
class Action:
    """One button: ``ring`` a number, ``post`` a verb with its fields, ``open`` a part of a page."""

    kind: str
    label: str
    target: str
    fields: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Matter:
    """Everything about one referral that needs somebody now."""

    referral: Referral
    alerts: tuple[Alert, ...]
    actions: tuple[Action, ...]


def open_alerts(district: District) -> QuerySet[Alert]:
    """The alerts the desk must deal with."""
    return (
        Alert.objects.open()
        .filter(district=district, for_desk=True, referral__isnull=False)
        .select_related("referral__origin", "referral__district__standing_unit__site")
        .order_by("raised_at")
    )


@dataclass(frozen=True)
class Caller:
    """Somebody who must be rung and whose message belongs to no referral."""

    alert: Alert
    number: str


def without_case(district: District) -> list[Caller]:
    """Open alerts of the desk that belong to no referral, the oldest first."""
    rows = Alert.objects.open().filter(district=district, for_desk=True, referral=None)
    return [
        Caller(alert, alert.key.rsplit(":", 1)[-1]) for alert in rows.order_by("raised_at")[:20]
    ]


def alerts_about(referral: Referral) -> list[Alert]:
    """The open alerts about one referral, the gravest first."""
    return sorted(open_alerts(referral.district).filter(referral=referral), key=_rank)


def taken_lately(district: District, now: datetime) -> QuerySet[Alert]:
    """What somebody took over a short while ago, of referrals that still go on."""
    return (
        Alert.objects.filter(
            district=district,
            for_desk=True,
            acknowledged_at__gte=now - TAKEN_SHOWN_FOR,
            referral__closed_at__isnull=True,
        )
        .select_related("referral")
        .order_by("-acknowledged_at")
    )


def matters(district: District, now: datetime) -> list[Matter]:
    """What needs a person now, most urgent first."""
    by_referral: dict[int, list[Alert]] = {}
    for alert in open_alerts(district):
        by_referral.setdefault(alert.referral_id or 0, []).append(alert)
    groups = sorted((sorted(group, key=_rank) for group in by_referral.values()), key=_rank_of_all)
    transfers = _newest_transfers(by_referral)
    made = []
    for place, group in enumerate(groups):
        referral = group[0].referral
        assert referral is not None  # noqa: S101 - filtered above
        transfer = transfers.get(referral.pk)
        best = place < CHOICES_WORKED_OUT
        actions = _actions(referral, transfer, group, now, work_out=best)
        made.append(Matter(referral, tuple(group), tuple(dict.fromkeys(actions))))
    return made


def _rank(alert: Alert) -> tuple[int, int, datetime]:
    kind = FIRST.index(alert.kind) if alert.kind in FIRST else len(FIRST)
    urgency = URGENCY.index(alert.urgency) if alert.urgency in URGENCY else 0
    return urgency, kind, alert.raised_at


def _rank_of_all(group: list[Alert]) -> tuple[int, int, datetime]:
    return _rank(group[0])


def _newest_transfers(referrals: Iterable[int]) -> dict[int, Transfer]:
    rows = Transfer.objects.filter(referral__in=referrals).select_related("destination__site")
    return {transfer.referral_id: transfer for transfer in rows.order_by("pk")}


def _actions(
    referral: Referral,
    transfer: Transfer | None,
    alerts: list[Alert],
    now: datetime,
    *,
    work_out: bool,
) -> Iterable[Action]:
    kinds = {alert.kind for alert in alerts}
    page = reverse("desk_referral", args=[referral.code])
    yield from _calls(referral, transfer, alerts, kinds)
    if kinds & set(TAKES_CHARGE):
        yield Action("open", _("Call list"), reverse("desk_calls", args=[referral.code]))
    if kinds & WANTS_VEHICLE:
        yield from _send_best(referral, now) if work_out else ()
        yield Action("open", _("Choose a vehicle"), f"{page}#vehicle")
    if "not_accepted" in kinds:
        yield from _send_toward(referral)
        yield Action("open", _("Toward another unit"), f"{page}#vehicle")
    if kinds & NEXT_UNIT:
        yield Action("post", _("Ask the next unit"), _verb(referral, "ask_next"))
        yield Action("open", _("Units and their reasons"), f"{page}#units")
    if "arrival_suggested" in kinds:
        fields = (("milestone", "arrived"),)
        yield Action("post", _("They have arrived"), _verb(referral, "milestone"), fields)
    if "arrival_moved" in kinds and transfer:
        new_time = _("Tell %s the new time") % transfer.destination
        yield Action("post", new_time, _verb(referral, "tell_arrival"))
    yield from _about_meeting(referral, transfer, kinds)
    yield from _joins(referral, alerts)
    for dealt_with, label, part in OPENS:
        if kinds & dealt_with:
            yield Action("open", str(label), page + part)
    if "road_closed" in kinds:
        yield Action("open", _("What is reported closed"), reverse("desk_roads"))
        yield Action("open", _("Units and their reasons"), f"{page}#units")


def _calls(
    referral: Referral, transfer: Transfer | None, alerts: list[Alert], kinds: set[str]
) -> Iterable[Action]:
    if kinds & RING_DRIVER and transfer and transfer.driver_phone:
        yield _ring(transfer.driver_name or _("the driver"), transfer.driver_phone)
    for alert in alerts:
        yield from _call_named_by(alert)
    unit = transfer.destination if transfer else None
    if kinds & RING_UNIT and unit and unit.phone:
        yield _ring(unit.name, unit.phone.as_e164)
    standing = referral.district.standing_unit
    if "nobody_can_take" in kinds and standing and standing.phone:
        yield _ring(standing.name, standing.phone.as_e164)
    if kinds & RING_POST and referral.origin.phone:
        yield _ring(referral.origin.name, referral.origin.phone.as_e164)


def _call_named_by(alert: Alert) -> Iterable[Action]:
    """The number that the key of an alert leads to: the unit asked, or who was not reached."""
    subject = alert.key.rsplit(":", 1)[-1]
    if alert.kind == "unanswered" and subject.isdecimal():
        offer = Offer.objects.filter(pk=int(subject)).select_related("unit").first()
        if offer and offer.unit.phone:
            yield _ring(offer.unit.name, offer.unit.phone.as_e164)
    if alert.kind == "call_back" and subject.startswith("+"):
        yield Action("ring", _("Ring back"), f"tel:{subject}")
    if alert.kind == "not_reached" and subject.startswith("+"):
        yield _ring(subject, subject)


def _joins(referral: Referral, alerts: list[Alert]) -> Iterable[Action]:
    """Which call goes on, where two are perhaps about one baby; only a person presses it."""
    for alert in alerts:
        other = other_of(alert) if alert.kind == "perhaps_twice" else None
        if other:
            label = _("The same baby: go on as %s") % other.code
            yield Action("post", label, _verb(referral, "join"), (("into", other.code),))


def _send_best(referral: Referral, now: datetime) -> Iterable[Action]:
    """The first free vehicle against which nothing speaks, to be sent in one press."""
    for choice in choosing.vehicle_choices(referral, now)[:1]:
        if choice.against:
            return
        time = choice.to_baby.distribution if choice.to_baby else None
        label = _("Send %s") % choice.vehicle.name
        if time:
            label = _("%(send)s, about %(likely)d min to the baby (%(early)d to %(late)d)") % {
                "send": label,
                "likely": round(time.p50),
                "early": round(time.p10),
                "late": round(time.p90),
            }
        fields = (("vehicle", choice.vehicle.code),)
        yield Action("post", label, _verb(referral, "assign"), fields)


def _send_toward(referral: Referral) -> Iterable[Action]:
    standing = referral.district.standing_unit
    if standing:
        label = _("Send toward %s, not accepted yet") % standing
        fields = (("unit", standing.code),)
        yield Action("post", label, _verb(referral, "toward"), fields)


def _about_meeting(
    referral: Referral, transfer: Transfer | None, kinds: set[str]
) -> Iterable[Action]:
    meeting = transfer.standing_meeting() if transfer and kinds & MEETING else None
    if meeting is None:
        return
    if meeting.driver_phone:
        yield _ring(meeting.driver_name or meeting.vehicle.name, meeting.driver_phone)
    step = _verb(referral, "meeting_step")
    if "meeting_suggested" in kinds:
        fields = (("step", "first_there"),)
        yield Action("post", _("%s is there") % meeting.first_vehicle, step, fields)
    if "meeting_waits" in kinds:
        fields = (("step", "drive_on"),)
        yield Action("post", _("Let %s drive on") % meeting.first_vehicle, step, fields)


def _ring(name: str, number: str) -> Action:
    return Action("ring", _("Ring %s") % name, f"tel:{number}")


def _verb(referral: Referral, verb: str) -> str:
    return reverse("desk_act", args=[referral.code, verb])
