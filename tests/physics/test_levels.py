"""Decibels and weightings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.levels import (
    REFERENCE_PRESSURE,
    WEEKLY_REFERENCE_SENSITIVE,
    a_weighting,
    amplitude_decibel,
    amplitude_from_decibel,
    c_weighting,
    coherent_sum,
    decibel,
    from_decibel,
    level,
    niosh_time,
    osha_time,
    power_difference,
    power_sum,
    pressure_of_level,
    sound_exposure,
    weekly_time,
)


@settings(deadline=None, derandomize=True)
@given(st.floats(-120.0, 160.0))
def test_both_ways(value: float) -> None:
    assert decibel(from_decibel(value)) == pytest.approx(value, abs=1e-9)
    assert amplitude_decibel(amplitude_from_decibel(value)) == pytest.approx(value, abs=1e-9)
    assert level(pressure_of_level(value)) == pytest.approx(value, abs=1e-9)


def test_silence_is_minus_infinity() -> None:
    assert level(0.0) == -np.inf
    assert from_decibel(-np.inf) == 0.0
    assert power_sum(np.array([-np.inf, 70.0])) == pytest.approx(70.0)


def test_reference_pressure() -> None:
    assert level(REFERENCE_PRESSURE) == pytest.approx(0.0, abs=1e-12)
    # closed form: 1 Pa
    assert level(1.0) == pytest.approx(93.979, abs=0.001)


def test_opposite_sources_cancel() -> None:
    assert coherent_sum(levels=np.array([80.0, 80.0]), phases=np.array([0.0, np.pi])) < -200.0


def test_sum_and_difference_are_inverse() -> None:
    total = power_sum(np.array([[80.0, 85.0], [60.0, 61.0]]))
    np.testing.assert_allclose(
        power_difference(total=total, part=np.array([80.0, 60.0])), [85.0, 61.0]
    )
    assert np.isnan(power_difference(total=80.0, part=85.0))


def test_weightings_meet_at_one_kilohertz_and_low_end() -> None:
    # published (IEC 61672-1): both zero at 1 kHz
    assert a_weighting(1000.0) == pytest.approx(0.0, abs=0.005)
    assert c_weighting(1000.0) == pytest.approx(0.0, abs=0.005)
    # closed form: four zeros and two zeros at the origin
    assert a_weighting(0.02) - a_weighting(0.01) == pytest.approx(24.08, abs=0.01)
    assert c_weighting(0.02) - c_weighting(0.01) == pytest.approx(12.04, abs=0.01)
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        a_weighting(0.0)


def test_equal_exposures() -> None:
    # published (British guidance text): 105 dB 5 min, 94 dB 1 h, 88 dB 4 h, alike in 0.3 dB
    exposures = [
        sound_exposure(105.0, duration=300.0),
        sound_exposure(94.0, duration=3600.0),
        sound_exposure(88.0, duration=4 * 3600.0),
    ]
    spread = decibel(np.array(exposures))
    assert spread.max() - spread.min() < 0.3


def test_times_halve() -> None:
    # published: exchange rates of 3 dB (NIOSH, H.870) and 5 dB (29 CFR 1910.95)
    assert niosh_time(85.0) == pytest.approx(8 * 3600.0)
    assert niosh_time(88.0) == pytest.approx(4 * 3600.0)
    assert osha_time(95.0) == pytest.approx(4 * 3600.0)
    assert weekly_time(83.0) == pytest.approx(20 * 3600.0)
    sensitive = weekly_time(75.0, reference=WEEKLY_REFERENCE_SENSITIVE)
    assert sensitive == pytest.approx(40 * 3600.0)
