"""Radios with a cell of every group of channels: hours, money and bounds of all of them at once.

What does not depend on any limit is worked out once for a radio. Under limits of money the most
that each unit adds is that of the options for which there is money left, beside the cheapest of
all others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.programme import programme_weights
from conewright.stages.choose.cells.nested import Scale
from conewright.stages.choose.cells.unions import Unions
from conewright.stages.choose.mounted.option_numbers import GAINS

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.cells.form_cells import Cell
    from conewright.stages.choose.cells.points_bound import Worth
    from conewright.stages.choose.mounted.option_takes import Take
    from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["Combinations", "Reached"]

CLOSE = 1e-6
"""Hours and money of unions are put together by kinds, and that much may be rounded away."""

ROUNDED = 1e-6
"""What singular vectors that were left out may carry of a norm."""


@dataclass(frozen=True, eq=False)
class Reached:
    """Combinations of cells under one radio that may hold the best plan; rows are these.

    Attributes:
        at: position among all of the radio.
        cells: of each group of channels, (combinations, groups).
        bound: points that no plan of it exceeds.
        money: beside the parts.
        marked: points of the wishes that no sound is about.
        bass: norm of the bass, at most [Pa/V].
        ceiling: at most [V].
        gains: of each unit, the most that it adds for the money that is left,
            (combinations, units, gains).
        ends: likewise the highest ceiling [V].
        cheapest: money for the parts of each unit at least.

    """

    at: NDArray[np.intp]
    cells: NDArray[np.intp]
    bound: FloatArray
    money: FloatArray
    marked: FloatArray
    bass: FloatArray
    ceiling: FloatArray
    gains: FloatArray
    ends: FloatArray
    cheapest: FloatArray

    def __len__(self) -> int:
        """Return the number of combinations."""
        return len(self.at)

    def only(self, kept: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Reached:
        """Return some combinations."""
        return Reached(*(getattr(self, each.name)[kept] for each in fields(self)))


class Combinations:
    """Every combination of cells under one radio.

    Attributes:
        groups: cells of each group of channels.
        slots: group of channels of each unit that a combination may have.
        scale: of differences between options.
        hours, money: of every combination, money without the parts.
        marked: points of the wishes that no sound is about.

    """

    def __init__(
        self, ready: Prepared, worth: Worth, r: int, groups: Sequence[Sequence[Cell]]
    ) -> None:
        self._worth, self.radio, self.groups = worth, r, groups
        self._shape = tuple(map(len, groups))
        self._weights = programme_weights(frequency=ready.ear.frequency)
        radio = ready.radio_takes[r]
        lists, found = _signatures(groups)
        unions = Unions(ready.labour, [ready.always, radio], lists)
        at = np.ix_(*found)
        self.hours = unions.hours[at].ravel()
        beside = ready.always.material + radio.material
        material = _summed([np.array([[c.material] for c in cells]) for cells in groups])[:, 0]
        self.money = unions.money[at].ravel() + material + beside
        marked = worth.marked({**unions.left, "hands_free": float(ready.hands_free[r])})
        self.marked = np.broadcast_to(marked, unions.hours.shape)[at].ravel()
        gains = _summed([np.array([cell.gains for cell in cells]) for cells in groups])
        self._bass = gains[:, 0] = np.minimum(gains[:, 0], _together(groups))
        self._ceiling = _least([np.array([cell.ceiling for cell in cells]) for cells in groups])
        self._units = [max(len(cell.cheapest) for cell in cells) for cells in groups]
        self.slots = tuple(g for g, units in enumerate(self._units) for _ in range(units))
        self._parts = [_padded([cell.cheapest for cell in cells]) for cells in groups]
        parts = _summed([each.sum(axis=1)[:, np.newaxis] for each in self._parts])[:, 0]
        self._least = self.money + parts
        self._bound = worth.upper(gains, self._ceiling, self.marked)
        self._possible = _possible(groups)
        loads = [cells[0].wired.allowed[0] for cells in groups]
        self.scale = _scale(worth, gains, self._ceiling, ready.money, float(min(loads)))

    def within(
        self, *, money: float, hours: float, floor: float, most: int | None = None
    ) -> Reached:
        """Return combinations within limits whose bounds reach a floor, the highest bound first.

        Args:
            money, hours: limits, inf for none.
            floor: that a plan has to reach.
            most: how many to look at, those with the highest bounds whatever the money; all when
                left out.

        """
        reached = self._possible & (self._bound >= floor)
        reached &= (self._least <= money + CLOSE) & (self.hours <= hours + CLOSE)
        which = np.flatnonzero(reached)
        if most is not None and len(which) > most:
            which = which[np.argpartition(-self._bound[which], most)[:most]]
        parts = [
            self._reached(which[start : start + BLOCK], money, floor)
            for start in range(0, max(len(which), 1), BLOCK)
        ]
        names = [each.name for each in fields(Reached)]
        found = Reached(*(np.concatenate([getattr(each, n) for each in parts]) for n in names))
        return found.only(np.argsort(-found.bound, kind="stable"))

    def cells_of(self, at: int) -> list[Cell]:
        """Return the cells of a combination."""
        multi = np.unravel_index(at, self._shape)
        return [cells[int(k)] for cells, k in zip(self.groups, multi, strict=True)]

    def _reached(self, which: NDArray[np.intp], money: float, floor: float) -> Reached:
        """Return combinations with the most that each unit can add for the money that is left."""
        cells = np.stack(np.unravel_index(which, self._shape), axis=1).reshape(-1, len(self._shape))
        count, units = len(which), len(self.slots)
        spare = money + CLOSE - self._least[which]
        gains, ends = np.zeros((count, units, len(GAINS))), np.full((count, units), np.inf)
        first = 0
        for g, every in enumerate(self.groups):
            for cell, rows in _segments(cells[:, g]):
                for unit, cheapest in enumerate(every[cell].cheapest):
                    at = first + unit
                    most = every[cell].envelope(unit).at(spare[rows] + cheapest)
                    gains[rows, at], ends[rows, at] = most
            first += self._units[g]
        parts = [each[cells[:, g]] for g, each in enumerate(self._parts)]
        found = Reached(
            at=which,
            cells=cells,
            bound=self._bound[which],
            money=self.money[which],
            marked=self.marked[which],
            bass=self._bass[which],
            ceiling=self._ceiling[which],
            gains=gains,
            ends=ends,
            cheapest=np.concatenate(parts, axis=1),
        )
        found = self._bounded(found, floor)
        ceiling = np.minimum(found.ceiling, self._volts(found.cells))
        return self._bounded(replace(found, ceiling=ceiling), floor)

    def _bounded(self, found: Reached, floor: float) -> Reached:
        """Return combinations whose bounds reach a floor."""
        whole = found.gains.sum(axis=1)
        whole[:, 0] = np.minimum(whole[:, 0], found.bass)
        least = np.minimum(found.ceiling, found.ends.min(axis=1, initial=np.inf))
        bound = np.minimum(found.bound, self._worth.upper(whole, least, found.marked))
        return replace(found, bound=bound).only(bound >= floor)

    def _volts(self, cells: NDArray[np.intp]) -> FloatArray:
        """Return the EMF at which the radio's volts end at the latest, all channels drawing [V]."""
        least = np.full(len(cells), np.inf)
        drawn = sum(self._drawn[g][cells[:, g]] for g in range(len(self.groups)))
        for g, every in enumerate(self.groups):
            output = every[0].wired.wiring.output
            for taken in self._taken[g]:
                squared = np.square(taken[cells[:, g]] + output.sagging * drawn) @ self._weights
                least = np.minimum(least, output.by_volts(np.maximum(squared, TINY)))
        return least

    @cached_property
    def _drawn(self) -> list[FloatArray]:
        return [np.array([cell.drawn for cell in cells]) for cells in self.groups]

    @cached_property
    def _taken(self) -> list[list[FloatArray]]:
        """By group and channel of the radio, share of the supply that each cell takes."""
        return [
            [
                np.array([cell.taken[k] for cell in cells])
                for k in range(min(len(cell.taken) for cell in cells))
            ]
            for cells in self.groups
        ]


