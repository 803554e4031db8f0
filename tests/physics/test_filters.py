"""Filters against scipy's, and an amplifier's supply against its own equations."""

import numpy as np
import pytest
from scipy import signal

from conewright.errors import OutOfRangeError
from conewright.physics.electrics.amplifier import (
    clean_peak_voltage,
    fed_share,
    open_swing,
    programme_share,
)
from conewright.physics.electrics.filters import (
    FilterKind,
    Side,
    butterworth_high_pass,
    butterworth_low_pass,
    filter_response,
)

GRID = np.geomspace(10.0, 20e3, 60)
CORNER = 730.0
SIDES: tuple[Side, ...] = ("high-pass", "low-pass")


def by_scipy(side: Side, order: int) -> np.ndarray:
    angular = 2 * np.pi * CORNER
    above, below = (
        signal.butter(order, angular, "highpass", analog=True)
        if side == "high-pass"
        else signal.butter(order, angular, "lowpass", analog=True)
    )
    s = 2j * np.pi * GRID
    return np.asarray(np.polyval(above, s) / np.polyval(below, s))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_butterworth_is_scipys(side: Side, order: int) -> None:
    # independent tool: scipy.signal.butter, analogue, its polynomials in s
    got = filter_response(side=side, kind="butterworth", corner=CORNER, order=order, frequency=GRID)
    np.testing.assert_allclose(got, by_scipy(side, order), rtol=1e-9)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("order", [2, 4])
def test_linkwitz_riley_is_scipys_butterworth_twice(side: Side, order: int) -> None:
    # independent tool: scipy.signal.butter of half the order, squared
    got = filter_response(
        side=side, kind="linkwitz-riley", corner=CORNER, order=order, frequency=GRID
    )
    np.testing.assert_allclose(got, by_scipy(side, order // 2) ** 2, rtol=1e-9)


def at_corner(side: Side, kind: FilterKind, order: int) -> complex:
    found = filter_response(
        side=side, kind=kind, corner=CORNER, order=order, frequency=np.array([CORNER])
    )
    return complex(found[0])


def test_what_a_corner_is() -> None:
    # closed form: -3.0103 dB of Butterworth, -6.0206 dB of Linkwitz-Riley, at any order
    for side in SIDES:
        for order in (1, 2, 3, 4):
            assert abs(at_corner(side, "butterworth", order)) == pytest.approx(2**-0.5)
        for order in (2, 4):
            assert abs(at_corner(side, "linkwitz-riley", order)) == pytest.approx(0.5)


def test_linkwitz_riley_of_order_4_adds_up_to_an_all_pass_and_of_order_2_turned_round() -> None:
    # closed form: Linkwitz 1976, from memory
    def both(order: int) -> tuple[np.ndarray, np.ndarray]:
        low, high = (
            filter_response(
                side=side, kind="linkwitz-riley", corner=CORNER, order=order, frequency=GRID
            )
            for side in ("low-pass", "high-pass")
        )
        return low, high

    low, high = both(4)
    np.testing.assert_allclose(np.abs(low + high), 1.0, rtol=1e-12)
    low, high = both(2)
    np.testing.assert_allclose(np.abs(low - high), 1.0, rtol=1e-12)
    assert abs(
        at_corner("low-pass", "linkwitz-riley", 2) + at_corner("high-pass", "linkwitz-riley", 2)
    ) == pytest.approx(0.0, abs=1e-12)


def test_the_two_ends_of_a_filter() -> None:
    far = np.array([1e-3, 1e9])
    high = np.abs(butterworth_high_pass(corner=CORNER, order=3, frequency=far))
    low = np.abs(butterworth_low_pass(corner=CORNER, order=3, frequency=far))
    np.testing.assert_allclose(high, [0.0, 1.0], atol=1e-9)
    np.testing.assert_allclose(low, [1.0, 0.0], atol=1e-9)


def test_corners_broadcast_over_draws() -> None:
    corners = np.array([[80.0], [2500.0]])
    whole = butterworth_low_pass(corner=corners, order=2, frequency=GRID)
    alone = [butterworth_low_pass(corner=float(c), order=2, frequency=GRID) for c in corners[:, 0]]
    np.testing.assert_allclose(whole, alone, rtol=1e-13)


@pytest.mark.parametrize(("kind", "order"), [("butterworth", 5), ("linkwitz-riley", 3)])
def test_no_such_order(kind: FilterKind, order: int) -> None:
    with pytest.raises(OutOfRangeError, match=str(order)):
        filter_response(side="low-pass", kind=kind, corner=CORNER, order=order, frequency=GRID)


# --- The amplifier's supply ---------------------------------------------------------------------


def test_an_open_output_swings_so_that_its_rating_is_met() -> None:
    # closed form: the two functions are each other's inverse
    swing = open_swing(volts=14.0, load=4.0, clip_loss=0.5)
    peak = clean_peak_voltage(supply=swing, clip_loss=0.5, impedance=4.0 + 0j)
    assert float(peak) == pytest.approx(14.0 * 2**0.5)
    assert float(swing) == pytest.approx(14.0 * 2**0.5 * 4.5 / 4.0)


def test_what_is_left_of_the_supply_solves_its_equation() -> None:
    # closed form: put back into Vs x = Vs - R (P x/Vs + Iq)
    volts, ohm, watts, rest = 13.8, 0.05, 260.0, 0.8
    x = float(fed_share(supply=volts, feed_resistance=ohm, power=watts, rest_current=rest))
    assert volts * x == pytest.approx(volts - ohm * (watts * x**2 / (volts * x) + rest))
    assert 0.9 < x < 0.95
    stiff = fed_share(supply=volts, feed_resistance=0.0, power=watts, rest_current=rest)
    assert float(stiff) == 1.0


def test_class_d_takes_with_the_power_and_class_ab_with_the_volts() -> None:
    # closed form, far from clipping: v^2 as the fraction; E|v| = sqrt(fraction/pi) Vc, over 2/pi
    # of a sine
    for fraction in (0.001, 0.01):
        switching = float(programme_share(fraction=fraction, switching=True))
        assert switching == pytest.approx(fraction, rel=1e-6)
        linear = float(programme_share(fraction=fraction, switching=False))
        assert linear == pytest.approx(0.5 * np.pi * np.sqrt(fraction / np.pi), rel=1e-6)


@pytest.mark.parametrize(
    "call",
    [
        lambda: open_swing(volts=0.0, load=4.0, clip_loss=0.5),
        lambda: fed_share(supply=13.0, feed_resistance=-1.0, power=1.0, rest_current=0.1),
        lambda: programme_share(fraction=0.0, switching=True),
    ],
)
def test_out_of_range(call: object) -> None:
    assert callable(call)
    with pytest.raises(OutOfRangeError):
        call()
