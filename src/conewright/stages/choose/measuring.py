"""The reading that could change the choice, and whether it is worth its minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.measurables import measurement
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.document.document import Document
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.engine.solve import Found
    from conewright.stages.choose.finals.finalists import Finalist, Panel
    from conewright.stages.report.assembly import Answer

__all__ = ["FirstReading", "first_reading", "worth_of_knowing"]

BINS = 8
MOST_COMPARED = 6
LEAST = 0.05
"""Points below which no reading is worth speaking of."""

MINUTES = 15.0
"""What a single measurement of a part or place takes; workshop experience, from memory."""


@dataclass(frozen=True)
class FirstReading:
    """What to measure before anything is bought.

    Attributes:
        path: of the value; empty where nothing would change the choice.
        words: what it is and how it is measured.
        points: what to know it is worth.
        plan: that it could change the choice to.

    """

    path: str
    words: str
    points: float
    plan: str

    def tell(self, answer: Answer, front: Sequence[Found], job: Document) -> None:
        """Add what it is, what it is worth, and whether to measure or to buy."""
        answer.figure(
            "choice",
            "measure_first",
            None,
            unit="",
            label="what to measure first",
            text=self.words or None,
        )
        answer.figure(
            "choice",
            "measure_first_points",
            self.points,
            unit="points",
            label="what to know it is worth",
        )
        answer.figure(
            "choice",
            "stop",
            None,
            unit="",
            label="measure on, or buy",
            text=self._stop(front, job),
        )

    def _stop(self, front: Sequence[Found], job: Document) -> str:
        rate = job.about.hour_rate
        price = price_of_a_point(front)
        if not self.path:
            return "Buy: no single reading would change the choice."
        if rate is None or price is None:
            return (
                f"The reading is worth {self.points:.2f} points; what a point costs is not known "
                "here, so it is for you to say."
            )
        worth, costs = self.points * price, MINUTES * rate / 60.0
        told = (
            f"{number(self.points)} points at {number(price)} each are worth {number(worth)}, the "
            f"{MINUTES:.0f} minutes of the reading {number(costs)}"
        )
        return f"Measure first: {told}." if worth > costs else f"Buy: {told}."


def first_reading(panel: Panel, plans: Sequence[Finalist]) -> FirstReading:
    """Return the measurement that could change the choice most.

    Args:
        panel: whose draws the plans share.
        plans: the finalists, in the order in which they were found.

    """
    nothing = FirstReading("", "", 0.0, "")
    known = [each for each in plans if each.values is not None and each.values.size > 1]
    known = known[:MOST_COMPARED]
    if len(known) < 2:
        return nothing
    values = np.stack([each.values[1:] for each in known if each.values is not None])
    best = nothing
    for column, path in enumerate(panel.draws.axes):
        told = measurement(path)
        if told is None:
            continue
        points, changed = worth_of_knowing(values, panel.draws.scores[:, column])
        if points > max(best.points, LEAST):
            label, how = told
            words = f"{label} ({path}): {how}"
            best = FirstReading(path, words, points, known[changed].id)
    return best


def worth_of_knowing(values: FloatArray, known: FloatArray) -> tuple[float, int]:
    """Return what it is worth to know an input before choosing, and the plan it may lead to.

    Args:
        values: points of plans in every draw, shape (plans, draws).
        known: the input in every draw, shape (draws,).

    Equation: E[max over plans of E(V | k)] - max E(V), the draws ordered by k in 8 bins.
    """
    ordered = values[:, np.argsort(known, kind="stable")]
    bins = np.array_split(ordered, min(BINS, ordered.shape[1]), axis=1)
    inside = np.stack([each.mean(axis=1) for each in bins])
    share = np.array([each.shape[1] for each in bins]) / ordered.shape[1]
    first = int(np.argmax(values.mean(axis=1)))
    gain = float(share @ inside.max(axis=1) - values.mean(axis=1).max())
    others = [int(k) for k in inside.argmax(axis=1) if int(k) != first]
    changed = max(set(others), key=others.count) if others else first
    return max(gain, 0.0), changed


def price_of_a_point(front: Sequence[Found]) -> float | None:
    """Return the money for one more point at the limit; None where nothing cheaper is known."""
    if len(front) < 2 or front[0].value <= front[1].value:
        return None
    return (front[0].money - front[1].money) / (front[0].value - front[1].value)
