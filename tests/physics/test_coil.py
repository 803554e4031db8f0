"""The voice coil."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.drivers.coil import (
    Coil,
    CoilWiring,
    Inductor,
    PowerLaw,
    ShuntedInductor,
    TwiceShuntedInductor,
    coil_impedance,
    power_law_from_inductance,
    resistance_at,
    scaled_turns,
    two_coils,
)

FREQUENCY = np.geomspace(10.0, 20e3, 40)


def test_a_lossless_coil_is_two_pi_f_l() -> None:
    # closed form
    got = coil_impedance(coil=Inductor(le=0.3e-3), frequency=np.array([1000.0]))
    np.testing.assert_allclose(got, 0.6j * np.pi)


def test_power_law_has_its_size_and_angle() -> None:
    # closed form: |Z| = K w^n at 90 n degrees
    got = coil_impedance(coil=PowerLaw(k=0.02, n=0.7), frequency=FREQUENCY)
    np.testing.assert_allclose(abs(got), 0.02 * (2 * np.pi * FREQUENCY) ** 0.7)
    np.testing.assert_allclose(np.degrees(np.angle(got)), 63.0)


def test_power_law_with_n_one_is_the_lossless_coil() -> None:
    # closed form; 1e-15 is the cosine of a right angle
    law = coil_impedance(coil=PowerLaw(k=0.5e-3, n=1.0), frequency=FREQUENCY)
    plain = coil_impedance(coil=Inductor(le=0.5e-3), frequency=FREQUENCY)
    np.testing.assert_allclose(law, plain, rtol=1e-14)


def test_shunted_coil_at_its_ends() -> None:
    # closed form: Le + L2 at low frequency, R2 + s Le at high frequency, Le + L2 when R2 is open
    coil = ShuntedInductor(le=0.1e-3, l2=0.4e-3, r2=2.0)
    w = 2 * np.pi * np.array([0.01, 1e9])
    low, high = coil_impedance(coil=coil, frequency=w / (2 * np.pi))
    assert low.imag == pytest.approx(w[0] * 0.5e-3, rel=1e-9)
    assert high.real == pytest.approx(2.0, rel=1e-9)
    assert high.imag == pytest.approx(w[1] * 0.1e-3, rel=1e-9)
    opened = coil_impedance(
        coil=ShuntedInductor(le=0.1e-3, l2=0.4e-3, r2=np.inf), frequency=FREQUENCY
    )
    np.testing.assert_allclose(
        opened, coil_impedance(coil=Inductor(le=0.5e-3), frequency=FREQUENCY)
    )


def test_coil_with_two_loops_is_one_with_one_and_another_loop() -> None:
    # closed form: R and sL in parallel, R w^2 L^2/(R^2 + w^2 L^2) + j w L R^2/(R^2 + w^2 L^2)
    two = TwiceShuntedInductor(le=0.1e-3, l2=0.4e-3, r2=2.0, l3=0.2e-3, r3=9.0)
    one = ShuntedInductor(le=0.1e-3, l2=0.4e-3, r2=2.0)
    w = 2 * np.pi * FREQUENCY
    scale = 1.0 / (9.0**2 + (w * 0.2e-3) ** 2)
    loop = scale * (9.0 * (w * 0.2e-3) ** 2 + 1j * w * 0.2e-3 * 9.0**2)
    got = coil_impedance(coil=two, frequency=FREQUENCY)
    np.testing.assert_allclose(got, coil_impedance(coil=one, frequency=FREQUENCY) + loop)
    half = coil_impedance(coil=scaled_turns(coil=two, turns=0.5), frequency=FREQUENCY)
    np.testing.assert_allclose(half, 0.25 * got)


def test_power_law_agrees_with_the_quoted_inductance_where_it_was_quoted() -> None:
    # closed form: 0.5 mH at 1 kHz is 3.14159 ohm, whatever n
    for n in (0.5, 0.7, 1.0):
        law = power_law_from_inductance(le=0.5e-3, n=n)
        assert abs(coil_impedance(coil=law, frequency=1000.0)) == pytest.approx(np.pi)
    assert power_law_from_inductance(le=0.5e-3, n=0.5, frequency=100.0).k == pytest.approx(
        0.5e-3 * np.sqrt(200 * np.pi)
    )


@given(
    size=st.floats(1e-6, 1e-2),
    n=st.floats(0.5, 1.0),
    r2=st.floats(0.1, 1e3),
)
def test_every_coil_takes_power_and_never_gives_it(size: float, n: float, r2: float) -> None:
    # invariant: passivity; the rounding of cos(pi/2) is 1e-16 of the size
    coils: list[Coil] = [
        PowerLaw(k=size, n=n),
        Inductor(le=size),
        ShuntedInductor(le=size, l2=size, r2=r2),
        TwiceShuntedInductor(le=size, l2=size, r2=r2, l3=size, r3=2.0 * r2),
    ]
    for coil in coils:
        impedance = coil_impedance(coil=coil, frequency=FREQUENCY)
        assert np.all(impedance.real >= -1e-15 * abs(impedance))
        assert np.all(impedance.imag > 0.0)


def test_samples_lead_and_frequency_is_last() -> None:
    # invariant: array equals scalar loop
    k = np.array([[0.01], [0.03]])
    n = np.array([[0.6], [0.8]])
    got = coil_impedance(coil=PowerLaw(k=k, n=n), frequency=FREQUENCY)
    assert got.shape == (2, 40)
    for row in range(2):
        one = PowerLaw(k=float(k[row, 0]), n=float(n[row, 0]))
        np.testing.assert_allclose(got[row], coil_impedance(coil=one, frequency=FREQUENCY))


@pytest.mark.parametrize("n", [0.49, 1.01, np.nan])
def test_an_exponent_outside_the_law_is_refused(n: float) -> None:
    with pytest.raises(OutOfRangeError, match="exponent n must be within"):
        PowerLaw(k=0.01, n=np.array([[0.7], [n]]))


def test_negative_parts_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="le must not be below zero"):
        Inductor(le=-1e-3)
    with pytest.raises(OutOfRangeError, match="r2 must be above zero"):
        ShuntedInductor(le=1e-3, l2=1e-3, r2=0.0)
    with pytest.raises(OutOfRangeError, match="k must not be below zero"):
        PowerLaw(k=-0.01, n=0.7)


def test_hot_copper() -> None:
    # published: IEC 60028, 3.93e-3 per kelvin at 20 C
    assert resistance_at(resistance=3.4, temperature=293.15) == 3.4
    assert resistance_at(resistance=3.4, temperature=393.15) == pytest.approx(3.4 * 1.393)


def test_two_coils_as_one_winding_of_other_turns() -> None:
    # Closed form, of two coils of R and Bl each: in series 2 R and 2 Bl, in parallel R/2 and Bl,
    # one alone R and Bl; Qes goes with Re/Bl^2, Le with the square of the turns.
    r, bl = 4.0, 6.0
    cases: tuple[tuple[CoilWiring, float, float, float], ...] = (
        ("parallel", r / 2, bl, 1.0),
        ("series", 2 * r, 2 * bl, 2.0),
        ("one", r, bl, 1.0),
    )
    for wired, re_wanted, bl_wanted, turns in cases:
        factors = two_coils(wired)
        assert factors.re * r / 2 == pytest.approx(re_wanted, rel=1e-12)
        assert factors.bl * bl == pytest.approx(bl_wanted, rel=1e-12)
        assert factors.qes == pytest.approx(re_wanted / bl_wanted**2 / (r / 2 / bl**2), rel=1e-12)
        assert factors.le == turns**2
