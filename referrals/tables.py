"""Every rule and table the service uses, as it holds in a district, and who adopted it there."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.tables import Table
from referrals.models import Adoption, District

Maker = Callable[[District], Table | None]
_makers: dict[str, Maker] = {}


def provide(makers: Mapping[str, Maker]) -> None:
    """Called once by each package when it is ready: what makes each table, by the table's code."""
    _makers.update(makers)


def tables_of(district: District) -> list[Table]:
    """Every table as it holds in a district, with the district's own changes in it."""
    made = (make(district) for make in _makers.values())
    return [table for table in made if table is not None]


def table_named(district: District, code: str) -> Table | None:
    """One of them."""
    make = _makers.get(code)
    return make(district) if make else None


@dataclass(frozen=True)
class Standing:
    """A table and the newest adoption of it, whichever version that was of."""

    table: Table
    newest: Adoption | None

    @property
    def adopted(self) -> Adoption | None:
        """The adoption of the values that hold now."""
        newest = self.newest
        return newest if newest and newest.version == self.table.version else None


def standing_of(district: District, tables: Iterable[Table]) -> list[Standing]:
    """How each table stands in a district."""
    rows = Adoption.objects.filter(district=district, withdrawn_at=None)
    newest = {row.table: row for row in rows}
    return [Standing(table, newest.get(table.code)) for table in tables]


def adopt(
    by: By, district: District, table: Table, *, version: str, name: str, role: str, on: date
) -> Adoption:
    """A named person takes the values of a table as the district's own.

    Raises:
        NotPossible: ``table_changed`` when the values shown are not those that hold now, and
            ``day_ahead`` for a day that has not come.
    """
    if version != table.version:
        raise NotPossible(
            _("The values have changed since this page was opened. Look at them again."),
            code="table_changed",
        )
    if on > by.received_at.date():
        raise NotPossible(_("That day has not come yet."), code="day_ahead")
    return Adoption.objects.create(
        district=district,
        table=table.code,
        version=version,
        adopted_by=name,
        role=role,
        adopted_on=on,
        recorded_by=by.name,
        recorded_at=by.received_at,
    )


def take_back(by: By, adoption: Adoption) -> None:
    """It was not adopted after all; the row stays, marked with who and when."""
    if adoption.withdrawn_at is None:
        adoption.withdrawn_at, adoption.withdrawn_by = by.received_at, by.name
        adoption.save(update_fields=["withdrawn_at", "withdrawn_by"])
