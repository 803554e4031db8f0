"""What boxes and boards are made of, in closed form from their volume or their size."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from conewright.job.builds.states.location import BoxState, OpenState
from conewright.stages.outlay.consumables import material

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.location import LocationState
    from conewright.stages.common.changes import Changes
    from conewright.stages.outlay.amounts import Line

__all__ = ["BOARD", "bodies", "panels_of_box", "wadding_of"]

RATIOS = (1.6, 1.0, 0.625)
"""Inner edges of a box over the cube root of its volume; common practice, no source."""

BESIDES_AIR = 1.1
"""Inside of a box over its air: driver and braces take the rest; common practice, no source."""

BOARD = 0.018
"""Thickness of its panels [m]; common practice, no source."""

LINING = 0.025
"""Thickness of wadding along the walls of one lined [m]; common practice, no source."""

SCREW_EVERY = 0.12
"""From screw to screw along a seam [m]; common practice, no source."""

FEET = 4
"""Screws that hold a board in its place."""

LITRE = 1e3


def bodies(build: Build, changed: Changes) -> tuple[Line, ...]:
    """Return what boxes and boards of a plan are made of, lines of no amount left out.

    Args:
        build: the plan.
        changed: what it changes.

    """
    places = {place.id: place for place in build.locations}
    built, boards, filled, back = (
        [places[name] for name in changed.at(kind)]
        for kind in ("boxed", "boarded", "filled", "put-back")
    )
    lines = (
        *_panels(built, boards),
        material("wadding", sum(map(wadding_of, filled)), _told_fill(filled)),
        material("terminal", len(built), "one through the wall of each box"),
        material("strap", len(built), "one set for each box"),
        material(
            "cord",
            sum(pi * place.driver.frame.outer.si for place in back),
            "under each frame that is screwed on again",
        ),
    )
    return tuple(line for line in lines if line.quantity > 0.0)


def panels_of_box(air: float) -> tuple[float, float]:
    """Return the area of the panels of a box [m2] and the length of its seams [m].

    Args:
        air: volume of its air [m3].

    Source: surface and edges of a cuboid of the usual ratios, walls of `BOARD` outside of it.
    """
    edge = (BESIDES_AIR * air) ** (1 / 3)
    a, b, c = (ratio * edge + 2 * BOARD for ratio in RATIOS)
    return 2 * (a * b + b * c + a * c), 4 * (a + b + c)


def wadding_of(place: LocationState) -> float:
    """Return how much loose wadding goes into a box [L]: all of its air, or along its walls."""
    box = place.back
    if not isinstance(box, BoxState) or box.fill == "none":
        return 0.0
    if box.fill == "full":
        return LITRE * box.volume.si
    return LITRE * min(LINING * panels_of_box(box.volume.si)[0], box.volume.si)


def _panels(built: Iterable[LocationState], boards: Iterable[LocationState]) -> Iterator[Line]:
    """Yield the board that panels are cut from, and what joins them."""
    backs = [place.back for place in built]
    sizes = [panels_of_box(back.volume.si) for back in backs if isinstance(back, BoxState)]
    area, seams = (sum(each[n] for each in sizes) for n in (0, 1))
    what = "x".join(f"{ratio:g}" for ratio in RATIOS)
    note = f"from the volume, edges as {what}, walls of {1e3 * BOARD:g} mm assumed"
    yield material("panel", area, note)
    sides = [place.back.sides for place in boards if isinstance(place.back, OpenState)]
    flat = sum(wide * high for wide, high in filter(None, sides))
    yield material("panel", flat, "from the width and height of the board")
    yield material("glue", seams, "along the seams of the box")
    screws = round(seams / SCREW_EVERY) + FEET * len(sides)
    yield material("board-screw", screws, "along the seams, and in each board")


def _told_fill(filled: Iterable[LocationState]) -> str:
    kinds = {place.back.fill for place in filled if isinstance(place.back, BoxState)}
    words = {"full": "the volume of the box", "light": f"{1e3 * LINING:g} mm along its walls"}
    return " and ".join(words[kind] for kind in words if kind in kinds)