BLOCK = 2048
"""Combinations that are looked at together."""

TINY = 1e-300

MONEY_POINTS, LOAD_POINTS = 8.0, 14.0
"""Points that four parts of a middling price, and the most that a channel may be loaded with, stand
for where like options are put together."""


def _scale(
    worth: Worth,
    gains: FloatArray,
    ceiling: FloatArray,
    money: Sequence[FloatArray],
    load: float,
) -> Scale:
    """Return points for differences between options, near the best of all combinations."""
    bass, treble, coherent, powers = np.maximum(gains.max(axis=0), 1e-30)
    slopes, overall = worth.slopes, float(coherent**2 + powers)
    usual = float(np.nanmedian(np.concatenate(money)))
    return Scale(
        gains=np.array(
            [
                slopes["bass"] / bass,
                0.5 * slopes["clarity"] / treble,
                slopes["loudness"] * coherent / overall,
                0.5 * slopes["loudness"] / overall,
            ]
        ),
        loud=slopes["loudness"],
        highest=float(min(ceiling.max(), 1e6)),
        money=MONEY_POINTS / (4.0 * usual) if usual > 0.0 else 0.0,
        bass=float(slopes["bass"] / bass),
        load=LOAD_POINTS / load,
    )


def _padded(rows: Sequence[Sequence[float]]) -> FloatArray:
    """Return rows of unlike length with zeros behind them."""
    table = np.zeros((len(rows), max(map(len, rows))))
    for index, row in enumerate(rows):
        table[index, : len(row)] = row
    return table


