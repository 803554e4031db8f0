"""Sound at a seat."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.cabin import (
    chamber_corner_frequency,
    chamber_impedance,
    diffuse_pressure_squared,
    room_mode_frequency,
    seat_pressure,
)
from conewright.physics.acoustics.openings import radiation_resistance
from conewright.physics.acoustics.radiation import monopole_pressure
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

AIR = Air()


def seat(
    frequency: FloatArray,
    *,
    volume: Real = 2.8,
    distance: Real = 1.0,
    leak: Real = np.inf,
    mass: Real = 0.0,
    q: Real = 1.4,
    velocity: float = 1e-3,
) -> ComplexArray:
    return seat_pressure(
        air=AIR,
        volume_velocity=velocity,
        distance=distance,
        cabin_volume=volume,
        leak_resistance=leak,
        leak_mass=mass,
        damping_q=q,
        frequency=frequency,
    )


def test_deep_notes_press_the_whole_cabin() -> None:
    f = np.array([1.0])
    # closed form: rho c^2 U/(s V)
    expected = 1.4184e5 * 1e-3 / (2.0 * np.pi * 1.0 * 2.8)
    assert np.abs(seat(f)[0]) == pytest.approx(expected, rel=0.01)
    assert np.angle(seat(f)[0], deg=True) == pytest.approx(-90.0, abs=1.0)


def test_high_notes_come_straight() -> None:
    f = np.array([20_000.0])
    direct = monopole_pressure(air=AIR, volume_velocity=1e-3, distance=1.0, frequency=f)
    assert seat(f)[0] == pytest.approx(direct[0], rel=0.01)


def test_open_air_is_the_direct_sound() -> None:
    f = np.geomspace(20.0, 500.0, 9)
    direct = monopole_pressure(air=AIR, volume_velocity=1e-3, distance=1.0, frequency=f)
    np.testing.assert_allclose(seat(f, volume=np.inf), direct, rtol=1e-12)
    np.testing.assert_allclose(seat(f, volume=np.inf, leak=200.0, mass=7.0), direct, rtol=1e-12)
    np.testing.assert_allclose(seat(f, volume=np.inf, leak=0.0, mass=0.0), direct, rtol=1e-12)


def test_corner() -> None:
    # own calculation checked by hand: 2.8 m3, 1 m, half space: 82 Hz
    corner = float(chamber_corner_frequency(air=AIR, distance=1.0, cabin_volume=2.8))
    assert corner == pytest.approx(82.0, abs=0.5)
    # closed form: at the corner direct sound (without delay) and breathing cancel, the damping
    # term is what is left, 1/Q of the direct
    f = np.array([corner])
    direct = np.abs(monopole_pressure(air=AIR, volume_velocity=1e-3, distance=1.0, frequency=f))
    delay = np.exp(-2j * np.pi * f / 343.21)
    left = seat(f)[0] - 1j * direct[0] * (delay[0] - 1.0)
    assert left == pytest.approx(direct[0] / 1.4, rel=1e-9)


def test_leak_takes_the_deep_notes() -> None:
    # well below the resonance of spring and leak at 13.5 Hz (closed form)
    f = np.array([2.0, 5.0])
    tight, leaky = np.abs(seat(f)), np.abs(seat(f, leak=200.0, mass=7.0))
    assert np.all(leaky < tight)
    z = chamber_impedance(
        air=AIR, cabin_volume=2.8, leak_resistance=200.0, leak_mass=7.0, frequency=f
    )
    s = 2j * np.pi * f
    # closed form: spring beside leak
    np.testing.assert_allclose(
        z, 1.0 / (s * 2.8 / AIR.bulk_modulus + 1.0 / (200.0 + 7.0 * s)), rtol=1e-12
    )
    assert np.all(z.real > 0.0)


def test_open_hole_leaves_no_pressure() -> None:
    z = chamber_impedance(
        air=AIR, cabin_volume=2.8, leak_resistance=0.0, leak_mass=0.0, frequency=np.array([50.0])
    )
    assert z[0] == 0.0


def test_very_resistive_leak_is_a_tight_cabin() -> None:
    f = np.array([20.0, 100.0])
    np.testing.assert_allclose(seat(f, leak=1e12), seat(f), rtol=1e-6)


def test_array_equals_scalar_loop() -> None:
    f = np.array([25.0, 80.0, 300.0])
    volume = np.array([[2.2], [3.0], [np.inf]])
    leak = np.array([[np.inf], [200.0], [100.0]])
    whole = seat(f, volume=volume, leak=leak, mass=7.0)
    assert whole.shape == (3, 3)
    for row in range(3):
        single = seat(f, volume=float(volume[row, 0]), leak=float(leak[row, 0]), mass=7.0)
        np.testing.assert_allclose(whole[row], single, rtol=1e-13)


def test_diffuse_sound_carries_the_radiated_power() -> None:
    f = np.array([50.0])
    p2 = diffuse_pressure_squared(air=AIR, volume_velocity=1e-3, absorption_area=2.0, frequency=f)
    # two routes agree: power from the radiation resistance of a small source in a panel
    power = 1e-6 * radiation_resistance(frequency=f, air=AIR)
    np.testing.assert_allclose(p2, 4.0 * 1.2041 * 343.21 * power / 2.0, rtol=1e-4)


def test_modes() -> None:
    # closed form
    assert room_mode_frequency(air=AIR, length=2.5, order=1) == pytest.approx(68.642)
    both = room_mode_frequency(air=AIR, length=np.array([2.5, 1.25]), order=2)
    assert both == pytest.approx([2 * 68.642, 4 * 68.642])
    with pytest.raises(OutOfRangeError, match="length must be above zero"):
        room_mode_frequency(air=AIR, length=0.0, order=1)


def test_impossible_arguments_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        seat(np.array([0.0]))
    with pytest.raises(OutOfRangeError, match="damping_q must be above zero"):
        seat(np.array([50.0]), q=0.0)
    with pytest.raises(OutOfRangeError, match="leak_mass must not be below zero"):
        seat(np.array([50.0]), leak=100.0, mass=-1.0)
