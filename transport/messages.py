"""The words about the journey that leave the service; no names of patients, no lateness."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.functional import lazy

from referrals.acting import By
from referrals.alerting import Text
from referrals.calc.wording import marked, words
from referrals.messages import clock_time, shortened
from referrals.models import Baby, Offer, Referral, Unit
from referrals.saying import Words, cut, to_spell, to_tell
from transport.calc.closures import ClosureKind
from transport.calc.stages import TransferStage
from transport.models import Closure, Meeting, Transfer, Vehicle

_date_format = lazy(date_format, str)


def vehicle_wanted(referral: Referral) -> Text:
    """The desk must send a vehicle."""
    said = to_tell(
        "%(code)s at %(site)s needs a vehicle. Choose one, or find one by phone.",
        code=referral.code,
        site=referral.origin.name,
    )
    return Text(sentence=said, message=said, path=f"/desk/{referral.code}/")


def vehicle_lost(transfer: Transfer, vehicle: Vehicle, why: Words) -> Text:
    """The vehicle that was sent will not come, or has left mother and baby on the road."""
    referral = transfer.referral
    if transfer.vehicle:
        sentence = marked(
            "%(vehicle)s cannot go on with %(code)s: %(why)s. %(second)s goes to them %(place)s. "
            "Ring both."
        )
    elif transfer.waits_on_the_road:
        sentence = marked(
            "%(vehicle)s cannot go on with %(code)s: %(why)s. Mother and baby wait %(place)s. "
            "Send another one there now, and ring them."
        )
    else:
        sentence = marked("%(vehicle)s will not come for %(code)s: %(why)s. Send another one.")
    about = {
        "vehicle": vehicle.name,
        "code": referral.code,
        "place": waiting(transfer),
        "second": transfer.vehicle,
    }
    return Text(
        sentence=to_tell(sentence, why=why, **about),
        message=to_tell(sentence, why=shortened(why), **about),
        path=f"/desk/{referral.code}/",
    )


def vehicle_sent(transfer: Transfer) -> Text:
    """The attendant learns who is coming."""
    said = to_tell(
        "%(code)s: %(vehicle)s is coming, driver %(driver)s, call %(phone)s.",
        code=transfer.referral.code,
        vehicle=transfer.vehicle,
        driver=transfer.driver_name or to_tell("not named"),
        phone=transfer.driver_phone or to_tell("the desk"),
    )
    return Text(sentence=said, message=said, path=f"/r/{transfer.referral.code}/")


def waiting(transfer: Transfer) -> Words:
    """Where mother and baby wait for a vehicle, inside a sentence."""
    if not transfer.waits_on_the_road:
        return to_tell("at %(site)s", site=transfer.referral.origin.name)
    changed_over = transfer.moved_at_meeting()
    if changed_over:
        return to_tell("at %(site)s", site=changed_over.site.name)
    if transfer.waits_latitude is None or transfer.waits_longitude is None:
        return to_tell("on the road, the place is not known: ask by phone")
    return to_tell(
        "on the road near %(place)s",
        place=f"{transfer.waits_latitude:.4f},{transfer.waits_longitude:.4f}",
    )


def for_driver(transfer: Transfer, *, changed: bool) -> Text:
    """Where to collect, where to go; the link opens the driver's page."""
    referral = transfer.referral
    unit = transfer.destination
    aboard = transfer.on_the_road_at is not None
    sentence = (
        marked("%(code)s, mother and baby with you. To: %(unit)s.")
        if aboard
        else marked("%(code)s: collect mother and baby %(place)s. To: %(unit)s.")
    )
    said = to_tell(
        sentence,
        code=referral.code,
        place=waiting(transfer),
        unit=unit if unit else to_tell("being asked, you will be told"),
    )
    if changed:
        said = to_tell("Changed. %(words)s", words=said)
    return Text(sentence=said, message=said, path="driver")


def meeting_for(transfer: Transfer, meeting: Meeting, *, first: bool) -> Text:
    """Each driver learns where the two meet, whom to ring and what happens there."""
    if first:
        sentence = marked(
            "%(code)s: meet %(vehicle)s at %(site)s, driver %(phone)s. Mother, baby and escort go "
            "on with it to %(unit)s. If it is not there, ring the desk."
        )
        vehicle, phone = meeting.vehicle, meeting.driver_phone
    else:
        sentence = marked(
            "%(code)s: meet %(vehicle)s at %(site)s, driver %(phone)s. Take mother, baby and "
            "escort on to %(unit)s."
        )
        vehicle, phone = meeting.first_vehicle, meeting.first_phone
    said = to_tell(
        sentence,
        code=transfer.referral.code,
        vehicle=vehicle,
        site=meeting.site.name,
        phone=phone or to_tell("not known"),
        unit=transfer.destination or to_tell("a unit that is being asked"),
    )
    return Text(sentence=said, message=said, path="driver")


def moved_over(transfer: Transfer, meeting: Meeting) -> Text:
    """The first driver is done."""
    said = to_tell(
        "%(code)s: mother and baby go on with %(vehicle)s. Thank you. Tell the desk when your "
        "vehicle is ready again.",
        code=transfer.referral.code,
        vehicle=meeting.vehicle,
    )
    return Text(sentence=said, message=said)


def not_needed(transfer: Transfer) -> Text:
    """The second driver is not needed; plain and quiet."""
    said = to_tell(
        "%(code)s: there is no meeting, you are no longer needed. Thank you.",
        code=transfer.referral.code,
    )
    return Text(sentence=said, message=said)


