"""The words people read for the stages of a journey, on the attendant's and the unit's side."""

from django.utils.translation import gettext_lazy as _

from referrals.labels import Text
from transport.calc.stages import TransferStage

STAGES: dict[TransferStage, Text] = {
    TransferStage.WANTED: _("The desk is looking for a vehicle"),
    TransferStage.ASSIGNED: _("A vehicle is sent"),
    TransferStage.COLLECTING: _("The vehicle is on its way to the baby"),
    TransferStage.AT_ORIGIN: _("The vehicle is at the post"),
    TransferStage.ON_THE_ROAD: _("On the road with baby and mother"),
    TransferStage.ARRIVED: _("Arrived at the unit"),
    TransferStage.HANDED_OVER: _("Handed over"),
    TransferStage.STOOD_DOWN: _("The journey has ended"),
}
"""What each stage means to the people at both ends."""

OUTCOMES: dict[str, Text] = {
    "improving": _("Getting better"),
    "still_in_care": _("Still in care"),
    "gone_home": _("Gone home"),
    "transferred_on": _("Sent on to another unit"),
    "died": _("Has died"),
}
"""How a baby is, told back to the post that called."""

CONDITIONS: dict[str, Text] = {
    "breathes_alone": _("Breathes alone"),
    "breathes_with_help": _("Breathes, with oxygen or pressure"),
    "ventilated": _("Ventilated"),
    "no_signs_of_life": _("No signs of life on arrival"),
}
"""The condition of a baby on arrival at the unit."""
