"""One cell of a catalogue: read as its column wants it, or told why it is none."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from math import nan
from typing import Final, Literal, TypeAlias

from conewright.catalogue.columns import CHOICES, Column
from conewright.errors import QuantityError
from conewright.job.document.fault_names import FAULTS
from conewright.job.quantity.numerals import short
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.units import Unit, find_unit
from conewright.job.quantity.values import parse_quantity

__all__ = ["LONGEST_CELL", "Done", "Finding", "Number", "cell_number"]

Number: TypeAlias = tuple[float, float, float]
"""Central value and the ends of its spread, NaN without one; of a size both axes and NaN."""

Done: TypeAlias = Literal["used", "left out", "refused"]
"""What became of a cell, or of the whole row where it was refused."""

LONGEST_CELL: Final = 200
LARGEST_COUNT: Final = 10**6
LARGEST_PRICE: Final = 1e6

# The most usual way to write a quantity: read without the grammar, to the same number.
_PLAIN = re.compile(r"([0-9]{1,12})(?:\.([0-9]{1,9}))?(?: ([^\s0-9±].*))?")
_COUNT = re.compile(r"[+-]?[0-9]{1,9}")
_MONEY = re.compile(r"[0-9]{1,7}(?:\.[0-9]{1,4})?")
_CURRENCY = re.compile(r"[A-Z]{3}")
_YES = {"yes": 1.0, "no": 0.0}


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found in a cell of a list and was done about it.

    row: as a spreadsheet counts, the head being row 1; of a file without a head the first part
    is 1. column: its name, empty for the row itself. asked: whether somebody's yes is enough for
    the row to be used.
    """

    row: int
    column: str
    found: str
    done: Done
    allowed: str
    asked: bool = False

    def __str__(self) -> str:
        where = f"row {self.row}, {self.column}" if self.column else f"row {self.row}"
        done = "row refused" if self.done == "refused" else self.done
        return f"{where}: found {self.found} ({done}); {self.allowed}"


def cell_number(text: str, column: Column, *, kind: str) -> Number | None:
    """Read a cell.

    Args:
        text: of the cell, not empty, without blanks at its ends.
        column: it stands in.
        kind: of the part.

    Returns:
        Its number in SI units; a price in its currency, yes as 1. None where the cell holds words.

    Raises:
        QuantityError: it does not hold what the column wants.

    """
    if len(text) > LONGEST_CELL or not text.isprintable():
        raise QuantityError(f"a text of at most {LONGEST_CELL} signs on one line is wanted")
    return _READERS[column.form](text, column, kind)


def _quantity(text: str, column: Column, kind: str) -> Number:
    dimension = column.dimension_for(kind)
    value = _plain(text, dimension)
    if value is not None and (value > 0.0 or (column.sign != "positive" and value == 0.0)):
        return value, nan, nan
    read = parse_quantity(
        text,
        dimension=dimension,
        positive=column.sign == "positive",
        nonnegative=column.sign == "nonnegative",
    )
    if read.low is None or read.high is None:
        return read.value, nan, nan
    return read.value, read.low, read.high


_units: dict[tuple[str, str], Unit | None] = {}


def _plain(text: str, dimension: str) -> float | None:
    """Return a plain number and its unit in SI units, None for whatever needs the grammar."""
    found = _PLAIN.fullmatch(text)
    if found is None:
        return None
    whole, part, written = found[1], found[2] or "", found[3] or ""
    if (dimension, written) not in _units:
        if len(_units) > LARGEST_COUNT:
            _units.clear()
        _units[dimension, written] = find_unit(written, dimension=dimension)
    unit = _units[dimension, written]
    if unit is None or not unit.scale or unit.offset:
        return None
    # The quotient of two whole numbers is rounded once.
    value = int(whole + part) * unit.scale.numerator / (10 ** len(part) * unit.scale.denominator)
    return value if dimension != "conductor" else None


def _size(text: str, _column: Column, _kind: str) -> Number:
    size = parse_size(text)
    return size.minor, size.major, nan


def _count(text: str, _column: Column, _kind: str) -> Number:
    if not _COUNT.fullmatch(text) or not 0 <= int(text) <= LARGEST_COUNT:
        raise QuantityError(f"a whole number from 0 to {LARGEST_COUNT} is wanted")
    return float(text), nan, nan


def _money(text: str, _column: Column, _kind: str) -> Number:
    if not _MONEY.fullmatch(text) or float(text) > LARGEST_PRICE:
        raise QuantityError("a price is a plain number like 24.90, its currency beside it")
    return float(text), nan, nan


def _yes(text: str, _column: Column, _kind: str) -> Number:
    if text not in _YES:
        raise QuantityError("yes or no is wanted")
    return _YES[text], nan, nan


def _choice(text: str, column: Column, _kind: str) -> None:
    if text not in CHOICES[column.form]:
        raise QuantityError(f"allowed: {', '.join(CHOICES[column.form])}")


def _currency(text: str, _column: Column, _kind: str) -> None:
    if not _CURRENCY.fullmatch(text):
        raise QuantityError("a currency is three capital letters, like EUR")


def _causes(text: str, _column: Column, _kind: str) -> None:
    unknown = [short(word) for word in text.split() if word not in FAULTS]
    if unknown:
        raise QuantityError(f"{', '.join(unknown)} is no fault; allowed: {', '.join(FAULTS)}")


def _date(text: str, _column: Column, _kind: str) -> None:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise QuantityError("a day is written like 2026-03-31") from None


def _text(_text: str, _column: Column, _kind: str) -> None:
    """Any words will do."""


_READERS: Final[dict[str, Callable[[str, Column, str], Number | None]]] = {
    "text": _text,
    "quantity": _quantity,
    "value": _quantity,
    "size": _size,
    "count": _count,
    "money": _money,
    "yes": _yes,
    "currency": _currency,
    "causes": _causes,
    "date": _date,
    **dict.fromkeys(CHOICES, _choice),
}
