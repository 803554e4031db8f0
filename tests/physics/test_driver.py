"""The moving-coil driver."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.openings import radiation_mass
from conewright.physics.basics.air import Air
from conewright.physics.drivers.coil import Inductor, PowerLaw
from conewright.physics.drivers.driver import (
    Driver,
    acoustic_mass_free,
    loaded,
    mechanical_impedance,
    moving_mass_in_door,
    piston_radius,
    velocity_per_volt,
)

FREQUENCY = np.geomspace(10.0, 20e3, 60)
# Air of exactly 1.2 kg/m3, as the exercises take it.
AIR_12 = Air(pressure=101_325.0 * 1.2 / 1.2041)
WOOFER = Driver(
    re=3.4, bl=4.5, mms=14e-3, cms=0.5e-3, rms=1.3, sd=133e-4, coil=PowerLaw(k=0.02, n=0.7)
)
# Exercise: m 0.01 kg, B l 7.5 T m, s 2000 N/m, Rm 1 kg/s, radiation 2 + 2j kg/s, RE 10 ohm.
EXERCISE = Driver(
    re=10.0, bl=7.5, mms=0.01, cms=1 / 2000, rms=1.0, sd=np.pi * 0.01, coil=Inductor(le=0.5e-3)
)
EXERCISE_LOAD = (2.0 + 2.0j) / (np.pi * 0.01) ** 2
# Source of the exercise: course sheet ECE442 "Sheet (2) Loudspeaker" (document 729973113),
# problem stated there, answers recomputed; tolerances as recorded with it.


def test_reactance_of_the_exercise() -> None:
    # published relation (course sheet ECE442): 12.975 kg/s at 200 Hz, 0.3 %
    alone = mechanical_impedance(driver=EXERCISE, frequency=200.0)
    assert alone.imag + 2.0 == pytest.approx(12.975, rel=0.003)
    assert alone.real == 1.0


def test_acoustic_power_of_the_exercise() -> None:
    # published relation (course sheet ECE442): 2.537 W for 2 A, 0.5 %
    done = loaded(driver=EXERCISE, acoustic_load=EXERCISE_LOAD, frequency=200.0)
    velocity = 2.0 * done.impedance * done.velocity_per_volt
    assert abs(velocity) ** 2 * 2.0 == pytest.approx(2.537, rel=0.005)


def test_efficiency_of_the_exercise() -> None:
    # published relation (course sheet ECE442): 5.79 %, 0.5 %
    done = loaded(driver=EXERCISE, acoustic_load=EXERCISE_LOAD, frequency=200.0)
    radiated = abs(done.velocity_per_volt) ** 2 * 2.0
    taken = (1.0 / done.impedance).real
    assert radiated / taken == pytest.approx(0.0579, rel=0.005)


def test_impedance_at_resonance_is_re_times_one_plus_qms_over_qes() -> None:
    # closed form: at ws the mechanical impedance is Rms; Re + Bl^2/Rms = Re (1 + Qms/Qes)
    bare = replace(WOOFER, coil=Inductor(le=0.0))
    fs = 1 / (2 * np.pi * np.sqrt(14e-3 * 0.5e-3))
    got = loaded(driver=bare, acoustic_load=0.0, frequency=fs)
    assert got.impedance == pytest.approx(3.4 + 4.5**2 / 1.3)


def test_impedance_is_the_blocked_one_plus_the_motion() -> None:
    # closed form, other order of working: Z = ZE + Bl^2/(Zm + Sd^2 ZA)
    w = 2 * np.pi * FREQUENCY
    load = np.asarray(1e4 + 30j * w, dtype=np.complex128)
    moving = 1.3 + 1j * w * 14e-3 + 1 / (1j * w * 0.5e-3) + 133e-4**2 * load
    blocked = 3.4 + 0.02 * (1j * w) ** 0.7
    done = loaded(driver=WOOFER, acoustic_load=load, frequency=FREQUENCY)
    np.testing.assert_allclose(done.impedance, blocked + 4.5**2 / moving, rtol=1e-12)
    np.testing.assert_allclose(
        done.velocity_per_volt, 4.5 / (blocked * moving + 4.5**2), rtol=1e-12
    )


def test_positive_current_drives_the_cone_forward() -> None:
    # closed form: far below resonance x = Bl Cms V/Re, in phase and positive
    low = 0.01
    velocity = velocity_per_volt(driver=WOOFER, acoustic_load=0.0, frequency=low)
    travel = velocity / (2j * np.pi * low)
    assert travel.real == pytest.approx(4.5 * 0.5e-3 / 3.4, rel=1e-2)
    assert abs(travel.imag) < 0.01 * travel.real


def test_reversing_the_terminals_flips_the_motion_and_nothing_else() -> None:
    # invariant: reversal
    forward = loaded(driver=WOOFER, acoustic_load=0.0, frequency=FREQUENCY)
    back = loaded(driver=replace(WOOFER, bl=-WOOFER.bl), acoustic_load=0.0, frequency=FREQUENCY)
    np.testing.assert_array_equal(forward.velocity_per_volt, -back.velocity_per_volt)
    np.testing.assert_array_equal(forward.impedance, back.impedance)


def test_without_a_magnet_only_the_coil_is_left() -> None:
    # closed form
    dead = replace(WOOFER, bl=0.0)
    done = loaded(driver=dead, acoustic_load=0.0, frequency=FREQUENCY)
    np.testing.assert_allclose(done.impedance, 3.4 + 0.02 * (2j * np.pi * FREQUENCY) ** 0.7)
    assert not done.velocity_per_volt.any()


def test_a_limp_suspension_is_legal() -> None:
    # closed form: 1/(s inf) = 0
    limp = replace(WOOFER, cms=np.inf)
    got = mechanical_impedance(driver=limp, frequency=FREQUENCY)
    np.testing.assert_allclose(got, 1.3 + 2j * np.pi * FREQUENCY * 14e-3)


@given(
    re=st.floats(0.5, 16.0),
    bl=st.floats(0.0, 20.0),
    mms=st.floats(1e-4, 0.2),
    cms=st.floats(1e-5, 1e-2),
    rms=st.floats(0.0, 10.0),
    k=st.floats(0.0, 0.1),
    n=st.floats(0.5, 1.0),
    load=st.complex_numbers(max_magnitude=1e6),
)
def test_power_taken_is_power_lost(
    re: float, bl: float, mms: float, cms: float, rms: float, k: float, n: float, load: complex
) -> None:
    # invariants: passivity and power balance, coil heat + mechanical loss + radiated = Re(V i*)
    load = abs(load.real) + 1j * load.imag
    unit = Driver(re=re, bl=bl, mms=mms, cms=cms, rms=rms, sd=0.01, coil=PowerLaw(k=k, n=n))
    done = loaded(driver=unit, acoustic_load=load, frequency=FREQUENCY)
    assert np.all(done.impedance.real > 0.0)
    current = 1.0 / done.impedance
    coil = k * (2 * np.pi * FREQUENCY) ** n * np.cos(n * np.pi / 2)
    lost = abs(current) ** 2 * (re + coil)
    lost = lost + abs(done.velocity_per_volt) ** 2 * (rms + 1e-4 * load.real)
    np.testing.assert_allclose(lost, current.real, rtol=1e-9, atol=1e-12 * abs(current).max())


def test_samples_lead_and_frequency_is_last() -> None:
    # invariant: array equals scalar loop
    bl = np.array([[3.0], [4.0], [5.0]])
    mms = np.array([[9e-3], [12e-3], [15e-3]])
    many = replace(WOOFER, bl=bl, mms=mms)
    got = loaded(driver=many, acoustic_load=np.full((3, 60), 1e3 + 0j), frequency=FREQUENCY)
    assert got.impedance.shape == (3, 60)
    for row in range(3):
        one = replace(WOOFER, bl=float(bl[row, 0]), mms=float(mms[row, 0]))
        alone = loaded(driver=one, acoustic_load=1e3, frequency=FREQUENCY)
        np.testing.assert_allclose(got.impedance[row], alone.impedance)
        np.testing.assert_allclose(got.velocity_per_volt[row], alone.velocity_per_volt)


def test_air_on_a_cone_in_free_air() -> None:
    # own second implementation, 2 digits: radius 66 mm carries 0.92 g, half of a baffled cone's
    sd = np.pi * 0.066**2
    assert acoustic_mass_free(air=Air(), sd=sd) == pytest.approx(0.92e-3, abs=0.005e-3)
    baffled = 2 * radiation_mass(radius=0.066, air=Air()) * sd**2
    assert acoustic_mass_free(air=Air(), sd=sd) == pytest.approx(baffled / 2)


def test_air_on_a_baffled_cone() -> None:
    # published: (16/3) rho a^3 = 11.059 g at a = 0.12 m, rho 1.2, 0.2 % (parameter file of a
    # general finite-element suite's lumped loudspeaker driver); the free cone carries half
    free = acoustic_mass_free(air=AIR_12, sd=np.pi * 0.12**2)
    assert 2 * free == pytest.approx(11.059e-3, rel=0.002)
    # published, same expression: 1.769 g for 133 cm2 at 1.204 kg/m3, 0.3 %
    assert 2 * acoustic_mass_free(air=Air(), sd=133e-4) == pytest.approx(1.769e-3, rel=0.003)


def test_the_air_is_taken_out_once() -> None:
    # closed form
    bare = moving_mass_in_door(mms=15e-3, sd=130e-4, air=Air())
    assert bare + acoustic_mass_free(air=Air(), sd=130e-4) == pytest.approx(15e-3)
    assert piston_radius(sd=np.pi * 0.25) == pytest.approx(0.5)
    with pytest.raises(OutOfRangeError, match="less than that of the air"):
        moving_mass_in_door(mms=0.5e-3, sd=130e-4, air=Air())


def test_zero_frequency_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="above 0 Hz"):
        loaded(driver=WOOFER, acoustic_load=0.0, frequency=0.0)
