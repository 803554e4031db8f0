"""Outlines: grown, measured, held in each other, against closed forms."""

from math import cos, hypot, pi, radians, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.papers.drawing.geometry import Arc, Ellipse, Line
from conewright.papers.drawing.outlines import (
    Cornered,
    Oval,
    Round,
    Slab,
    area,
    drawn,
    grown,
    holds,
    length,
    outside,
    reach,
)

steady = settings(deadline=None, derandomize=True, max_examples=60)
SQUARE = Cornered(((-40.0, -30.0), (40.0, -30.0), (40.0, 30.0), (-40.0, 30.0)))


def test_areas_and_lengths_in_closed_form() -> None:
    assert area(Round(10.0)) == pytest.approx(pi * 100.0, rel=1e-12)
    assert area(Oval((30.0, 20.0))) == pytest.approx(pi * 600.0, rel=1e-12)
    assert area(SQUARE) == 4800.0
    assert area(Slab((40.0, 30.0), 10.0)) == pytest.approx(4800.0 - (4 - pi) * 100.0, rel=1e-12)
    assert length(Round(10.0)) == pytest.approx(20.0 * pi, rel=1e-12)
    assert length(SQUARE) == pytest.approx(280.0, rel=1e-12)
    assert length(Slab((40.0, 30.0), 10.0)) == pytest.approx(280.0 - 80.0 + 20.0 * pi, rel=1e-12)
    # Published: Ramanujan's second approximation, good to 1e-9 for this shape.
    h = (10.0 / 50.0) ** 2
    assert length(Oval((30.0, 20.0))) == pytest.approx(
        pi * 50.0 * (1 + 3 * h / (10 + (4 - 3 * h) ** 0.5)), rel=1e-5
    )


def test_a_square_grows_with_sharp_corners() -> None:
    larger = grown(SQUARE, by=2.0)
    assert isinstance(larger, Cornered)
    assert area(larger) == pytest.approx(84.0 * 64.0, rel=1e-12)
    assert area(grown(SQUARE, by=-2.0)) == pytest.approx(76.0 * 56.0, rel=1e-12)


@steady
@given(st.floats(40.0, 130.0), st.floats(0.55, 1.0), st.floats(-1.0, 6.0), st.floats(0.0, 180.0))
def test_every_point_beside_an_oval_is_as_far_away_as_asked(
    a: float, ratio: float, by: float, turn: float
) -> None:
    oval = Oval((a, a * ratio), turn)
    beside = grown(oval, by=by)
    if by == 0.0:
        assert beside == oval
        return
    assert isinstance(beside, Cornered)
    away = outside(oval, beside.points[::40])
    assert away == pytest.approx([by] * len(away), abs=0.01)
    # Closed form: a parallel curve adds length times distance and a circle of that radius.
    assert area(beside) == pytest.approx(area(oval) + by * length(oval) + pi * by**2, rel=1e-4)


def test_nothing_is_left_of_what_is_too_small() -> None:
    for outline in (Round(5.0), Slab((5.0, 9.0), 1.0), Oval((9.0, 5.0)), SQUARE):
        with pytest.raises(OutOfRangeError, match="nothing"):
            grown(outline, by=-31.0)


def test_how_far_one_lies_in_another() -> None:
    assert holds(Round(60.0), Round(50.0)) == pytest.approx(10.0)
    assert holds(Round(50.0), Round(60.0)) == pytest.approx(-10.0)
    # Closed form: corner of the square at 50 mm, side of the circle at 60 mm.
    assert holds(Round(60.0), SQUARE) == pytest.approx(10.0, abs=1e-9)
    assert holds(SQUARE, Round(25.0)) == pytest.approx(5.0, abs=1e-3)
    assert holds(Oval((60.0, 40.0)), Round(40.0)) == pytest.approx(0.0, abs=1e-3)


@steady
@given(st.floats(0.0, 360.0))
def test_reach_is_how_far_a_direction_goes(angle: float) -> None:
    oval = Oval((60.0, 40.0), 25.0)
    far = reach(oval, angle=angle)
    spot = (far * cos(radians(angle)), far * sin(radians(angle)))
    assert outside(oval, (spot,)) == pytest.approx([0.0], abs=2e-3)
    corner = reach(SQUARE, angle=angle)
    assert 30.0 - 1e-9 <= corner <= hypot(30.0, 40.0) + 1e-9


def test_true_shapes_are_drawn() -> None:
    assert drawn(Oval((3.0, 2.0), 5.0), "cut") == (Ellipse("cut", (0.0, 0.0), (3.0, 2.0), 5.0),)
    slab = drawn(Slab((40.0, 30.0), 10.0), "cut")
    lines = [each for each in slab if isinstance(each, Line)]
    arcs = [each for each in slab if isinstance(each, Arc)]
    assert (len(lines), len(arcs)) == (4, 4)
    ends = sorted(end for each in lines for end in (each.start, each.end))
    assert ends == [
        pytest.approx(end, abs=1e-9) for end in sorted(end for arc in arcs for end in arc.ends)
    ]
