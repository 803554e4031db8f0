"""Combinations of cells made ready to go down into: lists of the options that may still win."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.choose.engine.descent import Mixed
from conewright.stages.choose.engine.nested import Listed, Nested, Scale
from conewright.stages.choose.engine.numbers import LOADED_AT

if TYPE_CHECKING:
    from conewright.stages.choose.engine.cells import Cell
    from conewright.stages.choose.engine.combinations import Combinations, Reached
    from conewright.stages.choose.engine.worth import Worth

__all__ = ["mixed_of"]

ROUNDED = 1e-6
"""Of money, that is no reason to leave anything out."""

MONEY_POINTS = 10.0
"""Points that all the money stands for where blocks are made of options that are alike."""


@dataclass(eq=False)
class _Use:
    """A list of options and where it stands."""

    cell: Cell
    unit: int
    slot: int
    combinations: list[NDArray[np.intp]]


def mixed_of(
    combined: Combinations,
    reached: Reached,
    worth: Worth,
    *,
    money: float,
    floor: float,
    most: int | None = None,
) -> tuple[Nested, Mixed]:
    """Return the lists of some combinations, with what cannot win left out.

    Args:
        combined: all combinations of a radio.
        reached: those that are meant.
        worth: of sums.
        money: limit.
        floor: that a plan has to reach.
        most: options of a list, the most promising; all that may win when left out.

    """
    slots = combined.slots
    uses, lists = _uses(combined, reached)
    spare = money - reached.money - reached.cheapest.sum(axis=1)
    rest = reached.gains.sum(axis=1)[:, np.newaxis] - reached.gains
    found = [_nothing(uses[0].cell)]
    for use in uses:
        here = np.concatenate(use.combinations)
        ends = np.delete(reached.ends[here], use.slot, axis=1).min(axis=1, initial=np.inf)
        rows, gains, ceiling, costs = use.cell.options(use.unit)
        bound = worth.upper(
            gains + rest[here, use.slot].max(axis=0),
            np.minimum(ceiling, np.minimum(ends, reached.ceiling[here]).max()),
            float(reached.marked[here].max()),
        )
        room = money
        if np.isfinite(money):
            room = float((spare[here] + reached.cheapest[here, use.slot]).max()) + ROUNDED
        kept = np.flatnonzero((bound >= floor) & (costs[:, 0] <= room))
        if most is not None and len(kept) > most:
            kept = kept[np.argsort(-bound[kept], kind="stable")[:most]]
        bass, left, slack = use.cell.bass(use.unit, rows[kept])
        found.append(Listed(rows[kept], gains[kept], ceiling[kept], costs[kept], bass, left, slack))
    signs = np.ones((len(reached), len(slots)))
    for use in uses:
        for some in use.combinations:
            cells = reached.cells[some, slots[use.slot]]
            every = combined.groups[slots[use.slot]]
            unit = use.unit
            signs[some, use.slot] = [every[int(cell)].sign(unit) for cell in cells]
    mixed = Mixed(
        lists=lists,
        signs=signs,
        money=reached.money,
        marked=reached.marked,
        ceiling=reached.ceiling,
        bass=reached.bass,
        allowed=_allowed(combined, reached),
        slots=slots,
    )
    limit = money if np.isfinite(money) else 0.0
    return Nested(found, _scale(reached, worth, limit)), mixed


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
                    uses.append(_Use(one, unit, slot + unit, []))
                uses[known[key]].combinations.append(here)
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
        costs=np.zeros((1, 1 + len(LOADED_AT))),
        bass=np.zeros((1, size), dtype=complex),
        rest=one,
        slack=one,
    )


def _allowed(combined: Combinations, reached: Reached) -> FloatArray:
    """Return what the first channel of each group may be loaded with, by combination."""
    groups = [
        np.array([cell.wired.allowed for cell in cells])[reached.cells[:, g]]
        for g, cells in enumerate(combined.groups)
    ]
    return np.stack(groups, axis=1)[:, :, np.newaxis] * np.ones(len(LOADED_AT))


def _scale(reached: Reached, worth: Worth, limit: float) -> Scale:
    """Return points for differences between options, near the best of some combinations."""
    whole = reached.gains.sum(axis=1).max(axis=0)
    slopes = worth.slopes
    bass = slopes["bass"] / max(float(whole[0]), 1e-30)
    overall = max(float(whole[2] ** 2 + whole[3]), 1e-30)
    loud = slopes["loudness"]
    highest = np.minimum(reached.ceiling, reached.ends.min(axis=1, initial=np.inf)).max()
    return Scale(
        gains=np.array(
            [
                bass,
                0.5 * slopes["clarity"] / max(float(whole[1]), 1e-30),
                loud * float(whole[2]) / overall,
                0.5 * loud / overall,
            ]
        ),
        loud=loud,
        highest=float(min(highest, 1e6)),
        money=MONEY_POINTS / limit if limit > 0.0 else 0.0,
        bass=bass,
    )
