"""Sound from a flat piston in a large panel, and from any small source.

Valid for a rigid piston: cones move in parts above about ka = 2 (`piston_limit_frequency`), so
directivity must not be promised there.
"""

from typing import Final

import numpy as np

from conewright.physics.air import Air
from conewright.physics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.validity import require_positive

__all__ = [
    "EDGE",
    "FREE_SPACE",
    "HALF_SPACE",
    "RIGID_PISTON_LIMIT",
    "cone_travel",
    "directivity",
    "monopole_pressure",
    "piston_impedance",
    "piston_limit_frequency",
    "piston_pattern",
    "piston_reactance",
    "piston_resistance",
]

FREE_SPACE: Final = 4.0 * np.pi
"""Solid angle around a source far from everything [sr]."""

HALF_SPACE: Final = 2.0 * np.pi
"""Solid angle before a large panel [sr]."""

EDGE: Final = np.pi
"""Solid angle in the edge of two panels [sr]."""

RIGID_PISTON_LIMIT: Final = 2.0
"""Largest ka at which a cone is taken for a rigid piston [1] (from memory)."""

SERIES_LIMIT: Final = 0.3


def piston_resistance(x: Real) -> FloatArray:
    """Normalised radiation resistance R1(x) [1] of a baffled piston, x = 2 k a [1] above zero.

    R1 = 1 - 2 J1(x)/x (Rayleigh; Vigran, Building Acoustics, eq. 3.57); x^2/8 at small x,
    one at large x.
    """
    from scipy.special import j1

    require_positive(x=x)
    x = np.asarray(x, dtype=np.float64)
    # the difference from one loses its digits at small x; the next term is below 1e-12 of it
    square = x**2
    series = square / 8.0 * (1 - square / 24.0 * (1 - square / 48.0 * (1 - square / 80.0)))
    return np.where(x < SERIES_LIMIT, series, 1.0 - 2.0 * j1(x) / x)


def piston_reactance(x: Real) -> FloatArray:
    """Normalised radiation reactance X1(x) [1] of a baffled piston, x = 2 k a [1] above zero.

    X1 = 2 H1(x)/x, H1 the Struve function (Vigran, Building Acoustics, eq. 3.58);
    4 x/(3 pi) at small x.
    """
    from scipy.special import struve

    require_positive(x=x)
    return np.asarray(2.0 * struve(1, x) / x, dtype=np.float64)


def piston_impedance(*, sd: Real, air: Air, frequency: FloatArray) -> ComplexArray:
    """Acoustic radiation impedance of one face of a piston in a large panel.

    Args:
        sd: piston area [m2], shape (samples, 1) or scalar.
        air: air.
        frequency: [Hz], shape (F,).

    Returns:
        rho c/S (R1 + j X1) [Pa s/m3], shape (samples, F); at small ka a resistance
        rho w^2/(2 pi c) and a mass 8 rho/(3 pi^2 a).
    """
    require_positive(sd=sd, frequency=frequency)
    x = 2.0 * _ka(sd=sd, air=air, frequency=frequency)
    normalised = piston_resistance(x) + 1j * piston_reactance(x)
    return np.asarray(air.characteristic_impedance / sd * normalised, dtype=np.complex128)


def piston_pattern(v: Real) -> FloatArray:
    """Far-field pressure off axis over that on axis [1]: 2 J1(v)/v, v = k a sin(theta) [1]."""
    from scipy.special import j1

    v = np.asarray(v, dtype=np.float64)
    safe = np.where(v == 0.0, 1.0, v)
    return np.where(v == 0.0, 1.0, 2.0 * j1(safe) / safe)


def directivity(*, sd: Real, angle: Real, air: Air, frequency: FloatArray) -> FloatArray:
    """Far-field pressure of a baffled piston at an angle over that on axis.

    Args:
        sd: piston area [m2], shape (samples, 1) or scalar.
        angle: off the axis [rad], likewise.
        air: air.
        frequency: [Hz], shape (F,).

    Returns:
        2 J1(v)/v with its sign [1], shape (samples, F). Valid to RIGID_PISTON_LIMIT.
    """
    require_positive(sd=sd, frequency=frequency)
    return piston_pattern(_ka(sd=sd, air=air, frequency=frequency) * np.sin(angle))


def piston_limit_frequency(*, sd: Real, air: Air) -> Real:
    """Frequency [Hz] at which a piston of area sd [m2] reaches ka = RIGID_PISTON_LIMIT."""
    require_positive(sd=sd)
    return RIGID_PISTON_LIMIT * air.speed_of_sound / (2.0 * np.pi * (sd / np.pi) ** 0.5)


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


def cone_travel(
    *,
    air: Air,
    pressure: Real,
    distance: Real,
    solid_angle: Real = HALF_SPACE,
    sd: Real,
    frequency: FloatArray,
) -> FloatArray:
    """Travel a cone needs for a pressure, rms for rms, peak for peak.

    Args:
        air: air.
        pressure: at the listener [Pa], shape (samples, F) or scalar.
        distance: r [m].
        solid_angle: Omega [sr].
        sd: piston area [m2].
        frequency: [Hz], shape (F,).

    Returns:
        x = p Omega r/(rho w^2 Sd) [m], shape (samples, F).
    """
    require_positive(distance=distance, solid_angle=solid_angle, sd=sd, frequency=frequency)
    w = 2.0 * np.pi * np.asarray(frequency)
    return np.asarray(pressure * solid_angle * distance / (air.density * w**2 * sd))


def _ka(*, sd: Real, air: Air, frequency: FloatArray) -> FloatArray:
    radius = (sd / np.pi) ** 0.5
    return np.asarray(2.0 * np.pi * np.asarray(frequency) * radius / air.speed_of_sound)
