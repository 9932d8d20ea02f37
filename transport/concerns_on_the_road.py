"""What needs a person while mother and baby are on the road: silence, trouble, checks, oxygen.

All of it is the desk's business. Nothing here is ever shown to a driver, who must not be hurried,
and nothing is asked of the one who ventilates.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django.utils.functional import lazy

from referrals.calc.need_rules import RULES
from referrals.calc.wording import marked
from referrals.messages import clock_time
from referrals.models import Baby, Observation, Referral
from referrals.ports import Concern, concern_key
from referrals.reading import assess, intervals_of
from referrals.saying import Words, to_tell
from transport.arrival_told import arrival_told
from transport.calc.checks_due import next_check_due, temperature_due
from transport.calc.places import Place, haversine_km
from transport.calc.track import ArrivalSettings
from transport.concerns_of_meeting import first_seems_there
from transport.models import Transfer
from transport.oxygen_ahead import oxygen_plans

KEPT_BELOW = 0.5
"""A matter that was raised stands until it is below this share of its limit, so that one near the
limit is not raised again and again; common practice, no source."""

KEPT_ABOVE = 1.1
"""And a shortage of oxygen until there is so much more than is needed."""

SLIP_SHARE = 1 / 3
"""While much is left a likely arrival moves by much, and the unit is told anew only when it has
moved by this share of what is left. On simulated drives of three hours it is told half as often as
with the district's limit alone, and as rightly at the end (``tests/benchmarks/arrival.py``)."""


def concerns_on_the_road(
    referral: Referral, transfer: Transfer, now: datetime
) -> Iterator[Concern]:
    """Everything that the positions of a vehicle with mother and baby show."""
    window: dict[str, Any] = transfer.window or {}
    yield from _silence(referral, transfer)
    meeting = transfer.standing_meeting()
    if window.get("arrived_suggested") and meeting:
        yield from first_seems_there(referral, transfer, meeting, now)
        return
    if window.get("arrived_suggested"):
        yield _arrival_suggested(referral, transfer, now)
        return
    yield from _standing_still(referral, transfer, window)
    yield from _off_the_way(referral, transfer, window, now)
    yield from _arrival_moved(referral, transfer, window, now)
    yield from _past_a_limit(referral, transfer, window, now)


