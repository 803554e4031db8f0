"""Decibels: ratios, levels of sound, sums, frequency weightings, permitted listening times."""

from typing import Final

import numpy as np

from conewright.physics.arrays import FloatArray, Real
from conewright.physics.validity import require_positive

__all__ = [
    "REFERENCE_PRESSURE",
    "a_weighting",
    "amplitude_decibel",
    "amplitude_from_decibel",
    "c_weighting",
    "coherent_sum",
    "decibel",
    "from_decibel",
    "level",
    "niosh_time",
    "osha_time",
    "power_difference",
    "power_sum",
    "pressure_of_level",
    "sound_exposure",
    "weekly_time",
]

REFERENCE_PRESSURE: Final = 2.0e-5
"""Zero of the level of sound in air [Pa]."""

WEEKLY_REFERENCE_ADULT: Final = 80.0
"""Level for 40 h a week, adult listener [dB(A)] (Rec. ITU-T H.870)."""

WEEKLY_REFERENCE_SENSITIVE: Final = 75.0
"""Level for 40 h a week, child or sensitive listener [dB(A)] (Rec. ITU-T H.870)."""

HOUR: Final = 3600.0

# IEC 61672-1:2013, annex E: poles of the weightings [Hz], gains at 1 kHz [dB]
F1, F2, F3, F4 = 20.598997, 107.65265, 737.86223, 12194.217
A_GAIN: Final = 2.000
C_GAIN: Final = 0.062


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


def amplitude_from_decibel(value: Real) -> FloatArray:
    """Ratio of amplitudes [1] of a value [dB]."""
    return np.asarray(10.0 ** (np.asarray(value) / 20.0), dtype=np.float64)


def level(pressure: Real) -> FloatArray:
    """Level [dB re 20 uPa] of an rms pressure [Pa]."""
    return amplitude_decibel(np.asarray(pressure) / REFERENCE_PRESSURE)


def pressure_of_level(value: Real) -> FloatArray:
    """Pressure [Pa rms] of a level [dB re 20 uPa]."""
    return REFERENCE_PRESSURE * amplitude_from_decibel(value)


def power_sum(levels: FloatArray, *, axis: int = -1) -> FloatArray:
    """Level of unrelated sources together [dB]: powers add along `axis`."""
    return decibel(np.sum(from_decibel(levels), axis=axis))


def coherent_sum(*, levels: FloatArray, phases: FloatArray, axis: int = -1) -> FloatArray:
    """Level of sources of one frequency together.

    Args:
        levels: each source alone [dB].
        phases: phase of each source [rad].
        axis: axis of the sources.

    Returns:
        Level [dB]: amplitudes add as phasors.
    """
    phasors = amplitude_from_decibel(levels) * np.exp(1j * np.asarray(phases))
    return amplitude_decibel(np.abs(np.sum(phasors, axis=axis)))


def power_difference(*, total: Real, part: Real) -> FloatArray:
    """Level [dB] left of `total` [dB] when an unrelated `part` [dB] is taken away.

    NaN where the part is louder than the total; minus infinity where both are equal.
    """
    left = from_decibel(total) - from_decibel(part)
    return decibel(np.where(left >= 0.0, left, np.nan))


def a_weighting(frequency: Real) -> FloatArray:
    """Frequency weighting A [dB] at frequency [Hz] (IEC 61672-1:2013, eq. E.6)."""
    require_positive(frequency=frequency)
    square = np.asarray(frequency, dtype=np.float64) ** 2
    gain = F4**2 * square**2 / ((square + F1**2) * (square + F4**2))
    return amplitude_decibel(gain / np.sqrt((square + F2**2) * (square + F3**2))) + A_GAIN


def c_weighting(frequency: Real) -> FloatArray:
    """Frequency weighting C [dB] at frequency [Hz] (IEC 61672-1:2013, eq. E.1)."""
    require_positive(frequency=frequency)
    square = np.asarray(frequency, dtype=np.float64) ** 2
    return amplitude_decibel(F4**2 * square / ((square + F1**2) * (square + F4**2))) + C_GAIN


def niosh_time(level_a: Real) -> FloatArray:
    """Time a day to a full dose [s] at a level [dB(A)]: 8 h at 85, halved every 3 dB.

    Source: NIOSH publication 98-126 (1998). Stated there for 80 to 140 dB(A).
    """
    return 8.0 * HOUR / 2.0 ** ((np.asarray(level_a) - 85.0) / 3.0)


def osha_time(level_a: Real) -> FloatArray:
    """Time a day permitted at work in the USA [s]: 8 h at 90 dB(A), halved every 5 dB.

    Source: 29 CFR 1910.95, table G-16, stated for 80 to 130 dB(A). It protects less than
    `niosh_time`.
    """
    return 8.0 * HOUR / 2.0 ** ((np.asarray(level_a) - 90.0) / 5.0)


def weekly_time(level_a: Real, *, reference: float = WEEKLY_REFERENCE_ADULT) -> FloatArray:
    """Listening time a week to a full dose [s]: 40 h at the reference, halved every 3 dB.

    Args:
        level_a: level [dB(A)].
        reference: level for 40 h [dB(A)].

    Source: Rec. ITU-T H.870.
    """
    return 40.0 * HOUR / 2.0 ** ((np.asarray(level_a) - reference) / 3.0)


def sound_exposure(level_a: Real, *, duration: Real) -> FloatArray:
    """Sound exposure [Pa2 s] of a level [dB(A)] for a duration [s]: p^2 t (IEC 61672-1)."""
    return np.asarray(pressure_of_level(level_a) ** 2 * duration, dtype=np.float64)
