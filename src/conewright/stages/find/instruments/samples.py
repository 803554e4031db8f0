"""Samples of the uncertain values of a build for simulated meters: few, and stratified.

A meter's reading depends on a handful of values, each of which is stratified on its own, so that
a hundred samples give its spread to a few per cent, and no slow library is loaded for them.
"""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist

import numpy as np

from conewright.job.builds.draws import DEFAULT_SEED, Draws, shuffled
from conewright.physics.basics.arrays import FloatArray

__all__ = ["SAMPLES", "scores", "stratified"]

SAMPLES = 128


def stratified(axes: tuple[str, ...], *, samples: int = SAMPLES) -> Draws:
    """Return draws of these axes, each a set of equally likely normal scores.

    A path has its own order of them, whatever other axes there are.
    """
    return Draws(axes, _columns(axes, samples))


@lru_cache(maxsize=8)
def scores(samples: int = SAMPLES) -> FloatArray:
    """Standard-normal scores in the middle of equally likely parts, rising, shape (samples,)."""
    normal = NormalDist()
    middles = (np.arange(samples) + 0.5) / samples
    rising = np.array([normal.inv_cdf(float(chance)) for chance in middles])
    rising.flags.writeable = False
    return rising


@lru_cache(maxsize=8)
def _columns(axes: tuple[str, ...], samples: int) -> FloatArray:
    rising, columns = scores(samples), np.empty((samples, len(axes)))
    for column, path in enumerate(axes):
        columns[:, column] = rising[shuffled(path, samples, DEFAULT_SEED)[0]]
    columns.flags.writeable = False
    return columns
