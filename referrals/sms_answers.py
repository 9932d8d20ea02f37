"""The words that answer an SMS: one SMS where it can be, two joined at most, and no link.

They hold the case code, what was understood in the words of our own short language, what was not
in the words of whoever typed it, and whom to ring.
"""

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from referrals.calc.sms.gsm import TWO_SMS, in_alphabet, septets, shortened_to
from referrals.calc.sms.record import NotRead
from referrals.models import District, Offer, Referral

MOST_NOT_READ = 120
"""Septets for the words that were not understood; all of them stand on the desk's page."""


def understood(
    referral: Referral, beginning: str, told: Sequence[str], not_read: Sequence[NotRead]
) -> str:
    """What was taken down, what was not, whom to ring."""
    parts = [beginning]
    if not_read:
        parts.append(_("NOT understood: %(words)s.") % {"words": in_one_line(not_read)})
    parts.append(_ring(referral.district))
    if told:
        space = TWO_SMS - septets(" ".join(parts)) - 16
        words = shortened_to(", ".join(told), space)
        parts.insert(1, _("Understood: %(words)s.") % {"words": words})
    return fitting(parts)


def called(referral: Referral) -> str:
    """A new call stands."""
    return _("%(code)s: help is called, units are being asked.") % {"code": referral.code}


def rings_back() -> str:
    """To whoever rang and hung up."""
    return _("The desk rings you back now.")


def added(referral: Referral) -> str:
    """It was added to a call that stands."""
    return _("%(code)s: added.") % {"code": referral.code}


def stands_already(referral: Referral) -> str:
    """The one word for help, while the call stands already."""
    return _("%(code)s: help is already called. For another baby write NEW BABY.") % {
        "code": referral.code
    }


def which_case(referrals: Iterable[Referral]) -> str:
    """Several calls stand: nothing was added to any."""
    codes = ", ".join(referral.code for referral in referrals)
    return _("Not added: which baby? Write the code first: %(codes)s.") % {"codes": codes}


def nothing_understood(district: District | None, not_read: Sequence[NotRead]) -> str:
    """No word of it is ours."""
    words = in_one_line(not_read)
    parts = [_("NOT understood: %(words)s.") % {"words": words}] if words else []
    return fitting([*parts, _("To call for help write BABY."), _ring(district)])


def desk_rings(referral: Referral | None, district: District | None) -> str:
    """What an SMS alone never does was told: a person deals with it. Plain and quiet."""
    code = f"{referral.code}: " if referral else ""
    told = _("the desk has been told and rings you.")
    return fitting([code + (told if code else told[:1].upper() + told[1:]), _ring(district)])


def unknown_number(district: District | None) -> str:
    """Nobody is known to have this number."""
    return fitting([_("We do not know this number. The desk is told."), _ring(district)])


def yes_written(offer: Offer) -> str:
    """The acceptance stands, and with it who receives and at which door."""
    return fitting(
        [
            _("%(code)s: your yes is written down. %(receiver)s receives. Entrance: %(door)s.")
            % {
                "code": offer.referral.code,
                "receiver": shortened_to(in_alphabet(offer.receiver), 60),
                "door": shortened_to(in_alphabet(offer.entrance), 90),
            },
            _ring(offer.referral.district),
        ]
    )


def no_written(offer: Offer) -> str:
    """The refusal stands; the next unit is asked."""
    return _("%(code)s: your no is written down. Another unit is asked. Thank you.") % {
        "code": offer.referral.code
    }


def code_needed(district: District | None) -> str:
    """A yes or a no without the one-time code of a question to this unit."""
    words = _("Not written down. Answer YES or NO and the 6 letters of our question: YES 7KQ2AB.")
    return fitting([words, _ring(district)])


def not_possible(sentence: str, district: District | None) -> str:
    """A verb said no; its sentence says what is possible."""
    return fitting([shortened_to(in_alphabet(sentence), 230), _ring(district)])


def in_one_line(not_read: Sequence[NotRead]) -> str:
    """The words that were not understood, each with what to write instead where it is known."""
    found = [f"{each.words} ({each.hint})" if each.hint else each.words for each in not_read]
    return shortened_to(in_alphabet(", ".join(found)), MOST_NOT_READ)


def fitting(parts: Sequence[str]) -> str:
    """The sentences as one message, inside the alphabet and never longer than two joined SMS."""
    return shortened_to(in_alphabet(" ".join(part for part in parts if part)), TWO_SMS)


def _ring(district: District | None) -> str:
    if district is None or not district.desk_phone:
        return ""
    return _("Desk: %(phone)s") % {"phone": district.desk_phone.as_e164}
