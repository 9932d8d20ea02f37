"""The words that leave the service. They hold the case code, state, arrival and place, no name.

Every message fits one SMS of the GSM alphabet with its link in most cases; a test counts them.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from referrals.alerting import Text
from referrals.calc.terms import Urgency
from referrals.models import Offer, Referral


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
            "%(code)s: %(who)s at %(site)s, %(state)s. %(arrival)s %(stop)sCan you take? Yes or no:"
        )
        % {
            "stop": _stop(offer),
            "code": referral.code,
            "who": who,
            "site": referral.origin.name,
            "state": state,
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


def taken_back(offer: Offer) -> Text:
    """The unit that had accepted cannot take the baby after all."""
    words = _(
        "%(code)s: %(unit)s can no longer take the baby. The next unit is being asked. "
        "Keep ventilating; the desk will call."
    ) % {"code": offer.referral.code, "unit": offer.unit}
    return Text(sentence=words, message=words, path=f"/r/{offer.referral.code}/")


def withdrawn(offer: Offer, why: str) -> Text:
    """The second message to a unit: it is no longer needed."""
    words = _("%(code)s: no longer needed from %(unit)s: %(why)s. Thank you.") % {
        "code": offer.referral.code,
        "unit": offer.unit.name,
        "why": why,
    }
    return Text(sentence=words, message=words, path=f"/unit/{offer.pk}/")


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
