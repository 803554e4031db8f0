"""Filters in a radio or an amplifier: high-pass and low-pass, by kind, order and corner."""

from typing import Literal

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

__all__ = [
    "LINKWITZ_RILEY",
    "FilterKind",
    "Side",
    "butterworth_high_pass",
    "butterworth_low_pass",
    "filter_response",
]

LINKWITZ_RILEY = "linkwitz-riley"

FilterKind = Literal["butterworth", "linkwitz-riley"]
Side = Literal["high-pass", "low-pass"]


def butterworth_high_pass(*, corner: Real, order: int, frequency: FloatArray) -> ComplexArray:
    """Response of a Butterworth high-pass.

    Args:
        corner: -3 dB frequency, shape (..., 1) or a number [Hz].
        order: 1 to 4, that is 6 to 24 dB per octave.
        frequency: shape (F,) [Hz], positive.

    Returns:
        Complex response, shape (..., F) [V/V]: s^N / B_N(s) with the Butterworth polynomial B_N.

    Raises:
        OutOfRangeError: the order is not 1 to 4.

    Source:
        Butterworth, Wireless Engineer 7, 1930: poles equally spaced on the unit circle.

    """
    s = 1j * frequency / np.asarray(corner)
    response = np.ones_like(s)
    for pole in _butterworth_poles(order):
        response = response * s / (s - pole)
    return np.asarray(response)


def butterworth_low_pass(*, corner: Real, order: int, frequency: FloatArray) -> ComplexArray:
    """Response of a Butterworth low-pass, 1 / B_N(s) [V/V]; as `butterworth_high_pass`."""
    s = 1j * frequency / np.asarray(corner)
    response = np.ones_like(s)
    for pole in _butterworth_poles(order):
        response = response * -pole / (s - pole)
    return np.asarray(response)


def filter_response(
    *, side: Side, kind: FilterKind, corner: Real, order: int, frequency: FloatArray
) -> ComplexArray:
    """Response of a filter of a sound menu.

    Args:
        side: what passes.
        kind: a Linkwitz-Riley filter is a Butterworth one of half its order twice over.
        corner: shape (..., 1) or a number [Hz]: -3 dB of a Butterworth filter, -6 dB of the other.
        order: 1 to 4; 2 or 4 of a Linkwitz-Riley filter.
        frequency: shape (F,) [Hz], positive.

    Returns:
        Complex response, shape (..., F) [V/V].

    Raises:
        OutOfRangeError: there is no filter of that order.

    Source:
        Linkwitz, J. Audio Eng. Soc. 24(1), 1976, from memory: the low-pass and the high-pass of
        order 4 add up to an all-pass, those of order 2 to a null at the corner unless one is
        turned round.

    """
    once = butterworth_high_pass if side == "high-pass" else butterworth_low_pass
    if kind != LINKWITZ_RILEY:
        return once(corner=corner, order=order, frequency=frequency)
    if order not in (2, 4):
        raise OutOfRangeError(f"a Linkwitz-Riley filter is of order 2 or 4, not {order}")
    return np.asarray(once(corner=corner, order=order // 2, frequency=frequency) ** 2)


def _butterworth_poles(order: int) -> ComplexArray:
    if not 1 <= order <= 4:
        raise OutOfRangeError(f"order {order} is not 1 to 4")
    angles = np.pi * (2 * np.arange(1, order + 1) + order - 1) / (2 * order)
    return np.asarray(np.exp(1j * angles))
