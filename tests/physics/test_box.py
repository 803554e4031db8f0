"""Sound in a box of air: its limits, its symmetry, and the modes of the textbook."""

from itertools import product

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.box import (
    NEAREST,
    Point,
    box_modes,
    box_pressure,
    crowding,
)
from conewright.physics.acoustics.cabin import chamber_impedance
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

AIR = Air()
C, RHO = AIR.speed_of_sound, AIR.density
SIZE = (2.5, 1.5, 1.2)
DOOR, OTHER_DOOR = (1.9, 1.46, 0.3), (1.9, 0.04, 0.3)
EAR = (1.4, 1.1, 1.05)


def heard(
    f: FloatArray,
    *sources: Point,
    ear: Point = EAR,
    size: tuple[Real, Real, Real] = SIZE,
    damping: Real = 0.08,
    leak: Real = np.inf,
    mass: Real = 0.0,
) -> list[ComplexArray]:
    length, width, height = size
    box = box_modes(
        air=AIR,
        length=length,
        width=width,
        height=height,
        volume=length * width * height,
        damping=damping,
        frequency=f,
    )
    return list(
        box_pressure(box=box, sources=sources, ear=ear, leak_resistance=leak, leak_mass=mass)
    )


def decibel(ratio: ComplexArray) -> FloatArray:
    return np.asarray(20.0 * np.log10(np.abs(ratio)))


def test_without_walls_there_is_the_direct_sound() -> None:
    # Closed form: a source in a large panel, rho s U exp(-s r/c)/(2 pi r).
    f = np.geomspace(20.0, 20_000.0, 31)
    middle = (5e5, 5e5, 5e5)
    ear = (5e5 + 0.7, 5e5 - 0.4, 5e5 + 0.8)
    got = heard(f, middle, ear=ear, size=(1e6, 1e6, 1e6))[0]
    r = np.sqrt(0.7**2 + 0.4**2 + 0.8**2)
    s = 2j * np.pi * f
    np.testing.assert_allclose(got[0], RHO * s * np.exp(-s * r / C) / (2.0 * np.pi * r), rtol=1e-6)


@pytest.mark.parametrize(("leak", "mass"), [(np.inf, 0.0), (200.0, 7.0)])
def test_far_below_the_first_mode_the_cabin_breathes(leak: float, mass: float) -> None:
    # Closed form: rho c^2/(s V) beside Rl + s Ml. A tight box of 4.5 m3 at 0.5 to 3 Hz, first mode
    # 69 Hz; the leak of the bodies turns it round at 11 Hz, so that there the modes count sooner.
    f = np.array([0.5, 1.0, 3.0])
    breathing = chamber_impedance(
        air=AIR,
        cabin_volume=4.5,
        leak_resistance=leak,
        leak_mass=mass,
        frequency=f,
    )
    for ear in (EAR, (0.2, 0.2, 0.2)):
        got = heard(f, DOOR, ear=ear, leak=leak, mass=mass)[0][0]
        assert decibel(got / breathing) == pytest.approx(0.0, abs=0.1)


def test_source_and_ear_may_change_places() -> None:
    f = np.geomspace(20.0, 440.0, 25)
    there = heard(f, DOOR, ear=EAR)[0]
    np.testing.assert_allclose(heard(f, EAR, ear=DOOR)[0], there, rtol=1e-12)


def test_opposed_doors_cancel_in_the_middle_and_add_up_alike() -> None:
    f = np.geomspace(20.0, 440.0, 25)
    ear = (1.2, 0.75, 1.05)
    left, right = heard(f, DOOR, OTHER_DOOR, ear=ear)
    assert np.all(np.abs(left - right) < 1e-9 * np.abs(left))
    # Off the middle they do not: the cross modes have opposite sign on either side.
    left, right = heard(f, DOOR, OTHER_DOOR)
    assert decibel((left - right) / (left + right)).max() > 10.0


def _modal_sum(f: FloatArray, source: Point, ear: Point, *, up_to: float) -> ComplexArray:
    """The textbook's sum over all modes up to a frequency, term by term, breathing included."""
    volume = SIZE[0] * SIZE[1] * SIZE[2]
    most = [int(2.0 * up_to * edge / C) for edge in SIZE]
    total = np.zeros(f.size, dtype=complex)
    s = 2j * np.pi * f
    for orders in product(*(range(n + 1) for n in most)):
        squares = [(n / edge) ** 2 for n, edge in zip(orders, SIZE, strict=True)]
        w = np.pi * C * np.sqrt(sum(squares))
        if w > 2.0 * np.pi * up_to:
            continue
        shape = 2.0 ** sum(n > 0 for n in orders)
        for n, edge, a, b in zip(orders, SIZE, source, ear, strict=True):
            shape *= float(np.cos(n * np.pi * a / edge) * np.cos(n * np.pi * b / edge))
        zeta = 0.08 * np.sqrt(60.0 * 2.0 * np.pi / w) if w else 0.0
        total += RHO * C**2 / volume * shape * s / (s**2 + 2.0 * zeta * w * s + w**2)
    return total


