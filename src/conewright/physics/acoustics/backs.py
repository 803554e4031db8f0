"""What lies behind a loudspeaker that no door holds: a closed box, a bare or baffled open back.

A closed box is the air spring of R. H. Small, "Closed-box loudspeaker systems", J. Audio Eng. Soc.
20(10), 1972, beside the air a cone carries. An open back is a pair of sources of opposite sign
(L. L. Beranek, Acoustics, 1954, from memory: unenclosed loudspeakers and finite baffles); how far
apart they seem is solved here for a thin round baffle with the cone in its middle.
"""

from dataclasses import replace
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.cabin import HALF_SPACE, monopole_pressure
from conewright.physics.acoustics.door import (
    FILL_FREQUENCY,
    LEAK_DEPTH,
    LEAK_LENGTH,
    MountedLoad,
    leaking,
)
from conewright.physics.acoustics.openings import (
    radiation_mass,
    radiation_resistance,
    slit_admittance,
)
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real
from conewright.physics.basics.laplace import laplace
from conewright.physics.basics.validity import in_words, require_positive
from conewright.physics.drivers.driver import piston_radius

__all__ = [
    "FULL_SPACE",
    "MOST_FILL_GAIN",
    "box_load",
    "doublet_power_share",
    "doublet_pressure",
    "doublet_separation",
    "one_sided",
    "open_baffle_load",
]

MOST_FILL_GAIN: Final = 1.4
"""Fill that took up all heat would make air softer by this, its gamma [1]."""

FULL_SPACE: Final = 4.0 * np.pi
"""Solid angle round a source that no panel bounds [sr]."""


def box_load(
    *,
    air: Air,
    sd: Real,
    volume: Real,
    fill_gain: Real,
    quality: Real,
    leak_area: Real = 0.0,
    frequency: Real,
) -> MountedLoad:
    """Acoustic load of a closed box, its front in the open.

    Args:
        air: the air.
        sd: cone area, shape (samples, 1) or scalar [m2].
        volume: Vb of the air in the box, that of the driver taken off [m3]; inf is an infinite
            baffle.
        fill_gain: how much more the air gives with fill in it, 1 to 1.4 [1]: 1.4 were heat to
            leave the air at once (gamma; Small, 1972).
        quality: Q of the spring at `FILL_FREQUENCY` [1]; inf is without loss.
        leak_area: slits through a torn surround or round a loose frame, total [m2]; 0 is closed.
        frequency: shape (F,) [Hz].

    Returns:
        ZA = 2 s 8 rho/(3 pi^2 a) + rho w^2/(2 pi c) + 1/(s C) + R, C = fill_gain Vb/(rho c^2),
        R = 1/(2 pi 80 Hz C Q) [Pa s/m3]; all that the cone moves is heard, but for what goes back
        through a leak. To go with a moving mass bare of air (`moving_mass_in_door`).

    Raises:
        OutOfRangeError: fill_gain outside of 1 to 1.4, a volume not above zero, f <= 0.

    Validity: while the box is small against a sixth of the wavelength; a face of the box is taken
    for a large panel, which makes the moving mass up to 5 % too large.
    """
    require_positive(volume=volume)
    gain = np.asarray(fill_gain)
    if not np.all((gain >= 1.0) & (gain <= MOST_FILL_GAIN)):
        raise OutOfRangeError(
            f"fill_gain must lie between 1 and {MOST_FILL_GAIN}, got {in_words(fill_gain)}"
        )
    s = laplace(frequency)
    stiffness = air.bulk_modulus / (gain * np.asarray(volume))
    spring = stiffness * (1.0 / s + 1.0 / (2.0 * np.pi * FILL_FREQUENCY * np.asarray(quality)))
    beside = s * radiation_mass(radius=piston_radius(sd=sd), air=air)
    heard = radiation_resistance(frequency=frequency, air=air)
    slits = slit_admittance(
        area=leak_area, length=LEAK_LENGTH, depth=LEAK_DEPTH, air=air, frequency=frequency
    )
    whole = MountedLoad(impedance=beside + heard + spring, share=1.0 + 0j, flows={})
    nodes = leaking(nodes=whole, leak=slits)
    return replace(nodes, impedance=nodes.impedance + beside)


