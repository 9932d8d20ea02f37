"""Checks the timelines of many referrals, one by one, while the service goes on writing."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from referrals import timeline
from referrals.calc.chain import Fault
from referrals.models import Referral

R = TypeVar("R")
_LOOKS = 10


@dataclass(frozen=True)
class Checked:
    """One referral's timeline: how many entries it has, and what is wrong with them."""

    referral: str
    entries: int
    faults: list[Fault]


def check_timelines(
    heads: Mapping[str, tuple[int, str]], codes: Iterable[str] | None = None
) -> Iterator[Checked]:
    """Every referral, or those named: its chain against its row, its texts and the heads kept.

    A referral that the heads know and the database does not was cut away whole: also a fault.
    """
    rows = Referral.objects.order_by("pk").only("pk", "code")
    wanted = None if codes is None else set(codes)
    missing = set(heads) if wanted is None else set(heads) & wanted
    if wanted is not None:
        rows = rows.filter(code__in=wanted)
    for referral in rows.iterator(chunk_size=500):
        missing.discard(referral.code)
        kept = heads.get(referral.code)
        yield steady(referral.pk, partial(_checked, kept=kept))
    for code in sorted(missing):
        sentence = "the whole referral is missing from the database; only its kept head is left"
        yield Checked(code, 0, [Fault(code, heads[code][0], sentence)])


def steady(referral_id: int, look: Callable[[Referral], R]) -> R:
    """What a look at a referral finds, taken again when its timeline grew meanwhile.

    Nothing is locked: a check must never hold up somebody who is writing.
    """
    for _ in range(_LOOKS):
        referral = Referral.objects.select_related("district", "origin").get(pk=referral_id)
        found = look(referral)
        after = Referral.objects.values_list("head_seq", flat=True).get(pk=referral_id)
        if after == referral.head_seq:
            break
    return found


def _checked(referral: Referral, kept: tuple[int, str] | None) -> Checked:
    return Checked(referral.code, referral.entries.count(), timeline.faults_of(referral, kept))
