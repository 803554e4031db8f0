"""A driver switched onto a battery, or held by direct current from an output that has failed.

The impedances of the audio range divide by the frequency and have no value at zero, so direct
current has routines of its own. The step is exact: the equations of coil, cone and capacitor are
linear, and a matrix exponential carries their state from one instant to the next.
"""

from dataclasses import dataclass
from math import inf, isinf

import numpy as np

from conewright.physics.air import Air
from conewright.physics.arrays import FloatArray, Real
from conewright.physics.driver import Driver
from conewright.physics.validity import require_not_negative, require_positive

__all__ = [
    "COPPER_HEAT",
    "Step",
    "battery_step",
    "first_peak",
    "heating_rate",
    "sealed_stiffness",
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


def settled_excursion(*, current: Real, bl: Real, cms: Real, stiffness: Real = 0.0) -> Real:
    """Place of the cone under a direct current.

    Args:
        current: into the + terminal [A].
        bl: force factor [T m].
        cms: compliance of the suspension [m/N].
        stiffness: of sealed air behind the cone [N/m], 0 once air has bled off through leaks.

    Returns:
        Bl i/(1/Cms + k) [m], positive forward for a positive current.

    Raises:
        OutOfRangeError: Cms not above zero, or a negative stiffness.
    """
    require_positive(cms=cms)
    require_not_negative(stiffness=stiffness)
    return bl * current / (1.0 / cms + stiffness)


def sealed_stiffness(*, sd: Real, volume: Real, air: Air) -> Real:
    """Stiffness of a sealed volume of air seen by the cone.

    Args:
        sd: cone area [m2].
        volume: of the air [m3]; inf is legal.
        air: the air.

    Returns:
        Sd^2 rho c^2/V [N/m].

    Raises:
        OutOfRangeError: volume not above zero.
    """
    require_positive(volume=volume)
    return sd**2 * air.bulk_modulus / volume


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
    inductance: float = 0.0,
    capacitance: float = inf,
    stiffness: float = 0.0,
) -> Step:
    """Movement and current from the moment a battery is connected, battery + on driver +.

    Args:
        driver: scalar constants. Its own model of the coil plays no part: a power law has no
            form in time, and an inductance is over after 0.1 ms, before anything can be seen.
        emf: of the battery [V]; negative for the other way round.
        resistance: of battery and cable [ohm].
        duration: of what is returned [s].
        instants: how many instants, both ends counted.
        inductance: of the coil [H]; 0 lets the current follow at once.
        capacitance: in series [F]; inf for none.
        stiffness: of sealed air behind the cone [N/m].

    Returns:
        Time, current and excursion, from rest.

    Raises:
        OutOfRangeError: a negative resistance, inductance or stiffness; a duration, capacitance
            or Re not above zero.

    Equations: L i' = E - (R + Re) i - Bl v - vC; M v' = Bl i - Rms v - (1/Cms + k) x; x' = v;
    C vC' = i. Exact between the instants (matrix exponential).
    """
    from scipy.linalg import expm

    require_not_negative(resistance=resistance, inductance=inductance, stiffness=stiffness)
    require_positive(duration=duration, capacitance=capacitance, re=driver.re)
    rates = _rates(driver, emf, resistance, inductance, capacitance, stiffness)
    time = np.linspace(0.0, duration, instants)
    onward = expm(rates * time[1])
    # Columns: velocity, excursion, current, capacitor voltage, and the constant 1.
    states = np.zeros((instants, 5))
    states[0, 4] = 1.0
    for index in range(1, instants):
        states[index] = onward @ states[index - 1]
    velocity, excursion, current, across = states.T[:4]
    if inductance == 0.0:
        current = (emf - across - float(driver.bl) * velocity) / (resistance + float(driver.re))
    return Step(time=time, current=np.asarray(current), excursion=np.asarray(excursion))


def _rates(
    driver: Driver,
    emf: float,
    resistance: float,
    inductance: float,
    capacitance: float,
    stiffness: float,
) -> FloatArray:
    """Matrix of the state's rates; without inductance the current follows from the rest."""
    bl, mass, total = float(driver.bl), float(driver.mms), resistance + float(driver.re)
    charging = 0.0 if isinf(capacitance) else 1.0 / capacitance
    # The current as a sum over the state's columns.
    current = np.array([0.0, 0.0, 1.0, 0.0, 0.0])
    if inductance == 0.0:
        current = np.array([-bl, 0.0, 0.0, -1.0, emf]) / total
    rates = np.zeros((5, 5))
    rates[0] = bl / mass * current
    rates[0, :2] -= np.array([float(driver.rms), 1.0 / float(driver.cms) + stiffness]) / mass
    rates[1, 0] = 1.0
    if inductance > 0.0:
        rates[2] = np.array([-bl, 0.0, -total, -1.0, emf]) / inductance
    rates[3] = charging * current
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
