"""Where the parts of a load stand in its drawing: a ladder from the plus wire down to the minus.

Parallel parts stand side by side, series parts one under the other; millimetres, y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING

from conewright.physics.electrics.wiring import Leaf, Series, Tree

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from conewright.stages.common.nets import Part

__all__ = ["AXIS", "HEIGHT", "Rung", "Size", "Wire", "ladder", "measure"]

HEIGHT = 20.0
"""Of one part with its two ends [mm]."""

AXIS = 6.0
"""From the left edge of a part to the line through its ends [mm]."""


@dataclass(frozen=True, slots=True)
class Size:
    """Of a load as drawn [mm]; `axis` is where its ends are, from its left edge."""

    width: float
    height: float
    axis: float


@dataclass(frozen=True, slots=True)
class Rung:
    """One part where it stands: line through its ends, from `top` to `bottom` [mm]."""

    part: Part
    x: float
    top: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Wire:
    """A straight stretch of a joint [mm]; `dots` are where more than two ends meet."""

    joint: str
    ends: tuple[tuple[float, float], tuple[float, float]]
    dots: tuple[tuple[float, float], ...] = ()


def measure(tree: Tree, widths: Mapping[str, float]) -> Size:
    """Return the size of a load; `widths` are those of its parts by key [mm]."""
    if isinstance(tree, Leaf):
        return Size(widths[tree.name], HEIGHT, AXIS)
    sizes = [measure(part, widths) for part in tree.parts]
    if isinstance(tree, Series):
        axis = max(size.axis for size in sizes)
        width = axis + max(size.width - size.axis for size in sizes)
        return Size(width, sum(size.height for size in sizes), axis)
    return Size(
        sum(size.width for size in sizes), max(size.height for size in sizes), sizes[0].axis
    )


def ladder(
    tree: Tree,
    parts: Mapping[str, Part],
    widths: Mapping[str, float],
    *,
    left: float,
    top: float,
    bottom: float,
    between: tuple[str, str],
) -> Iterator[Rung | Wire]:
    """Yield where everything in a load stands.

    Args:
        tree: the load.
        parts: its drivers and parts by key.
        widths: of the parts by key [mm].
        left: edge of the drawing [mm].
        top, bottom: the lines of the two wires [mm].
        between: names of the joints there.

    """
    yield from _Draughtsman(parts, widths).place(tree, left, top, bottom, between)


class _Draughtsman:
    def __init__(self, parts: Mapping[str, Part], widths: Mapping[str, float]) -> None:
        self._parts, self._widths, self._numbers = parts, widths, count(1)

    def place(
        self, tree: Tree, left: float, top: float, bottom: float, between: tuple[str, str]
    ) -> Iterator[Rung | Wire]:
        if isinstance(tree, Leaf):
            yield Rung(self._parts[tree.name], left + AXIS, top, bottom)
        elif isinstance(tree, Series):
            yield from self._series(tree, left, top, bottom, between)
        else:
            yield from self._parallel(tree.parts, left, top, bottom, between)

    def _series(
        self, tree: Series, left: float, top: float, bottom: float, between: tuple[str, str]
    ) -> Iterator[Rung | Wire]:
        """One under the other, each with its share of the height, all on one axis."""
        sizes = [measure(part, self._widths) for part in tree.parts]
        axis, whole = max(size.axis for size in sizes), sum(size.height for size in sizes)
        names = [between[0], *(f"J{next(self._numbers)}" for _ in sizes[1:]), between[1]]
        at = top
        for index, (part, size) in enumerate(zip(tree.parts, sizes, strict=True)):
            end = at + (bottom - top) * size.height / whole
            joints = (names[index], names[index + 1])
            yield from self.place(part, left + axis - size.axis, at, end, joints)
            if index + 1 < len(sizes):
                here = (left + axis, end)
                yield Wire(names[index + 1], (here, here), (here,))
            at = end

    def _parallel(
        self,
        parts: tuple[Tree, ...],
        left: float,
        top: float,
        bottom: float,
        between: tuple[str, str],
    ) -> Iterator[Rung | Wire]:
        """Side by side, between two rails."""
        axes = []
        for part in parts:
            size = measure(part, self._widths)
            yield from self.place(part, left, top, bottom, between)
            axes.append(left + size.axis)
            left += size.width
        for joint, y in zip(between, (top, bottom), strict=True):
            dots = tuple((x, y) for x in axes[:-1])
            yield Wire(joint, ((axes[0], y), (axes[-1], y)), dots)
