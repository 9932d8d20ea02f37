"""Who may see and do what. Every list and every look-up of a page or the API begins here.

What is outside a person's scope does not exist for them: the answer is 404, never 403.
"""

from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from referrals.calc.states import OfferStage, ReferralStage
from referrals.calc.terms import Role
from referrals.models import Alert, District, KeptInput, Offer, Referral, Site, Staff, Unit


@dataclass(frozen=True)
class Scope:
    """The places at which a person has a role."""

    sites: frozenset[int] = field(default_factory=frozenset)
    units: frozenset[int] = field(default_factory=frozenset)
    districts: frozenset[int] = field(default_factory=frozenset)
    drives: bool = False
    everything: bool = False

    @property
    def is_desk(self) -> bool:
        """Whether the person works at a district desk or leads a district."""
        return bool(self.districts) or self.everything


def scope_of(staff: Staff) -> Scope:
    """The scope of a person, read anew each time: taking a role away works at once."""
    roles = list(staff.roles.all())
    desk = (Role.DESK.value, Role.LEAD.value)
    return Scope(
        sites=frozenset(r.site_id for r in roles if r.role == Role.ATTENDANT.value and r.site_id),
        units=frozenset(r.unit_id for r in roles if r.role == Role.UNIT.value and r.unit_id),
        districts=frozenset(r.district_id for r in roles if r.role in desk),
        drives=any(r.role == Role.DRIVER.value for r in roles),
        everything=staff.is_superuser,
    )


STANDING = Q(stage__in=[OfferStage.OPEN.value, OfferStage.ACCEPTED.value]) | Q(
    stage=OfferStage.LAPSED.value,
    referral__stage__in=[ReferralStage.RAISED.value, ReferralStage.ASKING.value],
)
"""Questions whose unit may still be the one: a late yes is welcome until another unit's."""


def stands(offer: Offer) -> bool:
    """Whether the unit of a question may read what is told of the baby now.

    After its no, or once it is no longer asked, it keeps its question and its own answer alone.
    """
    return Offer.objects.filter(STANDING, pk=offer.pk).exists()


def visible_referrals(staff: Staff) -> QuerySet[Referral]:
    """The post's own for an attendant, standing questions for a unit, the district for its desk."""
    scope = scope_of(staff)
    rows = Referral.objects.select_related("district", "origin")
    if scope.everything:
        return rows
    return rows.filter(
        Q(origin__in=scope.sites)
        | Q(pk__in=Offer.objects.filter(STANDING, unit__in=scope.units).values("referral"))
        | Q(district__in=scope.districts)
    )


def visible_offers(staff: Staff) -> QuerySet[Offer]:
    """A unit sees its own offers; whoever sees the whole referral sees all of them."""
    scope = scope_of(staff)
    rows = Offer.objects.select_related("referral__district", "referral__origin", "unit__site")
    if scope.everything:
        return rows
    return rows.filter(
        Q(unit__in=scope.units)
        | Q(referral__origin__in=scope.sites)
        | Q(referral__district__in=scope.districts)
    )


def answerable_offers(staff: Staff) -> QuerySet[Offer]:
    """The offers a person may accept or decline: their unit's, or the district's for its desk."""
    scope = scope_of(staff)
    rows = visible_offers(staff)
    if scope.everything:
        return rows
    return rows.filter(Q(unit__in=scope.units) | Q(referral__district__in=scope.districts))


def visible_units(staff: Staff) -> QuerySet[Unit]:
    """All units of the districts where the person has any role."""
    rows = Unit.objects.select_related("site__district")
    if staff.is_superuser:
        return rows
    return rows.filter(site__district__in=districts_of(staff))


def visible_sites(staff: Staff) -> QuerySet[Site]:
    """All sites of the districts where the person has any role."""
    rows = Site.objects.select_related("district")
    if staff.is_superuser:
        return rows
    return rows.filter(district__in=districts_of(staff))


def visible_alerts(staff: Staff) -> QuerySet[Alert]:
    """Alerts sent to the person, those of their unit, and the district's for its desk."""
    scope = scope_of(staff)
    rows = Alert.objects.select_related("referral__origin", "referral__district", "offer", "unit")
    if scope.everything:
        return rows
    return rows.filter(
        Q(unit__in=scope.units)
        | Q(district__in=scope.districts)
        | Q(deliveries__username=staff.username)
    ).distinct()


def districts_of(staff: Staff) -> QuerySet[District]:
    """The districts where a person has any role."""
    if staff.is_superuser:
        return District.objects.all()
    return District.objects.filter(pk__in=staff.roles.values("district"))


def desk_phone(staff: Staff | None) -> str:
    """The desk's number for a person; for nobody in particular that of the only desk there is."""
    districts = districts_of(staff) if staff else District.objects.all()
    numbers = {district.desk_phone.as_e164 for district in districts if district.desk_phone}
    return numbers.pop() if len(numbers) == 1 else ""


def desk_district(staff: Staff) -> District | None:
    """The district whose desk a person keeps, if any."""
    scope = scope_of(staff)
    if scope.everything:
        return District.objects.order_by("pk").first()
    return District.objects.filter(pk__in=scope.districts).order_by("pk").first()


def kept_inputs(district: District, *, dealt_with: bool = False) -> QuerySet[KeptInput]:
    """What was sent and not understood and nobody has dealt with (or somebody has), newest first.

    What came from a person of another district is left to that district's desk; what nobody can
    be named for is shown at every desk, so that it is never shown at none.
    """
    others = Staff.objects.filter(roles__isnull=False).exclude(roles__district=district)
    names = list(others.values_list("username", flat=True).distinct())
    numbers = [phone.as_e164 for phone in others.values_list("phone", flat=True) if phone]
    # A page names the person, the API the device of the person.
    callers = [*names, *(f"staff:{name}" for name in names), *numbers]
    return (
        KeptInput.objects.filter(dealt_with_at__isnull=not dealt_with)
        .exclude(caller__in=callers)
        .order_by("-received_at", "-pk")
    )


def people_of_desk(district: District) -> QuerySet[Staff]:
    """Who works at the desk of a district, or leads it."""
    return (
        Staff.objects.filter(
            roles__district=district,
            roles__role__in=[Role.DESK.value, Role.LEAD.value],
            is_active=True,
        )
        .distinct()
        .order_by("display_name")
    )
