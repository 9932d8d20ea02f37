"""Both sides sign for each baby, and a signature given wrongly is taken back."""

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, endings, reopening, timeline
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Baby, Referral
from transport import lifecycle, messages
from transport.calc.stages import TransferStage
from transport.models import Handover, Transfer

_UNSIGNED: dict[str, dict[str, Any]] = {
    "giver": {"given_by": "", "given_at": None, "given_band_checked": False},
    "receiver": {
        "received_by": "",
        "received_at": None,
        "received_band_checked": False,
        "condition": "",
        "temperature_c": None,
    },
}
"""What a side has put on a handover, as it stands before that side signs."""


@dataclass(frozen=True, kw_only=True)
class Signature:
    """One side's confirmation of a handover. ``side`` is ``giver`` or ``receiver``."""

    side: str
    name: str
    band_checked: bool = False
    condition: str = ""
    temperature_c: float | None = None
    disagreement: str = ""


def hand_over(by: By, transfer: Transfer, baby: Baby, signature: Signature) -> Handover:
    """One side confirms the handover of one baby; with both it is handed over.

    A disagreement is recorded as such and never keeps the baby from being received.

    Raises:
        NotPossible: when no vehicle ever carried the baby, or the side is not one of the two.
    """
    if signature.side not in ("giver", "receiver"):
        raise NotPossible(_("A side of a handover is giver or receiver."), code="unknown_side")
    if signature.temperature_c is not None:
        require_possible("temperature_c", signature.temperature_c)
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        transfer = _that_carried(referral, transfer)
        handover, _made = Handover.objects.get_or_create(baby=baby, defaults={"transfer": transfer})
        if handover.is_signed:
            return handover
        handover.transfer = transfer
        _sign(referral, handover, signature, by)
        body: dict[str, Any] = {
            "baby": baby.birth_order,
            "side": signature.side,
            "name": timeline.committed(timeline.keep_text(referral, "signed", signature.name)),
            "band_checked": signature.band_checked,
            "condition": signature.condition,
            "temperature_c": signature.temperature_c,
        }
        if handover.disagreement and signature.disagreement:
            body["disagreement"] = timeline.committed(handover.disagreement)
        timeline.append(referral, "handover_signed", by, body)
        if not signature.band_checked:
            alerting.tell_desk_quietly(
                referral,
                by,
                "band_unchecked",
                f"handover:{handover.pk}:band:{signature.side}:{referral.head_seq}",
                messages.band_unchecked(baby, signature.side),
            )
        if handover.is_signed and not baby.ending:
            endings.end_baby(by, baby, Ending.HANDED_OVER)
    return handover


def withdraw_signature(by: By, baby: Baby, side: str, *, reason: str) -> Handover:
    """One side signed wrongly: its signature goes, the other one stays, each can sign again.

    With it goes the ending of a baby that was handed over by both, and the referral opens again.

    Raises:
        NotPossible: ``unknown_side`` or ``not_signed``.
    """
    if side not in _UNSIGNED:
        raise NotPossible(_("A side of a handover is giver or receiver."), code="unknown_side")
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        baby.refresh_from_db()
        handover = Handover.objects.select_related("disagreement").filter(baby=baby).first()
        name = handover and (handover.given_by if side == "giver" else handover.received_by)
        if handover is None or not name:
            raise NotPossible(
                _("That side of the handover of %s is not signed.") % baby.code, code="not_signed"
            )
        body: dict[str, Any] = {"baby": baby.birth_order, "side": side}
        for role, words in (("name", name), ("why", reason)):
            body[role] = timeline.committed(timeline.keep_text(referral, role, words))
        timeline.append(referral, "signature_withdrawn", by, body)
        if baby.ending == Ending.HANDED_OVER.value:
            # Takes both signatures off; the other one is put back below.
            reopening.reverse_ending(by, baby, reason=reason)
        for field, empty in _UNSIGNED[side].items():
            setattr(handover, field, empty)
        if not (handover.given_at or handover.received_at):
            handover.disagreement = None
        handover.save()
    return handover


def unsign(referral: Referral, baby: Baby) -> None:
    """Take both signatures off the handover of a baby, so that it can be signed again.

    The caller holds the referral; the entries keep what was signed.
    """
    Handover.objects.filter(baby=baby).update(
        **_UNSIGNED["giver"], **_UNSIGNED["receiver"], disagreement=None
    )


def _that_carried(referral: Referral, transfer: Transfer) -> Transfer:
    """The journey of a handover: the one told, else the last one that came to a handover.

    After a handover that was reversed the search for a vehicle begins anew, but the baby may be
    at the unit already: then the two sides sign for the journey that brought it.
    """
    if transfer.vehicle is None:
        came = referral.transfers.filter(stage=TransferStage.HANDED_OVER.value)
        transfer = came.exclude(vehicle=None).order_by("-pk").first() or transfer
    lifecycle.require_vehicle(referral, transfer)
    return transfer


def _sign(referral: Referral, handover: Handover, signature: Signature, by: By) -> None:
    if signature.side == "giver":
        handover.given_by, handover.given_at = signature.name, by.at
        handover.given_band_checked = signature.band_checked
    else:
        handover.received_by, handover.received_at = signature.name, by.at
        handover.received_band_checked = signature.band_checked
        handover.condition = signature.condition
        handover.temperature_c = signature.temperature_c
    if signature.disagreement:
        handover.disagreement = timeline.keep_text(referral, "disagreement", signature.disagreement)
    handover.save()
