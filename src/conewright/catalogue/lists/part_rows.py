"""From the rows of a list to a catalogue: what is used, what is left out, and why."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from math import isnan, nan
from typing import Final

import numpy as np

from conewright.catalogue.columns import CHOICES, DIMENSION_OF_VALUE, Column, columns
from conewright.catalogue.compiled import Compiled, offered_of, part_ids
from conewright.catalogue.lists.forms import Row, Table
from conewright.catalogue.lists.part_cells import Done, Finding, Number, cell_number
from conewright.catalogue.lists.row_checks import CHECKS
from conewright.catalogue.lists.usual_prices import dear_prices
from conewright.catalogue.sheets import FIGURES, Sheets, complete_sheets
from conewright.errors import BadInputError, QuantityError
from conewright.job.quantity.numerals import short
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.drivers.trust import ORDER_OF_TRUST

__all__ = ["Catalogue", "read_catalogue"]

NEEDED: Final = ("part", "kind")
KEY: Final = ("part", "supplier")
LONGEST_NAME: Final = 100
MOST_CONTRADICTION: Final = 0.5
"""A figure further than this from what follows needs a yes; workshop experience, no source."""
TOLD_BY: Final = {**dict.fromkeys(DIMENSION_OF_VALUE, "value"), "repair": "cures"}
"""The cell without which a part of a kind is of no use."""
MOST_SHOWN: Final = 5


@dataclass(frozen=True)
class Catalogue:
    """A list as it is used.

    rows: the cells in use, sorted by kind, supplier and part. findings: what was not as it should
    be, by row. compiled: the same as columns.
    """

    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]
    compiled: Compiled


def read_catalogue(table: Table, *, accept: bool | Collection[int] = False) -> Catalogue:
    """Read a list whose heads are the columns of a catalogue.

    Args:
        table: the list.
        accept: use rows as well whose figures contradict each other by more than half or whose
            price is far above the usual; all of them, or those with these numbers.

    Raises:
        BadInputError: a column that is needed is not there, or no row can be used.

    """
    _hold_needed(table)
    findings = [*table.findings, *_strange_heads(table)]
    draft = _Draft(findings, accept)
    for number, cells in _newest(table, findings):
        draft.add(number, cells)
    draft.close()
    for check in CHECKS:
        for index, name, allowed, done in check(draft.values):
            draft.tell(index, name, allowed, done=done)
    sheets = draft.sheets()
    refused = set(draft.contradictions(sheets)) | set(draft.dear()) | set(draft.useless())
    findings.sort(key=lambda each: each.row)
    kept = [index for index in draft.in_order() if index not in refused]
    if not kept:
        raise BadInputError(_no_row(table, findings))
    rows = tuple(draft.rows[index] for index in kept)
    return Catalogue(rows, tuple(findings), draft.compiled(kept, sheets))


def _hold_needed(table: Table) -> None:
    missing = [name for name in NEEDED if name not in table.heads]
    if missing:
        found = ", ".join(f'"{short(head)}"' for head in table.heads[:20])
        raise BadInputError(
            f"{table.file}: found the columns {found or 'of nothing'}; a catalogue has "
            f"{' and '.join(missing)} as well. Of another list, --guess writes a map"
        )


def _strange_heads(table: Table) -> Iterable[Finding]:
    for head in table.heads:
        if head not in columns():
            allowed = "a catalogue has no such column; a map may rename it"
            yield Finding(1, short(head), f'"{short(head)}"', "left out", allowed)


def _newest(table: Table, findings: list[Finding]) -> Iterable[tuple[int, Row]]:
    """Return the rows with a key, of two with the same the later one."""
    newest: dict[tuple[str, str], tuple[int, Row]] = {}
    for number, row in zip(table.numbers, table.rows, strict=True):
        part, kind = row.get("part", ""), row.get("kind", "")
        strange = next((name for name in KEY if not _is_name(row.get(name, ""))), None)
        if not part or strange is not None:
            found = f'"{short(row[strange])}"' if strange else "nothing"
            allowed = f"a row is known by part and supplier, {LONGEST_NAME} signs at most"
            findings.append(Finding(number, strange or "part", found, "refused", allowed))
        elif kind not in CHOICES["kind"]:
            found = f'"{short(kind)}"' if kind else "nothing"
            allowed = f"allowed: {', '.join(CHOICES['kind'])}"
            findings.append(Finding(number, "kind", found, "refused", allowed))
        else:
            key = row.get("supplier", ""), part
            if key in newest:
                allowed = f"row {number} has it again; the later one counts"
                earlier = newest[key][0]
                findings.append(Finding(earlier, "part", f'"{short(part)}"', "refused", allowed))
            newest[key] = number, row
    return newest.values()


def _is_name(text: str) -> bool:
    return len(text) <= LONGEST_NAME and text.isprintable()


def _no_row(table: Table, findings: Sequence[Finding]) -> str:
    told = "".join(f"\n  {each}" for each in findings[:MOST_SHOWN])
    return f"{table.file}: found no row that can be used, of {len(table.numbers)}{told}"


class _Draft:
    """Rows with their numbers while they are looked through."""

    def __init__(self, findings: list[Finding], accept: bool | Collection[int]) -> None:
        self.rows: list[dict[str, str]] = []
        self.values: dict[str, FloatArray] = {}
        self._findings = findings
        self._accept = accept
        self._numbers: list[int] = []
        self._spreads: dict[str, tuple[FloatArray, FloatArray]] = {}
        self._given: dict[str, list[tuple[int, Number]]] = {}
        self._seen: dict[tuple[str, str, str], Number | QuantityError | None] = {}

    def add(self, number: int, cells: Row) -> None:
        """Take a row in, cell by cell."""
        kind, index = cells["kind"], len(self.rows)
        row = dict[str, str]()
        for name, column in columns().items():
            text = cells.get(name)
            if not text:
                continue
            read = self._read(text, column, kind)
            if isinstance(read, QuantityError):
                told = Finding(number, name, f'"{short(text)}"', "left out", str(read))
                self._findings.append(told)
                continue
            row[name] = text
            if read is not None:
                self._given.setdefault(name, []).append((index, read))
        self.rows.append(row)
        self._numbers.append(number)

    def _read(self, text: str, column: Column, kind: str) -> Number | QuantityError | None:
        if column.kinds and kind not in column.kinds:
            return QuantityError(f"a {kind} has no {column.name}")
        asked = column.name, kind if column.form == "value" else "", text
        if asked not in self._seen:
            try:
                self._seen[asked] = cell_number(text, column, kind=kind)
            except QuantityError as error:
                self._seen[asked] = error
        return self._seen[asked]

    def close(self) -> None:
        """Turn what was taken in into columns."""
        count = len(self.rows)
        for name, column in columns().items():
            if not column.numeric:
                continue
            given = self._given.get(name, [])
            where = [index for index, _ in given]
            three = np.full((3, count), nan)
            if given:
                three[:, where] = np.array([number for _, number in given]).T
            if column.form == "size":
                self.values[name], self.values[f"{name}_long"] = three[:2]
            else:
                self.values[name] = three[0]
                self._spreads[name] = three[1], three[2]
        kinds = np.array([row["kind"] for row in self.rows], dtype=str)
        self.values["is_driver"] = (kinds == "driver").astype(float)

    def tell(self, index: int, name: str, allowed: str, *, done: Done, asked: bool = False) -> None:
        """Note what was found in a cell, and take it out where it is left out."""
        text = self.rows[index].get(name, "")
        found = f'"{short(text)}"' if text else "nothing"
        self._findings.append(Finding(self._numbers[index], name, found, done, allowed, asked))
        if done == "left out":
            self.rows[index].pop(name, None)
            self.values[name][index] = nan
            for end in self._spreads.get(name, ()):
                end[index] = nan

    def sheets(self) -> Sheets:
        """Return the completed sheets of the drivers, rows of other kinds NaN."""
        drivers = np.flatnonzero(self.values["is_driver"])
        names = [name for name in (*ORDER_OF_TRUST, "sensitivity") if name in self.values]
        given = {name: self.values[name][drivers] for name in (*names, "rated_impedance")}
        given |= {"minor": self.values["size"][drivers]}
        given |= {"major": self.values["size_long"][drivers]}
        found = complete_sheets(given)
        whole = {name: np.full(len(self.rows), nan) for name in FIGURES}
        for name in FIGURES:
            whole[name][drivers] = found.figures[name]
        faults = {int(drivers[row]): said for row, said in found.faults.items()}
        for each in found.differences:
            self._tell_difference(int(drivers[each.row]), each.name, each.share)
        self._wide = {
            int(drivers[each.row])
            for each in found.differences
            if each.name != "sensitivity" and abs(each.share) > MOST_CONTRADICTION
        }
        return Sheets(whole, faults, found.differences)

    def _tell_difference(self, index: int, name: str, share: float) -> None:
        off = f"{abs(share):.1f} dB" if name == "sensitivity" else f"{100 * abs(share):.0f} %"
        side = "above" if share > 0 else "below"
        allowed = f"{off} {side} what the other figures make of it; those are used"
        self.tell(index, name, allowed, done="used")

    def _has_yes(self, index: int) -> bool:
        yes = self._accept
        return yes if isinstance(yes, bool) else self._numbers[index] in yes

    def contradictions(self, sheets: Sheets) -> Iterable[int]:
        """Tell and return the rows with figures that no driver has, or that need a yes."""
        for index, said in sheets.faults.items():
            self.tell(index, "", f"no driver has such figures: {said}", done="refused")
            yield index
        for index in sorted(self._wide - set(sheets.faults)):
            if not self._has_yes(index):
                allowed = "figures contradict each other by more than half"
                self.tell(index, "", allowed, done="refused", asked=True)
                yield index
        for index in map(int, np.flatnonzero(self.values["is_driver"])):
            if isnan(sheets.figures["eta0"][index]) and index not in sheets.faults:
                allowed = "without a size not every figure follows; such a driver is not chosen"
                self.tell(index, "size", allowed, done="used")

    def dear(self) -> Iterable[int]:
        """Tell the rows whose price is far above the usual, and return those that need a yes."""
        for index, allowed in dear_prices(self.rows, self.values):
            taken = self._has_yes(index)
            done: Done = "used" if taken else "refused"
            self.tell(index, "price", allowed, done=done, asked=not taken)
            if not taken:
                yield index

    def useless(self) -> Iterable[int]:
        """Tell and return the rows without what a part of their kind is told by."""
        for index, row in enumerate(self.rows):
            name = TOLD_BY.get(row["kind"])
            if name is not None and name not in row:
                allowed = f"a {row['kind']} is told by its {name}"
                self.tell(index, name, allowed, done="refused")
                yield index
            elif "price" not in row:
                allowed = "without a price it is not chosen under a limit of money"
                self.tell(index, "price", allowed, done="used")

    def in_order(self) -> list[int]:
        """Return the rows by kind, supplier and part."""
        place = CHOICES["kind"].index

        def key(index: int) -> tuple[int, str, str]:
            row = self.rows[index]
            return place(row["kind"]), row.get("supplier", ""), row["part"]

        return sorted(range(len(self.rows)), key=key)

    def compiled(self, kept: Sequence[int], sheets: Sheets) -> Compiled:
        """Return the columns of the rows kept; those without anything in them are left out."""
        rows = [self.rows[index] for index in kept]
        keys = [(row.get("supplier", ""), row["part"]) for row in rows]
        texts = {"id": part_ids(keys)}
        for name, column in columns().items():
            if not column.numeric and any(name in row for row in rows):
                texts[name] = tuple(row.get(name, "") for row in rows)
        taken = partial(_known, kept)
        numbers = taken({k: v for k, v in self.values.items() if k != "is_driver"})
        low = taken({name: ends[0] for name, ends in self._spreads.items()})
        high = taken({name: ends[1] for name, ends in self._spreads.items()})
        figures = {name: sheets.figures[name][list(kept)] for name in FIGURES}
        offered = offered_of(texts, numbers)
        return Compiled(texts, numbers, low, high, figures, offered)


def _known(kept: Sequence[int], columns: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Return the rows kept of columns with something in them."""
    taken = {name: column[list(kept)] for name, column in columns.items()}
    return {name: column for name, column in taken.items() if not np.isnan(column).all()}
