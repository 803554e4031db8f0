"""Amounts with their spread: low, as a rule, high."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import hypot

__all__ = [
    "NOTHING",
    "Amount",
    "amount_of",
    "chance_of_any",
    "exactly",
    "in_step",
    "order_quantity",
    "together",
]


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
