"""Who may see and move which journey; the same rule as in ``referrals.access``: else 404."""

from django.db.models import Q, QuerySet

from referrals.access import districts_of, scope_of
from referrals.calc.states import OfferStage
from referrals.calc.terms import Role
from referrals.models import Staff
from transport.models import Closure, Leg, Meeting, Transfer, Vehicle
from transport.models.closures import ClosureQuerySet


def visible_transfers(staff: Staff) -> QuerySet[Transfer]:
    """The post's own, those coming to one's unit, the driver's one, the district's for its desk."""
    scope = scope_of(staff)
    rows = Transfer.objects.select_related(
        "referral__district", "referral__origin", "vehicle__driver", "destination__site"
    )
    if scope.everything:
        return rows
    return rows.filter(
        Q(referral__origin__in=scope.sites)
        | Q(destination__in=scope.units)
        | Q(
            referral__offers__unit__in=scope.units,
            referral__offers__stage=OfferStage.ACCEPTED.value,
        )
        | Q(vehicle__driver=staff, stage__in=_RUNNING)
        | Q(pk__in=Meeting.objects.standing().filter(vehicle__driver=staff).values("transfer"))
        | Q(referral__district__in=scope.districts)
    ).distinct()


def dispatchable_transfers(staff: Staff) -> QuerySet[Transfer]:
    """The journeys a person may assign vehicles to: the desk's."""
    scope = scope_of(staff)
    rows = visible_transfers(staff)
    return rows if scope.everything else rows.filter(referral__district__in=scope.districts)


def visible_vehicles(staff: Staff) -> QuerySet[Vehicle]:
    """The vehicles of the districts where the person works; a driver's role opens its own alone."""
    rows = Vehicle.objects.select_related("base", "driver", "district")
    if staff.is_superuser:
        return rows
    elsewhere = staff.roles.exclude(role=Role.DRIVER.value).values("district")
    return rows.filter(Q(district__in=elsewhere) | Q(driver=staff))


def visible_closures(staff: Staff) -> ClosureQuerySet:
    """What is or was closed in the districts where the person has any role."""
    rows = Closure.objects.select_related("district", "one_end", "other_end")
    return rows if staff.is_superuser else rows.filter(district__in=districts_of(staff))


def visible_legs(staff: Staff) -> QuerySet[Leg]:
    """The ferries and boats of the districts where the person has any role."""
    rows = Leg.objects.select_related("district", "origin", "destination")
    return rows if staff.is_superuser else rows.filter(district__in=districts_of(staff))


_RUNNING = ["assigned", "collecting", "at_origin", "on_the_road", "arrived"]
