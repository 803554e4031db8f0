"""Sound from any small source."""

from typing import Final

import numpy as np

from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.basics.validity import require_positive

__all__ = [
    "HALF_SPACE",
    "monopole_pressure",
]


HALF_SPACE: Final = 2.0 * np.pi
"""Solid angle before a large panel [sr]."""


def monopole_pressure(
    *,
    air: Air,
    volume_velocity: Complex,
    distance: Real,
    solid_angle: Real = HALF_SPACE,
    frequency: FloatArray,
) -> ComplexArray:
    """Pressure of a small source.

    Args:
        air: air.
        volume_velocity: U [m3/s rms], shape (samples, F) or scalar.
        distance: r [m], shape (samples, 1) or scalar.
        solid_angle: Omega the sound spreads into [sr]; valid only while the surfaces that
            bound it are large against a quarter wavelength.
        frequency: [Hz], shape (F,).

    Returns:
        rho s U exp(-s r/c)/(Omega r) [Pa rms], s = j w, shape (samples, F).
    """
    require_positive(distance=distance, solid_angle=solid_angle, frequency=frequency)
    s = 2j * np.pi * np.asarray(frequency)
    delay = np.exp(-s * distance / air.speed_of_sound)
    return np.asarray(
        air.density * s * volume_velocity * delay / (solid_angle * distance), dtype=np.complex128
    )
