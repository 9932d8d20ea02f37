"""CSV tables read strictly: every fault is collected with its file, row and column, then raised.

Row 1 is the header, as a spreadsheet counts.
"""

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

YES, NO = frozenset({"true", "yes", "1"}), frozenset({"false", "no", "0"})


@dataclass(frozen=True)
class Fault:
    """What is wrong in which cell."""

    file: str
    row: int
    column: str
    sentence: str

    def __str__(self) -> str:
        place = [self.file, f"row {self.row}" if self.row else "", self.column]
        return f"{', '.join(part for part in place if part)}: {self.sentence}"


class BadTable(ValueError):
    """One or more tables that cannot be used; ``faults`` holds every reason."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(map(str, faults)))
        self.faults = list(faults)


@dataclass
class Row:
    """One row. Each reader returns the value, or notes a fault and returns a stand-in."""

    file: str
    number: int
    cells: dict[str, str]
    faults: list[Fault] = field(repr=False)

    def wrong(self, column: str, sentence: str) -> None:
        """Note a fault of this row."""
        self.faults.append(Fault(self.file, self.number, column, sentence))

    def text(self, column: str, *, required: bool = True) -> str:
        """The words of a cell, without spaces around them."""
        value = self.cells.get(column, "")
        if required and not value:
            self.wrong(column, "is empty")
        return value

    def number_in(
        self, column: str, low: float, high: float, *, required: bool = True
    ) -> float | None:
        """A number from ``low`` to ``high``; None where the cell is empty or wrong."""
        text = self.text(column, required=required)
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            self.wrong(column, f"must be a number from {low:g} to {high:g}, not {text!r}")
            return None
        return value

    def whole(self, column: str, high: int, *, required: bool = True) -> int | None:
        """A whole number from 0 to ``high``; None where the cell is empty or wrong."""
        text = self.text(column, required=required)
        if not text:
            return None
        if not (text.isascii() and text.isdigit() and int(text) <= high):
            self.wrong(column, f"must be a whole number from 0 to {high}, not {text!r}")
            return None
        return int(text)

    def one_of(self, column: str, known: Sequence[str], *, required: bool = True) -> str:
        """One of the known words."""
        text = self.text(column, required=required)
        if text and text not in known:
            self.wrong(column, f"{text!r} is not known; known are: {', '.join(known)}")
        return text

    def several(self, column: str) -> list[str]:
        """Words joined by semicolons; an empty cell is none."""
        words = [word.strip() for word in self.text(column, required=False).split(";")]
        return [word for word in words if word]

    def several_of(self, column: str, known: Sequence[str]) -> list[str]:
        """Known words joined by semicolons; an empty cell is none."""
        words = self.several(column)
        for word in words:
            if word not in known:
                self.wrong(column, f"{word!r} is not known; known are: {', '.join(known)}")
        return words

    def yes_or_no(self, column: str) -> bool | None:
        """True or false; None where the cell is empty or wrong."""
        text = self.text(column, required=False).lower()
        if text and text not in YES | NO:
            self.wrong(column, f"must be true or false, not {text!r}")
        return None if text not in YES | NO else text in YES


def read_table(
    path: Path,
    faults: list[Fault],
    *,
    required: Sequence[str | Sequence[str]],
    optional: Sequence[str] = (),
    passed_over: list[str] | None = None,
) -> Iterator[Row]:
    """The rows of a CSV file with a header; blank lines are passed over.

    Where several names stand together in ``required``, one of them is enough. A fault of the whole
    file (not there, not UTF-8, a column missing or unknown) is noted and leaves no rows. Where
    ``passed_over`` is given, unknown columns are put into it and are no fault.
    """
    lines = _lines(path, faults)
    header = [name.strip() for name in lines[0][1]] if lines else []
    choices = [(each,) if isinstance(each, str) else tuple(each) for each in required]
    judged = header
    if passed_over is not None:
        wanted = {name for names in choices for name in names} | set(optional)
        passed_over += [name for name in header if name not in wanted]
        judged = [name for name in header if name in wanted]
    problems = list(_header_problems(judged, choices, optional)) if lines else []
    faults += [Fault(path.name, 1, "", problem) for problem in problems]
    if problems:
        return
    for number, cells in lines[1:]:
        if not cells or cells == [""]:
            continue
        if len(cells) > len(header):
            faults.append(Fault(path.name, number, "", "has more cells than the header"))
            continue
        values = {name: cell.strip() for name, cell in zip(header, cells, strict=False)}
        yield Row(path.name, number, values, faults)


def _lines(path: Path, faults: list[Fault]) -> list[tuple[int, list[str]]]:
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            lines = list(enumerate(csv.reader(file, strict=True), start=1))
    except OSError as error:
        faults.append(Fault(path.name, 0, "", f"cannot be read: {error.strerror}"))
        return []
    except UnicodeDecodeError:
        faults.append(Fault(path.name, 0, "", "is not UTF-8 text"))
        return []
    except csv.Error as error:
        faults.append(Fault(path.name, 0, "", f"is not CSV: {error}"))
        return []
    if not lines:
        faults.append(Fault(path.name, 0, "", "is empty; its first row must name the columns"))
    return lines


def _header_problems(
    header: Sequence[str], choices: Sequence[Sequence[str]], optional: Sequence[str]
) -> Iterator[str]:
    for names in choices:
        if not set(names) & set(header):
            yield f"the column {' or '.join(names)} is missing"
    known = list(dict.fromkeys([name for names in choices for name in names] + [*optional]))
    for name in dict.fromkeys(header):
        if name not in known:
            yield f"the column {name!r} is not known; known are: {', '.join(known)}"
        elif header.count(name) > 1:
            yield f"the column {name} stands twice"
