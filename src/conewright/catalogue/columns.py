"""The columns of a catalogue and the kinds of its parts, as a table."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, get_args

from conewright.data_files import data_rows
from conewright.job.document.bench import PartKind, Per

__all__ = ["CHOICES", "DIMENSION_OF_VALUE", "KINDS", "Column", "column_words", "columns"]

KINDS: Final[tuple[PartKind, ...]] = get_args(PartKind)

DIMENSION_OF_VALUE: Final = {
    "capacitor": "capacitance",
    "cable": "conductor",
    "fuse": "current",
    "patch": "surface-density",
}
"""What the column `value` says of a part, by its kind."""

CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "kind": KINDS,
    "metal": ("copper", "clad-aluminium"),
    "per": get_args(Per),
    "trust": ("measured", "measured-by-maker", "sheet", "listing"),
}
"""Words that a cell may hold, by the form of its column."""

NUMERIC: Final = ("quantity", "value", "size", "count", "money", "yes")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: the form and dimension of its cells, and the unit that lists leave out.

    sign: "positive", "nonnegative" or nothing. kinds: of the parts that have it, all where empty.
    """

    name: str
    form: str
    dimension: str
    unit: str
    sign: str
    kinds: frozenset[str]

    @property
    def numeric(self) -> bool:
        """Whether its cells are compiled to numbers."""
        return self.form in NUMERIC

    def dimension_for(self, kind: str) -> str:
        """Return the dimension of a cell of a part of some kind; empty where it has none."""
        return DIMENSION_OF_VALUE[kind] if self.form == "value" else self.dimension


@cache
def columns() -> Mapping[str, Column]:
    """Return every column of a catalogue by its name, in the order in which files have them."""
    return {
        row["column"]: Column(
            row["column"],
            row["form"],
            row["dimension"],
            row["unit"],
            row["sign"],
            frozenset(row["kinds"].split()),
        )
        for row in data_rows("catalogue", "columns.csv")
    }


@cache
def column_words() -> Mapping[str, Mapping[str, str]]:
    """Return what every column is called, by group and column, in the order of a form."""
    told: dict[str, dict[str, str]] = {}
    for row in data_rows("catalogue", "column_words.csv"):
        told.setdefault(row["group"], {})[row["column"]] = row["words"]
    return told
