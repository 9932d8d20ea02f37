"""The words that leave the service. They hold the case code, state, arrival and place, no name.

Every message fits two joined SMS of the GSM alphabet with its link (306 characters; names of units
are long, and who must ring finds the number in the message); ``tests/referrals/test_messages.py``
counts them. What people type is cut for it; the page holds all of it.
"""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import translation
from django.utils.functional import lazy

from referrals.alerting import Text
from referrals.calc.need_rules import MOTHER_RULES
from referrals.calc.spoken import letters, spoken
from referrals.calc.terms import Capability, Urgency
from referrals.calc.wording import marked, words
from referrals.charge import in_charge as in_charge_of
from referrals.labels import inside_a_sentence, word_of
from referrals.models import Baby, Delivery, Offer, Referral, Staff
from referrals.saying import Words, offered, to_tell, to_tell_counted

LONGEST_REASON = 80
"""Characters of what somebody typed that a message holds."""


def _shortened(words: Words) -> str:
    text = str(words)
    return text if len(text) <= LONGEST_REASON else f"{text[: LONGEST_REASON - 3].rstrip()}..."


shortened = lazy(_shortened, str)
"""What somebody typed, as long as a message may hold."""


def _listed(missing: Sequence[Capability]) -> str:
    return ", ".join(inside_a_sentence(word_of(Capability, each)) for each in missing)


_care = lazy(_listed, str)


def question(offer: Offer) -> Text:
    """Can you take this baby? In one SMS: who, from where, when, the press."""
    referral = offer.referral
    count = referral.babies.filter(ending="").count()
    who = to_tell_counted("newborn", "%(count)s newborns", count)
    state = {
        Urgency.VENTILATED: to_tell("ventilated by hand"),
        Urgency.URGENT: to_tell("needs care soon"),
        Urgency.STABLE: to_tell("stable"),
    }[Urgency(referral.urgency)]
    return Text(
        sentence=to_tell(
            "%(unit)s has not answered yet whether it can take %(code)s.",
            unit=offer.unit,
            code=referral.code,
        ),
        message=to_tell(
            "%(code)s: %(who)s at %(site)s, %(state)s. %(mother)s%(arrival)s "
            "%(stop)sCan you take? Reply YES %(once)s or NO %(once)s, or open:",
            once=offer.one_time_code,
            stop=_stop(offer),
            code=referral.code,
            who=who,
            site=referral.origin.name,
            state=state,
            mother=to_tell("Mother needs care too. ") if _mother_is_unwell(referral) else "",
            arrival=_arrival(offer),
        ),
        path=f"/unit/{offer.pk}/",
    )


def accepted(offer: Offer) -> Text:
    """Who takes the baby, at which entrance, whom to call."""
    phone = offer.unit.phone.as_e164 if offer.unit.phone else ""
    said = to_tell(
        "%(code)s: %(unit)s takes the baby. Entrance: %(entrance)s. Call %(phone)s.",
        code=offer.referral.code,
        unit=offer.unit,
        entrance=offer.entrance or to_tell("ask"),
        phone=phone or to_tell("the desk"),
    )
    return Text(sentence=said, message=said, path=f"/r/{offer.referral.code}/")


def confirmed(offer: Offer) -> Text:
    """To the unit's own people: the acceptance is written down, who receives, at which door."""
    said = to_tell(
        "%(code)s: your yes is written down. %(receiver)s receives. Entrance: %(entrance)s.",
        code=offer.referral.code,
        receiver=offer.receiver,
        entrance=offer.entrance,
    )
    return Text(sentence=said, message=said, path=f"/unit/{offer.pk}/")


def another_baby(offer: Offer, baby: Baby, missing: int | None) -> Text:
    """To a unit asked or accepting: one more baby. ``missing`` cots, if it is the accepting one."""
    if missing is None:
        sentence = marked(
            "%(code)s: another baby, %(baby)s. You are asked for %(count)d babies now."
        )
    elif missing:
        sentence = marked(
            "%(code)s: another baby comes, %(baby)s, and you have no free cot written down for it. "
            "Report a cot, or ring the desk: they look for another place."
        )
    else:
        sentence = marked(
            "%(code)s: another baby comes, %(baby)s. A cot is kept for it too: %(count)d now."
        )
    said = to_tell(
        sentence,
        code=offer.referral.code,
        baby=baby.code,
        count=offer.referral.babies.filter(ending="").count(),
    )
    return Text(sentence=said, message=said, path=f"/unit/{offer.pk}/")


