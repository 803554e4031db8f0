"""Typical values: what is used where a job gives nothing.

The tables are data files with a source beside every row. `low` and `high` are the 5 % and 95 %
points around `typical`; a row without them is used as it stands.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import exp, hypot, log

from conewright.data_files import data_rows
from conewright.job.quantity.values import Quantity, parse_quantity, times

__all__ = [
    "ANY",
    "Typical",
    "driver_typical",
    "nearest_area",
    "nearest_size",
    "rated_resistance",
    "scaled",
    "typical",
    "typical_or_none",
    "typicals",
]

ANY = "any"
"""Key of a row that holds whatever the kind of place."""

# The rows that an age changes by those of ages.csv; the other ages have rows of their own.
_CHANGED_BY_AGE = {"old": "ageing", "repaired": "ageing"}

# Beyond this a nominal size has no row to stand for it: half the usual step between sizes.
FURTHEST_SIZE = 1.2

# A printed impedance this near to a row of the table means that row.
_SAME_RATING = 0.05


@dataclass(frozen=True, slots=True)
class Typical:
    """A typical value and where it is from."""

    quantity: Quantity
    source: str


def typical(table: str, key: str, name: str) -> Typical:
    """Return the typical value of a quantity.

    Args: table: file without its ending; key: the row's kind, as `165 mm/new`; name: quantity.
    Raises: KeyError if the table has no such row.
    """
    return _table(table)[key, name]


def typical_or_none(table: str, key: str, name: str) -> Typical | None:
    """Return the typical value of a quantity, None where the table has none."""
    return _table(table).get((key, name))


def typicals(table: str, key: str) -> dict[str, Typical]:
    """Return every typical value that a table has for a kind, by the name of the quantity."""
    return {name: row for (kind, name), row in _table(table).items() if kind == key}


def driver_typical(size: str, age: str, name: str) -> Typical:
    """Return the typical value of a driver of a size and an age.

    Equation: of ages that change another one's rows, the factor of the age times that row; their
    spreads, as parts of the value, add as independent ones do.
    Raises: KeyError if the tables have no such row.
    """
    row = typical("drivers", f"{size}/{_CHANGED_BY_AGE.get(age, age)}", name)
    factor = typical_or_none("ages", age, name)
    return row if factor is None else _product(row, factor)


def _product(row: Typical, factor: Typical) -> Typical:
    one, other = row.quantity, factor.quantity
    middle, source = one.value * other.value, f"{row.source}; {factor.source}"
    if one.low is None or one.high is None or other.low is None or other.high is None:
        return scaled(row, other.value, source=source)
    below = hypot(log(one.value / one.low), log(other.value / other.low))
    above = hypot(log(one.high / one.value), log(other.high / other.value))
    ends = middle * exp(-below), middle * exp(above)
    return Typical(Quantity.of(middle, one.dimension, one.unit, low=ends[0], high=ends[1]), source)


def scaled(row: Typical, factor: float, *, source: str, dimension: str | None = None) -> Typical:
    """Return a typical value with its whole spread multiplied.

    Args: factor: [SI unit of the new dimension per SI unit of the old]; source: said of the
    result; dimension: of the result, in its usual unit; None keeps dimension and unit.
    """
    return Typical(times(row.quantity, factor, dimension=dimension), source)


def nearest_size(*, minor: float, major: float) -> str | None:
    """Return the size of the tables nearest to a nominal size; None where none is near.

    Args: minor, major: the axes [m], equal for a round driver.
    Validity: within a factor FURTHEST_SIZE in both axes; a round size never stands for an oval.
    """
    distances = {
        size: max(abs(log(minor / axes[0])), abs(log(major / axes[1])))
        for size, axes in _sizes().items()
        if (axes[0] == axes[1]) == (minor == major)
    }
    best = min(distances, key=distances.__getitem__)
    return best if distances[best] <= log(FURTHEST_SIZE) else None


def nearest_area(sd: float, *, age: str) -> str:
    """Return the round size of the tables whose typical cone area is nearest to sd [m2]."""
    areas = {
        size: driver_typical(size, age, "sd").quantity.value
        for size, (minor, major) in _sizes().items()
        if minor == major
    }
    return min(areas, key=lambda size: abs(log(areas[size] / sd)))


def rated_resistance(rated: float) -> Typical:
    """Return the coil resistance usual for an impedance printed on the magnet [ohm].

    Source: the table; other ratings than the usual ones by their share of the rating.
    """
    for (key, name), row in _table("rated_impedance").items():
        if name == "rated" and abs(rated / row.quantity.value - 1.0) <= _SAME_RATING:
            return typical("rated_impedance", key, "re")
    share = typical("rated_impedance", "other", "re_share")
    return scaled(share, rated, source=share.source, dimension="resistance")


@cache
def _sizes() -> Mapping[str, tuple[float, float]]:
    """Return the minor and major axis [m] of every size of the tables."""
    table = _table("frames")
    return {
        key: (table[key, "minor"].quantity.value, table[key, "major"].quantity.value)
        for key, name in table
        if name == "minor"
    }


@cache
def _table(name: str) -> Mapping[tuple[str, str], Typical]:
    """Read a table: (key, quantity) -> typical value."""
    rows = data_rows("job.builds", f"{name}.csv")
    return {(row["key"], row["quantity"]): _read(row) for row in rows}


def _read(row: Mapping[str, str]) -> Typical:
    points = [row[point] for point in ("low", "typical", "high") if row[point]]
    text = f"{'..'.join(points)} {row['unit']}".strip()
    return Typical(parse_quantity(text, dimension=row["dimension"]), row["source"])
