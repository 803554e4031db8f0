"""The closed box against its own closed forms."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.air import Air
from conewright.physics.closed_box import (
    air_spring_stiffness,
    box_quality,
    box_resonance,
    box_response,
    half_power_ratio,
    response_peak,
    response_peak_ratio,
)
from conewright.physics.levels import amplitude_decibel
from conewright.physics.thiele_small import equivalent_volume, resonance_frequency

QUALITIES = np.array([0.5, 0.577, 0.7071068, 0.8, 1.0, 1.5, 2.0])


def test_half_power_point_lies_on_the_response() -> None:
    for q in QUALITIES:
        ratio = float(half_power_ratio(qtc=float(q)))
        response = box_response(fc=1.0, qtc=float(q), frequency=np.array([ratio]))
        # closed form: half power
        assert abs(response[0]) ** 2 == pytest.approx(0.5, rel=1e-12)


def test_peak_lies_on_the_response() -> None:
    for q in (0.8, 1.0, 1.5):
        ratio = float(response_peak_ratio(qtc=q))
        around = np.array([0.999, 1.0, 1.001]) * ratio
        found = amplitude_decibel(np.abs(box_response(fc=1.0, qtc=q, frequency=around)))
        assert found[1] == pytest.approx(response_peak(qtc=q), abs=1e-9)
        assert found[1] > found[0]
        assert found[1] > found[2]


def test_flat_boxes_have_no_peak() -> None:
    # closed form: maximally flat at Q = 1/sqrt(2)
    assert response_peak(qtc=0.6) == pytest.approx(0.0, abs=1e-12)
    assert response_peak_ratio(qtc=0.6) == np.inf


def test_resonance_by_stiffness_and_by_volume() -> None:
    air = Air()
    mms, cms, sd, volume = 0.015, 4.4e-4, 0.013, 0.02
    stiffness = 1.0 / cms + air_spring_stiffness(sd=sd, volume=volume, air=air)
    by_spring = resonance_frequency(mms=mms, cms=1.0 / stiffness)
    by_volume = box_resonance(
        fs=resonance_frequency(mms=mms, cms=cms),
        vas=equivalent_volume(cms=cms, sd=sd, air=air),
        volume=volume,
    )
    # two routes agree
    assert by_volume == pytest.approx(by_spring, rel=1e-12)


def test_endless_box_changes_nothing() -> None:
    assert box_resonance(fs=60.0, vas=0.01, volume=np.inf) == 60.0
    assert box_quality(q=0.7, vas=0.01, volume=np.inf) == 0.7


def test_array_equals_scalar_loop() -> None:
    frequency = np.array([20.0, 60.0, 500.0])
    fc = np.array([[50.0], [80.0]])
    whole = box_response(fc=fc, qtc=0.9, frequency=frequency)
    assert whole.shape == (2, 3)
    for row in range(2):
        single = box_response(fc=float(fc[row, 0]), qtc=0.9, frequency=frequency)
        np.testing.assert_allclose(whole[row], single, rtol=1e-14)


def test_standstill_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="frequency must be above zero"):
        box_response(fc=60.0, qtc=0.7, frequency=np.array([0.0, 10.0]))
    with pytest.raises(OutOfRangeError, match="volume must be above zero"):
        box_resonance(fs=60.0, vas=0.01, volume=0.0)
