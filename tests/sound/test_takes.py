"""Takes of one place: means, Student's interval, and the odd one out."""

import numpy as np
import pytest
from scipy import stats

from conewright.errors import BadInputError
from conewright.sound.recorded.takes import mean_of_takes, student_factor


def test_the_interval_of_the_mean_is_students() -> None:
    # Independent tool: scipy.stats.t.
    takes = np.random.default_rng(2).normal(-30.0, 0.4, (3, 31))
    found = mean_of_takes({f"take {k}": take for k, take in enumerate(takes)})
    low, high = stats.t.interval(0.8, df=2, loc=takes.mean(axis=0), scale=stats.sem(takes, axis=0))
    np.testing.assert_allclose(found.level - found.half_width, low)
    np.testing.assert_allclose(found.level + found.half_width, high)
    np.testing.assert_allclose(found.spread, takes.std(axis=0, ddof=1))
    assert found.used == ("take 0", "take 1", "take 2")
    assert found.left_out == ()


@pytest.mark.parametrize(("counts", "share"), [((2,), 0.8), ((5,), 0.95), ((3, 4), 0.5)])
def test_the_factor_is_that_of_the_table(counts: tuple[int, ...], share: float) -> None:
    wanted = stats.t.ppf(0.5 + share / 2, sum(counts) - len(counts))
    assert student_factor(*counts, share=share) == pytest.approx(wanted, rel=1e-9)


def test_the_take_that_differs_is_left_out_by_name() -> None:
    level = np.linspace(-20.0, -40.0, 31)
    takes = {"a": level, "b": level + 0.2, "odd": level + 5.0, "c": level - 0.2}
    found = mean_of_takes(takes)
    assert found.left_out == ("odd",)
    assert found.used == ("a", "b", "c")
    np.testing.assert_allclose(found.level, level)
    # The same in the bass alone is no reason: bands from 200 Hz to 4 kHz decide.
    bass = level.copy()
    bass[:10] += 5.0
    assert mean_of_takes({**takes, "odd": bass}).left_out == ()
    # One of three as well; of two nobody can tell.
    assert mean_of_takes({"a": level, "b": level, "odd": level - 9.0}).left_out == ("odd",)
    assert mean_of_takes({"a": level, "odd": level - 9.0}).left_out == ()


def test_a_take_alone_has_no_spread_and_none_has_nothing() -> None:
    found = mean_of_takes({"a": np.zeros(31)})
    assert np.isnan(found.half_width).all()
    assert np.isnan(found.spread).all()
    with pytest.raises(BadInputError, match="found no take"):
        mean_of_takes({})
    with pytest.raises(BadInputError, match=r"takes: found \[1\]; allowed: two or more"):
        student_factor(1)


def test_more_takes_narrow_the_mean() -> None:
    # Closed form: the spread of a mean falls with the root of their number.
    takes = np.random.default_rng(1).normal(0.0, 1.0, (64, 31))
    few = mean_of_takes({str(k): t for k, t in enumerate(takes[:4])})
    many = mean_of_takes({str(k): t for k, t in enumerate(takes)})
    assert np.mean(many.half_width) < 0.3 * np.mean(few.half_width)
