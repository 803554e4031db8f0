"""Parts of a catalogue chosen by kind and words, and told in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from conewright.catalogue.columns import DIMENSION_OF_VALUE, KINDS, columns
from conewright.catalogue.compiled import Compiled
from conewright.catalogue.lists.forms import table_of
from conewright.catalogue.lists.part_cells import Finding
from conewright.catalogue.lists.part_rows import Catalogue, read_catalogue
from conewright.data_files import data_text
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.job.quantity.units import to_unit
from conewright.phrases import counted

__all__ = [
    "PartLine",
    "chosen",
    "figure_in_words",
    "findings_in_words",
    "in_its_unit",
    "invented_catalogue",
    "part_in_words",
    "part_line",
]

SEARCHED: Final = ("id", "part", "name", "supplier", "kind", "cures", "metal")
SHOWN: Final = {
    "driver": ("rated_impedance", "fs", "qts", "vas", "sensitivity", "depth"),
    "radio": ("minimum_load",),
    "amplifier": ("minimum_load",),
    "adapter": ("cutout", "outer"),
    **dict.fromkeys(DIMENSION_OF_VALUE, ("value",)),
}
"""Figures that a part is told by in a list, by its kind."""
NO_PRICE: Final = "no price: not chosen under a limit of money"
VALUE_UNITS: Final = {"capacitor": "uF", "cable": "mm2", "fuse": "A", "patch": "kg/m2"}


def invented_catalogue() -> Catalogue:
    """Return the invented parts that come with the program, for trying things out."""
    content = data_text("catalogue", "invented.csv").encode("utf-8")
    return read_catalogue(table_of(content, file="invented.csv"))


def chosen(compiled: Compiled, *, kind: str = "", search: str = "") -> list[int]:
    """Return the rows of a kind that hold every word of a search.

    Raises BadInputError for a kind that there is not.
    """
    if kind and kind not in KINDS:
        raise BadInputError(f'--kind: found "{short(kind)}"; allowed: {", ".join(KINDS)}')
    words = search.casefold().split()
    found = []
    for row in range(len(compiled)):
        if kind and compiled.text("kind", row) != kind:
            continue
        text = " ".join(compiled.text(name, row) for name in SEARCHED).casefold()
        if all(word in text for word in words):
            found.append(row)
    return found


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part as a line of a list says it, in words; what is not known is empty.

    same: ids of the other parts with the same figures, the one that is offered first. offered:
    whether this one is offered in their place.
    """

    id: str
    kind: str
    name: str
    supplier: str
    figures: tuple[str, ...]
    price: str
    stock: str
    same: tuple[str, ...]
    offered: bool


def part_line(compiled: Compiled, row: int) -> PartLine:
    """Return a part as a line of a list says it."""
    kind = compiled.text("kind", row)
    figures = (_called(compiled, row, each) for each in SHOWN.get(kind, ()))
    price, stock = compiled.number("price", row), compiled.number("stock", row)
    money = "" if price is None else f"{price:.2f} {compiled.text('currency', row)}".strip()
    return PartLine(
        id=compiled.text("id", row),
        kind=kind,
        name=compiled.text("name", row) or compiled.text("part", row),
        supplier=compiled.text("supplier", row),
        figures=tuple(filter(None, figures)),
        price=f"{money} per {compiled.text('per', row) or 'piece'}" if money else "",
        stock="" if stock is None else f"{f'{stock:.0f}' if stock else 'none'} in stock",
        same=tuple(compiled.text("id", other) for other in compiled.alternates(row)),
        offered=int(compiled.offered[row]) == row,
    )


def part_in_words(compiled: Compiled, row: int) -> str:
    """Return a part in one sentence: what it is called, its figures, price and stock."""
    line = part_line(compiled, row)
    told = [", ".join((f"{line.kind} {line.name}", *line.figures))]
    told.append(", ".join(filter(None, (line.price or NO_PRICE, line.stock))))
    if line.same:
        told.append(f"the same works: {', '.join(line.same[:5])}")
    return f"{line.id}: {'; '.join(told)}"


def figure_in_words(compiled: Compiled, row: int, name: str) -> str:
    """Return a figure of a part with its unit, empty where it is not known."""
    value = compiled.number(name, row)
    return "" if value is None else in_its_unit(value, name, compiled.text("kind", row))


def in_its_unit(value: float, name: str, kind: str) -> str:
    """Return a number [SI] as a list writes it in the column of that name."""
    column = columns()[name]
    if column.form in ("count", "money"):
        return f"{value:.2f}" if column.form == "money" else f"{value:.0f}"
    unit = VALUE_UNITS[kind] if name == "value" else column.unit
    number = float(to_unit(value, dimension=column.dimension_for(kind), unit=unit))
    # Three digits, never as a power of ten.
    return f"{Decimal(f'{number:.3g}'):f} {unit}".strip()


def _called(compiled: Compiled, row: int, name: str) -> str:
    figure = figure_in_words(compiled, row, name)
    plain = name in ("value", "rated_impedance") or not figure
    return figure if plain else f"{name} {figure}"


def findings_in_words(findings: Sequence[Finding], *, most: int) -> Iterator[str]:
    """Yield how many findings there are of each sort, then the first of them."""
    sorts = {
        "refused": ("row refused", "rows refused"),
        "left out": ("cell left out", "cells left out"),
        "used": ("cell used with a remark", "cells used with a remark"),
    }
    counts = [
        counted(number, *each)
        for done, each in sorts.items()
        if (number := sum(finding.done == done for finding in findings))
    ]
    if counts:
        yield f"{', '.join(counts)}."
    yield from map(str, findings[:most])
    if len(findings) > most:
        yield f"and {len(findings) - most} more"
