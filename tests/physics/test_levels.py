"""Decibels and weightings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.basics.levels import (
    REFERENCE_PRESSURE,
    a_weighting,
    amplitude_decibel,
    decibel,
    from_decibel,
    level,
    niosh_time,
)


@settings(deadline=None, derandomize=True)
@given(st.floats(-120.0, 160.0))
def test_both_ways(value: float) -> None:
    assert decibel(from_decibel(value)) == pytest.approx(value, abs=1e-9)
    # closed form: powers go with the square of amplitudes
    assert amplitude_decibel(from_decibel(0.5 * value)) == pytest.approx(value, abs=1e-9)


def test_silence_is_minus_infinity() -> None:
    assert level(0.0) == -np.inf
    assert from_decibel(-np.inf) == 0.0


def test_reference_pressure() -> None:
    assert level(REFERENCE_PRESSURE) == pytest.approx(0.0, abs=1e-12)
    # closed form: 1 Pa
    assert level(1.0) == pytest.approx(93.979, abs=0.001)


def test_weighting_meets_at_one_kilohertz_and_low_end() -> None:
    # published (IEC 61672-1): zero at 1 kHz
    assert a_weighting(1000.0) == pytest.approx(0.0, abs=0.005)
    # closed form: four zeros at the origin
    assert a_weighting(0.02) - a_weighting(0.01) == pytest.approx(24.08, abs=0.01)
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        a_weighting(0.0)


def test_times_halve() -> None:
    # published: an exchange rate of 3 dB (NIOSH)
    assert niosh_time(85.0) == pytest.approx(8 * 3600.0)
    assert niosh_time(88.0) == pytest.approx(4 * 3600.0)
