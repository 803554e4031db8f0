"""The complex frequency."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.laplace import angular_frequency, laplace


def test_s_is_j_two_pi_f() -> None:
    # closed form
    np.testing.assert_allclose(laplace(np.array([1.0, 50.0])), [2j * np.pi, 100j * np.pi])
    np.testing.assert_allclose(angular_frequency(50.0), 314.15926535897932)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.inf, np.nan])
def test_frequencies_that_are_no_steady_sine_are_refused(bad: float) -> None:
    with pytest.raises(OutOfRangeError, match="above 0 Hz"):
        laplace(np.array([20.0, bad]))
