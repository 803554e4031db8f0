"""Filters inside the radio: the high-pass of its sound menu."""

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

__all__ = ["butterworth_high_pass"]


def butterworth_high_pass(*, corner: Real, order: int, frequency: FloatArray) -> ComplexArray:
    """Response of a Butterworth high-pass.

    Args:
        corner: -3 dB frequency, shape (..., 1) or a number [Hz].
        order: 1 to 4, that is 6 to 24 dB per octave.
        frequency: shape (F,) [Hz], positive.

    Returns:
        Complex response, shape (..., F) [V/V]: s^N / B_N(s) with the Butterworth polynomial B_N.

    Raises:
        OutOfRangeError: the order is not 1 to 4.

    Source:
        Butterworth, Wireless Engineer 7, 1930: poles equally spaced on the unit circle.

    """
    if not 1 <= order <= 4:
        raise OutOfRangeError(f"order {order} is not 1 to 4")
    s = 1j * frequency / np.asarray(corner)
    angles = np.pi * (2 * np.arange(1, order + 1) + order - 1) / (2 * order)
    poles = np.exp(1j * angles)
    response = np.ones_like(s)
    for pole in poles:
        response = response * s / (s - pole)
    return np.asarray(response)
