"""Outlines of openings and parts: round, oval by two axes, through corners, square with round
corners. Each lies around the origin; lengths in millimetres, angles in degrees.

What is drawn is the true shape. shapely stands in for fit tests, finer than they ask for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import cos, hypot, pi, radians, sin
from typing import TYPE_CHECKING

from conewright.errors import OutOfRangeError
from conewright.papers.drawing.geometry import (
    Arc,
    Circle,
    Ellipse,
    Entity,
    Layer,
    Line,
    Point,
    Polygon,
    turned_point,
)

if TYPE_CHECKING:
    from shapely.geometry import Polygon as Fit

__all__ = [
    "Cornered",
    "Outline",
    "Oval",
    "Round",
    "Slab",
    "area",
    "drawn",
    "fit",
    "grown",
    "holds",
    "length",
    "outside",
    "points_on",
    "reach",
]

STEPS = 720
"""Points of a parallel curve of an oval; the chord of a 6 x 9 in one is short by 0.001 mm."""

QUARTER_STEPS = 256
"""Points of a quarter circle in fit tests; a radius of 120 mm is short by 0.0006 mm there."""


@dataclass(frozen=True, slots=True)
class Round:
    """A circle."""

    radius: float


@dataclass(frozen=True, slots=True)
class Oval:
    """An ellipse by its half axes; `turn` is the direction of the first."""

    half_axes: tuple[float, float]
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Cornered:
    """Straight from corner to corner."""

    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Slab:
    """A rectangle with round corners, by its half sides."""

    half_sides: tuple[float, float]
    corner: float


Outline = Round | Oval | Cornered | Slab


def drawn(outline: Outline, layer: Layer) -> tuple[Entity, ...]:
    """Return an outline as what is drawn of it."""
    if isinstance(outline, Round):
        return (Circle(layer, (0.0, 0.0), outline.radius),)
    if isinstance(outline, Oval):
        return (Ellipse(layer, (0.0, 0.0), outline.half_axes, outline.turn),)
    if isinstance(outline, Cornered):
        return (Polygon(layer, outline.points),)
    return _slab(outline, layer)


def grown(outline: Outline, *, by: float) -> Outline:
    """Return the outline everywhere so much further out, or in below zero [mm].

    Corners stay sharp. The parallel curve of an oval is no oval: it goes through many points of
    the true curve.

    Raises: OutOfRangeError where nothing would be left of it.
    """
    if isinstance(outline, Round):
        _something_left(outline.radius + by)
        return Round(outline.radius + by)
    if isinstance(outline, Slab):
        a, b = (side + by for side in outline.half_sides)
        _something_left(min(a, b))
        return Slab((a, b), max(outline.corner + by, 0.0))
    if by == 0.0:
        return outline
    if isinstance(outline, Oval):
        a, b = outline.half_axes
        # The sharpest bend of an ellipse has the radius b²/a at the end of the long axis.
        _something_left(min(a, b) ** 2 / max(a, b) + by)
        return Cornered(tuple(_beside_oval(outline, by)))
    return _offset(outline, by)


def area(outline: Outline) -> float:
    """Return the area inside [mm2]."""
    if isinstance(outline, Round):
        return pi * outline.radius**2
    if isinstance(outline, Oval):
        return pi * outline.half_axes[0] * outline.half_axes[1]
    if isinstance(outline, Slab):
        a, b = outline.half_sides
        return 4 * a * b - (4 - pi) * outline.corner**2
    return _shoelace(outline.points)


def length(outline: Outline) -> float:
    """Return the length once round [mm]."""
    if isinstance(outline, Round):
        return 2 * pi * outline.radius
    if isinstance(outline, Slab):
        return 4 * sum(outline.half_sides) - (8 - 2 * pi) * outline.corner
    return float(fit(outline).length)


def outside(outline: Outline, points: Iterable[Point]) -> list[float]:
    """Return how far each point lies outside an outline, below zero inside [mm]."""
    if isinstance(outline, Round):
        return [hypot(x, y) - outline.radius for x, y in points]
    here = [*points]
    if not here:
        return []
    import shapely

    shape, spots = fit(outline), shapely.points(here)
    away = shapely.distance(shape.exterior, spots)
    inside = shapely.contains(shape, spots)
    return [float(-d if within else d) for d, within in zip(away, inside, strict=True)]


def holds(outer: Outline, inner: Outline) -> float:
    """Return how far `inner` stays inside `outer` where it comes nearest; below zero where it
    reaches out [mm].
    """
    if isinstance(outer, Round) and isinstance(inner, Round):
        return outer.radius - inner.radius
    return -max(outside(outer, points_on(inner)))


def reach(outline: Outline, *, angle: float) -> float:
    """Return how far an outline goes from its middle in a direction [mm].

    Args:
        outline: holds the origin.
        angle: of the direction [deg].

    """
    if isinstance(outline, Round):
        return outline.radius
    if isinstance(outline, Oval):
        a, b = outline.half_axes
        along = radians(angle - outline.turn)
        return 1.0 / hypot(cos(along) / a, sin(along) / b)
    from shapely import LineString

    far = 2 * max(hypot(x, y) for x, y in points_on(outline))
    ray = LineString([(0.0, 0.0), turned_point((far, 0.0), by=angle)])
    return float(fit(outline).intersection(ray).length)


@lru_cache(maxsize=128)
def fit(outline: Outline) -> Fit:
    """Return an outline as shapely has it, for fit tests only."""
    from shapely.geometry import Polygon as Shape

    return Shape(points_on(outline))


def points_on(outline: Outline) -> Sequence[Point]:
    """Return points of an outline, so close that a fit test does not tell them from the curve."""
    if isinstance(outline, Round):
        return _turn_about((outline.radius, outline.radius), 4 * QUARTER_STEPS)
    if isinstance(outline, Oval):
        around = _turn_about(outline.half_axes, 4 * QUARTER_STEPS)
        return [turned_point(point, by=outline.turn) for point in around]
    if isinstance(outline, Slab):
        return _slab_points(outline)
    return outline.points


# --- Underneath ---------------------------------------------------------------------------------


def _something_left(half: float) -> None:
    if half <= 0.0:
        raise OutOfRangeError("nothing is left of an outline made so much smaller")


def _turn_about(half_axes: Point, steps: int) -> list[Point]:
    a, b = half_axes
    angles = [2 * pi * step / steps for step in range(steps)]
    return [(a * cos(angle), b * sin(angle)) for angle in angles]


def _beside_oval(oval: Oval, by: float) -> list[Point]:
    """Return points of the parallel curve: each point of the ellipse moved along its normal."""
    a, b = oval.half_axes
    points = []
    for step in range(STEPS):
        angle = 2 * pi * step / STEPS
        along, up = b * cos(angle), a * sin(angle)
        steep = by / hypot(along, up)
        points.append((a * cos(angle) + steep * along, b * sin(angle) + steep * up))
    return [turned_point(point, by=oval.turn) for point in points]


def _offset(outline: Cornered, by: float) -> Cornered:
    """Return corners moved so that every side lies further out, corners kept sharp."""
    moved = fit(outline).buffer(by, join_style="mitre", mitre_limit=10.0)
    if moved.is_empty or moved.geom_type != "Polygon":
        raise OutOfRangeError("nothing whole is left of an outline made so much smaller")
    return Cornered(tuple((float(x), float(y)) for x, y in moved.exterior.coords[:-1]))


def _shoelace(points: Sequence[Point]) -> float:
    pairs = zip(points, (*points[1:], points[0]), strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


def _slab(slab: Slab, layer: Layer) -> tuple[Entity, ...]:
    (a, b), r = slab.half_sides, slab.corner
    sides = (
        Line(layer, (r - a, -b), (a - r, -b)),
        Line(layer, (a, r - b), (a, b - r)),
        Line(layer, (a - r, b), (r - a, b)),
        Line(layer, (-a, b - r), (-a, r - b)),
    )
    middles = _corner_middles(slab)
    arcs = (Arc(layer, (x, y), r, start, start + 90.0) for x, y, start in middles)
    return (*sides, *arcs) if r else sides


def _corner_middles(slab: Slab) -> tuple[tuple[float, float, float], ...]:
    """Return the middle of each round corner, and where its arc begins [deg]."""
    (a, b), r = slab.half_sides, slab.corner
    x, y = a - r, b - r
    return ((x, y, 0.0), (-x, y, 90.0), (-x, -y, 180.0), (x, -y, 270.0))


def _slab_points(slab: Slab) -> list[Point]:
    steps = QUARTER_STEPS if slab.corner else 0
    return [
        (x + dx, y + dy)
        for x, y, start in _corner_middles(slab)
        for step in range(steps + 1)
        for dx, dy in (turned_point((slab.corner, 0.0), by=start + 90.0 * step / (steps or 1)),)
    ]
