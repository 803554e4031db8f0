"""Drawings as geometry: bounds, mirror, turn."""

from dataclasses import replace
from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.papers.drawing.geometry import (
    Arc,
    Circle,
    Drawing,
    Ellipse,
    Entity,
    Label,
    Line,
    Polygon,
    bounds_of,
    cross,
    mirrored,
    moved,
    turned,
    turned_point,
)

steady = settings(deadline=None, derandomize=True, max_examples=60)
lengths = st.floats(-200.0, 200.0)
sizes = st.floats(0.5, 150.0)
angles = st.floats(-360.0, 360.0)
points = st.tuples(lengths, lengths)
entities = st.one_of(
    st.builds(Circle, st.just("cut"), points, sizes),
    st.builds(
        lambda at, r, start, span: Arc("cut", at, r, start, start + span),
        points,
        sizes,
        angles,
        st.floats(5.0, 355.0),
    ),
    st.builds(Line, st.just("mark"), points, points),
    st.builds(Polygon, st.just("cut"), st.tuples(points, points, points)),
    st.builds(Ellipse, st.just("cut"), points, st.tuples(sizes, sizes), angles),
)


@pytest.mark.parametrize(
    ("entity", "bounds"),
    [
        # Closed form.
        (Circle("cut", (1.0, 2.0), 3.0), (-2.0, -1.0, 4.0, 5.0)),
        (Line("cut", (1.0, 5.0), (-2.0, 3.0)), (-2.0, 3.0, 1.0, 5.0)),
        (Polygon("cut", ((0.0, 0.0), (4.0, 1.0), (2.0, 7.0))), (0.0, 0.0, 4.0, 7.0)),
        (Arc("cut", (0.0, 0.0), 2.0, 0.0, 90.0), (0.0, 0.0, 2.0, 2.0)),
        (Arc("cut", (0.0, 0.0), 2.0, 45.0, 135.0), (-sqrt(2.0), sqrt(2.0), sqrt(2.0), 2.0)),
        (Arc("cut", (0.0, 0.0), 2.0, 350.0, 370.0), (1.969616, -0.347296, 2.0, 0.347296)),
        (Ellipse("cut", (0.0, 0.0), (5.0, 3.0)), (-5.0, -3.0, 5.0, 3.0)),
        (Ellipse("cut", (1.0, 0.0), (5.0, 3.0), 90.0), (-2.0, -5.0, 4.0, 5.0)),
        # Half width of a turned ellipse is the root of a² cos² + b² sin².
        (
            Ellipse("cut", (0.0, 0.0), (5.0, 3.0), 45.0),
            (-sqrt(17.0), -sqrt(17.0), sqrt(17.0), sqrt(17.0)),
        ),
    ],
)
def test_bounds_are_those_of_the_true_curve(
    entity: Entity, bounds: tuple[float, float, float, float]
) -> None:
    assert bounds_of((entity,)) == pytest.approx(bounds, abs=1e-6)


@steady
@given(st.lists(entities, min_size=1, max_size=5))
def test_mirrored_twice_is_as_before(drawn: list[Entity]) -> None:
    once = mirrored(drawn)
    left, low, right, high = bounds_of(drawn)
    assert bounds_of(once) == pytest.approx((-right, low, -left, high), abs=1e-9)
    assert bounds_of(mirrored(once)) == pytest.approx((left, low, right, high), abs=1e-9)


@steady
@given(entities, angles, points)
def test_turned_and_moved_back_is_as_before(
    entity: Entity, by: float, away: tuple[float, float]
) -> None:
    there = moved(turned((entity,), by=by), by=away)
    back = turned(moved(there, by=(-away[0], -away[1])), by=-by)
    assert bounds_of(back) == pytest.approx(bounds_of((entity,)), abs=1e-6)


def test_an_arc_keeps_its_ends_when_mirrored() -> None:
    arc = Arc("cut", (3.0, 1.0), 2.0, 20.0, 75.0)
    (other,) = mirrored((arc,))
    assert isinstance(other, Arc)
    ends = sorted((-x, y) for x, y in other.ends)
    assert ends == [pytest.approx(end, abs=1e-12) for end in sorted(arc.ends)]


def test_words_stay_readable_and_keep_their_end() -> None:
    label = Label((10.0, 5.0), "FRONT", 3.0, anchor="end")
    assert mirrored((label,)) == (replace(label, at=(-10.0, 5.0), anchor="start", turn=-0.0),)


def test_a_cross_is_as_long_as_it_is_asked_for() -> None:
    assert bounds_of(cross((2.0, 3.0), size=8.0)) == (-2.0, -1.0, 6.0, 7.0)


def test_a_quarter_turn_goes_from_right_to_up() -> None:
    assert turned_point((2.0, 0.0), by=90.0) == pytest.approx((0.0, 2.0), abs=1e-15)


def test_a_drawing_knows_its_size_its_pieces_and_its_layers() -> None:
    circle = Circle("drill", (0.0, 0.0), 4 / pi)
    drawing = Drawing(
        "a", "A", (circle, *cross((0.0, 0.0), size=6.0)), "p", cut_from=(("foam", 10.0),) * 2
    )
    assert drawing.size == (6.0, 6.0)
    assert drawing.pieces == 2
    assert drawing.on("drill") == (circle,)
    assert bounds_of(()) == (0.0, 0.0, 0.0, 0.0)
