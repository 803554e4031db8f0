"""From which side a place is seen, and what is up on its paper."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, sin

from conewright.job.builds.states.location import LocationState
from conewright.papers.drawing.geometry import Entity, Label, Line, Point, mirrored

__all__ = ["View", "marks", "on_paper", "view_of"]

NEARLY_MIDDLE = 0.02
"""A place this near to the middle of the vehicle is neither left nor right [m]."""

ARROW = 4.0
"""Length of an arrow head [mm]."""


@dataclass(frozen=True, slots=True)
class View:
    """How a place lies on paper, seen by who kneels in the cabin before it.

    Everything is drawn for the left of the vehicle first; the right is its mirror.

    Attributes:
        side: LEFT, RIGHT, or empty in the middle.
        mirror: whether the paper is the mirror of the one for the left.
        rightward: word at the arrow that points right on the paper for the left.
        upward: word at the arrow that points up.
        face: which side of the part faces the reader.
        lying: whether the place lies flat, like a roof or a shelf.
        below: whether it is seen from below.

    """

    side: str
    mirror: bool
    rightward: str
    upward: str
    face: str
    lying: bool
    below: bool

    def point(self, metres: tuple[float, float]) -> Point:
        """Return a place of the job, forward and up or outward [m], on the left's paper [mm]."""
        forward, other = (1e3 * each for each in metres)
        if not self.lying:
            return forward, other
        return (other, forward) if self.below else (-other, forward)

    def angle(self, radians_from_front: float) -> float:
        """Return a direction of the job, from the front turning up or outward, on paper [deg]."""
        x, y = self.point((cos(radians_from_front), sin(radians_from_front)))
        return degrees(atan2(y, x))


def view_of(place: LocationState) -> View:
    """Return how a place is drawn: a door from the cabin, a roof from below, a shelf from above."""
    across = place.at[1].si
    side = "" if abs(across) <= NEARLY_MIDDLE else "LEFT" if across > 0.0 else "RIGHT"
    lying, below = place.kind in ("roof", "shelf", "boot-shelf"), place.kind == "roof"
    return View(
        side=side,
        mirror=side == "RIGHT",
        rightward=("OUTWARD" if below else "INWARD") if lying else "FRONT",
        upward="FRONT" if lying else "TOP",
        face="this face down, to the cabin" if below else "this face to the cabin",
        lying=lying,
        below=below,
    )


def marks(view: View, *, room: float, up: float, words: tuple[str, ...]) -> tuple[Entity, ...]:
    """Return the arrows to the front and the top, and what the part is, around the middle.

    Args:
        view: of the place.
        room: how far it is free to the side of the middle [mm].
        up: how far it is free upward [mm].
        words: lines under the middle, the first one set larger.

    """
    right, up = room - 2.0, up - 2.0
    lines = [view.face, *words[1:]]
    return (
        *_arrow((0.0, up - 14.0), (0.0, up), view.upward, (2.0, up - 10.0)),
        *_arrow((right - 14.0, 0.0), (right, 0.0), view.rightward, (right - 16.0, 2.0)),
        Label((0.0, -9.0), words[0], 3.2),
        *(Label((0.0, -14.5 - 4.8 * row), line, 2.4) for row, line in enumerate(lines)),
    )


def on_paper(entities: tuple[Entity, ...], view: View) -> tuple[Entity, ...]:
    """Return what was drawn for the left as it lies on this place's paper."""
    return mirrored(entities) if view.mirror else entities


def _arrow(start: Point, end: Point, word: str, at: Point) -> tuple[Entity, ...]:
    (x1, y1), (x2, y2) = start, end
    along = (ARROW * (x2 > x1), ARROW * (y2 > y1))
    across = (along[1] / 3, along[0] / 3)
    barbs = [(x2 - along[0] + s * across[0], y2 - along[1] + s * across[1]) for s in (1, -1)]
    upright = x1 == x2
    label = Label(at, word, 3.2, anchor="start" if upright else "end")
    return (Line("mark", start, end), *(Line("mark", end, barb) for barb in barbs), label)
