"""What measurements say of standard-normal scores: the update of a linear model, and its weights.

Scores z are N(0, I) before, and the measurements y = g(z) + noise. Gauss and Newton's steps lead to
the likeliest z and the covariance about it, exact where g is linear; where it is not, importance
weights put right what the normal about that place gets wrong (Tarantola, Inverse Problem Theory,
2005, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray

__all__ = ["NEARLY_ALL", "Observe", "Update", "linearised", "taken", "updated"]

Observe = Callable[[FloatArray], FloatArray]
"""Measurements that scores lead to: shape (rows, axes) to (rows, measurements)."""

STEP = 1e-2
"""Step in score that a slope is taken over."""

MOST_STEPS = 60
SETTLED = 1e-11
"""Once a step is shorter than this, the likeliest scores are found."""

SHORTEST = 1e-4
"""A step that does not help even when it is cut to this share is the last."""

CLEARLY_MORE = 1.5
"""So many times as effective as those before the moved draws must be: in what their normal has too
thin a tail for they look better than they are while none of them happens to lie there."""

NEARLY_ALL = 0.95
"""With this share of the draws effective, the weights change nothing that could be told."""


@dataclass(frozen=True, eq=False)
class Update:
    """Scores after the measurements.

    Attributes:
        centre: the likeliest scores, shape (axes,).
        covariance: about them, shape (axes, axes).
        scores: draws, shape (samples, axes), each of equal weight.
        effective: how many independent draws the weighted ones are worth.

    """

    centre: FloatArray
    covariance: FloatArray
    scores: FloatArray
    effective: float


def linearised(observe: Observe, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the measurements at some scores, and their slopes.

    Args: observe: the measurements; at: scores, shape (axes,).
    Returns: shape (measurements,), and (measurements, axes).
    """
    steps = STEP * np.eye(at.size)
    found = observe(at + np.concatenate((np.zeros((1, at.size)), steps, -steps)))
    up, down = found[1 : at.size + 1], found[at.size + 1 :]
    return found[0], (up - down).T / (2.0 * STEP)


def updated(observe: Observe, read: FloatArray, noise: FloatArray, before: FloatArray) -> Update:
    """Return scores after measurements.

    Args:
        observe: what scores would have been measured as.
        read: what was measured, shape (measurements,).
        noise: standard error of each, above 0.
        before: standard-normal draws, shape (samples, axes); each is moved and not drawn anew, so
            that what the measurements do not speak of keeps its draws.

    """

    def misfit(scores: FloatArray) -> FloatArray:
        """Minus twice the log of prior and likelihood, up to a constant, shape (rows,)."""
        off = (read - observe(scores)) / noise
        return np.asarray(np.sum(scores**2, axis=1) + np.sum(off**2, axis=1))

    centre = np.zeros(before.shape[1])
    for _ in range(MOST_STEPS):
        value, slopes, covariance = _about(observe, centre, noise)
        wanted = covariance @ (slopes.T @ ((read - value) / noise + slopes @ centre))
        step = _shortened(misfit, centre, wanted - centre)
        centre = centre + step
        if np.linalg.norm(step) < SETTLED:
            break
    covariance = _about(observe, centre, noise)[2]
    variances, directions = np.linalg.eigh(covariance)
    root = (directions * np.sqrt(variances)) @ directions.T
    moved = centre + before @ root
    inside = np.sum(before**2, axis=1)
    # Far from linear, the draws as they were may cover more of what is left than the moved ones.
    (effective, weights, scores), plain = (
        (1.0 / float(np.sum(weights**2)), weights, scores)
        for scores in (moved, before)
        for weights in (_normalised(0.5 * (inside - misfit(scores))),)
    )
    if effective < CLEARLY_MORE * plain[0]:
        effective, weights, scores = plain
    if effective < NEARLY_ALL * len(before):
        scores = scores[taken(weights)]
    return Update(centre, covariance, scores, effective)


def _about(
    observe: Observe, centre: FloatArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return measurements, slopes in standard errors, and the covariance they leave."""
    value, slopes = linearised(observe, centre)
    slopes = slopes / noise[:, np.newaxis]
    covariance = np.linalg.inv(np.eye(centre.size) + slopes.T @ slopes)
    return value, slopes, 0.5 * (covariance + covariance.T)


def _shortened(
    misfit: Callable[[FloatArray], FloatArray], centre: FloatArray, step: FloatArray
) -> FloatArray:
    """Return the longest of the halves of a step that does not raise the misfit; 0 for none."""
    shares = 0.5 ** np.arange(np.ceil(-np.log2(SHORTEST)))
    here = misfit(centre[np.newaxis])[0]
    there = misfit(centre + shares[:, np.newaxis] * step)
    better = np.flatnonzero(there <= here)
    return step * (shares[better[0]] if better.size else 0.0)


def _normalised(logs: FloatArray) -> FloatArray:
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def taken(weights: FloatArray) -> NDArray[np.intp]:
    """Return which draws stand after weighting, as many as before: systematic resampling.

    A draw that is taken keeps its row where it can.

    Args: weights: of the draws, adding up to 1.
    """
    count = len(weights)
    ends = np.cumsum(weights) * count
    times = np.diff(np.floor(ends + 0.5), prepend=0.0).astype(int)
    times[-1] += count - times.sum()
    rows = np.arange(count)
    rows[times == 0] = np.repeat(rows, np.maximum(times - 1, 0))
    return rows
