"""What a search keeps: plans that were worked out, what they have to reach, and what it did."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray

__all__ = ["ALIKE", "CLOSE", "DECIMALS", "Found", "Kept", "Limits", "Picks", "Tally"]

DECIMALS = 3
"""Points are alike within this: what costs less is taken then."""

SUMS = 6
"""Decimals of money and hours that count: the rest is the order in which they were summed."""

ALIKE = 0.5 * 10.0**-DECIMALS
"""A bound this much below the best may still tie with it."""

CLOSE = 1e-5
"""Money that is put together in another order, or rounded, differs by less."""

ROUNDED = 1e-9
"""Sums of prices and hours are rounded: this much over a limit is within it."""


@dataclass(frozen=True)
class Limits:
    """What a plan may take; None for any amount."""

    money: float | None = None
    hours: float | None = None

    @property
    def ends(self) -> tuple[float, float]:
        """Money and hours as numbers, inf for any amount."""
        money, hours = (np.inf if each is None else each for each in (self.money, self.hours))
        return money, hours

    def hold(self, money: float, hours: float) -> bool:
        """Whether so much is within them."""
        return (self.money is None or money <= self.money + ROUNDED) and (
            self.hours is None or hours <= self.hours + ROUNDED
        )


Picks = tuple[int, ...]
"""A plan: radio, then form, capacitor and high-pass of each group of channels, then the option of
each group of places."""


@dataclass(frozen=True)
class Found:
    """A plan that was worked out exactly.

    Attributes:
        picks: what it takes.
        value: points of 100, central.
        money, hours: as a rule.

    """

    picks: Picks
    value: float
    money: float
    hours: float

    @property
    def order(self) -> tuple[float, float, float, int, Picks]:
        """The lowest is the best: more points, then less money and time, then fewer changes."""
        changed = sum(1 for pick in self.picks if pick > 0)
        money, hours = (round(each, SUMS) for each in (self.money, self.hours))
        return -round(self.value, DECIMALS), money, hours, changed, self.picks


@dataclass
class Tally:
    """What the search did."""

    frames: int = 0
    checked: int = 0
    rejected: dict[str, int] = field(default_factory=dict)


class Kept:
    """The plans that were worked out and may matter, and what a plan has to reach.

    Args:
        below: points below the best that count; 0 for the best alone.
        gap: points within which the best is good enough.
        most: how much may be bounded before what is left is left open.

    Attributes:
        found: the plans.
        left: the highest bound of what was left open, minus infinity where nothing was.

    """

    def __init__(self, below: float, gap: float, most: float = np.inf) -> None:
        self.below, self.gap = below, gap
        self.found: list[Found] = []
        self.left = -np.inf
        self._best: Found | None = None
        self._bounded, self._most = 0, most

    @property
    def tired(self) -> bool:
        """Whether enough was looked at: never before a plan is known."""
        return self._bounded >= self._most and self._best is not None

    def looked_at(self, count: int) -> None:
        """Take in how much was bounded."""
        self._bounded += count

    def leave(self, bound: FloatArray) -> None:
        """Leave open what has such bounds."""
        self.left = max(self.left, float(bound.max(initial=-np.inf)))

    @property
    def floor(self) -> float:
        """What the bound of a plan has to reach to be looked at."""
        if self._best is None:
            return -np.inf
        if self.below:
            return self._best.value - self.below - ALIKE
        return round(self._best.value, DECIMALS) - ALIKE + self.gap

    def may_win(self, bound: FloatArray, money: FloatArray) -> NDArray[np.bool_]:
        """Whether plans may matter by their bounds and the least money that they take.

        What can at best be worth the same as the best one has to cost no more.
        """
        reached = bound >= self.floor
        if self._best is None or self.below:
            return reached
        more = bound >= round(self._best.value, DECIMALS) + ALIKE - ROUNDED
        return reached & (more | (money <= self._best.money + CLOSE) | np.isnan(money))

    def add(self, plan: Found) -> None:
        """Take a plan in."""
        self.found.append(plan)
        if self._best is None or self._is_better(plan, self._best):
            self._best = plan

    def _is_better(self, plan: Found, best: Found) -> bool:
        return plan.value > best.value if self.below else plan.order < best.order
