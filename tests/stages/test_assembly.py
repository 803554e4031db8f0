"""Figures of an answer: their bands and origins, made together as if made one by one."""

import numpy as np
import pytest

import conewright
from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin, Value
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report.assembly import Answer


@pytest.fixture(scope="module")
def build() -> Build:
    return conewright.demo_job().build()


@pytest.fixture
def answer(build: Build) -> Answer:
    return Answer("feed", build, None, draw(build.axes))


def _axis(answer: Answer, origin: Origin) -> Value:
    """Return a value of that origin with an axis of its own."""
    drawn = (value for value in answer.build.values() if value.axes == (value.path,))
    return next(value for value in drawn if value.origin is origin)


def _pulled(answer: Answer, **pulls: float) -> FloatArray:
    """Return draws that each named origin pulls at so strongly, 5 in the centre."""
    scores = [k * answer.draws.score(_axis(answer, Origin(o)).path) for o, k in pulls.items()]
    return np.concatenate(([5.0], 5.0 + sum(scores)))


def test_the_origin_is_that_of_the_strongest_pull(answer: Answer) -> None:
    # Closed form: of independent scores the one with the largest factor covaries most.
    answer.figure("a", "x", _pulled(answer, measured=3.0, assumed=1.0), unit="", label="")
    answer.figure("a", "y", _pulled(answer, measured=1.0, assumed=-3.0), unit="", label="")
    answer.figure("a", "z", _pulled(answer, typical=0.2, sheet=0.1), unit="", label="")
    origins = [figure.origin for figure in answer.figures]
    assert origins == [Origin.MEASURED, Origin.ASSUMED, Origin.TYPICAL]


def test_a_chance_has_the_origin_of_what_it_was_made_from(answer: Answer) -> None:
    clearance = _pulled(answer, assumed=1.0)
    answer.figure("a", "odds", 0.3, unit="", label="", carrier=clearance)
    answer.figure("a", "own", 0.3, unit="", label="", carrier=clearance, origin=Origin.SHEET)
    assert [figure.origin for figure in answer.figures] == [Origin.ASSUMED, Origin.SHEET]


@pytest.mark.parametrize("values", [None, 2.0, np.full((257, 1), 2.0), np.r_[1.0, 1:256.0, np.inf]])
def test_what_nothing_pulls_at_is_as_good_as_what_was_written(
    answer: Answer, values: FloatArray | float | None
) -> None:
    answer.figure("a", "pulled", _pulled(answer, assumed=1.0), unit="", label="")
    answer.figure("a", "x", values, unit="", label="")
    assert answer["a.pulled"].origin is Origin.ASSUMED
    assert answer["a.x"].origin in (Origin.MEASURED, Origin.SHEET)


def test_bands_are_quantiles_that_hold_the_central_value(answer: Answer) -> None:
    # Closed form: between the draws 0, 1 to 255 the share q of them lies below 255 q.
    ramp = np.arange(256.0)[::-1]
    answer.figure("a", "inside", np.concatenate(([100.0], ramp)), unit="", label="")
    answer.figure("a", "below", np.concatenate(([3.0], ramp)), unit="", label="")
    answer.figure("a", "above", np.concatenate(([254.0], ramp)), unit="", label="")
    answer.figure("a", "alone", 7.0, unit="", label="")
    bands = [(f.value, f.low, f.median, f.high) for f in answer.figures]
    assert bands == [
        (100.0, pytest.approx(25.5), 127.5, pytest.approx(229.5)),
        (3.0, 3.0, 127.5, pytest.approx(229.5)),
        (254.0, pytest.approx(25.5), 127.5, 254.0),
        (7.0, 7.0, 7.0, 7.0),
    ]


def test_figures_made_together_are_those_made_one_by_one(build: Build) -> None:
    together, single = (Answer("feed", build, None, draw(build.axes)) for _ in range(2))
    for n, value in enumerate(build.values()):
        for answer in (together, single):
            answer.figure("a", str(n), answer.draws(value), unit="", label="")
        assert single[f"a.{n}"].id == f"a.{n}"
    assert list(together.figures) == list(single.figures)
    assert len(together.figures) > 100
