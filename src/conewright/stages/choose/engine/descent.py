"""From blocks of options down to single plans: what cannot win is left out with proof.

A node is a combination of cells with a block of options for each of their units. Gains add at the
most, ceilings have a least, costs add at the least; the bass is no more than the sum of sizes, and
no more than the sum of middles with all radii. A node that does not reach the floor is out with all
the plans in it; another is split where its options differ most.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import squared_magnitude

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.cells.nested import Listed, Nested

__all__ = ["Descent", "Mixed", "Nodes", "Solver", "stacked_nodes"]

MARGIN = 1e-6
"""Rounding of sums of prices that is no reason to leave anything out."""

CHUNK = 4096
"""Nodes that are split at once."""


@dataclass(frozen=True, eq=False)
class Mixed:
    """Combinations of lists, rows of every array.

    Attributes:
        lists: position of each list, (combinations, units).
        signs: of the bass of each, (combinations, units).
        money: beside all options.
        marked: points of the wishes that no sound is about.
        ceiling: at most [V].
        bass: norm of the bass, at most [Pa/V].
        allowed: of the costs besides money, by group of units, (combinations, groups, limits).
        slots: group of each unit.

    """

    lists: NDArray[np.intp]
    signs: FloatArray
    money: FloatArray
    marked: FloatArray
    ceiling: FloatArray
    bass: FloatArray
    allowed: FloatArray
    slots: tuple[int, ...]

    def __len__(self) -> int:
        """Return the number of combinations."""
        return len(self.money)


@dataclass(frozen=True, eq=False)
class Nodes:
    """Nodes, or plans where all blocks are single options.

    Attributes:
        mixed: of which combination each is.
        blocks: of each unit, (nodes, units).
        bound: points.
        money: at least.

    """

    mixed: NDArray[np.intp]
    blocks: NDArray[np.intp]
    bound: FloatArray
    money: FloatArray

    def __len__(self) -> int:
        """Return the number of nodes."""
        return len(self.bound)

    def at(self, kept: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Nodes:
        """Return some nodes."""
        return Nodes(self.mixed[kept], self.blocks[kept], self.bound[kept], self.money[kept])


class Best(Protocol):
    """The best plan that is known meanwhile."""

    @property
    def floor(self) -> float:
        """What the bound of a plan has to reach."""

    @property
    def tired(self) -> bool:
        """Whether what is left is to be left open."""

    def may_win(self, bound: FloatArray, money: FloatArray) -> NDArray[np.bool_]:
        """Whether plans may matter by their bounds and the least money that they take."""

    def looked_at(self, count: int) -> None:
        """Take in how much was bounded."""

    def leave(self, bound: FloatArray) -> None:
        """Leave open what has such bounds."""


class Value(Protocol):
    """What sums are worth at most."""

    def upper(
        self, gains: FloatArray, ceiling: FloatArray, marked: FloatArray | float
    ) -> FloatArray:
        """Return the most that plans can be worth."""


class Solver(Protocol):
    """Solves groups of units whose options are all chosen."""

    def keys(self, group: int, mixed: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return what tells the groups of combinations from one another."""

    def solve(self, group: int, keys: NDArray[np.intp]) -> tuple[Listed, NDArray[np.bool_]]:
        """Return groups as options by themselves, and which of them break no limit.

        Args:
            group: which.
            keys: what tells them from one another, then the option of each unit.

        """