def comes_no_more(offer: Offer, baby: Baby) -> Text:
    """To a unit asked or accepting: one of several babies does not come. Why stands on its page."""
    count = offer.referral.babies.filter(ending="").count()
    said = to_tell(
        "%(code)s: %(baby)s does not come any more. Still to come: %(count)d.",
        code=offer.referral.code,
        baby=baby.code,
        count=count,
    )
    return Text(sentence=said, message=said, path=f"/unit/{offer.pk}/")


def baby_added(baby: Baby) -> Text:
    """To the desk: a referral has one more baby."""
    said = to_tell(
        "%(code)s: another baby, %(baby)s. Tell the driver: warmth and oxygen for all.",
        code=baby.referral.code,
        baby=baby.code,
    )
    return Text(sentence=said, message=said, path=f"/desk/{baby.referral.code}/")


def cot_missing(offer: Offer, kept: int, needed: int) -> Words:
    """The unit that takes the babies keeps fewer cots than babies come."""
    return to_tell(
        "%(unit)s keeps %(kept)d cot(s) for %(code)s and %(needed)d babies come. Ring: has it room "
        "for all after all? Else find another unit.",
        unit=offer.unit,
        kept=kept,
        code=offer.referral.code,
        needed=needed,
    )


def outcome_told(referral: Referral) -> Text:
    """To the attendant who called: there is news. Nothing about the baby leaves in a message."""
    said = to_tell(
        "%(code)s: the unit tells you how it went. Thank you for what you did.", code=referral.code
    )
    return Text(sentence=said, message=said, path="/post/")


def put_right(referral: Referral, what: Words, path: str) -> Text:
    """To whoever had read something that was wrong: what is right stands on the page."""
    said = to_tell(
        "%(code)s: %(what)s was written down wrongly and is put right. Please read it again.",
        code=referral.code,
        what=what,
    )
    return Text(sentence=said, message=said, path=path)


def still_ready(offer: Offer) -> Text:
    """To the unit's new shift: does the acceptance stand, and who receives now?"""
    return Text(
        sentence=to_tell(
            "The new shift of %(unit)s has not said yet whether it is ready for %(code)s.",
            unit=offer.unit,
            code=offer.referral.code,
        ),
        message=to_tell(
            "%(code)s: new shift. Is the cot still ready, who receives? Answer:",
            code=offer.referral.code,
        ),
        path=f"/unit/{offer.pk}/",
    )


def reception_changed(offer: Offer) -> Text:
    """Where the baby goes has not changed; the entrance, or who receives, has."""
    said = to_tell(
        "%(code)s, %(unit)s: entrance %(entrance)s; %(receiver)s receives.",
        code=offer.referral.code,
        unit=offer.unit,
        entrance=offer.entrance or to_tell("ask"),
        receiver=offer.receiver,
    )
    return Text(sentence=said, message=said, path=f"/r/{offer.referral.code}/")


def perhaps_twice(first: Referral, second: Referral) -> Text:
    """Two calls from one place, perhaps for one baby: a person must ask."""
    said = to_tell(
        "%(first)s and %(second)s were both called for at %(site)s, at %(at)s and %(then)s. "
        "Ring and ask: one baby, or two?",
        first=first.code,
        second=second.code,
        site=second.origin.name,
        at=clock_time(first.raised_at, first),
        then=clock_time(second.raised_at, second),
    )
    return Text(sentence=said, message=said, path=f"/desk/{second.code}/")


def joined(referral: Referral, into: Referral) -> Text:
    """To whoever called: the same baby goes on under one code."""
    said = to_tell(
        "%(code)s is the same baby as %(into)s. It goes on as %(into)s; help is coming.",
        code=referral.code,
        into=into.code,
    )
    return Text(sentence=said, message=said, path=f"/r/{into.code}/")


def needs_more(offer: Offer, missing: Sequence[Capability]) -> Words:
    """The state has changed since the yes: the unit does not have all that is needed now."""
    return to_tell(
        "%(code)s has come to need what %(unit)s does not have: %(care)s. Ring the unit and decide "
        "with its clinician: on to another unit, or there first.",
        code=offer.referral.code,
        unit=offer.unit,
        care=_care(tuple(missing)),
    )