def meeting_off(transfer: Transfer, meeting: Meeting) -> Text:
    """The desk learns that the first vehicle drives on alone."""
    said = to_tell(
        "%(code)s: %(second)s does not meet %(first)s at %(site)s: %(why)s. %(first)s drives on.",
        code=transfer.referral.code,
        second=meeting.vehicle,
        first=meeting.first_vehicle,
        site=meeting.site.name,
        why=shortened(meeting.ended_why),
    )
    return Text(sentence=said, message=said, path=f"/desk/{transfer.referral.code}/")


def stood_down(transfer: Transfer) -> Text:
    """The driver is no longer needed; plain and quiet."""
    desk = transfer.referral.district.desk_phone
    if transfer.on_the_road_at:
        sentence = marked(
            "%(code)s: this journey has ended. Mother and escort are still with you: ring the desk "
            "%(phone)s, it says where to bring them. Thank you."
        )
    else:
        sentence = marked("%(code)s: the journey has ended, you are no longer needed. Thank you.")
    said = to_tell(sentence, code=transfer.referral.code, phone=desk.as_e164 if desk else "")
    return Text(sentence=said, message=said, path="driver")


def late_note(transfer: Transfer, milestone: TransferStage, by: By) -> Text:
    """A driver reported something about a journey that was stood down."""
    said = to_tell(
        "%(who)s reports '%(milestone)s' for %(code)s, which was stood down. Ring %(phone)s.",
        who=by.name,
        milestone=to_spell(milestone.value),
        code=transfer.referral.code,
        phone=transfer.driver_phone or by.name,
    )
    return Text(sentence=said, message=said, path=f"/desk/{transfer.referral.code}/")


def note_of_former(transfer: Transfer, milestone: TransferStage) -> Text:
    """The driver of a vehicle that was taken back goes on reporting: perhaps with the baby."""
    said = to_tell(
        "A driver sent to %(code)s before, whose vehicle was taken back, reports '%(milestone)s'. "
        "Ring that driver: who has mother and baby?",
        code=transfer.referral.code,
        milestone=to_spell(milestone.value),
    )
    return Text(sentence=said, message=said, path=f"/desk/{transfer.referral.code}/")


def band_unchecked(baby: Baby, side: str) -> Text:
    """One side has signed a handover without reading the band: the desk asks, nobody waits."""
    who = to_tell("the one who gives") if side == "giver" else to_tell("the one who receives")
    said = to_tell(
        "%(code)s: handover signed by %(who)s, and the band was not read. Ring and let it be read.",
        code=baby.code,
        who=who,
    )
    return Text(sentence=said, message=said, path=f"/desk/{baby.referral.code}/")


def stopped(transfer: Transfer, why: Words) -> Text:
    """The vehicle has stopped on purpose."""
    said = to_tell(
        "%(code)s has stopped on the road: %(why)s. Ring %(phone)s.",
        code=transfer.referral.code,
        why=shortened(why),
        phone=transfer.driver_phone or transfer.driver_name,
    )
    return Text(sentence=said, message=said, path=f"/desk/{transfer.referral.code}/")


def went_on(transfer: Transfer, unit: Unit | None) -> Text:
    """From a unit that only steadied the baby, or turned it away: on the road again."""
    said = to_tell(
        "%(code)s has left %(unit)s and is on the road again. To: %(to)s.",
        code=transfer.referral.code,
        unit=unit or to_tell("the unit"),
        to=transfer.destination or to_tell("no unit yet; ring and ask"),
    )
    return Text(sentence=said, message=said, path=f"/desk/{transfer.referral.code}/")


def arrival_expected(
    transfer: Transfer, offer: Offer, early: datetime, likely: datetime, late: datetime
) -> Text:
    """To the unit: when the baby is expected now, as a window."""
    referral = transfer.referral
    said = to_tell(
        "%(code)s is on the road to %(unit)s. Expected %(early)s to %(late)s, likely %(likely)s.",
        code=referral.code,
        unit=offer.unit.name,
        early=clock_time(early, referral),
        late=clock_time(late, referral),
        likely=clock_time(likely, referral),
    )
    return Text(sentence=said, message=said, path=f"/unit/{offer.pk}/")


def no_arrival_to_tell(referral: Referral) -> str:
    """Why the unit cannot be told a time."""
    return words(
        "There is no time to tell for %(code)s: no unit has accepted, or the arrival is not known. "
        "Ring the unit.",
        code=referral.code,
    )


def road_closed(transfer: Transfer, closure: Closure) -> Text:
    """The way of a journey passes something that is reported closed."""
    zone = ZoneInfo(transfer.referral.district.time_zone)
    sentence = (
        marked(
            "Reported closed until %(until)s: %(name)s, by %(who)s. The way of %(code)s crosses "
            "there; without it there may be no way. Ring the landing, look at the candidates "
            "again."
        )
        if closure.kind == ClosureKind.LANDING
        else marked(
            "Reported closed until %(until)s: %(name)s, by %(who)s. The straight way of %(code)s "
            "passes there, so it is expected later. Ask the driver for the way round, or ask "
            "another unit."
        )
    )
    said = to_tell(
        sentence,
        until=_date_format(closure.ends_at.astimezone(zone), "j M H:i"),
        name=closure.name,
        who=closure.reported_by,
        code=transfer.referral.code,
    )
    return Text(sentence=said, message=cut(said, 300), path=f"/desk/{transfer.referral.code}/")
