"""Sound at a seat of a closed cabin, from one source at a time.

Model: direct sound, the breathing of the whole cabin, and a damping term between them that stands
for the sum of the damped modes. It was fitted to a rectangular room with 12 % damping, 24
geometries (own modal sums, no published source): the level at a seat is good to 4 dB from 40 to
200 Hz, differences between two builds are far better. One-way: the cabin does not
load the source.
"""

from typing import Final

import numpy as np

from conewright.physics.acoustics.radiation import HALF_SPACE, monopole_pressure
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = [
    "TREND_LIMIT",
    "chamber_corner_frequency",
    "chamber_impedance",
    "diffuse_pressure_squared",
    "room_mode_frequency",
    "seat_pressure",
]


TREND_LIMIT: Final = 200.0
"""Above this frequency a cabin curve is a trend only [Hz]."""


def seat_pressure(
    *,
    air: Air,
    volume_velocity: Complex,
    distance: Real,
    solid_angle: Real = HALF_SPACE,
    cabin_volume: Real,
    leak_resistance: Real,
    leak_mass: Real,
    damping_q: Real = 1.4,
    frequency: FloatArray,
) -> ComplexArray:
    """Pressure at a seat from one source; sources add as phasors.

    Args:
        air: air in the cabin.
        volume_velocity: U into the cabin [m3/s rms], shape (samples, F) or scalar.
        distance: r from source to ear [m], shape (samples, 1) or scalar.
        solid_angle: Omega at the source [sr].
        cabin_volume: V [m3], shape (samples, 1) or scalar; infinite for the open air.
        leak_resistance: Rl of the body's leaks [Pa s/m3]; infinite for a tight cabin.
        leak_mass: Ml of the body's leaks [kg/m4].
        damping_q: Qx of the damping term [1].
        frequency: [Hz], shape (F,).

    Returns:
        p [Pa rms], shape (samples, F), with s = j w and wc = c sqrt(Omega r/V):
        rho s U exp(-s r/c)/(Omega r) + rho wc U/(Omega r Qx) + Zch U.

    Raises:
        OutOfRangeError: frequency, distance, solid angle, volume or Qx not above zero.

    Validity: 4 dB from 40 to 200 Hz. Tends to rho c^2 U/(s V) at low and the direct sound at high
    frequency. Direct and chamber term are in antiphase, so without the damping term a false
    null stands at wc.
    """
    require_positive(damping_q=damping_q)
    direct = monopole_pressure(
        air=air,
        volume_velocity=volume_velocity,
        distance=distance,
        solid_angle=solid_angle,
        frequency=frequency,
    )
    corner = (
        2.0
        * np.pi
        * chamber_corner_frequency(
            air=air, distance=distance, solid_angle=solid_angle, cabin_volume=cabin_volume
        )
    )
    modal = air.density * corner / (solid_angle * distance * damping_q)
    chamber = chamber_impedance(
        air=air,
        cabin_volume=cabin_volume,
        leak_resistance=leak_resistance,
        leak_mass=leak_mass,
        frequency=frequency,
    )
    return np.asarray(direct + (modal + chamber) * volume_velocity, dtype=np.complex128)


def chamber_impedance(
    *,
    air: Air,
    cabin_volume: Real,
    leak_resistance: Real,
    leak_mass: Real,
    frequency: FloatArray,
) -> ComplexArray:
    """Acoustic impedance of the cabin's air spring beside its leaks.

    Args:
        air: air in the cabin.
        cabin_volume: V [m3], may be infinite.
        leak_resistance: Rl [Pa s/m3], zero to infinite.
        leak_mass: Ml [kg/m4].
        frequency: [Hz], shape (F,).

    Returns:
        1/(s V/(rho c^2) + 1/(Rl + s Ml)) [Pa s/m3], shape (samples, F); zero for an infinite
        cabin and for a leak without resistance and mass.
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
    return np.asarray(np.where(tight, stiffness / s, shunted), dtype=np.complex128)


def chamber_corner_frequency(
    *, air: Air, distance: Real, solid_angle: Real = HALF_SPACE, cabin_volume: Real
) -> Real:
    """Frequency [Hz] where direct sound and a tight cabin's breathing are equally loud.

    Args:
        air: air in the cabin.
        distance: r from source to ear [m].
        solid_angle: Omega at the source [sr].
        cabin_volume: V [m3]; the corner is zero in an infinite one.

    Returns:
        c/(2 pi) sqrt(Omega r/V) [Hz].
    """
    require_positive(distance=distance, solid_angle=solid_angle, cabin_volume=cabin_volume)
    ratio = solid_angle * distance / cabin_volume
    return air.speed_of_sound / (2.0 * np.pi) * ratio**0.5


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
