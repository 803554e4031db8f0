"""Rows of a data file that a shop may edit, read with errors that name the file and the row."""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from io import StringIO
from math import fsum, isfinite
from typing import NoReturn

from conewright.errors import BadInputError
from conewright.job.document.paths import known_names, show

__all__ = ["HEALTHY", "Row", "hold_sum", "one_of_each", "read_rows", "split_text"]

HEALTHY = "healthy"
"""Key of the rows on a vehicle without fault."""

HUNDRED = 100.0

# Percentages that were rounded to whole numbers may miss 100 by this much.
ROUNDING = 1.0

LARGEST = 1e6


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the file it stands in, its number as a spreadsheet counts, and its cells."""

    file: str
    number: int
    key: str
    cells: dict[str, str]

    def fail(self, column: str, allowed: str) -> NoReturn:
        """Raise BadInputError for a cell, with what is allowed there."""
        found = show(self.cells[column])
        raise BadInputError(f"{self.where}: {column} is {found}; {allowed}")

    @property
    def where(self) -> str:
        """File, row number and first cell, as an error names them."""
        return f"{self.file}, row {self.number} ({self.key})"

    def text(self, column: str) -> str:
        """Return a cell that is not empty."""
        return self.cells[column] or self.fail(column, "a text is wanted")

    def value(self, column: str, *, most: float = LARGEST) -> float:
        """Return a number from 0 to `most`."""
        return self._number(self.cells[column], column, most)

    def share(self, column: str) -> float:
        """Return a percentage as a share, 0 to 1."""
        return self.value(column, most=HUNDRED) / HUNDRED

    def choice(self, column: str, known: Collection[str]) -> str:
        """Return a cell that holds one of the known words."""
        if self.cells[column] not in known:
            self.fail(column, known_names(self.cells[column], known))
        return self.cells[column]

    def names(self, column: str, known: Collection[str]) -> tuple[str, ...]:
        """Return the known words in a cell, parted by semicolons; none for an empty cell."""
        names = split_text(self.cells[column])
        for name in names:
            if name not in known:
                self.fail(column, f'"{name}" is not known; {known_names(name, known)}')
        return names

    def numbers(self, column: str, known: Collection[str]) -> dict[str, float]:
        """Return the words in a cell with the number behind each, as in `silent 80; weaker 20`."""
        found: dict[str, float] = {}
        for part in split_text(self.cells[column]):
            name, _, number = part.rpartition(" ")
            name = name.strip()
            if name not in known:
                self.fail(column, f'"{name}" is not known; {known_names(name, known)}')
            if name in found:
                self.fail(column, f'"{name}" stands there twice')
            found[name] = self._number(number, column, LARGEST)
        return found

    def _number(self, text: str, column: str, most: float) -> float:
        try:
            number = float(text)
        except ValueError:
            self.fail(column, f"a number from 0 to {most:g} is wanted")
        if not (isfinite(number) and 0.0 <= number <= most):
            self.fail(column, f"a number from 0 to {most:g} is wanted")
        return number


def read_rows(text: str, *, file: str, columns: Sequence[str]) -> tuple[Row, ...]:
    """Read a comma-separated file.

    Args:
        text: the file's text, its first row the names of the columns.
        file: its name, for the errors.
        columns: the names wanted, the row's key first, in any order in the file; `source` is
            wanted always.

    Returns:
        The rows, cells without blanks at their ends.

    Raises:
        BadInputError: a column is missing or not known, a row has too few or too many cells, or
            a key or a source is empty.

    """
    # Spreadsheets like to put a byte order mark in front.
    reader = csv.DictReader(StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        _hold_columns(reader.fieldnames or (), file=file, columns=(*columns, "source"))
        return tuple(
            _row(cells, file=file, number=number, key=columns[0])
            for number, cells in enumerate(reader, start=2)
        )
    except csv.Error as error:
        raise BadInputError(f"{file}: no comma-separated table: {error}") from error


def one_of_each(rows: Iterable[Row], *, file: str, known: Collection[str] = ()) -> None:
    """Hold that no key comes twice and, where names are given, that each of them comes once.

    Raises: BadInputError.
    """
    seen: set[str] = set()
    for row in rows:
        if row.key in seen:
            raise BadInputError(f"{row.where}: this name has a row already")
        if known and row.key not in known:
            raise BadInputError(f"{row.where}: not known; {known_names(row.key, known)}")
        seen.add(row.key)
    missing = [name for name in known if name not in seen]
    if missing:
        raise BadInputError(f"{file}: rows are missing for {', '.join(missing)}")


def hold_sum(percentages: Iterable[float], *, where: str, what: str) -> float:
    """Return the sum of percentages, which is 100 but for rounding; raises BadInputError."""
    total = fsum(percentages)
    if abs(total - HUNDRED) > ROUNDING:
        raise BadInputError(f"{where}: {what} add up to {total:g}, not to 100")
    return total


def split_text(text: str) -> tuple[str, ...]:
    """Return what stands between the semicolons of a cell; nothing for an empty cell."""
    return tuple(part.strip() for part in text.split(";")) if text.strip() else ()


def _hold_columns(found: Sequence[str], *, file: str, columns: Sequence[str]) -> None:
    for name in columns:
        if name not in found:
            raise BadInputError(f"{file}: the column {name} is missing")
    for name in found:
        if name not in columns or found.count(name) > 1:
            raise BadInputError(f'{file}: the column "{name}" is one too many')


def _row(cells: dict[str, str], *, file: str, number: int, key: str) -> Row:
    # The reader keys cells beyond the header with None, and fills missing ones with None.
    if None in cells or None in cells.values():
        raise BadInputError(f"{file}, row {number}: it has not one cell for each column")
    plain = {name: cell.strip() for name, cell in cells.items()}
    row = Row(file, number, plain[key], plain)
    row.text(key)
    row.text("source")
    return row
