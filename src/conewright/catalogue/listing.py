"""Parts of a catalogue chosen by kind and words, and told in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from conewright.catalogue.columns import DIMENSION_OF_VALUE, KINDS, columns
from conewright.catalogue.compiled import Compiled
from conewright.catalogue.forms import table_of
from conewright.catalogue.part_cells import Finding
from conewright.catalogue.part_rows import Catalogue, read_catalogue
from conewright.data_files import data_text
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.job.quantity.units import to_unit
from conewright.phrases import counted

__all__ = ["chosen", "findings_in_words", "invented_catalogue", "part_in_words"]

SEARCHED: Final = ("id", "part", "name", "supplier", "kind", "cures", "metal")
SHOWN: Final = {
    "driver": ("rated_impedance", "fs", "qts", "vas", "sensitivity", "depth"),
    "radio": ("minimum_load",),
    "amplifier": ("minimum_load",),
    "adapter": ("cutout", "outer"),
    **dict.fromkeys(DIMENSION_OF_VALUE, ("value",)),
}
"""Figures that a part is told by in a list, by its kind."""
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


def part_in_words(compiled: Compiled, row: int) -> str:
    """Return a part in one sentence: what it is called, its figures, price and stock."""
    kind = compiled.text("kind", row)
    name = compiled.text("name", row) or compiled.text("part", row)
    figures = (_figure(compiled, row, each, kind) for each in SHOWN.get(kind, ()))
    told = [", ".join(filter(None, (f"{kind} {name}", *figures))), _price(compiled, row)]
    others = [compiled.text("id", other) for other in compiled.alternates(row)]
    if others:
        told.append(f"the same works: {', '.join(others[:5])}")
    return f"{compiled.text('id', row)}: {'; '.join(told)}"


def _figure(compiled: Compiled, row: int, name: str, kind: str) -> str:
    value = compiled.number(name, row)
    if value is None:
        return ""
    column = columns()[name]
    unit = VALUE_UNITS[kind] if name == "value" else column.unit
    number = to_unit(value, dimension=column.dimension_for(kind), unit=unit)
    called = "" if name in ("value", "rated_impedance") else f"{name} "
    return f"{called}{float(number):.3g} {unit}".strip()


def _price(compiled: Compiled, row: int) -> str:
    price, stock = compiled.number("price", row), compiled.number("stock", row)
    told = "no price: not chosen under a limit of money"
    if price is not None:
        per = compiled.text("per", row) or "piece"
        told = f"{price:.2f} {compiled.text('currency', row)}".strip() + f" per {per}"
    if stock is None:
        return told
    return f"{told}, {stock:.0f} in stock" if stock else f"{told}, none in stock"


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
