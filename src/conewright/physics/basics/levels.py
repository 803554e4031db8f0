"""Decibels: ratios, levels of sound, the A weighting, the time a level may be heard."""

from typing import Final

import numpy as np

from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_positive

__all__ = [
    "REFERENCE_PRESSURE",
    "a_weighting",
    "amplitude_decibel",
    "decibel",
    "from_decibel",
    "level",
    "niosh_time",
]

REFERENCE_PRESSURE: Final = 2.0e-5
"""Zero of the level of sound in air [Pa]."""

HOUR: Final = 3600.0

# IEC 61672-1:2013, annex E: poles of the weightings [Hz], gains at 1 kHz [dB]
F1, F2, F3, F4 = 20.598997, 107.65265, 737.86223, 12194.217
A_GAIN: Final = 2.000


def decibel(ratio: Real) -> FloatArray:
    """Ratio of powers [1] in decibels: 10 log10; minus infinity at zero, no warning."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(ratio), dtype=np.float64)


def from_decibel(value: Real) -> FloatArray:
    """Ratio of powers [1] of a value [dB]; zero at minus infinity."""
    return np.asarray(10.0 ** (np.asarray(value) / 10.0), dtype=np.float64)


def amplitude_decibel(ratio: Real) -> FloatArray:
    """Ratio of amplitudes [1] in decibels: 20 log10; minus infinity at zero."""
    return 2.0 * decibel(ratio)


def level(pressure: Real) -> FloatArray:
    """Level [dB re 20 uPa] of an rms pressure [Pa]."""
    return amplitude_decibel(np.asarray(pressure) / REFERENCE_PRESSURE)


def a_weighting(frequency: Real) -> FloatArray:
    """Frequency weighting A [dB] at frequency [Hz] (IEC 61672-1:2013, eq. E.6)."""
    require_positive(frequency=frequency)
    square = np.asarray(frequency, dtype=np.float64) ** 2
    gain = F4**2 * square**2 / ((square + F1**2) * (square + F4**2))
    return amplitude_decibel(gain / np.sqrt((square + F2**2) * (square + F3**2))) + A_GAIN


def niosh_time(level_a: Real) -> FloatArray:
    """Time a day to a full dose of noise.

    Args:
        level_a: A-weighted level [dB(A)].

    Returns:
        8 h at 85 dB(A), halved every 3 dB [s].

    Source: NIOSH publication 98-126 (1998). Stated there for 80 to 140 dB(A).
    """
    return 8.0 * HOUR / 2.0 ** ((np.asarray(level_a) - 85.0) / 3.0)
