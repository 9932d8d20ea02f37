"""The need rules as they hold in a district, and the verb that changes one of them."""

from django.db import transaction

from referrals import recording, timeline
from referrals.acting import By
from referrals.models import LocalRule, Referral


def keep_rule(by: By, row: LocalRule) -> LocalRule:
    """Keep the next version of a district's rule, and derive open referrals' needs anew.

    Raises:
        ValidationError: for a row that cannot be, or loosens with nobody's name.
    """
    row.full_clean(
        exclude=["made_by", "made_at"], validate_unique=False, validate_constraints=False
    )
    with transaction.atomic():
        row.pk = None
        last = LocalRule.objects.filter(district=row.district, rule=row.rule).last()
        row.version = last.version + 1 if last else 1
        row.made_by, row.made_at = by.name, by.received_at
        row.save(force_insert=True)
    for referral in Referral.objects.filter(district=row.district, closed_at=None):
        with transaction.atomic():
            recording.refresh_needs(timeline.hold(referral.pk), by)
    return row
