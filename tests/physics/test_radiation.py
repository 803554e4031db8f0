"""Piston and monopole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.air import Air
from conewright.physics.radiation import (
    EDGE,
    FREE_SPACE,
    HALF_SPACE,
    cone_travel,
    directivity,
    monopole_pressure,
    piston_impedance,
    piston_limit_frequency,
    piston_pattern,
    piston_resistance,
)

AIR = Air()
SD = 0.0133


def test_low_frequency_limits() -> None:
    z = piston_impedance(sd=SD, air=AIR, frequency=np.array([20.0]))[0]
    w = 2.0 * np.pi * 20.0
    radius = np.sqrt(SD / np.pi)
    # closed form: R = rho w^2/(2 pi c), M = 8 rho/(3 pi^2 a); next terms (2ka)^2/24 and /15
    assert z.real == pytest.approx(1.2041 * w**2 / (2 * np.pi * 343.21), rel=2e-4)
    assert z.imag == pytest.approx(w * 8 * 1.2041 / (3 * np.pi**2 * radius), rel=2e-4)


def test_series_meets_the_bessel_form() -> None:
    below, above = piston_resistance(0.3 * (1 - 1e-9)), piston_resistance(0.3)
    # two routes agree
    assert below == pytest.approx(above, rel=1e-8)
    assert piston_resistance(1e-6) == pytest.approx(1.25e-13, rel=1e-9)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(20.0, 12_000.0))
def test_power_over_the_half_space_is_the_resistance(frequency: float) -> None:
    f = np.array([frequency])
    nodes, weights = np.polynomial.legendre.leggauss(80)
    angle = (nodes[:, None] + 1.0) * np.pi / 4.0
    pattern = directivity(sd=SD, angle=angle, air=AIR, frequency=f)
    on_axis = np.abs(monopole_pressure(air=AIR, volume_velocity=1.0, distance=1.0, frequency=f))
    intensity = (on_axis * pattern) ** 2 / (1.2041 * 343.21)
    power = np.sum(weights[:, None] * np.pi / 4 * 2 * np.pi * np.sin(angle) * intensity)
    z = piston_impedance(sd=SD, air=AIR, frequency=f)[0]
    # closed form: |U|^2 Re Z with U = 1
    assert power == pytest.approx(z.real, rel=1e-8)


def test_solid_angles() -> None:
    f = np.array([100.0])

    def pressure(angle: float) -> float:
        p = monopole_pressure(
            air=AIR, volume_velocity=1e-3, distance=1.0, solid_angle=angle, frequency=f
        )
        return float(np.abs(p[0]))

    # closed form: pressure goes with one over the solid angle
    assert pressure(HALF_SPACE) == pytest.approx(2.0 * pressure(FREE_SPACE))
    assert pressure(EDGE) == pytest.approx(4.0 * pressure(FREE_SPACE))


def test_delay_turns_the_phase() -> None:
    f = np.array([343.21 / 4.0])
    p = monopole_pressure(air=AIR, volume_velocity=1.0, distance=1.0, frequency=f)
    # closed form: j at the source turned back by a quarter wave
    assert np.angle(p[0]) == pytest.approx(0.0, abs=1e-12)


def test_travel_and_pressure_are_inverse() -> None:
    f = np.array([40.0, 80.0])
    x = cone_travel(air=AIR, pressure=1.0, distance=0.9, sd=SD, frequency=f)
    u = 2j * np.pi * f * x * SD
    p = monopole_pressure(air=AIR, volume_velocity=u, distance=0.9, frequency=f)
    np.testing.assert_allclose(np.abs(p), 1.0, rtol=1e-12)


def test_directivity_on_axis_and_at_the_first_null() -> None:
    assert piston_pattern(0.0) == 1.0
    # published (tables): first zero of J1 at 3.8317
    assert piston_pattern(3.83171) == pytest.approx(0.0, abs=1e-5)


def test_limit_of_a_rigid_piston() -> None:
    # closed form: 2 c/(2 pi a)
    limit = piston_limit_frequency(sd=SD, air=AIR)
    assert 2 * np.pi * limit * np.sqrt(SD / np.pi) / 343.21 == pytest.approx(2.0)
    # from memory: about 1.6 kHz for the 165 mm class
    assert limit == pytest.approx(1.65e3, abs=60.0)


def test_array_equals_scalar_loop() -> None:
    sd = np.array([[0.005], [0.0133], [0.023]])
    f = np.array([20.0, 1000.0, 15_000.0])
    whole = piston_impedance(sd=sd, air=AIR, frequency=f)
    assert whole.shape == (3, 3)
    for row in range(3):
        single = piston_impedance(sd=float(sd[row, 0]), air=AIR, frequency=f)
        np.testing.assert_allclose(whole[row], single, rtol=1e-14)
    assert np.all(whole.real > 0.0)


def test_standstill_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        monopole_pressure(air=AIR, volume_velocity=1.0, distance=1.0, frequency=np.array([0.0]))
    with pytest.raises(OutOfRangeError, match="distance must be above zero"):
        monopole_pressure(air=AIR, volume_velocity=1.0, distance=0.0, frequency=np.array([9.0]))
