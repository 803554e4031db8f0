"""The moving-coil driver: from the acoustic load on its cone to its impedance and velocity.

V = ZE i + Bl v and Bl i = Zm v + Sd (pf - pr): the antisymmetric pair +-Bl, +-Sd loses nothing
(R. H. Small, "Direct-radiator loudspeaker system analysis", J. Audio Eng. Soc. 20(5), 1972).
Positive current into the + terminal drives the cone forward, out of the basket; velocity and
displacement are positive forward. Phasors are RMS.
"""

from dataclasses import dataclass

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, Real
from conewright.physics.basics.laplace import angular_frequency
from conewright.physics.basics.validity import in_words
from conewright.physics.drivers.coil import Coil, coil_impedance

__all__ = [
    "Driver",
    "Loaded",
    "acoustic_mass_free",
    "loaded",
    "mechanical_impedance",
    "moving_mass_in_door",
    "piston_radius",
    "velocity_per_volt",
]


@dataclass(frozen=True, slots=True, eq=False)
class Driver:
    """Small-signal constants of one driver, each a scalar or of shape (samples, 1).

    Args:
        re: coil resistance at its present temperature [ohm].
        bl: force factor [T m].
        mms: moving mass without the air that the acoustic load brings along [kg]: the free-air
            mass where the load is zero, `moving_mass_in_door` where the load is a door.
        cms: compliance of the suspension [m/N]; inf is legal.
        rms: mechanical resistance [kg/s].
        sd: cone area [m2].
        coil: model of the coil's inductance.
    """

    re: Real
    bl: Real
    mms: Real
    cms: Real
    rms: Real
    sd: Real
    coil: Coil


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """What a driver does at its terminals under its acoustic load, shape (samples, F).

    Args:
        impedance: electrical impedance [ohm].
        velocity_per_volt: cone velocity per volt at the terminals [m/s/V].
    """

    impedance: ComplexArray
    velocity_per_volt: ComplexArray


def piston_radius(*, sd: Real) -> Real:
    """Radius of the round piston with the area of the cone.

    Args:
        sd: cone area, any shape [m2].

    Returns:
        a = sqrt(Sd/pi) [m].
    """
    return (sd / np.pi) ** 0.5


def acoustic_mass_free(*, air: Air, sd: Real) -> Real:
    """Mass of air that moves with a cone in free air, both sides together.

    Args:
        air: the air.
        sd: cone area, any shape [m2].

    Returns:
        (8/3) rho a^3 [kg].

    Source: unbaffled disc at low frequency (Beranek, Acoustics, 1954; from memory). A cone in a
    large baffle carries twice that, which is why a mass measured in free air must be freed of
    this before the air of a door is put on.
    """
    return (8.0 / 3.0) * air.density * piston_radius(sd=sd) ** 3


def moving_mass_in_door(*, mms: Real, sd: Real, air: Air) -> Real:
    """Moving mass bare of air, for a driver whose acoustic load brings its own air mass.

    Args:
        mms: moving mass measured in free air, any shape [kg].
        sd: cone area, any shape that broadcasts [m2].
        air: the air.

    Returns:
        Mmd = Mms - (8/3) rho a^3 [kg].

    Raises:
        OutOfRangeError: nothing left: a free-air mass below that of its own air.
    """
    bare = mms - acoustic_mass_free(air=air, sd=sd)
    if not np.all(np.asarray(bare) > 0.0):
        raise OutOfRangeError(f"moving mass {in_words(mms)} kg is less than that of the air on it")
    return bare


def mechanical_impedance(*, driver: Driver, frequency: Real) -> ComplexArray:
    """Impedance of mass, suspension and losses, without the acoustic load.

    Args:
        driver: the driver.
        frequency: shape (F,) [Hz].

    Returns:
        Zm = Rms + s Mm + 1/(s Cms), shape (samples, F) or (F,) [kg/s].

    Raises:
        OutOfRangeError: f <= 0.
    """
    w = angular_frequency(frequency)
    reactance = w * driver.mms - (1.0 / w) * (1.0 / np.asarray(driver.cms))
    return np.asarray(driver.rms + 1j * reactance)


def loaded(*, driver: Driver, acoustic_load: Complex, frequency: Real) -> Loaded:
    """Electrical impedance and velocity per volt, from one set of intermediate results.

    Args:
        driver: the driver.
        acoustic_load: ZA = (pf - pr)/U on the cone, shape (samples, F), (F,) or 0 for none
            [Pa s/m3].
        frequency: shape (F,) [Hz].

    Returns:
        Impedance and velocity per volt at the terminals.

    Raises:
        OutOfRangeError: f <= 0.

    Equations: Zm' = Zm + Sd^2 ZA; D = ZE Zm' + Bl^2; Z = D/Zm'; v/V = Bl/D.
    Bl = 0 leaves Z = ZE and no motion.
    """
    moving = mechanical_impedance(driver=driver, frequency=frequency)
    moving = moving + np.asarray(driver.sd) ** 2 * acoustic_load
    blocked = driver.re + coil_impedance(coil=driver.coil, frequency=frequency)
    determinant = blocked * moving + np.asarray(driver.bl) ** 2
    return Loaded(
        impedance=np.asarray(determinant / moving),
        velocity_per_volt=np.asarray(driver.bl / determinant),
    )


def velocity_per_volt(*, driver: Driver, acoustic_load: Complex, frequency: Real) -> ComplexArray:
    """Cone velocity per volt at the terminals: v/V = Bl/(ZE Zm' + Bl^2).

    Args:
        driver: the driver.
        acoustic_load: ZA, shape (samples, F), (F,) or 0 [Pa s/m3].
        frequency: shape (F,) [Hz].

    Returns:
        Shape (samples, F) or (F,) [m/s/V]. The source's own impedance is no part of it: the
        wiring gives the voltage that arrives at the terminals.

    Raises:
        OutOfRangeError: f <= 0.
    """
    return loaded(driver=driver, acoustic_load=acoustic_load, frequency=frequency).velocity_per_volt