def checks_on_the_road(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    """A check or a temperature that has not come: the desk rings and enters it."""
    started = transfer.left_post_at
    if started is None:
        return
    district = referral.district
    grace = timedelta(minutes=district.check_grace_minutes)
    ring = transfer.driver_phone or transfer.driver_name if transfer.vehicle else ""
    ring = ring or referral.who_called()[1] or str(referral.origin)
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        every = intervals_of(baby, now)
        made = transfer.checks.standing().filter(baby=baby).seen()
        last = made.order_by("-checked_at").first()
        due = next_check_due(
            last_check_at=last.checked_at if last else None,
            started_at=started,
            interval_minutes=every.check,
        )
        yield Concern.about(
            referral,
            "check_missed",
            f"{baby.pk}:{last.pk if last else 0}",
            due + grace,
            to_tell(
                CHECK_OF_WAITING if transfer.waits_on_the_road else CHECK_OF_VEHICLE,
                at=clock_time(due, referral),
                code=baby.code,
                ring=ring,
            ),
        )
        warm = _last_temperature(baby)
        if last is None and warm is None:
            continue  # Both are due with the first check, and one call brings both.
        due = temperature_due(
            last_taken_at=warm.observed_at if warm else None,
            started_at=started,
            interval_minutes=every.check,
            temperature_minutes=every.temperature,
        )
        yield Concern.about(
            referral,
            "temperature_missed",
            f"{baby.pk}:{warm.pk if warm else 0}",
            due + grace,
            _temperature_missed(referral, baby, warm, due, ring),
        )


CHECK_OF_WAITING = marked(
    "The %(at)s check of %(code)s has not come. Ring mother and baby where they wait on "
    "loudspeaker (%(ring)s) and enter it."
)
CHECK_OF_VEHICLE = marked(
    "The %(at)s check of %(code)s has not come. Ring the vehicle on loudspeaker (%(ring)s) and "
    "enter it."
)


def _temperature_missed(
    referral: Referral, baby: Baby, warm: Observation | None, due: datetime, ring: object
) -> Words:
    about = {"baby": baby.code, "at": clock_time(due, referral), "ring": ring}
    if warm is None:
        return to_tell(
            "The temperature of %(baby)s was due at %(at)s. It was never taken. Ring on "
            "loudspeaker (%(ring)s) and enter it.",
            **about,
        )
    return to_tell(
        "The temperature of %(baby)s was due at %(at)s. It was %(celsius)s °C at %(then)s. Ring on "
        "loudspeaker (%(ring)s) and enter it.",
        celsius=f"{warm.temperature_c:g}",
        then=clock_time(warm.observed_at, referral),
        **about,
    )


def _shortage(transfer: Transfer, now: datetime, place: int, *, in_short: bool = False) -> str:
    plans = oxygen_plans(transfer, now)
    if place >= len(plans):
        return ""
    whose = f"{plans[place].vehicle}: " if len(plans) > 1 else ""
    plan = plans[place].plan
    return whose + " ".join(plan.message_words if in_short else plan.words)


_oxygen_words = lazy(_shortage, str)


def oxygen_short(referral: Referral, transfer: Transfer, now: datetime) -> Iterator[Concern]:
    """The oxygen may not last to the bedside: minutes, chance, and what closes the gap.

    The words never say to wait or to stop: ventilation goes on with air.
    """
    for place, each in enumerate(oxygen_plans(transfer, now)):
        plan = each.plan
        second = f":{each.vehicle.code}" if place else ""
        subject = f"{transfer.assignment}:{transfer.destination_id}{second}"
        key = concern_key(referral, "oxygen_short", subject)
        stands = referral.alerts.open().filter(key__startswith=key).exists()
        kept = stands and plan.minutes_left < plan.needed_minutes * KEPT_ABOVE
        if not plan.enough or kept:
            said = _oxygen_words(transfer, now, place)
            in_short = _oxygen_words(transfer, now, place, in_short=True)
            yield Concern.about(referral, "oxygen_short", subject, now, said, message=in_short)


def _last_temperature(baby: Baby) -> Observation | None:
    taken = baby.observations.standing().filter(temperature_c__isnull=False)
    return taken.order_by("-observed_at").first()


def _silence(referral: Referral, transfer: Transfer) -> Iterator[Concern]:
    heard = max(filter(None, [transfer.last_fix_at, transfer.on_the_road_at]), default=None)
    if heard is None:
        return
    yield Concern.about(
        referral,
        "vehicle_silent",
        f"{transfer.pk}:{heard.isoformat()}",
        heard + timedelta(minutes=referral.district.silence_minutes),
        to_tell(
            "No position from %(vehicle)s since %(since)s. It may be out of coverage. Ring "
            "%(driver)s %(phone)s.",
            vehicle=transfer.vehicle,
            since=clock_time(heard, referral),
            driver=transfer.driver_name,
            phone=transfer.driver_phone,
        ),
    )


def _arrival_suggested(referral: Referral, transfer: Transfer, now: datetime) -> Concern:
    return Concern.about(
        referral,
        "arrival_suggested",
        transfer.assignment,
        now,
        to_tell(
            "%(vehicle)s seems to be at %(unit)s. Ask, then press 'arrived'.",
            vehicle=transfer.vehicle,
            unit=transfer.destination,
        ),
    )


def _standing_still(
    referral: Referral, transfer: Transfer, window: dict[str, Any]
) -> Iterator[Concern]:
    """A stop that was told counts anew: its reason is known for a while."""
    standing = window.get("standing")
    if not standing:
        return
    since, until = (datetime.fromisoformat(standing[name]) for name in ("since", "until"))
    told = transfer.checks.standing().exclude(stopped_because=None).order_by("-checked_at").first()
    counted_from = max(since, told.checked_at) if told else since
    limit = timedelta(minutes=referral.district.standing_still_minutes)
    place = Place(standing["latitude"], standing["longitude"])
    if until - counted_from < limit or _at_a_site(referral, place):
        return
    said = to_tell(
        "%(vehicle)s with %(code)s stands since %(since)s (%(minutes)d min) near %(place)s, "
        "%(km)d km in a straight line from %(unit)s. Ring %(driver)s %(phone)s.",
        vehicle=transfer.vehicle,
        code=referral.code,
        minutes=(until - since) / timedelta(minutes=1),
        since=clock_time(since, referral),
        place=f"{place.latitude:.4f},{place.longitude:.4f}",
        km=window["remaining_km"],
        unit=_heads_for(transfer),
        driver=transfer.driver_name,
        phone=transfer.driver_phone,
    )
    subject = transfer.assignment
    yield Concern.about(referral, "standing_still", subject, counted_from + limit, said)


def _heads_for(transfer: Transfer) -> str:
    """Where it drives now: a meeting place, or the unit."""
    meeting = transfer.standing_meeting()
    return meeting.site.name if meeting else str(transfer.destination)


def _at_a_site(referral: Referral, place: Place) -> bool:
    """Whether the spot is a place the district knows, where a stop has a reason."""
    near_km = ArrivalSettings().arrived_within_m / 1000
    sites = referral.district.sites.values_list("latitude", "longitude")
    return any(haversine_km(place, Place(*at)) <= near_km for at in sites)


def _off_the_way(
    referral: Referral, transfer: Transfer, window: dict[str, Any], now: datetime
) -> Iterator[Concern]:
    off = window.get("off")
    if not off:
        return
    said = to_tell(
        "%(vehicle)s with %(code)s drives away from %(unit)s: %(km)d km in a straight line now, "
        "%(nearest)d km at %(since)s. Perhaps a way round. Ring %(driver)s %(phone)s.",
        vehicle=transfer.vehicle,
        code=referral.code,
        unit=_heads_for(transfer),
        km=off["km_left"],
        nearest=off["nearest_km"],
        since=clock_time(datetime.fromisoformat(off["since"]), referral),
        driver=transfer.driver_name,
        phone=transfer.driver_phone,
    )
    subject = f"{transfer.assignment}:{transfer.destination_id}"
    yield Concern.about(referral, "off_the_way", subject, now, said, told_once=True)


def _arrival_moved(
    referral: Referral, transfer: Transfer, window: dict[str, Any], now: datetime
) -> Iterator[Concern]:
    """The unit was told another time; over when it is told anew, or the time is as told again."""
    told = arrival_told(transfer) if window else None
    if told is None:
        return
    likely, minute = datetime.fromisoformat(window["p50"]), timedelta(minutes=1)
    moved = (likely - told.likely) / minute
    limit = max(referral.district.arrival_slip_minutes, (likely - now) / minute * SLIP_SHARE)
    if referral.alerts.open().filter(kind="arrival_moved").exists():
        limit *= KEPT_BELOW
    if abs(moved) <= limit:
        return
    later = marked(
        "%(code)s is expected at %(unit)s about %(likely)s (%(early)s to %(late)s), %(minutes)d "
        "min later than it was told at %(at)s. Tell the unit."
    )
    earlier = marked(
        "%(code)s is expected at %(unit)s about %(likely)s (%(early)s to %(late)s), %(minutes)d "
        "min earlier than it was told at %(at)s. Tell the unit."
    )
    said = to_tell(
        later if moved > 0 else earlier,
        code=referral.code,
        unit=transfer.destination,
        minutes=abs(moved),
        at=clock_time(told.told_at, referral),
        **_times(referral, window),
    )
    yield Concern.about(referral, "arrival_moved", told.told_at.isoformat(), now, said)


def _past_a_limit(
    referral: Referral, transfer: Transfer, window: dict[str, Any], now: datetime
) -> Iterator[Concern]:
    """The likely arrival lies after a line in time of the need rules."""
    if not window:
        return
    limits = [need for need in assess(referral, now).needs if need.limit_minutes is not None]
    rule_words = {rule.code: rule.words for rule in RULES}
    for need in limits:
        ends = now + timedelta(minutes=need.limit_minutes or 0.0)
        if datetime.fromisoformat(window["p50"]) <= ends:
            continue
        said = to_tell(
            "%(code)s is expected at %(unit)s about %(likely)s (%(early)s to %(late)s), after "
            "%(ends)s: %(rule)s. Tell the unit.",
            code=referral.code,
            unit=transfer.destination,
            ends=clock_time(ends, referral),
            rule=to_tell(rule_words[need.rule_code]),
            **_times(referral, window),
        )
        subject = f"{need.rule_code}:{transfer.destination_id}"
        yield Concern.about(referral, "past_a_limit", subject, now, said, told_once=True)


def _times(referral: Referral, window: dict[str, Any]) -> dict[str, str]:
    """The arrival window as clock times."""
    names = {"early": "p10", "likely": "p50", "late": "p90"}
    return {
        name: clock_time(datetime.fromisoformat(window[quantile]), referral)
        for name, quantile in names.items()
    }
