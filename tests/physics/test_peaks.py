"""The highest point between samples."""

import numpy as np
import pytest

from conewright.physics.basics.peaks import highest


def test_a_parabola_is_met_between_its_samples() -> None:
    # closed form: top of 3 - 2 (x - c)^2
    x = np.linspace(0.0, 4.0, 9)
    tops = np.array([1.13, 2.71])
    at, height = highest(x=x, y=3.0 - 2.0 * (x - tops[:, None]) ** 2)
    np.testing.assert_allclose(at, tops)
    np.testing.assert_allclose(height, 3.0)


@pytest.mark.parametrize("slope", [1.0, -1.0])
def test_a_curve_that_rises_to_its_end_is_not_read_beyond_it(slope: float) -> None:
    # invariant: no place outside the samples by more than half a step beyond the end
    x = np.linspace(0.0, 4.0, 9)
    at, height = highest(x=x, y=(slope * np.exp(slope * 0.3 * x))[None, :])
    assert np.all((at >= -0.5) & (at <= 4.5))
    assert np.all(np.isfinite(height))
