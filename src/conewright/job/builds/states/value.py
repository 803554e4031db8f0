"""What everything in a state is made of: values with where they come from, and faults."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conewright.job.quantity.values import Quantity

__all__ = [
    "Corners",
    "FaultState",
    "Fill",
    "Origin",
    "Value",
]


class Origin(StrEnum):
    """Where a value comes from, from the best known to the least."""

    MEASURED = "measured"
    SHEET = "sheet"
    TYPICAL = "typical"
    ASSUMED = "assumed"


@dataclass(frozen=True, slots=True)
class Value:
    """A quantity of the build with its place in the job, its origin and its random axis.

    `path` is also the name of the random axis. A value with `follows` is drawn with the given
    correlation to the score of that other path; a correlation of 1 means it has no axis of its own.
    `signed` values (a coordinate, a level) may be drawn below zero; draws are held `within` two
    limits where a model ends there.
    """

    path: str
    quantity: Quantity
    origin: Origin
    source: str
    follows: str = ""
    correlation: float = 0.0
    signed: bool = False
    within: tuple[float, float] | None = None

    @property
    def si(self) -> float:
        """Central value [SI unit of the dimension]."""
        return self.quantity.value

    @property
    def spreads(self) -> bool:
        """Whether the value is uncertain, and so is drawn."""
        return self.quantity.spread != "none"

    @property
    def axes(self) -> tuple[str, ...]:
        """Paths of the random axes this value is drawn on, none for a value without spread."""
        if not self.spreads:
            return ()
        own = () if self.correlation == 1.0 else (self.path,)
        return (*own, self.follows) if self.follows else own


@dataclass(frozen=True, slots=True)
class Fill:
    """One value that the job did not give: the path, what was put there, and why."""

    path: str
    text: str
    origin: Origin
    source: str


@dataclass(frozen=True, slots=True)
class FaultState:
    """A fault that is there, and the sizes of what it does, by name."""

    fault: str
    at: str
    sizes: tuple[tuple[str, Value], ...] = ()

    @property
    def id(self) -> str:
        """`fault@place`."""
        return f"{self.fault}@{self.at}"

    def size(self, name: str) -> Value:
        """Return one size; raise KeyError if the fault has none of that name."""
        return dict(self.sizes)[name]


Corners = tuple[tuple[float, float], ...]
"""Corners of an outline, or places, forward and up from the middle [m]."""
