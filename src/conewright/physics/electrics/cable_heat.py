"""How warm a cable gets under its fuse, and what a dead short does to it.

Temperatures in kelvin. Steady heat: what the conductor makes leaves through the cable's surface,
I^2 R'(T) = h pi D (T - Ta), with the resistance rising with the temperature it causes.
"""

from typing import Final

import numpy as np

from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive
from conewright.physics.electrics.conductor import COPPER_COEFFICIENT, REFERENCE_TEMPERATURE

__all__ = [
    "BUNDLED_TRANSFER",
    "FREE_TRANSFER",
    "HEAT_CONSTANT_ALUMINIUM",
    "HEAT_CONSTANT_COPPER",
    "adiabatic_time",
    "conductor_temperature",
    "insulated_diameter",
    "short_circuit_current",
]

FREE_TRANSFER: Final = 10.0
"""Heat leaving a single cable in still air, convection and radiation [W/(m2 K)]; common practice,
no source."""

BUNDLED_TRANSFER: Final = 5.0
"""The same within a loom, conduit or under carpet [W/(m2 K)]; common practice, no source."""

HEAT_CONSTANT_COPPER: Final = 115e6
"""k of copper in PVC, 70 to 160 C [A s^0.5/m2] (IEC 60364-4-43, from memory)."""

HEAT_CONSTANT_ALUMINIUM: Final = 76e6
"""k of aluminium in PVC, 70 to 160 C [A s^0.5/m2] (IEC 60364-4-43, from memory)."""


def insulated_diameter(*, area: Real, wall: Real) -> FloatArray:
    """Outer diameter [m] of a cable of a cross-section [m2] with an insulation wall [m].

    The conductor is taken as solid; strands make it a few per cent thicker, and cooler.
    """
    require_positive(area=area)
    require_not_negative(wall=wall)
    return np.asarray(np.sqrt(4.0 * np.asarray(area) / np.pi) + 2.0 * np.asarray(wall))


def conductor_temperature(
    *, current: Real, ohm_per_metre: Real, diameter: Real, transfer: Real, ambient: Real
) -> FloatArray:
    """Steady temperature of a conductor.

    Args:
        current: carried for ever, any shape [A].
        ohm_per_metre: of the conductor at 20 C [ohm/m].
        diameter: over the insulation [m].
        transfer: heat given off by the surface [W/(m2 K)].
        ambient: air around it [K].

    Returns:
        Temperature [K], shape the arguments broadcast to; inf where the resistance rises faster
        than the heat leaves, so that there is no steady state.

    Raises:
        OutOfRangeError: a resistance, diameter, transfer or ambient not above zero.

    Source: balance of Joule heat and surface loss, closed form; copper's coefficient, IEC 60028.
    """
    require_positive(
        ohm_per_metre=ohm_per_metre, diameter=diameter, transfer=transfer, ambient=ambient
    )
    require_not_negative(current=current)
    rise = np.asarray(current) ** 2 * ohm_per_metre / (transfer * np.pi * np.asarray(diameter))
    left = 1.0 - COPPER_COEFFICIENT * rise
    cold = 1.0 - COPPER_COEFFICIENT * REFERENCE_TEMPERATURE
    steady = (ambient + rise * cold) / np.where(left > 0.0, left, 1.0)
    return np.asarray(np.where(left > 0.0, steady, np.inf))


def short_circuit_current(*, voltage: Real, resistance: Real) -> Real:
    """Current [A] of a voltage [V] into the resistance of all that lies in the loop [ohm]."""
    require_positive(voltage=voltage, resistance=resistance)
    return voltage / resistance


def adiabatic_time(*, area: Real, current: Real, constant: Real = HEAT_CONSTANT_COPPER) -> Real:
    """How long a short may last before the insulation is spent [s]: (k A/I)^2.

    Args:
        area: of the metal [m2].
        current: of the short [A].
        constant: k of metal and insulation [A s^0.5/m2].

    Validity: up to about 5 s, while no heat leaves the conductor. Source: IEC 60364-4-43.
    """
    require_positive(area=area, current=current, constant=constant)
    return (constant * area / current) ** 2
