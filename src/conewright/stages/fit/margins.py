"""How much room and how much material is wanted: for the verdicts of fit and for what is cut."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.stages.report.words import number

__all__ = [
    "EDGE_DIAMETERS",
    "EDGE_WANTED",
    "FRONT",
    "LAND_WANTED",
    "REAR",
    "SCREW",
    "SEAT_WANTED",
    "Margin",
]


@dataclass(frozen=True, slots=True)
class Margin:
    """Room that is wanted [m], and the chance of having less that is accepted."""

    room: float
    odds: float

    @property
    def words(self) -> str:
        """The room as it is said."""
        return number(round(1e3 * self.room, 1), "mm")


REAR = Margin(5e-3, 0.02)
"""Behind the driver; common practice, no source."""

FRONT = Margin(3e-3, 0.15)
"""In front of it, where a clay check may settle it; common practice, no source."""

LAND_WANTED = 8e-3
"""Flat steel to be left around an enlarged opening [m]; common practice, no source."""

SCREW = 4e-3
"""Diameter of a screw where none is written [m]; common practice, no source."""

EDGE_DIAMETERS = 2.0
"""Middle of a screw to any edge, in diameters of the screw; common practice, no source."""

EDGE_WANTED = EDGE_DIAMETERS * SCREW
"""The same for a screw that nobody has written down [m]."""

SEAT_WANTED = 3e-3
"""How far a flange has to reach over the edge of the opening [m]; common practice, no source."""
