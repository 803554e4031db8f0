"""The complex frequency of a steady sine, exp(+jwt): the one place where f <= 0 is refused."""

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

__all__ = ["angular_frequency", "laplace"]


def angular_frequency(frequency: Real) -> FloatArray:
    """Angular frequency w = 2 pi f.

    Args:
        frequency: frequencies, shape (F,) or scalar [Hz].

    Returns:
        w, same shape [rad/s].

    Raises:
        OutOfRangeError: a frequency that is not finite and above zero. At f = 0 capacitors are
            open, coils short and closed cavities stay closed for good: that is the static
            problem, and steady-sine formulas divide by zero there.
    """
    given = np.asarray(frequency, dtype=np.float64)
    if given.size and not (given.min() > 0.0 and given.max() < np.inf):
        raise OutOfRangeError("frequency must be finite and above 0 Hz; at 0 Hz use a static solve")
    return 2.0 * np.pi * given


def laplace(frequency: Real) -> ComplexArray:
    """Complex frequency s = jw of the convention exp(+jwt).

    Args:
        frequency: frequencies, shape (F,) or scalar [Hz].

    Returns:
        s, same shape [rad/s].

    Raises:
        OutOfRangeError: as `angular_frequency`.
    """
    return np.asarray(1j * angular_frequency(frequency))