@pytest.mark.parametrize("ear", [EAR, (0.3, 0.75, 1.1), (1.95, 1.3, 0.45)])
def test_a_few_modes_and_the_rest_at_rest_are_as_good_as_all(ear: Point) -> None:
    # Second computation of Morse and Ingard's sum, up to 3 kHz: 22,000 modes.
    f = np.array([25.0, 40.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0])
    whole = _modal_sum(f, DOOR, ear, up_to=3000.0)
    error = decibel(heard(f, DOOR, ear=ear)[0][0] / whole)
    assert np.abs(error[:6]).max() < 0.15
    assert np.abs(error).max() < 0.8


def test_it_resounds_where_the_textbook_says() -> None:
    # Closed form: c/2 sqrt(sum (n/L)^2); published for 2.5 x 1.5 x 1.2 m and c = 343 m/s, the
    # mode (1, 1, 1) is at 195.46 Hz (rectangular-room formula of a reference text on vehicles).
    def frequency(*orders: int) -> float:
        return float(
            0.5 * C * np.sqrt(sum((n / e) ** 2 for n, e in zip(orders, SIZE, strict=True)))
        )

    assert frequency(1, 1, 1) * 343.0 / C == pytest.approx(195.46, rel=1e-3)
    corner, far = (0.0, 0.0, 0.0), SIZE
    for orders in ((1, 0, 0), (0, 1, 0), (1, 1, 0), (0, 0, 1), (1, 1, 1)):
        at = frequency(*orders)
        f = np.linspace(0.97 * at, 1.03 * at, 601)
        level = np.abs(heard(f, corner, ear=far, damping=0.002)[0][0])
        assert f[level.argmax()] == pytest.approx(at, rel=2e-3)


def test_beside_the_source_there_is_its_direct_sound() -> None:
    # Closed form: what changes between one and two hands from a source far from all walls is its
    # direct sound in full space, rho s/(4 pi) (1/r1 - 1/r2).
    f = np.array([50.0, 100.0, 150.0])
    near, further = (
        heard(f, (1.25, 0.75, 0.6), ear=(1.25 + r, 0.75, 0.6), damping=0.2)[0][0]
        for r in (NEAREST, 2.0 * NEAREST)
    )
    expected = RHO * 2.0 * np.pi * f / (4.0 * np.pi) * (1.0 / NEAREST - 0.5 / NEAREST)
    assert np.imag(near - further) == pytest.approx(expected, rel=0.05)


def test_array_equals_scalar_loop() -> None:
    f = np.array([25.0, 80.0, 190.0, 300.0, 1000.0])
    size = (np.array([[2.2], [3.0], [4.4]]), np.array([[1.4], [1.5], [1.9]]), 1.3)
    damping = np.array([[0.03], [0.1], [0.2]])
    rows = heard(f, DOOR, size=size, damping=damping, leak=200.0, mass=7.0)[0]
    assert rows.shape == (3, 5)
    for n, row in enumerate(rows):
        one = (float(size[0][n, 0]), float(size[1][n, 0]), 1.3)
        single = heard(f, DOOR, size=one, damping=float(damping[n, 0]), leak=200.0, mass=7.0)
        np.testing.assert_allclose(single[0][0], row, rtol=1e-9)


def test_frequencies_come_in_any_order() -> None:
    f = np.array([1000.0, 50.0, 300.0, 80.0])
    np.testing.assert_allclose(heard(f[::-1], DOOR)[0], heard(f, DOOR)[0][:, ::-1], rtol=1e-12)


def test_what_lies_outside_counts_as_at_the_wall() -> None:
    f = np.array([60.0, 120.0])
    outside, wall = heard(f, (1.9, 1.8, -0.1), (1.9, 1.5, 0.0))
    np.testing.assert_allclose(outside, wall)


def test_modes_crowd_later_in_a_small_cabin() -> None:
    f = np.array([100.0, 225.0, 450.0, 900.0])
    assert crowding(volume=3.0, frequency=f) == pytest.approx([0.0, 0.0, 1.0, 1.0])
    # Closed form: eight times the volume has as many modes below half the frequency.
    assert crowding(volume=48.0, frequency=f) == pytest.approx([0.0, 1.0, 1.0, 1.0])


def test_impossible_arguments_are_refused() -> None:
    f = np.array([50.0])
    with pytest.raises(OutOfRangeError, match="damping must be above zero"):
        heard(f, DOOR, damping=0.0)
    with pytest.raises(OutOfRangeError, match="width must be above zero"):
        heard(f, DOOR, size=(2.5, 0.0, 1.2))
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        heard(0.0 * f, DOOR)
