"""``make_alerts.py REFERRALS NOTICES``: referrals with questions and notices to send.

A process of its own, since it needs the database that the environment names.
"""

import os
import sys
from pathlib import Path

import django


def main(referrals: int, notices: int) -> None:
    """Raise referrals, ask two units each, and queue plain notices to two people."""
    from django.db import transaction
    from world import a_referral, an_offer, told_by

    from referrals import alerting, clock, sweeping, timeline
    from referrals.models import Staff, Unit

    units = list(Unit.objects.filter(code__in=["ORL-NB", "KES-NB"]))
    reader = Staff.objects.get(username="hana.wendorra")
    for number in range(referrals):
        now = clock.now()
        by = told_by("leena.morrastad", now)
        referral = a_referral(now)
        for unit in units:
            an_offer(referral, unit, now)
        with transaction.atomic():
            held = timeline.hold(referral.pk)
            for notice in range(notices):
                text = alerting.Text(sentence="A notice.", message=f"{referral.code}: {notice}")
                key = f"pump:{number}:{notice}"
                alerting.tell_person(held, reader, by, "pump_test", key, text)
    # The first look at each referral is made here, so that the senders begin with sending.
    sweeping.sweep("setup", send=False)


if __name__ == "__main__":
    root = Path(__file__).resolve().parents[2]
    sys.path[:0] = [str(root), str(root / "tests")]
    os.environ["DJANGO_SETTINGS_MODULE"] = "referrals.project.settings"
    django.setup()
    main(int(sys.argv[1]), int(sys.argv[2]))
