"""The words that leave the service. They hold the case code, state, arrival and place, no name.

Every message fits two joined SMS of the GSM alphabet with its link (306 characters; names of units
are long, and who must ring finds the number in the message); ``tests/referrals/test_messages.py``
counts them. What people type is cut for it; the page holds all of it.
"""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from referrals.alerting import Text
from referrals.calc.need_rules import MOTHER_RULES
from referrals.calc.terms import Capability, Urgency
from referrals.labels import inside_a_sentence, word_of
from referrals.models import Offer, Referral

LONGEST_REASON = 80
"""Characters of what somebody typed that a message holds."""


def shortened(words: str) -> str:
    """What somebody typed, as long as a message may hold."""
    return words if len(words) <= LONGEST_REASON else f"{words[: LONGEST_REASON - 3].rstrip()}..."


def question(offer: Offer) -> Text:
    """Can you take this baby? In one SMS: who, from where, when, the press."""
    referral = offer.referral
    count = referral.babies.filter(ending="").count()
    who = _("newborn") if count == 1 else _("%(count)s newborns") % {"count": count}
    state = {
        Urgency.VENTILATED: _("ventilated by hand"),
        Urgency.URGENT: _("needs care soon"),
        Urgency.STABLE: _("stable"),
    }[Urgency(referral.urgency)]
    return Text(
        sentence=_("%(unit)s has not answered yet whether it can take %(code)s.")
        % {"unit": offer.unit, "code": referral.code},
        message=_(
            "%(code)s: %(who)s at %(site)s, %(state)s. %(mother)s%(arrival)s "
            "%(stop)sCan you take? Yes or no:"
        )
        % {
            "stop": _stop(offer),
            "code": referral.code,
            "who": who,
            "site": referral.origin.name,
            "state": state,
            "mother": _("Mother needs care too. ") if _mother_is_unwell(referral) else "",
            "arrival": _arrival(offer),
        },
        path=f"/unit/{offer.pk}/",
    )


def accepted(offer: Offer) -> Text:
    """Who takes the baby, at which entrance, whom to call."""
    phone = offer.unit.phone.as_e164 if offer.unit.phone else ""
    words = _("%(code)s: %(unit)s takes the baby. Entrance: %(entrance)s. Call %(phone)s.") % {
        "code": offer.referral.code,
        "unit": offer.unit,
        "entrance": offer.entrance or _("ask"),
        "phone": phone or _("the desk"),
    }
    return Text(sentence=words, message=words, path=f"/r/{offer.referral.code}/")


def confirmed(offer: Offer) -> Text:
    """To the unit's own people: the acceptance is written down, who receives, at which door."""
    words = _("%(code)s: your yes is written down. %(receiver)s receives. Entrance: %(entrance)s.")
    words %= {
        "code": offer.referral.code,
        "receiver": offer.receiver,
        "entrance": offer.entrance,
    }
    return Text(sentence=words, message=words, path=f"/unit/{offer.pk}/")


def outcome_told(referral: Referral) -> Text:
    """To the attendant who called: there is news. Nothing about the baby leaves in a message."""
    words = _("%(code)s: the unit tells you how it went. Thank you for what you did.") % {
        "code": referral.code
    }
    return Text(sentence=words, message=words, path="/post/")


def still_ready(offer: Offer) -> Text:
    """To the unit's new shift: does the acceptance stand, and who receives now?"""
    words = {"code": offer.referral.code, "unit": offer.unit}
    return Text(
        sentence=_("The new shift of %(unit)s has not said yet whether it is ready for %(code)s.")
        % words,
        message=_("%(code)s: new shift. Is the cot still ready, who receives? Answer:") % words,
        path=f"/unit/{offer.pk}/",
    )


def reception_changed(offer: Offer) -> Text:
    """Where the baby goes has not changed; the entrance, or who receives, has."""
    words = _("%(code)s, %(unit)s: entrance %(entrance)s; %(receiver)s receives.") % {
        "code": offer.referral.code,
        "unit": offer.unit,
        "entrance": offer.entrance or _("ask"),
        "receiver": offer.receiver,
    }
    return Text(sentence=words, message=words, path=f"/r/{offer.referral.code}/")


