"""A small source, and the air of a cabin as a whole."""

from typing import Any

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.cabin import (
    HALF_SPACE,
    chamber_impedance,
    diffuse_pressure_squared,
    monopole_pressure,
    room_mode_frequency,
    window_mass,
)
from conewright.physics.acoustics.openings import radiation_resistance
from conewright.physics.basics.air import Air

AIR = Air()


def test_deep_notes_press_the_whole_cabin() -> None:
    z = chamber_impedance(
        air=AIR,
        cabin_volume=np.array([[2.8], [np.inf]]),
        leak_resistance=np.inf,
        leak_mass=0.0,
        frequency=np.array([1.0]),
    )
    # closed form: rho c^2/(s V), and nothing to press against in the open air
    assert z[0, 0] == pytest.approx(1.4184e5 / (2j * np.pi * 2.8), rel=1e-4)
    assert z[1, 0] == 0.0


def test_leak_takes_the_deep_notes() -> None:
    # well below the resonance of spring and leak at 13.5 Hz (closed form)
    f = np.array([2.0, 5.0])
    z, tight = (
        chamber_impedance(
            air=AIR, cabin_volume=2.8, leak_resistance=leak, leak_mass=7.0, frequency=f
        )
        for leak in (200.0, np.inf)
    )
    assert np.all(np.abs(z) < np.abs(tight))
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
    f = np.array([50.0])
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        chamber_impedance(
            air=AIR, cabin_volume=2.8, leak_resistance=1.0, leak_mass=0.0, frequency=0.0 * f
        )
    with pytest.raises(OutOfRangeError, match="leak_mass must not be below zero"):
        chamber_impedance(
            air=AIR, cabin_volume=2.8, leak_resistance=1.0, leak_mass=-1.0, frequency=f
        )


def test_solid_angles() -> None:
    f = np.array([100.0])

    def pressure(angle: float) -> float:
        p = monopole_pressure(
            air=AIR, volume_velocity=1e-3, distance=1.0, solid_angle=angle, frequency=f
        )
        return float(np.abs(p[0]))

    # closed form: pressure goes with one over the solid angle
    assert pressure(HALF_SPACE) == pytest.approx(2.0 * pressure(4.0 * np.pi))
    assert pressure(np.pi) == pytest.approx(4.0 * pressure(4.0 * np.pi))


def test_delay_turns_the_phase() -> None:
    f = np.array([343.21 / 4.0])
    p = monopole_pressure(air=AIR, volume_velocity=1.0, distance=1.0, frequency=f)
    # closed form: j at the source turned back by a quarter wave
    assert np.angle(p[0]) == pytest.approx(0.0, abs=1e-12)


def test_standstill_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        monopole_pressure(air=AIR, volume_velocity=1.0, distance=1.0, frequency=np.array([0.0]))
    with pytest.raises(OutOfRangeError, match="distance must be above zero"):
        monopole_pressure(air=AIR, volume_velocity=1.0, distance=0.0, frequency=np.array([9.0]))


def test_an_open_window_lets_the_chamber_breathe_out_below_its_resonance() -> None:
    # closed form: spring beside mass, f0 = 1/(2 pi sqrt(M C)); Q times the mass at f0, and far
    # below the mass alone is left
    volume, mass, quality = 2.6, 2.0, 4.0
    c = volume / float(AIR.bulk_modulus)
    resonance = 1.0 / (2 * np.pi * np.sqrt(mass * c))
    f = np.array([0.02 * resonance, resonance, 20.0 * resonance])
    tight: dict[str, Any] = {
        "air": AIR,
        "cabin_volume": volume,
        "leak_resistance": np.inf,
        "leak_mass": 0.0,
    }
    z = chamber_impedance(**tight, openings=[(mass, quality)], frequency=f)
    w0 = 2 * np.pi * resonance
    assert abs(z[0, 0] if z.ndim == 2 else z[0]) == pytest.approx(
        abs(2j * np.pi * f[0] * mass + w0 * mass / quality), rel=1e-3
    )
    # parallel of -j w0 M and w0 M (1/Q + j): w0 M sqrt(Q^2 + 1)
    assert abs(np.ravel(z)[1]) == pytest.approx(w0 * mass * np.sqrt(quality**2 + 1), rel=1e-9)
    closed = np.ravel(chamber_impedance(**tight, frequency=f))
    assert np.ravel(z)[2] == pytest.approx(closed[2], rel=5e-3)


def test_air_in_a_window_weighs_what_a_hole_in_thin_sheet_does() -> None:
    # independent: the hole of a door, whose end correction is our own mode matching
    from conewright.physics.acoustics.openings import holes_admittance

    f = np.array([30.0])
    hole = holes_admittance(area=0.2, count=1, thickness=1e-9, air=AIR, frequency=f)
    mass = (1.0 / hole / (2j * np.pi * f)).real
    assert window_mass(air=AIR, area=0.2) == pytest.approx(mass[0], rel=0.01)
    with pytest.raises(OutOfRangeError, match="area must be above zero"):
        window_mass(air=AIR, area=0.0)
