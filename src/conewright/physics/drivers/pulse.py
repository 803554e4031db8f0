"""A driver switched onto a battery, or held by direct current from an output that has failed.

The impedances of the audio range divide by the frequency and have no value at zero, so direct
current has routines of its own. The step is exact: the equations of coil, cone and capacitor are
linear, and a matrix exponential carries their state from one instant to the next.
"""

from dataclasses import dataclass
from math import inf, isinf

import numpy as np

from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive
from conewright.physics.drivers.driver import Driver

__all__ = [
    "COPPER_HEAT",
    "Step",
    "battery_step",
    "first_peak",
    "heating_rate",
    "settled_current",
    "settled_excursion",
]

COPPER_HEAT = 385.0
"""Specific heat of copper [J/(kg K)], common tables."""


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A driver from the moment it is connected.

    Args:
        time: since connection, shape (T,) [s].
        current: into the + terminal, shape (T,) [A].
        excursion: of the cone, positive forward, shape (T,) [m].
    """

    time: FloatArray
    current: FloatArray
    excursion: FloatArray


def settled_current(*, emf: Real, resistance: Real, re: Real) -> Real:
    """Current once all movement has died down.

    Args:
        emf: of the battery, or offset of the output [V].
        resistance: of battery, cable and output together, any shape [ohm].
        re: coil resistance at its temperature [ohm].

    Returns:
        E/(R + Re) [A]. A battery's own resistance is as large as that of a coil: never E/Re.

    Raises:
        OutOfRangeError: a negative resistance, or Re not above zero.
    """
    require_not_negative(resistance=resistance)
    require_positive(re=re)
    return emf / (resistance + re)


def settled_excursion(*, current: Real, bl: Real, cms: Real) -> Real:
    """Place of the cone under a direct current.

    Args:
        current: into the + terminal [A].
        bl: force factor [T m].
        cms: compliance of the suspension [m/N].

    Returns:
        Bl i Cms [m], positive forward for a positive current: a door leaks, and its air has bled
        off by then.

    Raises:
        OutOfRangeError: Cms not above zero.
    """
    require_positive(cms=cms)
    return bl * current * cms


def heating_rate(*, power: Real, coil_mass: Real, specific_heat: float = COPPER_HEAT) -> Real:
    """How fast a cold coil warms before any heat leaves it.

    Args:
        power: in the coil [W].
        coil_mass: of its winding [kg].
        specific_heat: of its metal [J/(kg K)].

    Returns:
        P/(m c) [K/s].

    Raises:
        OutOfRangeError: mass or specific heat not above zero.
    """
    require_positive(coil_mass=coil_mass, specific_heat=specific_heat)
    return power / (coil_mass * specific_heat)


def battery_step(
    *,
    driver: Driver,
    emf: float,
    resistance: float,
    duration: float,
    instants: int = 1001,
    capacitance: float = inf,
) -> Step:
    """Movement and current from the moment a battery is connected, battery + on driver +.

    Args:
        driver: scalar constants. Its own model of the coil plays no part: a power law has no
            form in time, and an inductance is over after 0.1 ms, before anything can be seen.
        emf: of the battery [V]; negative for the other way round.
        resistance: of battery and cable [ohm].
        duration: of what is returned [s].
        instants: how many instants, both ends counted.
        capacitance: in series [F]; inf for none.

    Returns:
        Time, current and excursion, from rest.

    Raises:
        OutOfRangeError: a negative resistance; a duration, capacitance or Re not above zero.

    Equations: (R + Re) i = E - Bl v - vC; M v' = Bl i - Rms v - x/Cms; x' = v; C vC' = i.
    Exact between the instants (matrix exponential).
    """
    from scipy.linalg import expm

    require_not_negative(resistance=resistance)
    require_positive(duration=duration, capacitance=capacitance, re=driver.re)
    rates = _rates(driver, emf, resistance, capacitance)
    time = np.linspace(0.0, duration, instants)
    onward = expm(rates * time[1])
    # Columns: velocity, excursion, capacitor voltage, and the constant 1.
    states = np.zeros((instants, 4))
    states[0, 3] = 1.0
    known = 1
    while known < instants:  # onward carries all that is known past itself
        more = min(known, instants - known)
        states[known : known + more] = states[:more] @ onward.T
        known, onward = known + more, onward @ onward
    velocity, excursion, across = states.T[:3]
    current = (emf - across - float(driver.bl) * velocity) / (resistance + float(driver.re))
    return Step(time=time, current=np.asarray(current), excursion=np.asarray(excursion))


def _rates(driver: Driver, emf: float, resistance: float, capacitance: float) -> FloatArray:
    """Matrix of the state's rates; the current follows from the rest."""
    bl, mass, total = float(driver.bl), float(driver.mms), resistance + float(driver.re)
    charging = 0.0 if isinf(capacitance) else 1.0 / capacitance
    current = np.array([-bl, 0.0, -1.0, emf]) / total
    rates = np.zeros((4, 4))
    rates[0] = bl / mass * current
    rates[0, :2] -= np.array([float(driver.rms), 1.0 / float(driver.cms)]) / mass
    rates[1, 0] = 1.0
    rates[2] = charging * current
    return rates


def first_peak(step: Step) -> tuple[float, float]:
    """Where and when the cone first turns round.

    Args:
        step: of a driver connected to a battery.

    Returns:
        Excursion [m] with its sign, and time [s]; the last instant where it never turns.

    Method: a parabola through the highest instant and its neighbours.
    """
    x = np.abs(step.excursion)
    turned = np.flatnonzero((x[1:-1] >= x[:-2]) & (x[1:-1] > x[2:]))
    if turned.size == 0:
        return float(step.excursion[-1]), float(step.time[-1])
    top = int(turned[0]) + 1
    before, peak, after = (float(step.excursion[top + k]) for k in (-1, 0, 1))
    bend = before - 2.0 * peak + after
    shift = 0.5 * (before - after) / bend
    height = peak - 0.25 * (before - after) * shift
    return height, float(step.time[top] + shift * step.time[1])
