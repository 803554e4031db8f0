"""Dry air against published values and its own laws."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air


def test_reference_point() -> None:
    air = Air()
    # from memory, the values this project stands on; ISO 9613-1:1993 gives 343.2 m/s
    assert air.density == pytest.approx(1.2041, abs=1e-4)
    assert air.speed_of_sound == pytest.approx(343.21, abs=0.01)
    assert air.viscosity == pytest.approx(1.813e-5, rel=1e-3)
    # closed form: rho c^2 = gamma p of a perfect gas, within the digits of the two constants
    assert air.bulk_modulus == pytest.approx(1.4184e5, rel=1e-4)
    assert air.bulk_modulus == pytest.approx(1.4 * 101_325.0, rel=3e-4)


def test_pressure_moves_density_only() -> None:
    high = Air(pressure=0.8 * 101_325.0)
    # closed form: perfect gas
    assert high.density == pytest.approx(0.8 * 1.2041, rel=1e-12)
    assert high.speed_of_sound == Air().speed_of_sound
    assert high.viscosity == Air().viscosity


def test_stiffness_does_not_move_with_temperature() -> None:
    # closed form: rho c^2 = gamma p, T cancels
    assert Air(temperature=263.15).bulk_modulus == pytest.approx(Air().bulk_modulus, rel=1e-12)


def test_viscosity_at_zero_celsius() -> None:
    # from memory (handbook value 1.716e-5 Pa s at 0 C), tolerance of its digits
    assert Air(temperature=273.15).viscosity == pytest.approx(1.716e-5, rel=2e-3)


def test_array_equals_scalar_loop() -> None:
    temperatures = np.array([[253.15], [293.15], [338.15]])
    air = Air(temperature=temperatures)
    for name in ("density", "speed_of_sound", "viscosity", "bulk_modulus"):
        singles = [[getattr(Air(temperature=float(t)), name)] for t in temperatures[:, 0]]
        np.testing.assert_allclose(getattr(air, name), singles, rtol=1e-14)


@pytest.mark.parametrize("temperature", [20.0, -1.0, float("nan"), float("inf")])
def test_celsius_by_mistake_is_refused(temperature: float) -> None:
    with pytest.raises(OutOfRangeError, match="air temperature"):
        Air(temperature=temperature)


def test_pressure_in_the_wrong_unit_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="air pressure"):
        Air(pressure=1013.25)
