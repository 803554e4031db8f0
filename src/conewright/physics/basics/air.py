"""Dry air: density, speed of sound, viscosity and stiffness from temperature and pressure."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import Real
from conewright.physics.basics.validity import in_words

__all__ = ["PRESSURE_RANGE", "TEMPERATURE_RANGE", "Air"]

REFERENCE_TEMPERATURE: Final = 293.15
REFERENCE_PRESSURE: Final = 101_325.0
REFERENCE_DENSITY: Final = 1.2041
REFERENCE_SPEED: Final = 343.21
REFERENCE_VISCOSITY: Final = 1.813e-5
SUTHERLAND_TEMPERATURE: Final = 110.4

TEMPERATURE_RANGE: Final = (200.0, 400.0)
"""Validity of the perfect-gas and Sutherland laws as used here [K]."""

PRESSURE_RANGE: Final = (3.0e4, 1.2e5)
"""From a high mountain road to the deepest inhabited valley, with room to spare [Pa]."""


@dataclass(frozen=True, slots=True)
class Air:
    """Dry air at rest.

    Args:
        temperature: absolute temperature [K], scalar or array.
        pressure: static pressure [Pa], scalar or array.

    Raises:
        OutOfRangeError: outside TEMPERATURE_RANGE or PRESSURE_RANGE, or not a number.

    Values at 293.15 K and 101.325 kPa: 1.2041 kg/m3, 343.21 m/s (ISO 9613-1:1993 gives
    343.2 m/s) and 1.813e-5 Pa s. Moisture is left out: at 20 C it changes the speed of sound by
    less than 0.4 % (from memory).
    """

    temperature: Real = REFERENCE_TEMPERATURE
    pressure: Real = REFERENCE_PRESSURE

    def __post_init__(self) -> None:
        _require_within(self.temperature, TEMPERATURE_RANGE, "air temperature [K]")
        _require_within(self.pressure, PRESSURE_RANGE, "air pressure [Pa]")

    @property
    def density(self) -> Real:
        """Density rho [kg/m3]: perfect gas, rho = p / (R T) through the reference point."""
        return (
            REFERENCE_DENSITY
            * (self.pressure / REFERENCE_PRESSURE)
            * (REFERENCE_TEMPERATURE / self.temperature)
        )

    @property
    def speed_of_sound(self) -> Real:
        """Speed of sound c [m/s], proportional to sqrt(T) (ISO 9613-1:1993, eq. A.5)."""
        return REFERENCE_SPEED * (self.temperature / REFERENCE_TEMPERATURE) ** 0.5

    @property
    def viscosity(self) -> Real:
        """Shear viscosity mu [Pa s]: Sutherland's law, constant 110.4 K."""
        ratio = self.temperature / REFERENCE_TEMPERATURE
        fall = (REFERENCE_TEMPERATURE + SUTHERLAND_TEMPERATURE) / (
            self.temperature + SUTHERLAND_TEMPERATURE
        )
        return REFERENCE_VISCOSITY * ratio**1.5 * fall

    @property
    def bulk_modulus(self) -> Real:
        """Adiabatic stiffness rho c^2 [Pa]."""
        return self.density * self.speed_of_sound**2

    @property
    def characteristic_impedance(self) -> Real:
        """Impedance of a plane wave rho c [Pa s/m]."""
        return self.density * self.speed_of_sound


def _require_within(value: Real, limits: tuple[float, float], name: str) -> None:
    low, high = limits
    if not np.all((np.asarray(value) >= low) & (np.asarray(value) <= high)):
        raise OutOfRangeError(f"{name} must be within {low:g} to {high:g}, got {in_words(value)}")
