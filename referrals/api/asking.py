"""Asking units over the API: offers and their answers, taking back, diverting."""

from collections.abc import Callable

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import access, endings, joining, lifecycle, reconfirming
from referrals.api import answers, told
from referrals.api.base import StaffView, one, page_of
from referrals.api.idempotency import once
from referrals.api.record import OfReferral
from referrals.api.rights import require_answer, require_desk, require_post_or_desk
from referrals.calc.terms import DeclineReason
from referrals.models import Offer, Staff, Unit


class ReferralOffers(OfReferral):
    """The questions of one referral."""

    @extend_schema(responses=answers.OfferAnswer(many=True), operation_id="referral_offers_list")
    def get(self, request: Request, code: str) -> Response:
        """The units asked; a unit sees its own question only."""
        rows = self.referral(code).offers.all()
        return Response(self.shown(answers.OfferAnswer, rows, many=True))

    @extend_schema(request=told.AskTold, responses={201: answers.OfferAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Ask one more unit; a unit already asked is not asked twice."""
        referral = self.referral(code)
        require_desk(self.scope, referral)
        said = self.told(told.AskTold)
        unit = unit_beside(self.staff, "unit", said["unit"])
        offer = lifecycle.ask(self.by(said), referral, unit)
        return self.answer(answers.OfferAnswer, offer, referral=referral.pk, status=201)


class TakeBack(OfReferral):
    """The referral was raised in error."""

    @extend_schema(request=told.ReasonTold, responses=answers.ReferralAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Take the referral back; every unit asked gets a second message."""
        referral = self.referral(code)
        require_post_or_desk(self.scope, referral)
        said = self.told(told.ReasonTold)
        endings.take_back(self.by(said), referral, reason=said["reason"])
        return Response(self.shown(answers.ReferralAnswer, self.referral(code)))


class Join(OfReferral):
    """The same baby called for twice."""

    @extend_schema(request=told.JoinTold, responses=answers.ReferralAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Close this referral into another one of the same baby; answers the closed one."""
        referral = self.referral(code)
        require_desk(self.scope, referral)
        said = self.told(told.JoinTold)
        into = access.visible_referrals(self.staff).filter(code=said["into"]).first()
        if into is None:
            raise exceptions.ValidationError({"into": [_("no referral has this code")]})
        require_desk(self.scope, into)
        joining.join(self.by(said), referral, into)
        return Response(self.shown(answers.ReferralAnswer, self.referral(code)))


class Divert(OfReferral):
    """The accepted unit will not do any more."""

    @extend_schema(request=told.ReasonTold, responses=answers.OfferAnswer(many=True))
    @once
    def post(self, request: Request, code: str) -> Response:
        """Withdraw the acceptance and ask the next best units at once; answers the new offers."""
        referral = self.referral(code)
        require_desk(self.scope, referral)
        said = self.told(told.ReasonTold)
        offers = lifecycle.divert(self.by(said), referral, why=said["reason"])
        return Response(self.shown(answers.OfferAnswer, offers, many=True))


class Offers(StaffView):
    """All questions the person sees."""

    @extend_schema(responses=page_of(answers.OfferAnswer), operation_id="offers_list")
    def get(self, request: Request) -> Response:
        """The newest first."""
        rows = access.visible_offers(self.staff).order_by("-asked_at", "-id")
        return self.page(rows, answers.OfferAnswer)


class OfferVerb(StaffView):
    """A view below one offer."""

    def offer(self, pk: int) -> Offer:
        """The offer in the person's scope."""
        return one(access.visible_offers(self.staff), pk=pk)

    def said_to(self, offer: Offer) -> Response:
        """The offer after the verb."""
        return self.answer(answers.OfferAnswer, offer, referral=offer.referral_id)

    def said_yes(self, pk: int, verb: Callable[..., Offer]) -> Response:
        """Yes, or still yes: who receives, and at which entrance."""
        offer = self.offer(pk)
        require_answer(self.scope, offer)
        said = self.told(told.AcceptTold)
        reception = {name: said.get(name, "") for name in ("receiver", "entrance")}
        return self.said_to(verb(self.by(said), offer, **reception))


class OfferAccept(OfferVerb):
    """Yes."""

    @extend_schema(request=told.AcceptTold, responses=answers.OfferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take the babies: cots are held, the others are told. The first acceptance wins."""
        return self.said_yes(pk, lifecycle.accept)


class OfferReconfirm(OfferVerb):
    """Still yes."""

    @extend_schema(request=told.AcceptTold, responses=answers.OfferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """After a change of shift: still ready. What is left out of the two stays as it was."""
        return self.said_yes(pk, reconfirming.reconfirm)


class OfferDecline(OfferVerb):
    """No, with a reason."""

    @extend_schema(request=told.DeclineTold, responses=answers.OfferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Decline; after an acceptance this takes it back. The next unit is asked at once."""
        offer = self.offer(pk)
        require_answer(self.scope, offer)
        said = self.told(told.DeclineTold)
        offer = lifecycle.decline(
            self.by(said),
            offer,
            reason=DeclineReason(said["reason"]),
            words=said.get("words", ""),
        )
        return self.said_to(offer)


class OfferWithdraw(OfferVerb):
    """The desk takes a question or an acceptance back."""

    @extend_schema(request=told.ReasonTold, responses=answers.OfferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Withdraw with a reason; the unit gets a second message."""
        offer = self.offer(pk)
        require_desk(self.scope, offer.referral)
        said = self.told(told.ReasonTold)
        return self.said_to(lifecycle.withdraw(self.by(said), offer, why=said["reason"]))


def unit_beside(staff: Staff, field: str, code: str) -> Unit:
    """The unit of that code among those the person knows.

    Raises:
        ValidationError: beside the field.
    """
    unit = access.visible_units(staff).filter(code=code).first()
    if unit is None:
        raise exceptions.ValidationError({field: [_("no unit has this code")]})
    return unit
