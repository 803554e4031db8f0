"""Screw patterns: turned so that new holes keep clear of old ones and of every edge."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, ceil, degrees, dist, floor, hypot

from conewright.papers.drawing.geometry import Circle, Entity, Label, Point, cross, turned_point
from conewright.papers.drawing.outlines import Outline, outside, reach

__all__ = ["SAME_HOLE", "clearest", "from_edges", "hole", "nearest_hole", "on_rays"]

SAME_HOLE = 0.5
"""Middles as near as this are one hole [mm]; common practice, no source."""

STEP = 1.0
"""By how much a pattern is turned from one try to the next [deg]."""

RAY_STEP = 0.25
"""By how much a hole is moved outward from one try to the next [mm]."""

CROSS = 10.0
"""Length of the lines of a drill cross [mm]."""


def hole(centre: Point, *, diameter: float, word: str = "") -> tuple[Entity, ...]:
    """Return a hole to drill: its circle, a cross through the middle, and its diameter in words.

    Only the circle lies on the layer that a machine cuts.
    """
    x, y = centre
    label = Label((x + diameter / 2 + 1.0, y + 1.2), f"⌀{diameter:g}{word}", 2.2, anchor="start")
    return (
        Circle("drill", centre, diameter / 2),
        *cross(centre, size=CROSS),
        label,
    )


def nearest_hole(one: Sequence[Point], other: Sequence[Point]) -> float:
    """Return the least distance from a hole of one pattern to a hole of another [mm]."""
    return min((dist(a, b) for a in one for b in other), default=float("inf"))


def from_edges(points: Sequence[Point], edges: Sequence[Outline]) -> float:
    """Return how far outside every edge the nearest of some points lies [mm]."""
    return min((min(outside(edge, points)) for edge in edges), default=float("inf"))


def clearest(holes: Sequence[Point], *, avoid: Sequence[Point], free: bool) -> tuple[Point, ...]:
    """Return a pattern turned about the middle so that it keeps furthest from other holes.

    The smallest turn of the best ones is taken. A pattern that is not free stays as it is.
    """
    if not (free and holes and avoid):
        return tuple(holes)
    turns = [step * STEP for step in range(round(360.0 / STEP / _folds(holes)))]
    tries = [tuple(turned_point(point, by=turn) for point in holes) for turn in turns]
    return max(tries, key=lambda points: round(nearest_hole(points, avoid), 6))


def on_rays(
    angles: Sequence[float], *, edges: Sequence[Outline], clear: float, most: float
) -> tuple[Point, ...]:
    """Return holes in these directions, each as near to the edges as it may lie.

    Args:
        angles: directions from the middle [deg].
        edges: outlines to keep clear of, from outside.
        clear: how far [mm].
        most: how far from the middle a hole may lie [mm].

    """
    return tuple(_on_ray(angle, edges, clear, most) for angle in angles)


# --- Underneath ---------------------------------------------------------------------------------


def _folds(holes: Sequence[Point]) -> int:
    """Return after how many parts of a turn a pattern looks the same again: of a circle of
    screws its count, of any other pattern one.
    """
    radii = [hypot(x, y) for x, y in holes]
    if max(radii) - min(radii) > SAME_HOLE:
        return 1
    angles = sorted(degrees(atan2(y, x)) % 360.0 for x, y in holes)
    steps = [(b - a) % 360.0 for a, b in zip(angles, (*angles[1:], angles[0] + 360.0), strict=True)]
    even = all(abs(step - 360.0 / len(holes)) < STEP for step in steps)
    return len(holes) if even and len(holes) > 1 else 1


def _on_ray(angle: float, edges: Sequence[Outline], clear: float, most: float) -> Point:
    nearest = max(reach(edge, angle=angle) for edge in edges)
    steps = range(floor(nearest / RAY_STEP), ceil(most / RAY_STEP))
    spots = [turned_point((step * RAY_STEP, 0.0), by=angle) for step in steps]
    away = zip(*(outside(edge, spots) for edge in edges), strict=True)
    clear_ones = (spot for spot, each in zip(spots, away, strict=True) if min(each) >= clear)
    return next(clear_ones, turned_point((most, 0.0), by=angle))
