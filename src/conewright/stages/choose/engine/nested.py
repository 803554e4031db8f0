"""Lists of options nested in blocks of blocks, like ones together: a block is bounded as one.

A block has the most that any of its options adds, and the least that it costs; its bass is a
middle with a radius, in the leading dimensions of the common space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = ["Listed", "Nested", "Scale"]

FANOUT = 4
"""Blocks in the next larger one."""


@dataclass(frozen=True, eq=False)
class Listed:
    """Options of which a plan takes one; rows of every array.

    Attributes:
        rows: what each is called by whoever made the list.
        gains: shape (options, gains).
        ceiling: shape (options,).
        costs: of which sums must stay within limits, the first is money, (options, limits).
        bass: pressure in the leading dimensions, (options, dimensions).
        rest: norm of it in all others.
        slack: how far its norm may be off.

    """

    rows: NDArray[np.intp]
    gains: FloatArray
    ceiling: FloatArray
    costs: FloatArray
    bass: ComplexArray
    rest: FloatArray
    slack: FloatArray

    def __len__(self) -> int:
        """Return the number of options."""
        return len(self.rows)

    def only(self, kept: NDArray[np.bool_] | NDArray[np.intp]) -> Listed:
        """Return some options."""
        return Listed(*(getattr(self, each.name)[kept] for each in fields(self)))


@dataclass(frozen=True, eq=False)
class Scale:
    """What makes differences between options comparable: points for a whole of each gain.

    Attributes:
        gains: points for one of each gain.
        loud: points for a factor e of the ceiling, and the highest that matters [V].
        money: points for one.
        bass: points for one of the bass.

    """

    gains: FloatArray
    loud: float
    highest: float
    money: float
    bass: float

    def points(self, options: Listed) -> FloatArray:
        """Return options as places in a space where distances are points."""
        ceiling = np.clip(options.ceiling, 1e-3 * self.highest, self.highest)
        vectors, costs = self.bass * options.bass[:, :SHOWN], options.costs[:, :1]
        return np.concatenate(
            [
                options.gains * self.gains,
                self.loud * np.log(ceiling)[:, np.newaxis],
                self.money * np.where(np.isinf(costs), 0.0, costs),
                vectors.real,
                vectors.imag,
            ],
            axis=1,
        )


SHOWN = 3
"""Leading dimensions of the bass by which options are put together."""


class Nested:
    """The blocks of several lists, all in one table.

    Attributes:
        root: of each list, its largest block; -1 of an empty one.
        rows: of a block of one option, what that is called; -1 of larger ones.
        first, count: of the blocks that a block has in it.
        gains, ceiling: at most.
        costs: at least.
        bass, radius: middle, and how far from it at most.
        rest, slack: at most.
        apart: how much the options of a block differ, in points.

    """

    def __init__(self, lists: Sequence[Listed], scale: Scale) -> None:
        whole = Listed(
            *(np.concatenate([getattr(each, f.name) for each in lists]) for f in fields(Listed))
        )
        sizes = np.array([len(each) for each in lists], dtype=np.intp)
        which = np.repeat(np.arange(len(lists)), sizes)
        within = np.arange(len(whole)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        points = scale.points(whole)
        order = _ordered(which, within, points, int(sizes.max(initial=1)))
        whole, points = whole.only(order), points[order]
        self._levels(whole, points, which, within, sizes)

    def _levels(
        self,
        whole: Listed,
        points: FloatArray,
        which: NDArray[np.intp],
        within: NDArray[np.intp],
        sizes: NDArray[np.intp],
    ) -> None:
        tables: list[dict[str, NDArray[np.generic]]] = []
        offset, size = 0, 1
        below: NDArray[np.intp] | None = None
        self.root = np.full(len(sizes), -1)
        while True:
            starts = np.flatnonzero(within % size == 0)
            tables.append(_blocks(whole, points, starts))
            count = np.zeros(len(starts), dtype=np.intp)
            first = np.full(len(starts), -1)
            if below is not None:
                at = np.searchsorted(below, starts)
                count = np.diff(np.append(at, len(below)))
                first = at + offset - len(below)
            tables[-1] |= {
                "first": first,
                "count": count,
                "rows": whole.rows[starts] if below is None else np.full(len(starts), -1),
            }
            blocks = np.bincount(which[starts], minlength=len(sizes))
            alone = (blocks == 1) & (self.root < 0)
            of_list = which[starts]
            here = np.flatnonzero(alone[of_list])
            self.root[of_list[here]] = offset + here
            below, offset = starts, offset + len(starts)
            if not len(starts) or blocks.max() <= 1:
                break
            size *= FANOUT
        whole_table = {name: np.concatenate([t[name] for t in tables]) for name in tables[0]}
        self.gains, self.ceiling = whole_table["gains"], whole_table["ceiling"]
        self.costs, self.bass = whole_table["costs"], whole_table["bass"]
        self.radius, self.rest = whole_table["radius"], whole_table["rest"]
        self.slack, self.apart = whole_table["slack"], whole_table["apart"]
        self.first, self.count = whole_table["first"], whole_table["count"]
        self.rows = whole_table["rows"]


def _ordered(
    which: NDArray[np.intp], within: NDArray[np.intp], points: FloatArray, most: int
) -> NDArray[np.intp]:
    """Return an order in which options that are alike stand together, list by list.

    Every half is halved again along the direction in which it differs most.
    """
    order = np.arange(len(which))
    size = 1 << max(most - 1, 0).bit_length()
    while size > 1:
        starts = np.flatnonzero(within % size == 0)
        segment = np.cumsum(within % size == 0) - 1
        here = points[order]
        apart = np.maximum.reduceat(here, starts) - np.minimum.reduceat(here, starts)
        along = np.argmax(apart, axis=1)
        key = here[np.arange(len(here)), along[segment]]
        order = order[np.lexsort((key, segment))]
        size //= 2
    return order


def _blocks(
    whole: Listed, points: FloatArray, starts: NDArray[np.intp]
) -> dict[str, NDArray[np.generic]]:
    """Return the numbers of blocks that start at some of the options."""
    sizes = np.diff(np.append(starts, len(whole)))
    alone = len(starts) == len(whole)
    middle = whole.bass
    radius: FloatArray = np.zeros(len(starts))
    if not alone:
        middle = np.add.reduceat(whole.bass, starts) / sizes[:, np.newaxis]
        away = whole.bass - np.repeat(middle, sizes, axis=0)
        away_squared = np.sum(away.real**2 + away.imag**2, axis=1)
        radius = np.sqrt(np.maximum.reduceat(away_squared, starts))
    apart = np.maximum.reduceat(points, starts) - np.minimum.reduceat(points, starts)
    return {
        "gains": np.maximum.reduceat(whole.gains, starts),
        "ceiling": np.maximum.reduceat(whole.ceiling, starts),
        "costs": np.minimum.reduceat(whole.costs, starts),
        "bass": middle,
        "radius": radius,
        "rest": np.maximum.reduceat(whole.rest, starts),
        "slack": np.maximum.reduceat(whole.slack, starts),
        "apart": apart.max(axis=1),
    }
