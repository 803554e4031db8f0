"""The music a repairer's figures stand for: its spectrum, its crest factors."""

from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.validity import require_positive

__all__ = [
    "HARD_PROGRAMME",
    "NORMAL_PROGRAMME",
    "current_equivalent_resistance",
    "equivalent_resistance",
    "log_frequency_widths",
    "low_rolloff",
    "programme_weights",
]

NORMAL_PROGRAMME: Final = 1.0 / 8.0
"""Mean power of loud programme over that of a sine at the same ceiling [1] (common practice)."""

HARD_PROGRAMME: Final = 1.0 / 3.0
"""The same for heavily compressed programme played into clipping [1] (common practice)."""


LOW_CORNER: Final = 50.0
HIGH_CORNER: Final = 1000.0


def log_frequency_widths(*, frequency: FloatArray) -> FloatArray:
    """Weights of the trapezoid rule over ln f.

    Args:
        frequency: rising [Hz], shape (F,), two points at least.

    Returns:
        Widths [1], shape (F,); their sum is ln(last/first).

    Raises:
        OutOfRangeError: fewer than two points, or not above zero and rising.
    """
    require_positive(frequency=frequency)
    steps = np.diff(np.log(frequency))
    if steps.size == 0 or not np.all(steps > 0.0):
        raise OutOfRangeError("frequency must rise over two points at least")
    return np.asarray(0.5 * (np.append(steps, 0.0) + np.insert(steps, 0, 0.0)))


def programme_weights(*, frequency: FloatArray) -> FloatArray:
    """Share of the programme's mean square voltage that each point stands for.

    Args:
        frequency: rising [Hz], any spacing, shape (F,), two points at least.

    Returns:
        Weights [1], shape (F,), sum one: equal power per octave from 50 Hz to 1 kHz, 3 dB an
        octave less above, 12 dB an octave less below; trapezoid rule over ln f.

    Raises:
        OutOfRangeError: as log_frequency_widths.

    The shape is workshop practice, from memory; it lies near the long-term spectrum of popular
    music within a few decibels.
    """
    widths = log_frequency_widths(frequency=frequency)
    low = np.square(low_rolloff(frequency=frequency))
    high = np.minimum(HIGH_CORNER / np.asarray(frequency), 1.0)
    weights = low * high * widths
    return np.asarray(weights / np.sum(weights), dtype=np.float64)


def low_rolloff(*, frequency: FloatArray) -> FloatArray:
    """Amplitude of the programme in the bass, over what it is from 50 Hz on.

    Args:
        frequency: shape (F,) [Hz].

    Returns:
        Shape (F,) [1]: 12 dB an octave below 50 Hz (common practice, no source).
    """
    return np.asarray(np.minimum(1.0, (frequency / LOW_CORNER) ** 2))


def equivalent_resistance(*, admittance: ComplexArray, frequency: FloatArray) -> FloatArray:
    """Resistance that takes the same power from the programme as a load does.

    Args:
        admittance: of the load [S], shape (..., F).
        frequency: rising [Hz], shape (F,).

    Returns:
        R [ohm], shape (...): 1/R is the weighted mean of Re Y; infinite for a load that takes
        no power.
    """
    weights = programme_weights(frequency=frequency)
    conductance = np.sum(np.real(admittance) * weights, axis=-1)
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / conductance, dtype=np.float64)


def current_equivalent_resistance(*, admittance: ComplexArray, frequency: FloatArray) -> FloatArray:
    """Resistance that takes the same current from the programme as a load does.

    Args:
        admittance: of the load [S], shape (..., F).
        frequency: rising [Hz], shape (F,).

    Returns:
        R [ohm], shape (...): 1/R^2 is the weighted mean of |Y|^2; infinite for an open load.
        Never above `equivalent_resistance`: a reactive load takes current without power. What a
        class-AB output draws from its supply goes with this one, what the load takes with that.
    """
    weights = programme_weights(frequency=frequency)
    with np.errstate(divide="ignore"):
        return np.asarray(
            1.0 / np.sqrt(np.sum(np.abs(admittance) ** 2 * weights, axis=-1)), dtype=np.float64
        )
