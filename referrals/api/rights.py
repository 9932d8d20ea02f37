"""Who may do what to what they can see: the role after the scope. Refused with 403."""

from django.utils.translation import gettext as _

from referrals.access import Scope
from referrals.api.errors import WrongRole
from referrals.calc.states import OfferStage
from referrals.models import Offer, Referral, Site, Staff, Unit


def keeps_desk(scope: Scope, referral: Referral) -> bool:
    """Whether the person works at the desk of the referral's district."""
    return scope.everything or referral.district_id in scope.districts


def is_at_post(scope: Scope, referral: Referral) -> bool:
    """Whether the referral is of the person's own post."""
    return referral.origin_id in scope.sites


def receives(scope: Scope, referral: Referral) -> bool:
    """Whether the person's unit has accepted the babies. Reads the offers that were fetched."""
    return any(
        offer.stage == OfferStage.ACCEPTED.value and offer.unit_id in scope.units
        for offer in referral.offers.all()
    )


def may_tell(scope: Scope, referral: Referral) -> bool:
    """Post, desk and the receiving unit know the babies; a unit only asked does not."""
    return keeps_desk(scope, referral) or is_at_post(scope, referral) or receives(scope, referral)


def require_tell(scope: Scope, referral: Referral) -> None:
    """For facts about the babies, and for reading all that was told of them."""
    if not may_tell(scope, referral):
        raise WrongRole(
            _("This is for the post, the desk and the unit that takes the baby. Accept first.")
        )


def require_post_or_desk(scope: Scope, referral: Referral) -> None:
    """For what the caller of the referral decides."""
    if not (keeps_desk(scope, referral) or is_at_post(scope, referral)):
        raise WrongRole(_("This is for the post and the desk. Ring the desk."))


def require_desk(scope: Scope, referral: Referral) -> None:
    """For what the desk decides."""
    if not keeps_desk(scope, referral):
        raise WrongRole(_("This is for the district desk. Ring the desk."))


def require_receiver_or_desk(scope: Scope, referral: Referral) -> None:
    """For what the unit that takes the babies says."""
    if not (keeps_desk(scope, referral) or receives(scope, referral)):
        raise WrongRole(_("This is for the unit that takes the baby and for the desk."))


def require_raiser(scope: Scope, referral: Referral, staff: Staff) -> None:
    """For what is told to the one who raised, or to the post when nobody is named."""
    if not (is_at_post(scope, referral) and referral.raised_by_id in (None, staff.pk)):
        raise WrongRole(_("This is for the attendant who called for help."))


def require_answer(scope: Scope, offer: Offer) -> None:
    """For the answer to a question: the unit asked, or the desk that heard it by phone."""
    if not (keeps_desk(scope, offer.referral) or offer.unit_id in scope.units):
        raise WrongRole(_("Only the unit that was asked, or the desk for it, can answer."))


def require_raise(scope: Scope, site: Site) -> None:
    """For a new referral: one's own post, or any post of the desk's district."""
    if not (scope.everything or site.district_id in scope.districts or site.pk in scope.sites):
        raise WrongRole(_("You can raise a referral from your own post. Ring the desk for others."))


def require_unit(scope: Scope, unit: Unit) -> None:
    """For the cots of a unit: its own people, or the desk."""
    if not (scope.everything or unit.pk in scope.units or unit.site.district_id in scope.districts):
        raise WrongRole(_("Only people of this unit, or the desk, can say how many cots are free."))
