"""Third-octave bands and the frequency grid every curve is computed on.

Source: IEC 61260-1:2014, base-ten system, G = 10^(3/10).
"""

from functools import cache
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.validity import require_positive

__all__ = [
    "NOMINAL_BANDS",
    "OCTAVE_RATIO",
    "band_centres",
    "band_edges",
    "band_mean_power",
    "fine_grid",
]

OCTAVE_RATIO: Final = 10.0**0.3
"""G of the base-ten system [1] (IEC 61260-1:2014, eq. 1)."""

FIRST_BAND: Final = -17
LAST_BAND: Final = 13
STEPS_PER_OCTAVE: Final = 12

NOMINAL_BANDS: Final = (
    "20", "25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315", "400",
    "500", "630", "800", "1k", "1.25k", "1.6k", "2k", "2.5k", "3.15k", "4k", "5k", "6.3k", "8k",
    "10k", "12.5k", "16k", "20k",
)  # fmt: skip
"""Nominal mid-band frequencies [Hz] of the 31 bands (IEC 61260-1:2014, annex E)."""


def band_centres() -> FloatArray:
    """Exact mid-band frequencies [Hz], shape (31,): 1000 G^(x/3), x = -17..13 (eq. 2)."""
    bands = np.arange(FIRST_BAND, LAST_BAND + 1)
    return np.asarray(1000.0 * OCTAVE_RATIO ** (bands / 3.0))


def band_edges() -> FloatArray:
    """Band edges [Hz], shape (32,); band b lies from edge b to b + 1: fm G^(-+1/6) (eq. 4, 5)."""
    edges = np.arange(FIRST_BAND, LAST_BAND + 2) - 0.5
    return np.asarray(1000.0 * OCTAVE_RATIO ** (edges / 3.0))


def fine_grid() -> FloatArray:
    """Twelfth-octave grid [Hz], shape (127,): 1000 G^(k/12), k = -71..55.

    Each third-octave band has five points, two of them on its edges; one point lies beyond each
    end.
    """
    first = 4 * FIRST_BAND - 3
    last = 4 * LAST_BAND + 3
    return np.asarray(1000.0 * OCTAVE_RATIO ** (np.arange(first, last + 1) / STEPS_PER_OCTAVE))


def band_mean_power(power: FloatArray, *, frequency: FloatArray) -> FloatArray:
    """Mean over each third-octave band.

    Args:
        power: anything that adds as power, per frequency, shape (..., F).
        frequency: rising [Hz], shape (F,), reaching beyond 17.8 Hz and 22.4 kHz.

    Returns:
        Mean over ln f in each band, shape (..., 31): the answer to pink noise divided by its
        power; trapezoid rule, linear over ln f between points.

    Raises:
        OutOfRangeError: frequency not rising, or not covering the bands.
    """
    require_positive(frequency=frequency)
    weights = _band_weights(tuple(np.asarray(frequency, dtype=np.float64).tolist()))
    return np.asarray(power @ weights, dtype=np.float64)


@cache
def _band_weights(frequency: tuple[float, ...]) -> FloatArray:
    """Weights of the points in each band, shape (F, 31)."""
    points, edges = np.log(frequency), np.log(band_edges())
    if not np.all(np.diff(points) > 0.0):
        raise OutOfRangeError("frequency must rise")
    if points[0] > edges[0] or points[-1] < edges[-1]:
        low, high = np.exp(edges[[0, -1]])
        raise OutOfRangeError(f"frequency must reach from {low:.1f} to {high:.0f} Hz")
    # bands end on points of the merged grid, so that the rule is exact for the interpolation
    merged = np.union1d(points, edges)
    spread = np.array([np.interp(merged, points, hat) for hat in np.eye(points.size)])
    weights = np.empty((points.size, edges.size - 1))
    for band in range(edges.size - 1):
        inside = (merged >= edges[band]) & (merged <= edges[band + 1])
        weights[:, band] = np.trapezoid(spread[:, inside], merged[inside], axis=-1)
    return weights / np.diff(edges)
