"""Radios with a cell of every group of channels: hours, money and bounds of all of them at once.

What does not depend on any limit is worked out once for a radio. Under limits of money the most
that each unit adds is that of the options for which there is money left, beside the cheapest of
all others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.engine.numbers import GAINS
from conewright.stages.choose.engine.unions import Unions

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.engine.cells import Cell
    from conewright.stages.choose.engine.found import Limits
    from conewright.stages.choose.engine.prepared import Prepared
    from conewright.stages.choose.engine.worth import Worth

__all__ = ["Combination", "Combinations"]

CLOSE = 1e-6
"""Hours and money of unions are put together by kinds, and that much may be rounded away."""

ROUNDED = 1e-6
"""What singular vectors that were left out may carry of a norm."""


@dataclass(frozen=True, eq=False)
class Combination:
    """A radio and a cell of every group of channels.

    Attributes:
        radio: its position.
        cells: positions among those of each group.
        bound: points that no plan of it exceeds.
        at: position among all of its radio.

    """

    radio: int
    cells: tuple[int, ...]
    bound: float
    at: int = -1


class Combinations:
    """Every combination of cells under one radio."""

    def __init__(
        self, ready: Prepared, worth: Worth, r: int, groups: Sequence[Sequence[Cell]]
    ) -> None:
        self._worth, self.radio, self._groups = worth, r, groups
        self._shape = tuple(map(len, groups))
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
        self.gains = _summed([np.array([cell.gains for cell in cells]) for cells in groups])
        self.gains[:, 0] = np.minimum(self.gains[:, 0], _together(groups))
        self.ceiling = _least([np.array([cell.ceiling for cell in cells]) for cells in groups])
        self._parts = [np.array([sum(cell.cheapest) for cell in cells]) for cells in groups]
        self._least = self.money + _summed([each[:, np.newaxis] for each in self._parts])[:, 0]
        self.bound = worth.upper(self.gains, self.ceiling, self.marked)

    def within(self, limits: Limits, *, floor: float) -> Iterator[Combination]:
        """Yield combinations within limits whose bounds reach a floor."""
        reached = self.bound >= floor
        if limits.money is not None:
            reached &= self._least <= limits.money + CLOSE
        if limits.hours is not None:
            reached &= self.hours <= limits.hours + CLOSE
        which = np.flatnonzero(reached)
        if limits.money is None or not which.size:
            bound = self.bound[which]
        else:
            bound = self._bounded(which, limits.money)
        for index in np.flatnonzero(bound >= floor):
            at = int(which[index])
            cells = tuple(int(k) for k in np.unravel_index(at, self._shape))
            yield Combination(self.radio, cells, float(bound[index]), at)

    def _bounded(self, which: NDArray[np.intp], money: float) -> FloatArray:
        """Return bounds with the most that each unit can add for the money that is left."""
        cells = np.unravel_index(which, self._shape)
        spare = money + CLOSE - self._least[which]
        gains, ceiling = np.zeros((which.size, len(GAINS))), np.full(which.size, np.inf)
        for here, every in zip(cells, self._groups, strict=True):
            for cell, rows in _segments(here):
                for unit, cheapest in enumerate(every[cell].cheapest):
                    more, most = every[cell].envelope(unit).at(spare[rows] + cheapest)
                    gains[rows] += more
                    ceiling[rows] = np.minimum(ceiling[rows], most)
        gains = np.minimum(gains, self.gains[which])
        ceiling = np.minimum(ceiling, self.ceiling[which])
        return self._worth.upper(gains, ceiling, self.marked[which])


def _signatures(
    groups: Sequence[Sequence[Cell]],
) -> tuple[list[list[Sequence[object]]], list[NDArray[np.intp]]]:
    """Return the takes of cells that differ in them, and which of these each cell has."""
    lists, found = [], []
    for cells in groups:
        keys = [cell.signature for cell in cells]
        distinct = list(dict.fromkeys(keys))
        place = {key: index for index, key in enumerate(distinct)}
        first = {key: cell.takes for key, cell in zip(keys[::-1], cells[::-1], strict=True)}
        lists.append([first[key] for key in distinct])
        found.append(np.array([place[key] for key in keys], dtype=np.intp))
    return lists, found  # type: ignore[return-value]


def _segments(values: NDArray[np.intp]) -> Iterator[tuple[int, NDArray[np.intp]]]:
    """Yield each value with the positions at which it stands."""
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


def _least(columns: Sequence[FloatArray]) -> FloatArray:
    total = columns[0]
    for column in columns[1:]:
        total = np.minimum(total[:, np.newaxis], column[np.newaxis, :]).ravel()
    return total
