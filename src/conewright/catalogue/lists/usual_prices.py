"""What parts usually cost at most, and which prices of a list are far above that."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from math import nan
from typing import Final

from conewright.catalogue.lists.forms import Row
from conewright.data_files import data_rows
from conewright.job.builds.typical import nearest_size
from conewright.physics.basics.arrays import FloatArray

__all__ = ["dear_prices", "typical_driver_price"]

MOST_OF_USUAL: Final = 3.0
"""A price beyond so many times the usual highest is asked about; own choice, no source."""
LIKE_OURS: Final = ("", "CHF", "EUR", "GBP", "USD")
"""Currencies of about the worth that the tables are in, which name none; own choice, no source."""
PAIR: Final = "pair"


def typical_driver_price(minor: float, major: float) -> Mapping[str, str] | None:
    """Return the row of what one driver of a size costs; None where no table tells it.

    Args: minor, major: the axes of its nominal size [m].
    """
    size = nearest_size(minor=minor, major=major)
    rows = data_rows("catalogue", "driver_prices.csv")
    return next((row for row in rows if row["size"] == size), None)


def dear_prices(rows: Sequence[Row], values: Mapping[str, FloatArray]) -> Iterator[tuple[int, str]]:
    """Yield the rows whose price is far above what is usual of their kind, and what is said of it.

    A price in a currency of another worth, and one of what no table knows, is not asked about.

    Args:
        rows: of a list, as texts.
        values: the same as columns of numbers [SI].

    """
    for index, row in enumerate(rows):
        price = float(values["price"][index])
        if not price > 0.0 or row.get("currency", "") not in LIKE_OURS:
            continue
        per = row.get("per", "piece")
        numbers = {name: float(values[name][index]) for name in _NEEDED}
        usual = _usual_high(row["kind"], "piece" if per == PAIR else per, numbers)
        usual *= 2.0 if per == PAIR else 1.0
        if price > MOST_OF_USUAL * usual:
            yield (
                index,
                (
                    f"{price / usual:.1f} times the most that is usual of such a {row['kind']} "
                    f"({usual:.2f} per {per}); over {MOST_OF_USUAL:g} times is asked about"
                ),
            )


_NEEDED: Final = ("size", "size_long", "value")


def _usual_high(kind: str, per: str, numbers: Mapping[str, float]) -> float:
    """Return the most that one usually costs, NaN where no table tells it."""
    if kind == "driver":
        sized = per == "piece" and numbers["size"] > 0.0
        row = typical_driver_price(numbers["size"], numbers["size_long"]) if sized else None
        return nan if row is None else float(row["high"])
    if (kind, per) not in _kinds():
        return nan
    told = _kinds()[kind, per]
    high = float(told["high"] or _items()[told["item"]]["high"]) * float(told["factor"] or 1.0)
    for name in told["times"].split():
        high *= numbers[name]
    return high


@cache
def _kinds() -> Mapping[tuple[str, str], Mapping[str, str]]:
    rows = data_rows("catalogue", "usual_prices.csv")
    return {(row["kind"], row["per"]): row for row in rows}


@cache
def _items() -> Mapping[str, Mapping[str, str]]:
    return {row["item"]: row for row in data_rows("catalogue", "prices.csv")}
