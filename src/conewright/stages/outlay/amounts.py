"""Amounts with their spread: low, as a rule, high; and lines of so many at a price."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import hypot
from typing import Literal

__all__ = [
    "NOTHING",
    "Amount",
    "Line",
    "LineKind",
    "amount_of",
    "chance_of_any",
    "exactly",
    "in_step",
    "line_of",
    "order_quantity",
    "together",
]


LineKind = Literal["driver", "radio", "material", "work", "contingency"]
"""`radio` is a radio or an amplifier; with `material` it is all besides the drivers."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A price, a cost or a time with the ends between which nine in ten lie."""

    low: float
    typical: float
    high: float

    def times(self, factor: float) -> Amount:
        """Return so many of it."""
        return Amount(self.low * factor, self.typical * factor, self.high * factor)

    def by(self, other: Amount) -> Amount:
        """Return the product with another amount that varies by itself."""
        typical = self.typical * other.typical
        low = typical - hypot(
            (self.typical - self.low) * other.typical, (other.typical - other.low) * self.typical
        )
        high = typical + hypot(
            (self.high - self.typical) * other.typical, (other.high - other.typical) * self.typical
        )
        return Amount(low, typical, high)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of what a plan takes: how much of what, the price of one, what it comes to.

    `item` is the id of a driver, or what tells a material from another.
    """

    kind: LineKind
    item: str
    title: str
    quantity: float
    unit: str
    price: Amount
    cost: Amount
    note: str
    source: str


def line_of(
    kind: LineKind,
    item: str,
    title: str,
    *,
    price: Amount,
    source: str,
    quantity: float = 1.0,
    unit: str = "piece",
    note: str = "",
) -> Line:
    """Return a line with what it comes to."""
    cost = price.times(quantity)
    return Line(kind, item, title, quantity, unit, price, cost, note, source)


def exactly(value: float) -> Amount:
    """Return an amount that does not vary."""
    return Amount(value, value, value)


NOTHING = exactly(0.0)


def amount_of(row: Mapping[str, str] | str) -> Amount:
    """Return the amount in the columns of a row, or written as `1..2..5`."""
    if isinstance(row, str):
        low, typical, high = (float(part) for part in row.split(".."))
        return Amount(low, typical, high)
    return Amount(float(row["low"]), float(row["typical"]), float(row["high"]))


def together(amounts: Iterable[Amount]) -> Amount:
    """Return the sum of amounts that vary by themselves: their spreads add by squares."""
    known = list(amounts)
    typical = sum(each.typical for each in known)
    below = hypot(*(each.typical - each.low for each in known))
    above = hypot(*(each.high - each.typical for each in known))
    return Amount(typical - below, typical, typical + above)


def in_step(amounts: Iterable[Amount]) -> Amount:
    """Return the sum of amounts that are all low or all high at once: their ends add."""
    known = list(amounts)
    return Amount(
        sum(each.low for each in known),
        sum(each.typical for each in known),
        sum(each.high for each in known),
    )


def chance_of_any(chances: Iterable[float]) -> float:
    """Return the chance that at least one of several independent things happens."""
    none = 1.0
    for chance in chances:
        none *= 1.0 - chance
    return 1.0 - none


def order_quantity(*, count: int, chance: float, enough: float = 0.95) -> int:
    """Return how many to have at hand so that they last in so many of all cases.

    Args:
        count: parts that may break.
        chance: that any one of them does.
        enough: share of all cases [1].

    Source: quantile of the binomial distribution, closed form.
    """
    share = (1.0 - chance) ** count
    covered, broken = share, 0
    while covered < enough and broken < count:
        share *= (count - broken) / (broken + 1) * chance / (1.0 - chance)
        covered, broken = covered + share, broken + 1
    return broken
