"""The joints into which ``transport`` fits. ``referrals`` knows these shapes, never their maker.

They are filled when the applications are ready (``transport/apps.py``). Each is called inside the
transaction that holds the referral's row, unless it says otherwise.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol, Self

from referrals.acting import By
from referrals.calc.terms import Urgency
from referrals.models import Baby, Offer, Referral, Unit
from referrals.saying import Words

WATCHED = "watch"
"""How the key of every alert begins that was raised from a concern."""


def concern_key(referral: Referral, kind: str, subject: object = "") -> str:
    """The key of a concern: the same cause always has the same one."""
    return f"{WATCHED}:{referral.pk}:{kind}:{subject}"[:140]


@dataclass(frozen=True, kw_only=True)
class Concern:
    """Something about an open referral that a person must deal with from ``due_at`` on.

    ``key`` is the same as long as the cause is the same; ``path`` is the page that deals with it.
    Open alerts of the kinds it ``supersedes`` end when it is raised: one cause, one alert. Some
    are only to be known (``told_once``): taken by a person, they are not brought up again. With
    ``unit_too`` whoever is on duty at the accepting unit reads it as well. ``message`` leaves by
    SMS where the sentence is too long for one.
    """

    key: str
    kind: str
    due_at: datetime
    sentence: Words
    path: str
    urgency: Urgency
    supersedes: tuple[str, ...] = ()
    told_once: bool = False
    unit_too: bool = False
    message: Words | None = None

    @property
    def sms(self) -> Words:
        """What leaves by SMS."""
        return self.sentence if self.message is None else self.message

    @classmethod
    def about(
        cls,
        referral: Referral,
        kind: str,
        subject: object,
        due_at: datetime,
        sentence: Words,
        **more: Any,
    ) -> Self:
        """A concern as urgent as its referral, dealt with on the desk's page of it."""
        return cls(
            key=concern_key(referral, kind, subject),
            kind=kind,
            due_at=due_at,
            sentence=sentence,
            path=f"/desk/{referral.code}/",
            **{"urgency": Urgency(referral.urgency), **more},
        )


@dataclass(frozen=True)
class Suggestion:
    """A unit that should be asked next, with the candidate as it was shown."""

    unit: Unit
    shown: dict[str, Any]


class Journeys(Protocol):
    """What the transport side does when a referral moves, and what it worries about."""

    def open(self, referral: Referral, by: By) -> None:
        """Begin to look for a vehicle, from the moment of the raise."""
        ...

    def next_units(self, referral: Referral, count: int, now: datetime) -> list[Suggestion]:
        """The best units not asked yet, best first."""
        ...

    def as_ranked(self, referral: Referral, unit: Unit, now: datetime) -> dict[str, Any]:
        """The candidate as it stands now, for a question that was asked from no list.

        Empty where it cannot be worked out: that never keeps a unit from being asked.
        """
        ...

    def placed(self, referral: Referral, offer: Offer, by: By) -> None:
        """A unit has accepted: the vehicle now has a destination."""
        ...

    def reception_changed(self, referral: Referral, offer: Offer, by: By) -> None:
        """Another entrance, or another person who receives: who drives there must know."""
        ...

    def unplaced(self, referral: Referral, by: By) -> None:
        """The accepted unit can no longer take the baby."""
        ...

    def unit_refused(self, referral: Referral, offer: Offer, by: By) -> None:
        """A unit that had not accepted says no."""
        ...

    def handover_undone(self, referral: Referral, baby: Baby, by: By) -> None:
        """A handover was written down in error: both sides can sign again."""
        ...

    def closed(self, referral: Referral, by: By) -> None:
        """Every baby has an ending: a vehicle not yet at the unit is stood down."""
        ...

    def vehicle_of(self, referral: Referral) -> str:
        """The name of the vehicle that was sent, empty while there is none."""
        ...

    def driven_from(self, number: str) -> list[Referral]:
        """The referrals whose vehicle is driven, now, by whoever has this telephone number."""
        ...

    def observed(
        self, by: By, baby: Baby, facts: Mapping[str, Any], *, oxygen_bar: float | None = None
    ) -> None:
        """Facts told by SMS: a check while the baby is on the road, an observation before."""
        ...

    def reached(self, by: By, referral: Referral, milestone: str) -> None:
        """A milestone told by SMS.

        Raises:
            NotPossible: when there is no vehicle, or no such milestone.
        """
        ...

    def position_told(self, by: By, referral: Referral, place: tuple[float, float]) -> None:
        """Where the vehicle is, in degrees, told by SMS."""
        ...

    def concerns(self, referral: Referral, now: datetime) -> Iterable[Concern]:
        """What about the journey needs a person, now or later."""
        ...

    def refresh(self, now: datetime) -> None:
        """Once a sweep, outside any transaction: fold in what came without a verb (positions)."""
        ...


@dataclass
class _Joints:
    journeys: Journeys | None = field(default=None)


_joints = _Joints()


def fill(journeys: Journeys) -> None:
    """Called once by the transport application when it is ready."""
    _joints.journeys = journeys


def journeys() -> Journeys:
    """The transport side.

    Raises:
        RuntimeError: when the service was put together without it.
    """
    if _joints.journeys is None:
        raise RuntimeError("the transport application did not fill its place")
    return _joints.journeys
