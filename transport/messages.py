"""The words about the journey that leave the service; no names of patients, no lateness."""

from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from referrals.acting import By
from referrals.alerting import Text
from referrals.messages import shortened
from referrals.models import Baby, Referral
from transport.calc.stages import TransferStage
from transport.models import Closure, Transfer, Vehicle


def vehicle_wanted(referral: Referral) -> Text:
    """The desk must send a vehicle."""
    words = _("%(code)s at %(site)s needs a vehicle. Choose one, or find one by phone.") % {
        "code": referral.code,
        "site": referral.origin.name,
    }
    return Text(sentence=words, message=words, path=f"/desk/{referral.code}/")


def vehicle_lost(transfer: Transfer, vehicle: Vehicle, why: str) -> Text:
    """The vehicle that was sent will not come, or has left mother and baby on the road."""
    referral = transfer.referral
    if transfer.waits_on_the_road:
        words = _(
            "%(vehicle)s cannot go on with %(code)s: %(why)s. Mother and baby wait %(place)s. "
            "Send another one there now, and ring them."
        )
    else:
        words = _("%(vehicle)s will not come for %(code)s: %(why)s. Send another one.")
    about = {"vehicle": vehicle.name, "code": referral.code, "place": waiting(transfer)}
    return Text(
        sentence=words % {**about, "why": why},
        message=words % {**about, "why": shortened(why)},
        path=f"/desk/{referral.code}/",
    )


def vehicle_sent(transfer: Transfer) -> Text:
    """The attendant learns who is coming."""
    words = _("%(code)s: %(vehicle)s is coming, driver %(driver)s, call %(phone)s.") % {
        "code": transfer.referral.code,
        "vehicle": transfer.vehicle,
        "driver": transfer.driver_name or _("not named"),
        "phone": transfer.driver_phone or _("the desk"),
    }
    return Text(sentence=words, message=words, path=f"/r/{transfer.referral.code}/")


def waiting(transfer: Transfer) -> str:
    """Where mother and baby wait for a vehicle, inside a sentence."""
    if not transfer.waits_on_the_road:
        return _("at %(site)s") % {"site": transfer.referral.origin.name}
    if transfer.waits_latitude is None or transfer.waits_longitude is None:
        return _("on the road, the place is not known: ask by phone")
    return _("on the road near %(place)s") % {
        "place": f"{transfer.waits_latitude:.4f},{transfer.waits_longitude:.4f}"
    }


def for_driver(transfer: Transfer, *, changed: bool) -> Text:
    """Where to collect, where to go; the link opens the driver's page."""
    referral = transfer.referral
    unit = transfer.destination
    aboard = transfer.on_the_road_at is not None
    words = (
        _("%(code)s, mother and baby with you. To: %(unit)s.")
        if aboard
        else _("%(code)s: collect mother and baby %(place)s. To: %(unit)s.")
    ) % {
        "code": referral.code,
        "place": waiting(transfer),
        "unit": unit if unit else _("being asked, you will be told"),
    }
    if changed:
        words = _("Changed. %(words)s") % {"words": words}
    return Text(sentence=words, message=words, path="driver")


def stood_down(transfer: Transfer) -> Text:
    """The driver is no longer needed; plain and quiet."""
    desk = transfer.referral.district.desk_phone
    if transfer.on_the_road_at:
        words = _(
            "%(code)s: this journey has ended. Mother and escort are still with you: ring the desk "
            "%(phone)s, it says where to bring them. Thank you."
        )
    else:
        words = _("%(code)s: the journey has ended, you are no longer needed. Thank you.")
    words %= {"code": transfer.referral.code, "phone": desk.as_e164 if desk else ""}
    return Text(sentence=words, message=words, path="driver")


def late_note(transfer: Transfer, milestone: TransferStage, by: By) -> Text:
    """A driver reported something about a journey that was stood down."""
    words = _(
        "%(who)s reports '%(milestone)s' for %(code)s, which was stood down. Ring %(phone)s."
    ) % {
        "who": by.name,
        "milestone": milestone.value.replace("_", " "),
        "code": transfer.referral.code,
        "phone": transfer.driver_phone or by.name,
    }
    return Text(sentence=words, message=words, path=f"/desk/{transfer.referral.code}/")


def note_of_former(transfer: Transfer, milestone: TransferStage) -> Text:
    """The driver of a vehicle that was taken back goes on reporting: perhaps with the baby."""
    words = _(
        "A driver sent to %(code)s before, whose vehicle was taken back, reports '%(milestone)s'. "
        "Ring that driver: who has mother and baby?"
    ) % {"code": transfer.referral.code, "milestone": milestone.value.replace("_", " ")}
    return Text(sentence=words, message=words, path=f"/desk/{transfer.referral.code}/")


def band_unchecked(baby: Baby, side: str) -> Text:
    """One side has signed a handover without reading the band: the desk asks, nobody waits."""
    who = _("the one who gives") if side == "giver" else _("the one who receives")
    words = _(
        "%(code)s: handover signed by %(who)s, and the band was not read. Ring and let it be read."
    ) % {"code": baby.code, "who": who}
    return Text(sentence=words, message=words, path=f"/desk/{baby.referral.code}/")


def stopped(transfer: Transfer, why: str) -> Text:
    """The vehicle has stopped on purpose."""
    words = _("%(code)s has stopped on the road: %(why)s. Ring %(phone)s.") % {
        "code": transfer.referral.code,
        "why": shortened(why),
        "phone": transfer.driver_phone or transfer.driver_name,
    }
    return Text(sentence=words, message=words, path=f"/desk/{transfer.referral.code}/")


def road_closed(transfer: Transfer, closure: Closure) -> Text:
    """The way of a journey passes something that is reported closed."""
    zone = ZoneInfo(transfer.referral.district.time_zone)
    words = _(
        "Reported closed until %(until)s: %(name)s, by %(who)s. The straight way of %(code)s "
        "passes there, so it is expected later. Ask the driver for the way round, or ask "
        "another unit."
    ) % {
        "until": date_format(closure.ends_at.astimezone(zone), "j M H:i"),
        "name": closure.name,
        "who": closure.reported_by,
        "code": transfer.referral.code,
    }
    return Text(sentence=words, message=words[:300], path=f"/desk/{transfer.referral.code}/")
