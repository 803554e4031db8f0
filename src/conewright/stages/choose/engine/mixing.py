"""Combinations of cells made ready to go down into: lists of the options that may still win."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.choose.cells.form_cells import BLOCKS
from conewright.stages.choose.cells.nested import Listed, Nested
from conewright.stages.choose.engine.descent import Descent, Mixed, Nodes
from conewright.stages.choose.mounted.branch_sums import COLUMNS

if TYPE_CHECKING:
    from conewright.stages.choose.cells.combinations import Combinations, Reached
    from conewright.stages.choose.cells.form_cells import Cell
    from conewright.stages.choose.cells.points_bound import Worth
    from conewright.stages.choose.engine.plan_sums import PlanSums

__all__ = ["Mixing"]

ROUNDED = 1e-6
"""Of money, that is no reason to leave anything out."""


@dataclass(eq=False)
class _Use:
    """A list of options and where it stands."""

    cell: Cell
    unit: int
    slot: int


class Mixing:
    """The lists of some combinations.

    Args:
        combined: all combinations of a radio.
        reached: those that are meant.
        worth: of sums.
        sums: of whole plans.
        money: limit.

    """

    def __init__(
        self,
        combined: Combinations,
        reached: Reached,
        worth: Worth,
        sums: PlanSums,
        *,
        money: float,
    ) -> None:
        self._combined, self._reached, self._worth, self._money = combined, reached, worth, money
        self._sums = sums
        self._uses, self._lists = _uses(combined, reached)

    def promising(self, most: int) -> Descent:
        """Return the way down to so many options of each list that promise most: no proof."""
        found = [_nothing(self._uses[0].cell)]
        for index, use in enumerate(self._uses, start=1):
            here = np.flatnonzero(self._lists[:, use.slot] == index)
            found.append(use.cell.listed(use.unit, self._most_promising(use, here, most)))
        return self._descent(found, self._lists)

    def blocks(self) -> Descent:
        """Return the way down to blocks of options."""
        found = [_nothing(self._uses[0].cell)]
        found += [use.cell.blocks(use.unit, self._combined.scale).blocks for use in self._uses]
        return self._descent(found, self._lists)

    def options(self, descent: Descent, nodes: Nodes) -> tuple[Descent, Nodes]:
        """Return the way down from some blocks to their options, and where it begins.

        Args:
            descent: on which they were reached.
            nodes: blocks that may hold the best plan.

        """
        lists = self._lists[nodes.mixed]
        codes = lists * BLOCKS + descent.nested.rows[nodes.blocks]
        distinct, places = np.unique(codes, return_inverse=True)
        found: list[Listed] = []
        for index in np.unique(distinct // BLOCKS):
            here = distinct[distinct // BLOCKS == index] % BLOCKS
            if index == 0:
                found.append(_nothing(self._uses[0].cell))
                continue
            use = self._uses[int(index) - 1]
            blocks = use.cell.blocks(use.unit, self._combined.scale)
            options = [blocks.options(int(each)) for each in here]
            listed = use.cell.listed(use.unit, np.concatenate(options))
            ends = np.cumsum([each.size for each in options])
            found += [
                listed.only(slice(int(end) - each.size, int(end)))
                for each, end in zip(options, ends, strict=True)
            ]
        # Block 0 has to be nothing: it stands beside units that were solved together.
        found.insert(0, _nothing(self._uses[0].cell))
        none = np.zeros((0, lists.shape[1]), dtype=np.intp)
        down = self._descent(found, none, _Groups(self._sums, self._reached, self._signs()))
        roots = down.nested.root[1 + places.reshape(codes.shape)]
        return down, Nodes(nodes.mixed, roots, nodes.bound, nodes.money)

    def _descent(
        self, lists: Sequence[Listed], which: NDArray[np.intp], solver: _Groups | None = None
    ) -> Descent:
        reached = self._reached
        mixed = Mixed(
            lists=which,
            signs=self._signs(),
            money=reached.money,
            marked=reached.marked,
            ceiling=reached.ceiling,
            bass=reached.bass,
            allowed=_allowed(self._combined, reached),
            slots=self._combined.slots,
        )
        nested = Nested(lists, self._combined.scale)
        return Descent(nested, mixed, self._worth, self._money, solver)

    def _most_promising(self, use: _Use, here: NDArray[np.intp], most: int) -> NDArray[np.intp]:
        """Return options of a list with the highest bounds in any of some combinations."""
        reached, slot = self._reached, use.slot
        _, gains, ceiling, money = use.cell.options(use.unit)
        ends = np.delete(reached.ends[here], slot, axis=1).min(axis=1, initial=np.inf)
        rest = np.delete(reached.gains[here], slot, axis=1).sum(axis=1)
        bound = self._worth.upper(
            gains + rest.max(axis=0),
            np.minimum(ceiling, np.minimum(ends, reached.ceiling[here]).max()),
            float(reached.marked[here].max()),
        )
        if np.isfinite(self._money):
            beside = np.delete(reached.cheapest[here], slot, axis=1).sum(axis=1)
            room = float((self._money - reached.money[here] - beside).max()) + ROUNDED
            bound = np.where(money <= room, bound, -np.inf)
        left = np.argsort(-bound, kind="stable")[:most]
        return left[np.isfinite(bound[left])]

    def _signs(self) -> FloatArray:
        """Return which way round the bass of each unit counts."""
        found = []
        for g, every in enumerate(self._combined.groups):
            width = self._combined.slots.count(g)
            table = np.ones((len(every), width))
            for index, cell in enumerate(every):
                table[index, : len(cell.classes)] = [
                    cell.sign(unit) for unit in range(len(cell.classes))
                ]
            found.append(table[self._reached.cells[:, g]])
        return np.concatenate(found, axis=1)


class _Groups:
    """Solves groups of channels whose options are all chosen."""

    def __init__(self, sums: PlanSums, reached: Reached, signs: FloatArray) -> None:
        self._sums, self._cells = sums, reached.cells
        self._signs: list[dict[int, float]] = []
        for g, first in enumerate(sums.first_units):
            cells, at = np.unique(reached.cells[:, g], return_index=True)
            self._signs.append(dict(zip(cells.tolist(), signs[at, first].tolist(), strict=True)))

    def keys(self, group: int, mixed: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return the cells of combinations."""
        return np.asarray(self._cells[mixed, group])

    def solve(self, group: int, keys: NDArray[np.intp]) -> tuple[Listed, NDArray[np.bool_]]:
        """Return groups as options by themselves, and which of them break no limit."""
        cells = keys[:, 0]
        listed, broken = self._sums.whole(group, cells, keys[:, 1:])
        # As the first unit counts: a sign that a combination has for it is taken back.
        signs = np.array([self._signs[group][int(cell)] for cell in cells])
        listed = replace(listed, bass=listed.bass * signs[:, np.newaxis])
        return listed, ~np.any(list(broken.values()), axis=0)


