"""Facts that came by SMS, told to the record through the verbs that pages call too."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from referrals import adding, correcting, describing, lifecycle, ports, recording
from referrals.acting import By
from referrals.calc import wording
from referrals.calc.sms.record import BabyRead, Moment, NotRead, Reading
from referrals.calc.sms.writing import in_words
from referrals.describing import BabyTold
from referrals.labels import FIELDS
from referrals.models import Baby, Referral, Site, Staff

MOST_BABIES = 3


@dataclass
class Taken:
    """What was told to the record, in our own short words, and what could not be."""

    words: list[str] = field(default_factory=list)
    not_read: list[NotRead] = field(default_factory=list)


def call_for_help(
    by: By, origin: Site, reading: Reading, *, raised_by: Staff | None, note: str
) -> tuple[Referral, Taken]:
    """Raise a referral with all that is told; what was not understood is kept as its note."""
    count = max(reading.how_many or 1, *(number or 1 for number in [1, *reading.babies]))
    referral = lifecycle.raise_referral(
        by,
        origin=origin,
        raised_by=raised_by,
        babies=[BabyTold() for _ in range(count)],
        note=note,
    )
    return referral, tell(by, referral, reading)


def tell(by: By, referral: Referral, reading: Reading) -> Taken:
    """Add all that is told to a referral."""
    taken = Taken()
    _add_babies(by, referral, reading)
    babies = [baby for baby in referral.babies.order_by("birth_order") if not baby.ending]
    for number, told in reading.babies.items():
        baby = _which(babies, number)
        if baby is None:
            words = ", ".join(_told_in_words(told))
            taken.not_read.append(NotRead(words, wording.words("baby 1 or baby 2 before it")))
            continue
        baby.referral = referral
        _tell_of_baby(by, baby, told, reading)
        if len(babies) > 1:
            taken.words.append(f"baby {baby.birth_order}")
        taken.words += _told_in_words(told)
    if reading.oxygen_bar is not None:
        if not reading.babies and babies:
            babies[0].referral = referral
            ports.journeys().observed(by, babies[0], {}, oxygen_bar=reading.oxygen_bar)
        taken.words.append(f"gauge {reading.oxygen_bar:g}")
    _tell_of_mother(by, referral, reading, taken)
    return taken


def note(by: By, referral: Referral, not_read: Sequence[NotRead]) -> None:
    """Keep the words that were not understood where people read what was told of the baby."""
    baby = referral.babies.order_by("birth_order").first()
    if baby and not_read:
        words = "; ".join(each.words for each in not_read)
        recording.observe(by, baby, {}, note=words)


def _add_babies(by: By, referral: Referral, reading: Reading) -> None:
    """Twins that were not told of at the raise."""
    told = max(reading.how_many or 0, *(number or 0 for number in [0, *reading.babies]))
    for _ in range(referral.babies.count(), min(told, MOST_BABIES)):
        adding.add_baby(by, referral, BabyTold())


def _which(babies: Sequence[Baby], number: int | None) -> Baby | None:
    """The baby meant; without a number only where there is one."""
    if number is None:
        return babies[0] if len(babies) == 1 else None
    return next((baby for baby in babies if baby.birth_order == number), None)


def _tell_of_baby(by: By, baby: Baby, told: BabyRead, reading: Reading) -> None:
    zone = ZoneInfo(baby.referral.district.time_zone)
    details: dict[str, Any] = {
        "sex": told.sex or None,
        "weight_guessed": told.weight_guessed,
        "born_at": _moment(told.born, by.at, zone),
        "ventilated_since": _moment(told.ventilated_since, by.at, zone),
    }
    given = {name: value for name, value in details.items() if value is not None}
    if given:
        _describe(by, baby, given)
    facts = dict(told.facts)
    if reading.corrects:
        correcting.tell_facts(by, baby, facts)
        facts = {}
    if facts or reading.oxygen_bar is not None:
        ports.journeys().observed(by, baby, facts, oxygen_bar=reading.oxygen_bar)


def _describe(by: By, baby: Baby, given: dict[str, Any]) -> None:
    """Tell what does not change; a time that contradicts another one never loses the rest."""
    try:
        describing.describe_baby(by, baby, given)
    except recording.UnknownFact as refused:
        left = {name: value for name, value in given.items() if name != refused.field}
        recording.observe(by, baby, {}, note=f"{FIELDS[refused.field]}: {refused}")
        if left:
            _describe(by, baby, left)


def _tell_of_mother(by: By, referral: Referral, reading: Reading, taken: Taken) -> None:
    if reading.mother:
        tell = correcting.tell_facts if reading.corrects else recording.observe_mother
        tell(by, referral.mother, reading.mother)
        taken.words += ["mother", *in_words(reading.mother)]
    if reading.alone is not None:
        hands = describing.Hands(
            ventilates=referral.ventilates,
            relieves=referral.relieves,
            reports=referral.reports,
            alone=reading.alone,
        )
        describing.say_who_ventilates(by, referral, hands)
        taken.words.append("only me")


def _told_in_words(told: BabyRead) -> list[str]:
    words = in_words(told.facts)
    for name, moment in (("born", told.born), ("since", told.ventilated_since)):
        if moment and moment.clock:
            words.append(f"{name} {moment.clock[0]:02d}:{moment.clock[1]:02d}")
        elif moment:
            words.append(f"{name} {moment.minutes_ago:g} min ago")
    return [*words, *([told.sex] if told.sex else [])]


def _moment(told: Moment | None, at: datetime, zone: ZoneInfo) -> datetime | None:
    """When it was: so long before the message, or when the clock there last showed it."""
    if told is None:
        return None
    if told.clock is None:
        return at - timedelta(minutes=told.minutes_ago or 0)
    hour, minute = told.clock
    here = at.astimezone(zone)
    then = here.replace(hour=hour, minute=minute, second=0, microsecond=0)
    return then if then <= here else then - timedelta(days=1)