def perhaps_twice(first: Referral, second: Referral) -> Text:
    """Two calls from one place, perhaps for one baby: a person must ask."""
    words = _(
        "%(first)s and %(second)s were both called for at %(site)s, at %(at)s and %(then)s. "
        "Ring and ask: one baby, or two?"
    ) % {
        "first": first.code,
        "second": second.code,
        "site": second.origin.name,
        "at": clock_time(first.raised_at, first),
        "then": clock_time(second.raised_at, second),
    }
    return Text(sentence=words, message=words, path=f"/desk/{second.code}/")


def joined(referral: Referral, into: Referral) -> Text:
    """To whoever called: the same baby goes on under one code."""
    words = _("%(code)s is the same baby as %(into)s. It goes on as %(into)s; help is coming.") % {
        "code": referral.code,
        "into": into.code,
    }
    return Text(sentence=words, message=words, path=f"/r/{into.code}/")


def needs_more(offer: Offer, missing: Sequence[Capability]) -> str:
    """The state has changed since the yes: the unit does not have all that is needed now."""
    return _(
        "%(code)s has come to need what %(unit)s does not have: %(care)s. Ring the unit and decide "
        "with its clinician: on to another unit, or there first."
    ) % {
        "code": offer.referral.code,
        "unit": offer.unit,
        "care": ", ".join(inside_a_sentence(word_of(Capability, each)) for each in missing),
    }


def unit_closed(offer: Offer) -> str:
    """The unit that said yes reports that it takes no babies now."""
    return _(
        "%(unit)s, which takes %(code)s, reports that it is closed. Ring it: does its yes stand?"
    ) % {"unit": offer.unit, "code": offer.referral.code}


def taken_back(offer: Offer) -> Text:
    """The unit that had accepted cannot take the baby after all."""
    words = _(
        "%(code)s: %(unit)s can no longer take the baby. The next unit is being asked. "
        "Keep ventilating; the desk will call."
    ) % {"code": offer.referral.code, "unit": offer.unit}
    return Text(sentence=words, message=words, path=f"/r/{offer.referral.code}/")


def withdrawn(offer: Offer, why: str) -> Text:
    """The second message to a unit: it is no longer needed."""
    words = _("%(code)s: no longer needed from %(unit)s: %(why)s. Thank you.")
    about = {"code": offer.referral.code, "unit": offer.unit.name}
    return Text(
        sentence=words % {**about, "why": why},
        message=words % {**about, "why": shortened(why)},
        path=f"/unit/{offer.pk}/",
    )


def nobody_can_take(referral: Referral) -> str:
    """Everyone was asked, or nobody in reach can: a person is responsible now."""
    return _(
        "No unit is left to ask for %(code)s. You are responsible for finding a place: "
        "ring the units on the list, the standing unit first."
    ) % {"code": referral.code}


def clock_time(moment: datetime | None, referral: Referral) -> str:
    """Hours and minutes in the district's zone."""
    if moment is None:
        return _("a time not known")
    return f"{moment.astimezone(ZoneInfo(referral.district.time_zone)):%H:%M}"


def _mother_is_unwell(referral: Referral) -> bool:
    """Whether a need of the mother's own stands that nobody has set aside."""
    rules = [rule.code for rule in MOTHER_RULES]
    return referral.needs.filter(rule__in=rules, superseded_at=None, overridden_by="").exists()


def _stop(offer: Offer) -> str:
    """For a stop on the way: where the baby goes on to."""
    plan = offer.shown.get("plan")
    if not plan:
        return ""
    return _("For a stop, then onward to %(unit)s. ") % {"unit": plan["onward_name"]}


def _arrival(offer: Offer) -> str:
    window = offer.shown.get("arrival") or {}
    if not window.get("p10_minutes"):
        return ""
    return _("About %(early)d-%(late)d min away.") % {
        "early": round(window["p10_minutes"]),
        "late": round(window["p90_minutes"]),
    }