def _uses(combined: Combinations, reached: Reached) -> tuple[list[_Use], NDArray[np.intp]]:
    """Return every list that combinations take options of, and which of these each takes.

    List 0 stands for a unit that a combination has not.
    """
    uses: list[_Use] = []
    known: dict[Hashable, int] = {}
    lists = np.zeros((len(reached), len(combined.slots)), dtype=np.intp)
    slot = 0
    for g, every in enumerate(combined.groups):
        width = combined.slots.count(g)
        order = np.argsort(reached.cells[:, g], kind="stable")
        cells, starts = np.unique(reached.cells[order, g], return_index=True)
        for cell, here in zip(cells, np.split(order, starts[1:]), strict=True):
            one = every[int(cell)]
            for unit in range(len(one.classes)):
                key = (slot + unit, id(one.wired.wiring), one.key(unit))
                if key not in known:
                    known[key] = len(uses)
                    uses.append(_Use(one, unit, slot + unit))
                lists[here, slot + unit] = 1 + known[key]
        slot += width
    return uses, lists


def _nothing(cell: Cell) -> Listed:
    """Return the list of a unit that is not there."""
    size = len(cell.middle)
    one = np.zeros(1)
    return Listed(
        rows=np.zeros(1, dtype=np.intp),
        gains=np.zeros((1, 4)),
        ceiling=np.full(1, np.inf),
        costs=np.zeros((1, 1 + COLUMNS)),
        bass=np.zeros((1, size), dtype=complex),
        radius=one,
        rest=one,
        slack=one,
    )


def _allowed(combined: Combinations, reached: Reached) -> FloatArray:
    """Return what the first channel of each group may be loaded with, by combination."""
    groups = [
        np.array([cell.wired.allowed for cell in cells])[reached.cells[:, g]]
        for g, cells in enumerate(combined.groups)
    ]
    return np.stack(groups, axis=1)
