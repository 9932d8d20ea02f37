"""Look-ups of the phone pages; what is outside a person's scope is not found."""

from django.db.models import Q, QuerySet
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from referrals import clock, contact_with_post
from referrals.access import scope_of, visible_referrals
from referrals.models import Baby, Referral, Staff
from referrals.pages.doors import staff_of


def told_referrals(staff: Staff) -> QuerySet[Referral]:
    """The referrals of a person's own post, and the district's for its desk.

    A unit has pages of its own, where it sees its question and not those to others.
    """
    scope = scope_of(staff)
    rows = visible_referrals(staff).select_related("raised_by")
    if scope.everything:
        return rows
    return rows.filter(Q(origin__in=scope.sites) | Q(district__in=scope.districts))


def case_of(request: HttpRequest, code: str) -> Referral:
    """The referral of a code that the signed-in person may tell about; the post was heard of."""
    staff = staff_of(request)
    referral = get_object_or_404(told_referrals(staff), code=code.upper())
    contact_with_post.seen(referral, staff, clock.now())
    return referral


def baby_of(referral: Referral, birth_order: int) -> Baby:
    """One baby of a referral."""
    baby = get_object_or_404(referral.babies, birth_order=birth_order)
    baby.referral = referral
    return baby