def _signatures(
    groups: Sequence[Sequence[Cell]],
) -> tuple[list[list[tuple[Take, ...]]], list[NDArray[np.intp]]]:
    """Return the takes of cells that differ in them, and which of these each cell has."""
    lists: list[list[tuple[Take, ...]]] = []
    found: list[NDArray[np.intp]] = []
    for cells in groups:
        keys = [cell.signature for cell in cells]
        distinct = list(dict.fromkeys(keys))
        place = {key: index for index, key in enumerate(distinct)}
        first = {key: cell.takes for key, cell in zip(keys[::-1], cells[::-1], strict=True)}
        lists.append([first[key] for key in distinct])
        found.append(np.array([place[key] for key in keys], dtype=np.intp))
    return lists, found


def _segments(values: NDArray[np.intp]) -> Iterator[tuple[int, NDArray[np.intp]]]:
    """Yield each value with the positions at which it stands."""
    if not values.size:
        return
    order = np.argsort(values, kind="stable")
    some, starts = np.unique(values[order], return_index=True)
    for value, rows in zip(some, np.split(order, starts[1:]), strict=True):
        yield int(value), rows


def _summed(tables: Sequence[FloatArray]) -> FloatArray:
    """Return the sums of one row of every table, all combinations in order."""
    total = tables[0]
    for table in tables[1:]:
        total = (total[:, np.newaxis, :] + table[np.newaxis, :, :]).reshape(-1, table.shape[1])
    return total


def _together(groups: Sequence[Sequence[Cell]]) -> FloatArray:
    """Return the norm of the bass of every combination of cells, at most."""
    every = [np.stack([cell.middle for cell in cells]) for cells in groups]
    off = _summed([np.array([[c.radius, c.rest, c.slack] for c in cells]) for cells in groups])
    shape = [len(cells) for cells in groups]
    squared = np.zeros(shape)
    for i, one in enumerate(every):
        own = np.sum(np.abs(one) ** 2, axis=1)
        squared += own.reshape([-1 if k == i else 1 for k in range(len(shape))])
        for j in range(i):
            both = 2.0 * (every[j].conj() @ one.T).real
            squared += both.reshape([shape[k] if k in (i, j) else 1 for k in range(len(shape))])
    leading = np.sqrt(np.maximum(squared, 0.0)).ravel() + off[:, 0]
    return np.asarray((np.hypot(leading, off[:, 1]) + off[:, 2]) * (1.0 + ROUNDED))


def _possible(groups: Sequence[Sequence[Cell]]) -> NDArray[np.bool_]:
    """Whether every combination uses each driver that is there no more than once."""
    shape = tuple(map(len, groups))
    total = np.ones(shape, dtype=bool)
    every = [frozenset[str]().union(*(cell.used for cell in cells)) for cells in groups]
    for i, j in combinations(range(len(groups)), 2):
        for name in every[i] & every[j]:
            both = [np.array([name in cell.used for cell in groups[k]]) for k in (i, j)]
            first, second = (
                each.reshape([-1 if k == n else 1 for n in range(len(shape))])
                for k, each in zip((i, j), both, strict=True)
            )
            total &= ~(first & second)
    return total.ravel()


def _least(columns: Sequence[FloatArray]) -> FloatArray:
    total = columns[0]
    for column in columns[1:]:
        total = np.minimum(total[:, np.newaxis], column[np.newaxis, :]).ravel()
    return total