class Descent:
    """Goes down through the blocks of some combinations.

    Args:
        nested: blocks of all lists.
        mixed: combinations of them.
        worth: of sums.
        limit: of money.
        solver: of groups of units whose options are all chosen, so that none of them is bounded
            any more; None where only blocks are looked at.

    Attributes:
        nested: the blocks.

    """

    def __init__(
        self,
        nested: Nested,
        mixed: Mixed,
        worth: Value,
        limit: float,
        solver: Solver | None = None,
    ) -> None:
        self.nested, self._mixed, self._worth, self._limit = nested, mixed, worth, limit
        self._solver = solver
        self._units = [
            [unit for unit, each in enumerate(mixed.slots) if each == group]
            for group in dict.fromkeys(mixed.slots)
        ]
        self._wholes: list[dict[bytes, int]] = [{} for _ in self._units]
        self._first = len(nested.rows)
        self._options: list[NDArray[np.intp]] = []
        self._looked = 0

    def roots(self, floor: float) -> Nodes:
        """Return what all plans are in."""
        every = np.arange(len(self._mixed))
        blocks = self.nested.root[self._mixed.lists]
        some = np.all(blocks >= 0, axis=1)
        return self._bounded(every[some], blocks[some], floor)

    def split(self, nodes: Nodes, floor: float) -> Nodes:
        """Return what nodes fall apart into and may still reach the floor."""
        nested = self.nested
        apart = np.where(nested.count[nodes.blocks] > 0, nested.apart[nodes.blocks] + MARGIN, -1.0)
        unit = np.argmax(apart, axis=1)
        split = nodes.blocks[np.arange(len(nodes)), unit]
        count = nested.count[split]
        parent = np.repeat(np.arange(len(nodes)), count)
        within = np.arange(len(parent)) - np.repeat(np.cumsum(count) - count, count)
        blocks = nodes.blocks[parent]
        blocks[np.arange(len(parent)), unit[parent]] = nested.first[split][parent] + within
        return self._bounded(nodes.mixed[parent], blocks, floor)

    def whole(self, nodes: Nodes) -> NDArray[np.bool_]:
        """Whether nodes are single plans."""
        return np.asarray(np.all(self.nested.count[nodes.blocks] == 0, axis=1))

    def best_first(self, width: int, floor: float) -> Nodes:
        """Return some plans with high bounds: a start, and no proof."""
        nodes = self.roots(floor)
        while len(nodes) and not self.whole(nodes).all():
            nodes = nodes.at(np.argsort(-nodes.bound, kind="stable")[:width])
            done = self.whole(nodes)
            more = self.split(nodes.at(~done), floor)
            nodes = stacked_nodes([nodes.at(done), more])
        return nodes.at(np.argsort(-nodes.bound, kind="stable")[:width])

    def plans(self, kept: Best, roots: Nodes | None = None) -> Iterator[Nodes]:
        """Yield all plans that may win, by the best that is known meanwhile.

        Args:
            kept: the best that is known.
            roots: where to begin; at everything when left out.

        """
        waiting = [self.roots(kept.floor) if roots is None else roots]
        while waiting:
            nodes = waiting.pop()
            nodes = nodes.at(kept.may_win(nodes.bound, nodes.money))
            if kept.tired:
                kept.leave(nodes.bound)
                continue
            if len(nodes) > CHUNK:
                order = np.argsort(-nodes.bound, kind="stable")
                waiting.append(nodes.at(order[CHUNK:]))
                nodes = nodes.at(order[:CHUNK])
            if not len(nodes):
                continue
            done = self.whole(nodes)
            if done.any():
                yield nodes.at(done)
            if not done.all():
                before = self._looked
                left = self.split(nodes.at(~done), kept.floor)
                waiting.append(left if self._solver is None else self._solved(left, kept.floor))
                kept.looked_at(self._looked - before)

    def options(self, nodes: Nodes) -> NDArray[np.intp]:
        """Return the options of each unit of single plans."""
        blocks = nodes.blocks
        found = self.nested.rows[blocks]
        if self._options:
            table = np.concatenate(self._options)
            for units in self._units:
                here = np.flatnonzero(blocks[:, units[0]] >= self._first)
                chosen = table[blocks[here, units[0]] - self._first]
                for k, unit in enumerate(units):
                    found[here, unit] = chosen[:, k]
        return found

    def _solved(self, nodes: Nodes, floor: float) -> Nodes:
        """Return nodes in which groups of units whose options are all chosen stand as one."""
        assert self._solver is not None
        blocks, nested = nodes.blocks, self.nested
        kept, changed = np.ones(len(nodes), dtype=bool), np.zeros(len(nodes), dtype=bool)
        for group, units in enumerate(self._units):
            single = np.all(nested.count[blocks[:, units]] == 0, axis=1)
            here = np.flatnonzero(single & (blocks[:, units[0]] < self._first))
            if not here.size:
                continue
            keys = np.column_stack(
                (
                    self._solver.keys(group, nodes.mixed[here]),
                    nested.rows[blocks[here][:, units]],
                )
            )
            whole = self._of_group(group, keys)
            kept[here[whole < 0]] = False
            blocks[here, units[0]] = whole
            for unit in units[1:]:
                blocks[here, unit] = 0
            changed[here] = True
        again = np.flatnonzero(kept & changed)
        fresh = self._bounded(nodes.mixed[again], blocks[again], floor)
        return stacked_nodes([nodes.at(np.flatnonzero(kept & ~changed)), fresh])

    def _of_group(self, group: int, keys: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return the blocks of groups that are whole, -1 of those that break a limit."""
        assert self._solver is not None
        known = self._wholes[group]
        distinct, back = np.unique(keys, axis=0, return_inverse=True)
        names = [row.tobytes() for row in distinct]
        fresh = [index for index, name in enumerate(names) if name not in known]
        if fresh:
            listed, sound = self._solver.solve(group, distinct[fresh])
            known |= {names[index]: -1 for index in fresh}
            some = np.flatnonzero(sound)
            at = self.nested.append(listed.only(some))
            width = max(len(units) for units in self._units)
            options = np.zeros((len(some), width), dtype=np.intp)
            options[:, : keys.shape[1] - 1] = distinct[fresh][some, 1:]
            self._options.append(options)
            known |= {names[fresh[int(k)]]: int(block) for k, block in zip(some, at, strict=True)}
        return np.array([known[name] for name in names], dtype=np.intp)[back.ravel()]

    def _bounded(self, mixed: NDArray[np.intp], blocks: NDArray[np.intp], floor: float) -> Nodes:
        """Return nodes within the limits whose bound reaches the floor."""
        nested, of = self.nested, self._mixed
        self._looked += len(mixed)
        money = of.money[mixed] + _total(nested.money, blocks)
        kept = money <= self._limit + MARGIN
        mixed, blocks, money = mixed[kept], blocks[kept], money[kept]
        gains = _total(nested.gains, blocks)
        ceiling = of.ceiling[mixed]
        for unit in range(blocks.shape[1]):
            np.minimum(ceiling, nested.ceiling[blocks[:, unit]], out=ceiling)
        gains[:, 0] = np.minimum(gains[:, 0], of.bass[mixed])
        kept = self._worth.upper(gains, ceiling, of.marked[mixed]) >= floor
        kept[kept] = self._borne(mixed[kept], blocks[kept])
        mixed, blocks, money = mixed[kept], blocks[kept], money[kept]
        gains, ceiling = gains[kept], ceiling[kept]
        gains[:, 0] = np.minimum(gains[:, 0], self._together(mixed, blocks))
        bound = self._worth.upper(gains, ceiling, of.marked[mixed])
        kept = bound >= floor
        return Nodes(mixed[kept], blocks[kept], bound[kept], money[kept])

    def _borne(self, mixed: NDArray[np.intp], blocks: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether what stands on each channel may be borne."""
        kept = np.ones(len(mixed), dtype=bool)
        for group, units in enumerate(self._units):
            loads = sum(self.nested.loads[blocks[:, unit]] for unit in units)
            kept &= np.all(loads <= self._mixed.allowed[mixed, group] + MARGIN, axis=1)
        return kept

    def _together(self, mixed: NDArray[np.intp], blocks: NDArray[np.intp]) -> FloatArray:
        """Return the norm of the bass at most, by its middles."""
        nested, signs = self.nested, self._mixed.signs[mixed]
        total = np.asarray(nested.bass[blocks[:, 0]] * signs[:, :1], dtype=complex)
        for unit in range(1, blocks.shape[1]):
            total += nested.bass[blocks[:, unit]] * signs[:, unit : unit + 1]
        leading = np.sqrt(squared_magnitude(total).sum(axis=1))
        leading += _total(nested.radius, blocks)
        whole = np.hypot(leading, _total(nested.rest, blocks))
        return np.asarray(whole * (1.0 + MARGIN) + _total(nested.slack, blocks))


def _total(values: FloatArray, blocks: NDArray[np.intp]) -> FloatArray:
    """Return the sum over units of what blocks have; few units are quicker one by one."""
    total = values[blocks[:, 0]]
    for unit in range(1, blocks.shape[1]):
        total += values[blocks[:, unit]]
    return np.asarray(total)


def stacked_nodes(parts: Sequence[Nodes]) -> Nodes:
    """Return nodes one after the other."""
    if not parts:
        none = np.zeros(0, dtype=np.intp)
        return Nodes(none, none.reshape(0, 1), np.zeros(0), np.zeros(0))
    return Nodes(
        *(np.concatenate([getattr(each, f.name) for each in parts]) for f in fields(Nodes))
    )
