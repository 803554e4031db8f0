"""Reading the table of reference values of polarity and impedance, some of which are lists."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

TABLE = Path(__file__).with_name("measured.csv")


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity: what it is, from what, how near it must be met, who says so."""

    id: str
    quantity: str
    inputs: Mapping[str, list[float]]
    expected: list[float]
    unit: str
    tolerance: str
    source: str

    def number(self, name: str) -> float:
        """Return an input that is one number."""
        (value,) = self.inputs[name]
        return value

    def allowed(self, expected: float) -> float:
        """Return how far a value may be off, in its unit."""
        kind, size = self.tolerance.split()
        return float(size) if kind == "abs" else float(size.rstrip("%")) / 100.0 * abs(expected)


def read_rows() -> list[Row]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [_row(row) for row in csv.DictReader(file)]


def _row(row: dict[str, str]) -> Row:
    given = dict(part.strip().split("=") for part in row["inputs"].split(";"))
    return Row(
        id=row["id"],
        quantity=row["quantity"],
        inputs={name: [float(each) for each in text.split()] for name, text in given.items()},
        expected=[float(each) for each in row["expected"].split()],
        unit=row["unit"],
        tolerance=row["tolerance"],
        source=row["source"],
    )
