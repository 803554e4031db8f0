"""The most that options add for some money, as far as it reaches."""

from __future__ import annotations

import numpy as np

from conewright.physics.basics.arrays import FloatArray

__all__ = ["Envelope"]


class Envelope:
    """Prefix maxima of gains and ceilings over options sorted by money.

    Args:
        money: of each option.
        gains: shape (options, gains).
        ceiling: of each.

    """

    def __init__(self, money: FloatArray, gains: FloatArray, ceiling: FloatArray) -> None:
        order = np.argsort(money, kind="stable")
        self._money = money[order]
        self._gains = np.maximum.accumulate(gains[order], axis=0)
        self._ceiling = np.maximum.accumulate(ceiling[order])

    def at(self, money: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the most for each sum of money that reaches for one option at least."""
        last = np.maximum(np.searchsorted(self._money, money, side="right") - 1, 0)
        return self._gains[last], self._ceiling[last]
