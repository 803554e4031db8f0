"""Drawings as true geometry: what SVG, DXF and PDF are written from.

Lengths in millimetres, y up, angles in degrees counter-clockwise. A circle stays a circle: polygons
stand in for round shapes in fit tests only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from math import cos, hypot, radians, sin
from typing import Literal

from conewright.job.document.bench import Material
from conewright.job.quantity.units import MM

__all__ = [
    "HAIR",
    "MM",
    "Arc",
    "Box",
    "Circle",
    "Drawing",
    "Ellipse",
    "Entity",
    "Label",
    "Layer",
    "Line",
    "Point",
    "Polygon",
    "Sends",
    "bounds_of",
    "cross",
    "mirrored",
    "moved",
    "turned",
    "turned_point",
]

HAIR = 1e-6
"""What rounding may take from a distance that is kept exactly [mm]."""

Point = tuple[float, float]
Box = tuple[float, float, float, float]
Layer = Literal["cut", "drill", "mark", "text"]
Sends = Literal["print", "send out"]
Anchor = Literal["start", "middle", "end"]

_OTHER_END: dict[Anchor, Anchor] = {"start": "end", "middle": "middle", "end": "start"}
LETTER_WIDTH = 0.85
"""Width of a letter over the height of a capital: near enough to keep words inside a drawing."""


@dataclass(frozen=True, slots=True)
class Circle:
    """A whole circle."""

    layer: Layer
    centre: Point
    radius: float


@dataclass(frozen=True, slots=True)
class Arc:
    """Part of a circle, counter-clockwise from `start` to `end` [deg]."""

    layer: Layer
    centre: Point
    radius: float
    start: float
    end: float

    @property
    def ends(self) -> tuple[Point, Point]:
        """First and last point."""
        first, last = (
            _on_circle(self.centre, self.radius, angle) for angle in (self.start, self.end)
        )
        return first, last


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    layer: Layer
    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class Polygon:
    """A closed outline through its corners."""

    layer: Layer
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Ellipse:
    """A whole ellipse; `turn` is the direction of its first half axis [deg]."""

    layer: Layer
    centre: Point
    half_axes: tuple[float, float]
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Label:
    """A line of words; `at` is its foot, `height` that of a capital letter, `turn` [deg]."""

    at: Point
    text: str
    height: float = 3.0
    anchor: Anchor = "middle"
    turn: float = 0.0
    layer: Layer = "text"


Entity = Circle | Arc | Line | Polygon | Ellipse | Label


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing, whole.

    Attributes:
        name: plain file name without ending.
        title: what stands over it on paper.
        entities: what is drawn [mm].
        purpose: what it is for, in one sentence.
        sends: whether it is printed at the bench or may be sent out to be cut.
        material: what the part is cut from, in words.
        thickness_mm: of the finished part.
        cut_from: material and thickness [mm] of each layer of it, one piece each.
        area_mm2: of one finished piece, holes taken out; None where it is no piece.
        length_mm: around the middle of one piece that is a ring; None elsewhere.
        kerf: whether its lines are the finished edge or have the kerf in them, in words.
        notes: what has to be read before cutting.

    """

    name: str
    title: str
    entities: tuple[Entity, ...]
    purpose: str
    sends: Sends = "print"
    material: str | None = None
    thickness_mm: float | None = None
    cut_from: tuple[tuple[Material, float], ...] = ()
    area_mm2: float | None = None
    length_mm: float | None = None
    kerf: str = ""
    notes: tuple[str, ...] = ()

    @property
    def bounds(self) -> Box:
        """Left, lower, right and upper end of what is drawn [mm]."""
        return bounds_of(self.entities)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of all but the words [mm]."""
        left, low, right, high = bounds_of(self.on("cut", "drill", "mark"))
        return right - left, high - low

    @property
    def pieces(self) -> int:
        """How many pieces are cut."""
        return len(self.cut_from)

    def on(self, *layers: Layer) -> tuple[Entity, ...]:
        """Return what lies on these layers."""
        return tuple(entity for entity in self.entities if entity.layer in layers)


def bounds_of(entities: Iterable[Entity]) -> Box:
    """Return left, lower, right and upper end of entities [mm]; of none, four zeros."""
    boxes = [_box(entity) for entity in entities]
    if not boxes:
        return (0.0, 0.0, 0.0, 0.0)
    lefts, lows, rights, highs = zip(*boxes, strict=True)
    return min(lefts), min(lows), max(rights), max(highs)


def cross(centre: Point, *, size: float, layer: Layer = "mark") -> tuple[Line, Line]:
    """Return a cross of two lines through a point, `size` from end to end [mm]."""
    x, y = centre
    half = size / 2
    return (
        Line(layer, (x - half, y), (x + half, y)),
        Line(layer, (x, y - half), (x, y + half)),
    )


def mirrored(entities: Iterable[Entity]) -> tuple[Entity, ...]:
    """Return entities mirrored left to right about x = 0; words stay readable."""
    return tuple(_mirrored(entity) for entity in entities)


def moved(entities: Iterable[Entity], *, by: Point) -> tuple[Entity, ...]:
    """Return entities moved by so much to the right and up [mm]."""
    return tuple(_each_point(entity, lambda p: (p[0] + by[0], p[1] + by[1])) for entity in entities)


def turned(entities: Iterable[Entity], *, by: float) -> tuple[Entity, ...]:
    """Return entities turned counter-clockwise about the origin [deg]."""
    return tuple(_turned(entity, by) for entity in entities)


def turned_point(point: Point, *, by: float) -> Point:
    """Return a point turned counter-clockwise about the origin [deg]."""
    angle = radians(by)
    x, y = point
    return x * cos(angle) - y * sin(angle), x * sin(angle) + y * cos(angle)


# --- Underneath ---------------------------------------------------------------------------------


def _on_circle(centre: Point, radius: float, angle: float) -> Point:
    return (
        centre[0] + radius * cos(radians(angle)),
        centre[1] + radius * sin(radians(angle)),
    )


def _each_point(entity: Entity, move: Callable[[Point], Point]) -> Entity:
    """Return an entity with every point of it moved; what hangs on an angle stays."""
    if isinstance(entity, Circle | Arc | Ellipse):
        return replace(entity, centre=move(entity.centre))
    if isinstance(entity, Line):
        return replace(entity, start=move(entity.start), end=move(entity.end))
    if isinstance(entity, Polygon):
        return replace(entity, points=tuple(move(point) for point in entity.points))
    return replace(entity, at=move(entity.at))


def _mirrored(entity: Entity) -> Entity:
    flipped = _each_point(entity, lambda p: (-p[0], p[1]))
    if isinstance(flipped, Arc):
        return replace(flipped, start=180.0 - flipped.end, end=180.0 - flipped.start)
    if isinstance(flipped, Ellipse):
        return replace(flipped, turn=-flipped.turn)
    if isinstance(flipped, Polygon):
        return replace(flipped, points=flipped.points[::-1])
    if isinstance(flipped, Label):
        return replace(flipped, anchor=_OTHER_END[flipped.anchor], turn=-flipped.turn)
    return flipped


def _turned(entity: Entity, by: float) -> Entity:
    moved_along = _each_point(entity, lambda p: turned_point(p, by=by))
    if isinstance(moved_along, Arc):
        return replace(moved_along, start=moved_along.start + by, end=moved_along.end + by)
    if isinstance(moved_along, Ellipse | Label):
        return replace(moved_along, turn=moved_along.turn + by)
    return moved_along


def _box(entity: Entity) -> Box:
    if isinstance(entity, Circle):
        return _around(entity.centre, (entity.radius, entity.radius))
    if isinstance(entity, Ellipse):
        return _around(entity.centre, _reach(entity))
    if isinstance(entity, Arc):
        return _of_points(_arc_corners(entity))
    if isinstance(entity, Line):
        return _of_points((entity.start, entity.end))
    if isinstance(entity, Polygon):
        return _of_points(entity.points)
    return _of_points(_label_corners(entity))


def _around(centre: Point, reach: Point) -> Box:
    return (
        centre[0] - reach[0],
        centre[1] - reach[1],
        centre[0] + reach[0],
        centre[1] + reach[1],
    )


def _of_points(points: Iterable[Point]) -> Box:
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _reach(ellipse: Ellipse) -> Point:
    """Return how far a turned ellipse reaches from its middle, sideways and up."""
    (a, b), angle = ellipse.half_axes, radians(ellipse.turn)
    return hypot(a * cos(angle), b * sin(angle)), hypot(a * sin(angle), b * cos(angle))


def _arc_corners(arc: Arc) -> list[Point]:
    """Return both ends of an arc and the outermost points between them."""
    span = (arc.end - arc.start) % 360.0
    quarters = [q for q in (0.0, 90.0, 180.0, 270.0) if (q - arc.start) % 360.0 <= span]
    return [*arc.ends, *(_on_circle(arc.centre, arc.radius, quarter) for quarter in quarters)]


def _label_corners(label: Label) -> list[Point]:
    width = LETTER_WIDTH * label.height * len(label.text)
    left = {"start": 0.0, "middle": -width / 2, "end": -width}[label.anchor]
    corners = [(left + dx, dy) for dx in (0.0, width) for dy in (0.0, label.height)]
    return [
        (label.at[0] + x, label.at[1] + y)
        for x, y in (turned_point(corner, by=label.turn) for corner in corners)
    ]
