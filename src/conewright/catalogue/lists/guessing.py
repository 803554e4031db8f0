"""A first guess at the map of somebody else's list, to be looked through before it is used."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from conewright.catalogue.columns import Column, columns
from conewright.catalogue.lists.column_map import ColumnMap, Mapped, words
from conewright.catalogue.lists.forms import Table, decoded, hold_text, rows_of_csv
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.job.quantity.units import find_unit

__all__ = ["Guess", "first_guess", "guess_map"]

ENCODINGS = ("utf-8-sig", "cp1252")
LOOKED_AT = 500
"""Rows that a guess is made from."""

CURRENCIES = {"EUR": "EUR", "€": "EUR", "GBP": "GBP", "£": "GBP", "CHF": "CHF", "USD": "USD"}
PEAK_TO_PEAK = re.compile(r"\bp-p\b|\bpp\b|peak[- ]to[- ]peak", re.IGNORECASE)

_UNIT_IN_HEAD = re.compile(r"^(.*?)\s*(?:[\[(]\s*([^\])]*?)\s*[\])]|,\s*(\S+)|\bin\s+(\S+))\s*$")
_COMMA = re.compile(r"^\D{0,3}\d+,\d+(?!\d*[.,])")
_POINT = re.compile(r"^\D{0,3}\d+\.\d+(?!\d*[.,])")
_BOTH = re.compile(r"\d{1,3}(?P<thousands>[.,' ])\d{3}(?P<decimal>[.,])\d")


@dataclass(frozen=True)
class Guess:
    """A guessed map of a list, the list as it was cut, and what each head rests on, in words."""

    map: ColumnMap
    table: Table
    why: Mapping[str, str]

    @property
    def told(self) -> tuple[str, ...]:
        """What was guessed, one line for the marks and for each head."""
        found = self.map
        marks = f'decimals behind "{found.decimal}", thousands by "{found.thousands}"'
        named = {each.column: name for name, each in found.columns.items()}
        lines = (
            f'"{short(head)}" is {named[head]}{why}' if head in named else f'"{short(head)}": {why}'
            for head, why in self.why.items()
        )
        return (f"{found.encoding}, cells apart by {found.delimiter!r}, {marks}", *lines)


def guess_map(content: bytes, *, file: str) -> Guess:
    """Guess how a list is written from its head and its first rows.

    Raises:
        BadInputError: it is no list, or none of its heads is known.

    """
    guess = first_guess(content, file=file)
    if not guess.map.columns:
        has = ", ".join(f'"{short(head)}"' for head in guess.table.heads[:40])
        raise BadInputError(f"{file}: found no head that is known; it has {has}")
    return guess


def first_guess(content: bytes, *, file: str, encoding: str = "", delimiter: str = "") -> Guess:
    """Guess the same, also where no head is known.

    Args:
        content: of the list.
        file: what it is called in a message.
        encoding: of its text, guessed where empty.
        delimiter: between its cells, guessed where empty.

    Raises:
        BadInputError: it is no list.

    """
    if encoding:
        text = decoded(content, file=file, encoding=encoding)
    else:
        encoding, text = _decoded(content, file)
    delimiter = delimiter or _delimiter(text)
    table = rows_of_csv(text, file=file, delimiter=delimiter)
    mapped = dict[str, Mapped]()
    fixed = dict[str, str]()
    told = dict[str, str]()
    for head in table.heads:
        name, unit = _column_of(head)
        if name is None or name in mapped:
            told[head] = "not used"
            continue
        mapped[name], told[head] = _mapped(head, columns()[name], unit, _cells(table, head))
        if columns()[name].form == "money" and unit in CURRENCIES:
            fixed["currency"] = CURRENCIES[unit]
            told[head] = f" in {CURRENCIES[unit]}, as its head says"
    numeric = [each.column for name, each in mapped.items() if columns()[name].numeric]
    decimal, thousands = _marks([cell for head in numeric for cell in _cells(table, head)])
    fixed |= _fixed(mapped)
    found = ColumnMap(encoding, delimiter, decimal, thousands, fixed, _words(table, mapped), mapped)
    return Guess(found, table, told)


def _decoded(content: bytes, file: str) -> tuple[str, str]:
    hold_text(content, file=file)
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", decoded(content, file=file, encoding="utf-16")
    for encoding in ENCODINGS:
        try:
            return encoding, content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise BadInputError(f"{file}: found bytes that are no text in {' or '.join(ENCODINGS)}")


def _delimiter(text: str) -> str:
    head = text.split("\n", 1)[0]
    return max((";", "\t", "|", ","), key=head.count)


def _cells(table: Table, head: str) -> list[str]:
    return [row[head] for row in table.rows[:LOOKED_AT] if head in row]


def _column_of(head: str) -> tuple[str | None, str]:
    """Return the column that a head names, and the unit in it; None where nothing is known."""
    whole = PEAK_TO_PEAK.sub("", head)
    for bare, unit in ((whole, ""), *_divided(whole)):
        plain = " ".join(bare.casefold().replace("_", " ").replace(".", " ").split())
        known = plain.replace(" ", "_")
        if known in columns():
            return known, unit
        if plain in words("head"):
            return words("head")[plain], unit
    return None, ""


def _divided(head: str) -> Iterator[tuple[str, str]]:
    found = _UNIT_IN_HEAD.match(head)
    if found is not None:
        yield found[1], found[2] or found[3] or found[4] or ""
    bare, _, last = head.rpartition(" ")
    if last.casefold() in words("trailing") or last.casefold() in words("unit"):
        yield bare, last


def _mapped(head: str, column: Column, unit: str, cells: list[str]) -> tuple[Mapped, str]:
    """Return where a column stands, with the unit that its cells lack, and what that rests on."""
    if not column.dimension or column.form not in ("quantity", "size"):
        return Mapped(head), ""
    if PEAK_TO_PEAK.search(head):
        halved, why = _mapped(PEAK_TO_PEAK.sub("", head), column, unit, cells)
        return Mapped(head, halved.unit, "0.5"), f"{why}, halved: its head says peak to peak"
    known = words("unit").get(unit.casefold(), unit)
    found = find_unit(known, dimension=column.dimension) if unit else None
    if found is not None:
        return Mapped(head, found.symbol), f" in {found.symbol}, as its head says"
    if cells and not all(cell[-1:].isdigit() for cell in cells):
        return Mapped(head), " in the unit of each cell"
    if not column.unit:
        return Mapped(head), ""
    return Mapped(head, column.unit), f", guessed in {column.unit}: look whether it is so"


def _marks(cells: list[str]) -> tuple[str, str]:
    """Return the marks of decimals and of thousands: as most numbers have them."""
    for cell in cells:
        both = _BOTH.search(cell)
        if both is not None and both["thousands"] != both["decimal"]:
            return both["decimal"], both["thousands"]
    commas = sum(bool(_COMMA.match(cell)) for cell in cells)
    points = sum(bool(_POINT.match(cell)) for cell in cells)
    return ("," if commas > points else "."), ""


def _fixed(mapped: Mapping[str, Mapped]) -> dict[str, str]:
    """Return what holds for every row: of a list of drivers alone, its kind."""
    drivers = {"fs", "qts", "vas", "sd"} & set(mapped)
    return {"kind": "driver"} if "kind" not in mapped and drivers else {}


def _words(table: Table, mapped: Mapping[str, Mapped]) -> dict[str, str]:
    """Return the words of the list for kinds and choices that are known."""
    found = dict[str, str]()
    for name, each in mapped.items():
        if columns()[name].form in ("kind", "per", "yes"):
            for cell in _cells(table, each.column):
                if cell.casefold() in words("word"):
                    found[cell] = words("word")[cell.casefold()]
    return found
