"""Lists of options nested in blocks of blocks, like ones together: a block is bounded as one.

A block has the most that any of its options adds, and the least that it costs; its bass is a
middle with a radius, in the leading dimensions of the common space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray, squared_magnitude

__all__ = ["Listed", "Nested", "Parted", "Scale", "ordered", "parted"]

FANOUT = 8
"""Blocks in the next larger one."""

SHOWN = 3
"""Leading dimensions of the bass by which options are put together."""

SHOWN_LOADS = slice(1, 5, 3)
"""Costs by which they are: loads below and above where capacitors let tweeters in."""


@dataclass(frozen=True, eq=False)
class Listed:
    """Options of which a plan takes one, or blocks of such; rows of every array.

    Attributes:
        rows: what each is called by whoever made the list.
        gains: at most, shape (options, gains).
        ceiling: at most, shape (options,).
        costs: of which sums must stay within limits, the first is money, (options, limits).
        bass: pressure in the leading dimensions, (options, dimensions).
        radius: how far from that it is there at most.
        rest: norm of it in all other dimensions.
        slack: how far its norm may be off.

    """

    rows: NDArray[np.intp]
    gains: FloatArray
    ceiling: FloatArray
    costs: FloatArray
    bass: ComplexArray
    radius: FloatArray
    rest: FloatArray
    slack: FloatArray

    def __len__(self) -> int:
        """Return the number of options."""
        return len(self.rows)

    def only(self, kept: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Listed:
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
        load: points for one siemens.

    """

    gains: FloatArray
    loud: float
    highest: float
    money: float
    bass: float
    load: float

    def points(self, options: Listed) -> FloatArray:
        """Return options as places in a space where distances are points."""
        vectors = self.bass * options.bass[:, :SHOWN]
        end = np.clip(options.ceiling, 1e-3 * self.highest, self.highest)
        money = np.where(np.isinf(options.costs[:, 0]), 0.0, options.costs[:, 0])
        plain = (options.gains * self.gains, self.loud * np.log(end), self.money * money)
        loads = self.load * options.costs[:, SHOWN_LOADS]
        return np.column_stack((*plain, vectors.real, vectors.imag, loads))


@dataclass(frozen=True, eq=False)
class Parted:
    """A list in blocks of like options.

    Attributes:
        blocks: as a list by themselves.
        order: options, those of a block together and like ones near each other.
        size: options of each block; the last may have fewer.

    """

    blocks: Listed
    order: NDArray[np.intp]
    size: int

    def options(self, block: int) -> NDArray[np.intp]:
        """Return the options of a block."""
        return self.order[block * self.size : (block + 1) * self.size]


def parted(options: Listed, order: NDArray[np.intp], *, most: int) -> Parted:
    """Return a list in so many blocks at most, by an order in which like ones stand together."""
    size = 1
    while size * most < len(options):
        size *= 2
    starts = np.arange(0, len(options), size)
    return Parted(_blocks(options.only(order), starts), order, size)


def ordered(points: FloatArray) -> NDArray[np.intp]:
    """Return an order in which options that are alike stand together.

    Every half is halved again along the direction in which it differs most.
    """
    count = len(points)
    order, within = np.arange(count), np.arange(count)
    size = 1 << max(count - 1, 0).bit_length()
    while size > 1:
        starts, segment = np.arange(0, count, size), within // size
        here = points[order]
        apart = np.maximum.reduceat(here, starts) - np.minimum.reduceat(here, starts)
        key = here[within, np.argmax(apart, axis=1)[segment]]
        order = order[np.lexsort((key, segment))]
        size //= 2
    return order


def _blocks(options: Listed, starts: NDArray[np.intp]) -> Listed:
    """Return blocks that start at some of the options, as a list."""
    sizes = np.diff(np.append(starts, len(options)))
    total = np.asarray(np.add.reduceat(options.bass, starts), dtype=complex)
    middle: ComplexArray = np.asarray(total / sizes[:, np.newaxis], dtype=complex)
    away = options.bass - np.repeat(middle, sizes, axis=0)
    far = np.sqrt(squared_magnitude(away).sum(axis=1)) + options.radius
    return Listed(
        rows=np.arange(len(starts)),
        gains=np.maximum.reduceat(options.gains, starts),
        ceiling=np.maximum.reduceat(options.ceiling, starts),
        costs=np.minimum.reduceat(options.costs, starts),
        bass=middle,
        radius=np.maximum.reduceat(far, starts),
        rest=np.maximum.reduceat(options.rest, starts),
        slack=np.maximum.reduceat(options.slack, starts),
    )


