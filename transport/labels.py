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
