"""Reading the table of reference values."""

import csv
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Real

TABLE = Path(__file__).with_name("checks.csv")
NUMBER = re.compile(r"\s*([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)")

Inputs: TypeAlias = Mapping[str, float]
Computation: TypeAlias = Callable[[Inputs], Real]


@dataclass(frozen=True, slots=True)
class Check:
    """One value: what it is, from what, how near it must be met, who says so."""

    id: str
    quantity: str
    inputs: Inputs
    expected: float
    unit: str
    tolerance: float
    source: str


def read_checks(table: Path = TABLE) -> list[Check]:
    with table.open(encoding="utf-8", newline="") as file:
        return [_check(row) for row in csv.DictReader(file)]


def air_of(density: float = 1.2041, speed: float = 343.21) -> Air:
    """Air of a density and a speed of sound, as the sources state theirs."""
    temperature = 293.15 * (speed / 343.21) ** 2
    return Air(
        temperature=temperature, pressure=101_325.0 * density / 1.2041 * temperature / 293.15
    )


def _check(row: dict[str, str]) -> Check:
    expected = float(row["expected"])
    return Check(
        id=row["id"],
        quantity=row["quantity"],
        inputs=_inputs(row["inputs"]),
        expected=expected,
        unit=row["unit"],
        tolerance=_tolerance(row["tolerance"], expected),
        source=row["source"],
    )


def _inputs(text: str) -> dict[str, float]:
    """Numbers by name; those without a name by their place: "0", "1", ..."""
    found: dict[str, float] = {}
    for place, part in enumerate(text.split(";")):
        name, _, value = part.rpartition("=")
        if number := NUMBER.match(value):
            found[name.strip() or str(place)] = float(number[1])
    return found


def _tolerance(text: str, expected: float) -> float:
    kind, _, size = text.partition(" ")
    if kind == "rel":
        return float(size.rstrip("%")) / 100.0 * abs(expected)
    if kind == "abs":
        return float(size)
    assert kind == "exact", text
    return 1e-9 * abs(expected)
