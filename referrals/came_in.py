"""What became of something that came in by telephone, before it is written down."""

from dataclasses import dataclass
from enum import StrEnum

from django.utils.translation import gettext as _

from referrals.calc.terms import Became
from referrals.models import Referral


class Ring(StrEnum):
    """Why somebody at the desk must ring the number."""

    NONE = ""
    CALLED = "called"
    AGAIN = "again"
    UNKNOWN = "unknown"
    UNUSED = "unused"
    GRAVE = "grave"
    WHICH = "which"
    ANSWER = "answer"

    def words(self, *, missed: bool) -> str:
        """The sentence, with a place for ``name``, ``number`` and ``words``."""
        if missed:
            return _MISSED.get(self, _MISSED[Ring.AGAIN])()
        return _WRITTEN.get(self, _WRITTEN[Ring.UNUSED])()


_MISSED = {
    Ring.CALLED: lambda: _(
        "missed call from %(name)s, taken as a call for help. Nothing is known yet. "
        "Ring back %(number)s now."
    ),
    Ring.AGAIN: lambda: _("missed call from %(name)s. Ring back %(number)s now."),
    Ring.UNKNOWN: lambda: _("missed call. %(name)s. Ring back %(number)s now."),
}
_WRITTEN = {
    Ring.UNKNOWN: lambda: _("%(name)s sent an SMS. Read it, and ring %(number)s."),
    Ring.UNUSED: lambda: _("an SMS from %(name)s could not be used. Read it, and ring %(number)s."),
    Ring.GRAVE: lambda: _(
        "%(name)s wrote what an SMS alone never does (%(words)s). Ring %(number)s now."
    ),
    Ring.WHICH: lambda: _(
        "an SMS from %(name)s does not say which baby it is about. Read it, and ring %(number)s."
    ),
    Ring.ANSWER: lambda: _(
        "%(name)s answered by SMS, and it could not be written down. Read it, and ring %(number)s."
    ),
}


@dataclass(frozen=True, kw_only=True)
class Done:
    """What was done, the answer to the sender, and what a person has to see to.

    With a ``problem`` it is kept on the desk's page; with ``ring`` the desk is told, and told again
    if it is ``urgent``.
    """

    became: Became
    referral: Referral | None = None
    answer: str = ""
    problem: str = ""
    ring: Ring = Ring.NONE
    urgent: bool = True
    grave: tuple[str, ...] = ()
