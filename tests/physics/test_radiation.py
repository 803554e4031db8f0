"""A small source."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.radiation import (
    HALF_SPACE,
    monopole_pressure,
)
from conewright.physics.basics.air import Air

AIR = Air()


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