def unit_closed(offer: Offer) -> Words:
    """The unit that said yes reports that it takes no babies now."""
    return to_tell(
        "%(unit)s, which takes %(code)s, reports that it is closed. Ring it: does its yes stand?",
        unit=offer.unit,
        code=offer.referral.code,
    )


def taken_back(offer: Offer) -> Text:
    """The unit that had accepted cannot take the baby after all."""
    said = to_tell(
        "%(code)s: %(unit)s can no longer take the baby. The next unit is being asked. "
        "Keep ventilating; the desk will call.",
        code=offer.referral.code,
        unit=offer.unit,
    )
    return Text(sentence=said, message=said, path=f"/r/{offer.referral.code}/")


def withdrawn(offer: Offer, why: Words) -> Text:
    """The second message to a unit: it is no longer needed."""
    sentence = marked("%(code)s: no longer needed from %(unit)s: %(why)s. Thank you.")
    about = {"code": offer.referral.code, "unit": offer.unit.name}
    return Text(
        sentence=to_tell(sentence, why=why, **about),
        message=to_tell(sentence, why=shortened(why), **about),
        path=f"/unit/{offer.pk}/",
    )


def by_voice(delivery: Delivery) -> str:
    """What a voice says on the telephone: the message without its link, and how to answer.

    The gateway only speaks; whoever listens cannot press a key, so a number to ring is said, and
    the SMS where one was sent to the same phone.
    """
    staff = Staff.objects.filter(username=delivery.username).first()
    referral = delivery.alert.referral
    with translation.override(offered(staff.language if staff else "")):
        said = spoken(delivery.message, referral.code if referral else "")
        return f"{said.rstrip('.?!')}. {_how_to_answer(delivery)}"


def _how_to_answer(delivery: Delivery) -> str:
    alert = delivery.alert
    phone = alert.district.desk_phone
    number = letters(phone.as_e164) if phone else ""
    told = alert.deliveries.filter(channel="sms", address=delivery.address)
    if told.exclude(state__in=("refused", "dropped")).exists():
        if alert.for_desk:
            return words("Open the desk's page, or the link in the SMS on this phone.")
        if not number:
            return words("Open the link in the SMS on this phone, or ring the desk.")
        return words(
            "Open the link in the SMS on this phone, or ring the desk: %(number)s.", number=number
        )
    if alert.for_desk:
        return words("Open the desk's page.")
    if not number:
        return words("To answer, ring the desk.")
    return words("To answer, ring the desk: %(number)s.", number=number)


def nobody_can_take(referral: Referral, now: datetime) -> Words:
    """Everyone was asked, or nobody in reach can: a person is responsible now."""
    return to_tell(
        "No unit is left to ask for %(code)s. Responsible for finding a place: %(who)s. "
        "Ring the units on the call list, the standing unit first.",
        code=referral.code,
        who=responsible_person(referral, now),
    )


def in_charge(referral: Referral) -> Text:
    """To somebody of the desk: it is theirs now."""
    said = to_tell(
        "%(code)s from %(site)s: you are responsible now for finding a way. Call list:",
        code=referral.code,
        site=referral.origin.name,
    )
    return Text(sentence=said, message=said, path=f"/desk/{referral.code}/calls/")


def responsible_person(referral: Referral, now: datetime) -> Words:
    """The name of who finds a way, as it stands in a sentence."""
    person = in_charge_of(referral, now)
    return person.name if person else to_tell("whoever is at the desk")


def clock_time(moment: datetime | None, referral: Referral) -> str:
    """Hours and minutes in the district's zone."""
    if moment is None:
        return words("a time not known")
    return f"{moment.astimezone(ZoneInfo(referral.district.time_zone)):%H:%M}"


def _mother_is_unwell(referral: Referral) -> bool:
    """Whether a need of the mother's own stands that nobody has set aside."""
    rules = [rule.code for rule in MOTHER_RULES]
    return referral.needs.filter(rule__in=rules, superseded_at=None, overridden_by="").exists()


def _stop(offer: Offer) -> Words:
    """For a stop on the way: where the baby goes on to."""
    plan = offer.shown.get("plan")
    if not plan:
        return ""
    return to_tell("For a stop, then onward to %(unit)s. ", unit=plan["onward_name"])


def _arrival(offer: Offer) -> Words:
    window = offer.shown.get("arrival") or {}
    if not window.get("p10_minutes"):
        return ""
    return to_tell(
        "About %(early)d-%(late)d min away.",
        early=round(window["p10_minutes"]),
        late=round(window["p90_minutes"]),
    )