def open_baffle_load(*, air: Air, sd: Real, baffle_area: Real, frequency: Real) -> MountedLoad:
    """Acoustic load of a thin baffle that is open behind.

    Args:
        air: the air.
        sd: cone area, shape (samples, 1) or scalar [m2].
        baffle_area: of the baffle, the cone included [m2]; one below the cone's counts as that.
        frequency: shape (F,) [Hz].

    Returns:
        ZA = s M [Pa s/m3], M = 8 rho/Sd^2 times the integral of h^2 from 0 to R, h(t) = t inside of
        the cone and t - sqrt(t^2 - a^2) beyond: (8/3) rho a^3/Sd^2 without a baffle, twice that in
        an endless one. To go with a moving mass bare of air (`moving_mass_in_door`).

    Raises:
        OutOfRangeError: f <= 0.

    Source: own derivation (Copson's method for mixed boundaries of a disc), exact while the baffle
    is small against the wavelength; what is radiated is too little there to load the cone.
    """
    a = np.asarray(piston_radius(sd=sd))
    growth = np.arccosh(_radius(sd, baffle_area) / a)
    inside = 1.0 / 3.0 + 0.5 * -np.expm1(-growth) + np.expm1(-3.0 * growth) / 6.0
    mass = 8.0 * air.density * a**3 * inside / np.asarray(sd) ** 2
    return MountedLoad(impedance=laplace(frequency) * mass, share=1.0 + 0j, flows={})


def doublet_separation(*, sd: Real, baffle_area: Real) -> FloatArray:
    """How far apart front and back of an open loudspeaker sound.

    Args:
        sd: cone area, any shape [m2].
        baffle_area: of the baffle, the cone included, any shape that broadcasts [m2]; one below
            the cone's counts as that.

    Returns:
        D = 8 (R^3 - (R^2 - a^2)^(3/2))/(3 pi a^2) [m], the distance at which two points of volume
        velocity +U and -U have the moment of the whole: 8 a/(3 pi) without a baffle, 4 R/pi in the
        middle of a large one.

    Source: own derivation; the flow round a moving disc (H. Lamb, Hydrodynamics, 1932, article 102)
    and reciprocity. Exact below c/(4 D) for a round baffle, the cone in its middle.
    """
    a2 = np.asarray(sd) / np.pi
    radius = _radius(sd, baffle_area)
    # (R^2 - a^2) of equal numbers may come out a hair below zero.
    beside = np.maximum(radius**2 - a2, 0.0)
    return np.asarray(8.0 * (radius**3 - beside**1.5) / (3.0 * np.pi * a2))


def one_sided(*, air: Air, separation: Real, frequency: FloatArray) -> FloatArray:
    """Share of an open loudspeaker's sound at which its back no longer comes round to the front.

    Args:
        air: the air.
        separation: D [m], shape (samples, 1) or scalar.
        frequency: [Hz], shape (F,).

    Returns:
        0 up to c/(4 D), 1 from c/(2 D), even in log frequency between [1]. At c/(2 D) front and
        back add up on the axis to the sound before a large panel, which holds above: a real edge
        bends less round itself the shorter the wave (from memory).
    """
    octaves = np.log2(4.0 * separation * np.asarray(frequency) / air.speed_of_sound)
    return np.asarray(np.clip(octaves, 0.0, 1.0))


def doublet_power_share(*, air: Air, separation: Real, frequency: FloatArray) -> FloatArray:
    """Sound power of an open loudspeaker over that of the same cone in a large panel.

    Args: as of `one_sided`.

    Returns:
        1 - sin(k D)/(k D) up to k D = pi, 1 above [1]: two points of opposite sign, 12 dB an octave
        more than the panel's at low frequencies fall away (closed form).
    """
    reach = np.minimum(2.0 * np.asarray(frequency) * separation / air.speed_of_sound, 1.0)
    return np.asarray(1.0 - np.sinc(reach))


def doublet_pressure(
    *, air: Air, front: Real, back: Real, separation: Real, solid_angle: Real, frequency: FloatArray
) -> ComplexArray:
    """Pressure of an open loudspeaker where nothing but a floor or a panel sends sound back.

    Args:
        air: the air.
        front: from the point that sounds for the front to the ear [m].
        back: from the point for the back to the ear [m].
        separation: D of the two [m].
        solid_angle: what either spreads into while the back comes round [sr].
        frequency: [Hz], shape (F,).

    Returns:
        p for 1 m3/s of the cone [Pa s/m3], shape (samples, F): rho s (exp(-s r1/c)/r1 -
        exp(-s r2/c)/r2)/Omega, which far off falls 6 dB an octave faster than a closed
        loudspeaker's below c/(4 D); the front alone, into no more than half the space, above
        c/(2 D).
    """
    alone = one_sided(air=air, separation=separation, frequency=frequency)
    parts = [
        monopole_pressure(
            air=air,
            volume_velocity=1.0,
            distance=distance,
            solid_angle=angle,
            frequency=frequency,
        )
        for distance, angle in (
            (front, solid_angle),
            (back, solid_angle),
            (front, np.minimum(solid_angle, HALF_SPACE)),
        )
    ]
    return np.asarray((1.0 - alone) * (parts[0] - parts[1]) + alone * parts[2])


def _radius(sd: Real, baffle_area: Real) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(baffle_area, sd) / np.pi))
