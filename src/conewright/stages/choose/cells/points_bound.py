"""What plans are worth at most, of the sums that bound them: the wishes in one compiled form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from conewright.physics.basics.levels import REFERENCE_PRESSURE
from conewright.stages.compare.wishes import most_by_wish, span_of
from conewright.stages.hear.listening import REFERENCE_EMF

if TYPE_CHECKING:
    from conewright.job.document.document import Document
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.mounted.exact import Solved

__all__ = ["Worth"]

SOUND = ("bass", "clarity", "loudness")
MARKED = ("reversible", "appearance", "hands_free")
TINY = 1e-300


class Worth:
    """Points of plans: every wish rises evenly over its span, and stays where that ends.

    A logarithm is taken once for each wish; where a wish weighs nothing, not at all.
    """

    def __init__(self, job: Document, reference: Solved) -> None:
        most = most_by_wish(job, (*SOUND, *MARKED))
        assert most, "somebody wishes for something, or bass counts"
        self._goals = job.wishes.goals
        self._marked = {name: most.get(name, 0.0) for name in MARKED}
        levels = {
            "bass": float(reference.bass[0]),
            "clarity": float(reference.clarity[0]),
            "loudness": float(reference.loudness[0]),
        }
        plain = 20.0 * np.log10(REFERENCE_EMF / REFERENCE_PRESSURE)
        own = {"loudness": -20.0 * np.log10(REFERENCE_PRESSURE)}
        # Points of a wish: slope x (10 log10 of a squared pressure - offset), within its most.
        self._sound: dict[str, tuple[float, float, float]] = {}
        for name, level in levels.items():
            if not most.get(name):
                continue
            low, high = span_of(name, self._goals)
            slope = most[name] / (high - low)
            offset = level + low - float(own.get(name, plain))
            self._sound[name] = 10.0 * slope, -slope * offset, most[name]

    @property
    def slopes(self) -> Mapping[str, float]:
        """Points for a factor e of a pressure or an EMF, by wish."""
        slopes = {name: 2.0 / np.log(10.0) * each[0] for name, each in self._sound.items()}
        return {name: float(slopes.get(name, 0.0)) for name in SOUND}

    def upper(
        self, gains: FloatArray, ceiling: FloatArray, marked: FloatArray | float
    ) -> FloatArray:
        """Return the most that plans can be worth.

        Args:
            gains: sums of `GAINS`, shape (rows, gains).
            ceiling: the least of all [V], shape (rows,).
            marked: points of the wishes that no sound is about, (rows,) or one for all.

        """
        total = np.zeros(len(gains)) + marked
        for name, (slope, offset, most) in self._sound.items():
            if name == "bass":
                squared = gains[:, 0] ** 2
            elif name == "clarity":
                squared = gains[:, 1]
            else:
                squared = (gains[:, 2] ** 2 + gains[:, 3]) * ceiling**2
            points = np.log10(np.maximum(squared, TINY))
            points *= slope
            points += offset
            total += np.clip(points, 0.0, most, out=points)
        return total

    def marked(self, left: Mapping[str, FloatArray | float]) -> FloatArray:
        """Return the points of the wishes that no sound is about; whole where nothing is said."""
        total: FloatArray = np.zeros(1)
        for name, most in self._marked.items():
            low, high = span_of(name, self._goals)
            share = (np.asarray(left.get(name, 1.0), dtype=float) - low) / (high - low)
            total = total + most * np.clip(share, 0.0, 1.0)
        return total
