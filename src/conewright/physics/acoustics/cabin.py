"""Sound from a small source: in the open, and in the air of a closed cabin as a whole."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = [
    "HALF_SPACE",
    "TREND_LIMIT",
    "Opening",
    "chamber_impedance",
    "diffuse_pressure_squared",
    "monopole_pressure",
    "room_mode_frequency",
    "window_mass",
]

Opening = tuple[Real, Real]
"""Acoustic mass [kg/m4] and Q [1] of an opening of a cabin."""


HALF_SPACE: Final = 2.0 * np.pi
"""Solid angle before a large panel [sr]."""

TREND_LIMIT: Final = 200.0
"""Above this frequency a cabin curve is a trend only [Hz]."""


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


def chamber_impedance(
    *,
    air: Air,
    cabin_volume: Real,
    leak_resistance: Real,
    leak_mass: Real,
    openings: Sequence[Opening] = (),
    frequency: FloatArray,
) -> ComplexArray:
    """Acoustic impedance of the cabin's air spring beside its leaks.

    Args:
        air: air in the cabin.
        cabin_volume: V [m3], may be infinite.
        leak_resistance: Rl [Pa s/m3], zero to infinite.
        leak_mass: Ml [kg/m4].
        openings: mass M [kg/m4] and Q [1] of what is open besides, each shape (samples, 1) or
            scalar.
        frequency: [Hz], shape (F,).

    Returns:
        1/(s V/(rho c^2) + 1/(Rl + s Ml) + sum of 1/(Ro + s Mo)) [Pa s/m3], shape (samples, F),
        Ro = sqrt(Mo rho c^2/V)/Q; zero for an infinite cabin and for a leak without resistance
        and mass.
    """
    require_positive(cabin_volume=cabin_volume, frequency=frequency)
    require_not_negative(leak_resistance=leak_resistance, leak_mass=leak_mass)
    s = 2j * np.pi * np.asarray(frequency)
    # stiffness form, so that an infinite volume is no special case; likewise the tight cabin
    stiffness = air.bulk_modulus / np.asarray(cabin_volume)
    tight = np.isinf(leak_resistance)
    leak = np.where(tight, 1.0, leak_resistance + s * leak_mass)
    total = stiffness + s * leak
    shunted = stiffness * leak / np.where(total == 0.0, 1.0, total)
    closed: ComplexArray = np.asarray(np.where(tight, stiffness / s, shunted), dtype=np.complex128)
    for mass, quality in openings:
        out = s * mass + np.sqrt(mass * stiffness) / quality
        closed = np.asarray(closed * out / (closed + out))
    return closed


def window_mass(*, air: Air, area: Real) -> Real:
    """Acoustic mass of the air in an open window.

    Args:
        air: the air.
        area: of the opening, any shape [m2].

    Returns:
        rho/d [kg/m4], d the diameter of a round opening of that area: a hole in a sheet that is
        thin against it (Rayleigh, from memory).
    """
    require_positive(area=area)
    return air.density / (2.0 * np.sqrt(np.asarray(area) / np.pi))


def diffuse_pressure_squared(
    *, air: Air, volume_velocity: Complex, absorption_area: Real, frequency: FloatArray
) -> FloatArray:
    """Mean square pressure of the reverberant sound, a trend for high frequencies.

    Args:
        air: air in the cabin.
        volume_velocity: U [m3/s rms], shape (samples, F) or scalar.
        absorption_area: equivalent absorption area A [m2].
        frequency: [Hz], shape (F,).

    Returns:
        4 rho c W/A [Pa2], shape (samples, F), with the half-space power of a small source
        W = |U|^2 rho w^2/(2 pi c) (Sabine's diffuse field; from memory).
    """
    require_positive(absorption_area=absorption_area, frequency=frequency)
    w = 2.0 * np.pi * np.asarray(frequency)
    power = np.abs(volume_velocity) ** 2 * air.density * w**2 / (2.0 * np.pi * air.speed_of_sound)
    return np.asarray(4.0 * air.characteristic_impedance * power / absorption_area)


def room_mode_frequency(*, air: Air, length: Real, order: int) -> Real:
    """Axial mode of a rectangular room.

    Args:
        air: air in the room.
        length: L of the room along the mode [m], any shape.
        order: n, number of half waves along it [1].

    Returns:
        n c/(2 L) [Hz]. A cabin is no box: the first length mode is right within some 15 % (from
        memory).

    Raises:
        OutOfRangeError: length or order not above zero.
    """
    require_positive(length=length, order=order)
    return order * air.speed_of_sound / (2.0 * length)
