"""Whether this installation could carry a baby tonight: each thing looked at, with what to do."""

from collections.abc import Iterator

from referrals.checkup.channels import check_channels
from referrals.checkup.finding import Finding, Judgement
from referrals.checkup.ladders import check_ladders
from referrals.checkup.machine import check_clock, check_disk, check_django, check_sweep
from referrals.checkup.stores import check_broker, check_database

__all__ = ["Finding", "Judgement", "look"]

# The database first: where it does not answer, what is read from it is not looked at.
_WITHOUT_DATABASE = (check_broker, check_disk, check_django, check_channels)
_FROM_DATABASE = (check_clock, check_sweep, check_ladders)


def look() -> Iterator[Finding]:
    """Look at one thing after the other; what was found comes as soon as it is known."""
    database = list(check_database())
    yield from database
    readable = all(finding.judgement is not Judgement.FAULT for finding in database)
    for check in (*_WITHOUT_DATABASE, *(_FROM_DATABASE if readable else ())):
        yield from check()