class Nested:
    """The blocks of several lists, all in one table; options that stand near each other are alike.

    Attributes:
        root: of each list, its largest block; -1 of an empty one.
        rows: of a block of one option, what that is called; -1 of larger ones.
        first, count: of the blocks that a block has in it.
        gains, ceiling: at most.
        money, loads: at least; loads as the sums over a channel.
        bass, radius: middle, and how far from it at most.
        rest, slack: at most.
        apart: how much the options of a block differ, in points.

    """

    def __init__(self, lists: Sequence[Listed], scale: Scale) -> None:
        whole = Listed(
            *(np.concatenate([getattr(each, f.name) for each in lists]) for f in fields(Listed))
        )
        points = scale.points(whole)
        # All of which the most counts, least costs turned round.
        most = np.column_stack(
            (whole.gains, whole.ceiling, whole.rest, whole.slack, -whole.costs, points, -points)
        )
        widths = (whole.gains.shape[1], 1, 1, 1, 1, whole.costs.shape[1] - 1, *points.shape[1:] * 2)
        sizes = np.array([len(each) for each in lists], dtype=np.intp)
        rows, bass, radius = whole.rows, whole.bass, whole.radius
        del whole, points
        level = _Level(most, bass, radius, sizes)
        del most
        tables, middles, radii, firsts, counts = [], [], [], [], []
        self.root, offset, lists_left = np.full(len(lists), -1), 0, np.arange(len(lists))
        while True:
            *found, high, low = np.split(level.most, np.cumsum(widths)[:-1], axis=1)
            # Copies: what tells blocks apart is kept as one number, and the table goes.
            tables.append([*(each.copy() for each in found), (high + low).max(axis=1)])
            middles.append(level.bass)
            radii.append(level.radius)
            firsts.append(level.first)
            counts.append(level.count)
            alone = level.sizes == 1
            self.root[lists_left[alone]] = offset + level.starts[alone]
            several = np.flatnonzero(level.sizes > 1)
            if not several.size:
                break
            lists_left = lists_left[several]
            below, level = offset, level.above(several)
            offset += len(tables[-1][0])
            level.first += below
        columns = [np.concatenate(parts) for parts in zip(*tables, strict=True)]
        self.gains, ceiling, rest, slack, money, loads, self.apart = columns
        self.ceiling, self.rest, self.slack = ceiling[:, 0], rest[:, 0], slack[:, 0]
        self.money, self.loads = -money[:, 0], -loads
        self.bass, self.radius = np.concatenate(middles), np.concatenate(radii)
        self.first, self.count = np.concatenate(firsts), np.concatenate(counts)
        self.rows = np.full(len(self.money), -1)
        self.rows[_places(sizes)] = rows

    def append(self, options: Listed) -> NDArray[np.intp]:
        """Take in options that stand by themselves; return where."""
        start, more = len(self.rows), len(options)
        none = np.zeros(more, dtype=np.intp)
        self.gains = np.concatenate([self.gains, options.gains])
        self.ceiling = np.concatenate([self.ceiling, options.ceiling])
        self.money = np.concatenate([self.money, options.costs[:, 0]])
        self.loads = np.concatenate([self.loads, options.costs[:, 1:]])
        self.bass = np.concatenate([self.bass, options.bass])
        self.radius = np.concatenate([self.radius, options.radius])
        self.rest = np.concatenate([self.rest, options.rest])
        self.slack = np.concatenate([self.slack, options.slack])
        self.apart = np.concatenate([self.apart, np.zeros(more)])
        self.first = np.concatenate([self.first, none - 1])
        self.count = np.concatenate([self.count, none])
        self.rows = np.concatenate([self.rows, options.rows])
        return np.arange(start, start + more)


class _Level:
    """Blocks of one size; those of each list begin at a multiple of the fanout."""

    def __init__(
        self, most: FloatArray, bass: ComplexArray, radius: FloatArray, sizes: NDArray[np.intp]
    ) -> None:
        self.sizes = sizes
        self.starts = _starts(sizes)
        places, count = _places(sizes), int(_padded(sizes).sum())
        self.most = np.full((count, most.shape[1]), -np.inf)
        self.most[places] = most
        self.bass = np.zeros((count, bass.shape[1]), dtype=complex)
        self.bass[places] = bass
        self.radius = np.full(count, -np.inf)
        self.radius[places] = radius
        self.first = np.full(count, -1)
        self.count = np.zeros(count, dtype=np.intp)

    def above(self, several: NDArray[np.intp]) -> _Level:
        """Return the next larger blocks of some of the lists."""
        padded = _padded(self.sizes)[several] // FANOUT
        first = np.repeat(self.starts[several], padded) + FANOUT * _within(padded)
        count = np.minimum(
            np.repeat(self.sizes[several], padded) - FANOUT * _within(padded), FANOUT
        )
        most, total = self.most[first], self.bass[first]
        for k in range(1, FANOUT):
            most = np.maximum(most, self.most[first + k])
            total = total + self.bass[first + k]
        middle = total / count[:, np.newaxis]
        radius = np.full(len(first), -np.inf)
        for k in range(FANOUT):
            away = self.bass[first + k] - middle
            far = np.sqrt(squared_magnitude(away).sum(axis=1))
            radius = np.maximum(radius, far + self.radius[first + k])
        found = _Level(most, middle, radius, padded)
        places = _places(padded)
        found.first[places], found.count[places] = first, count
        return found


def _padded(sizes: NDArray[np.intp]) -> NDArray[np.intp]:
    return -(-sizes // FANOUT) * FANOUT


def _starts(sizes: NDArray[np.intp]) -> NDArray[np.intp]:
    padded = _padded(sizes)
    return np.cumsum(padded) - padded


def _within(sizes: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return 0, 1 ... for each of several runs."""
    return np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)


def _places(sizes: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return where the options of several lists stand in their table."""
    return np.repeat(_starts(sizes), sizes) + _within(sizes)
