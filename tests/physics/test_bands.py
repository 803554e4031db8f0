"""Third-octave bands."""

from itertools import pairwise

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.bands import (
    NOMINAL_BANDS,
    OCTAVE_RATIO,
    band_centres,
    band_edges,
    band_mean_power,
    fine_grid,
)


def nominal(label: str) -> float:
    return float(label.rstrip("k")) * (1000.0 if label.endswith("k") else 1.0)


def test_labels_lie_at_their_bands() -> None:
    centres = band_centres()
    assert centres.shape == (31,)
    # published (IEC 61260-1 annex E): nominal values are rounded by less than 1.3 %
    for label, centre in zip(NOMINAL_BANDS, centres, strict=True):
        assert nominal(label) == pytest.approx(centre, rel=0.013)
    assert centres[17] == pytest.approx(1000.0, rel=1e-14)


def test_edges_meet() -> None:
    edges = band_edges()
    assert edges.shape == (32,)
    np.testing.assert_allclose(np.sqrt(edges[:-1] * edges[1:]), band_centres(), rtol=1e-13)


def test_five_points_in_every_band() -> None:
    grid = fine_grid()
    edges = band_edges()
    assert grid.shape == (127,)
    for low, high in pairwise(edges):
        inside = (grid >= low * (1 - 1e-9)) & (grid <= high * (1 + 1e-9))
        assert np.count_nonzero(inside) == 5
    assert grid[0] < edges[0]
    assert grid[-1] > edges[-1]
    np.testing.assert_allclose(grid[1:] / grid[:-1], OCTAVE_RATIO ** (1 / 12), rtol=1e-12)


def test_mean_of_a_constant_and_of_a_slope() -> None:
    grid = fine_grid()
    np.testing.assert_allclose(band_mean_power(np.full(127, 3.0), frequency=grid), 3.0)
    # closed form: linear over ln f, so the mean is the value at the centre
    np.testing.assert_allclose(
        band_mean_power(np.log(grid), frequency=grid), np.log(band_centres()), rtol=1e-12
    )


def test_mean_power_of_a_power_law() -> None:
    grid = fine_grid()
    edges = band_edges()
    # closed form: mean of f^2 over ln f; the trapezoid is 0.2 % high at twelve points an octave
    exact = (edges[1:] ** 2 - edges[:-1] ** 2) / (2.0 * np.log(edges[1:] / edges[:-1]))
    np.testing.assert_allclose(band_mean_power(grid**2, frequency=grid), exact, rtol=0.002)


def test_grid_may_be_another() -> None:
    grid = np.geomspace(15.0, 25_000.0, 4001)
    np.testing.assert_allclose(
        band_mean_power(np.log(grid), frequency=grid), np.log(band_centres()), rtol=1e-10
    )


def test_array_equals_scalar_loop() -> None:
    grid = fine_grid()
    power = np.random.default_rng(1).uniform(0.1, 2.0, (2, 3, 127))
    whole = band_mean_power(power, frequency=grid)
    assert whole.shape == (2, 3, 31)
    for i in range(2):
        for j in range(3):
            np.testing.assert_allclose(
                whole[i, j], band_mean_power(power[i, j], frequency=grid), rtol=1e-13
            )


def test_short_grid_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match=r"frequency must reach from 17\.8 to 22387 Hz"):
        band_mean_power(np.ones(3), frequency=np.array([20.0, 100.0, 30_000.0]))
    with pytest.raises(OutOfRangeError, match="frequency must rise"):
        band_mean_power(np.ones(3), frequency=np.array([10.0, 10.0, 30_000.0]))
