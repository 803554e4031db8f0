"""The best plan within limits, proved: cells by their bounds, parts by theirs, plans exactly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.cells.combinations import Combinations, Reached
from conewright.stages.choose.cells.form_cells import Cell, cells_of
from conewright.stages.choose.cells.points_bound import Worth
from conewright.stages.choose.engine.descent import Descent, Nodes, stacked_nodes
from conewright.stages.choose.engine.evaluation import Evaluation, broken_of
from conewright.stages.choose.engine.found import (
    ALIKE,
    CLOSE,
    DECIMALS,
    Found,
    Kept,
    Limits,
    Picks,
    Tally,
)
from conewright.stages.choose.engine.mixing import Mixing
from conewright.stages.choose.engine.plan_sums import PlanSums, Rows
from conewright.stages.choose.mounted.prepared import Prepared
from conewright.stages.common.changes import Changes
from conewright.stages.compare.wishes import marks

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["DECIMALS", "Found", "Limits", "Picks", "Search", "Tally"]

START_CELLS, START_OPTIONS, START_PLANS = 128, 192, 1024
"""Where a first plan is looked for: cells with the highest bounds, the most promising options of
each of their units, and plans of these."""

START_AT_MOST = 2048
"""Combinations among which a first plan is looked for at all."""

FIRST_CELLS, MOST_CELLS = 1024, 16_384
FIRST_BLOCKS, MOST_BLOCKS = 8192, 1 << 19
MORE = 64
"""Combinations of cells, and of blocks of options, that are looked at together: few with the
highest bounds first, since what is found there leaves less of the others."""

ROUNDED = 1e-6
"""Points, and shares of a limit, within which sums are what a plan comes to."""

MOST_BOUNDED = 12_000_000
"""Combinations of blocks that are bounded for one answer, some ten seconds; what is left then is
left open, and the answer says by how much it may be better.
"""

PROVED_WITHIN = (8.0, 4.0, 2.0, 1.0)
"""Points within which the best is proved then, as far as that goes."""

FIRST, LARGEST = 2, 256
"""Plans that are worked out together, the most promising first."""


class Search:
    """Searches one space for the best plans within any limits; what is known is kept between.

    Attributes:
        ready: the space.
        tally: what was done so far.

    """

    def __init__(self, ready: Prepared, *, gap: float = 0.0) -> None:
        self.ready, self.gap, self.tally = ready, gap, Tally()
        self._worth = Worth(ready.space.job, ready.as_found)
        self._evaluation = Evaluation(ready)
        self._cells: dict[int, list[list[Cell]]] = {}
        self._combined: dict[int, Combinations] = {}
        self._sums: dict[int, PlanSums] = {}
        self._taken: dict[tuple[int, int], tuple[float, float, dict[str, float]]] = {}
        self._exact: dict[Picks, float] = {}
        self._rejected: set[bytes] = set()
        self._found: dict[Picks, Found] = {}
        self._barred: set[Picks] = set()
        self._left: dict[Limits, float] = {}

    # --- Doors ------------------------------------------------------------------------------------

    def best(self, limits: Limits) -> Found | None:
        """Return the best plan within limits, None where none is."""
        found = self._within(limits, below=0.0)
        return min(found, key=lambda each: each.order, default=None)

    def proved_within(self, best: Found, limits: Limits) -> float:
        """Return the points within which a plan is proved to be the best within limits."""
        return max(self.gap, self._left.get(limits, -np.inf) - best.value)

    def near(self, limits: Limits, *, below: float) -> list[Found]:
        """Return every plan within limits that is worth no less than so much below the best."""
        found = self._within(limits, below=below)
        best = max((each.value for each in found), default=0.0)
        left = (each for each in found if each.value >= best - below - ALIKE)
        return sorted(left, key=lambda each: each.order)

    def bar(self, picks: Picks) -> None:
        """Leave a plan out from now on: a stage stops it."""
        self._barred.add(picks)

    # --- The search -------------------------------------------------------------------------------

    def _within(self, limits: Limits, *, below: float) -> list[Found]:
        kept = self._kept(limits, below, self.gap)
        radios = list(self._radios(limits))
        for r in radios:
            self._start(r, limits, kept)
        self._go_through(radios, limits, kept)
        if not below:
            self._left[limits] = self._open(radios, limits, kept.left)
            kept = self._kept(limits, below, self.gap)
        return kept.found

    def _kept(self, limits: Limits, below: float, gap: float) -> Kept:
        """Return what is known within limits."""
        kept = Kept(below, gap, MOST_BOUNDED)
        for each in self._found.values():
            if each.picks not in self._barred and limits.hold(each.money, each.hours):
                kept.add(each)
        return kept

    def _open(self, radios: Sequence[int], limits: Limits, left: float) -> float:
        """Return the most that a plan may be worth of what was left open.

        With some points in hand most falls away sooner, and what is left may be gone through.
        """
        for gap in PROVED_WITHIN if np.isfinite(left) else ():
            kept = self._kept(limits, 0.0, gap)
            self._go_through(radios, limits, kept)
            if np.isfinite(kept.left):
                break
            left = min(left, kept.floor)
        return left

    def _go_through(self, radios: Sequence[int], limits: Limits, kept: Kept) -> None:
        """Look at all combinations of cells that may hold a plan that matters."""
        for r in radios:
            money, hours = limits.ends
            left = self._combined_of(r).within(money=money, hours=hours, floor=kept.floor)
            start, size = 0, FIRST_CELLS
            while start < len(left):
                if kept.tired:
                    kept.leave(left.bound[start:])
                    break
                some = left.only(slice(start, start + size))
                some = some.only(some.bound >= kept.floor)
                if not len(some):
                    break
                for plans in self._descended(r, some, limits, kept):
                    self._look_at(r, plans, limits, kept)
                start, size = start + size, min(MORE * size, MOST_CELLS)

    def _radios(self, limits: Limits) -> Iterator[int]:
        """Yield the radios within limits with which there is a cell of every group of channels."""
        ready = self.ready
        for r, take in enumerate(ready.radio_takes):
            hours, money = ready.labour.of([ready.always, take])
            money += ready.always.material + take.material
            if limits.hold(money - CLOSE, hours - CLOSE) and all(self._cells_of(r)):
                yield r

    def _start(self, r: int, limits: Limits, kept: Kept) -> None:
        """Look at plans that are likely to be good: the sooner one is known the less is left.

        What has the highest bounds may all break a limit: then what comes next is looked at.
        """
        money, hours = limits.ends
        reached = self._combined_of(r).within(
            money=money, hours=hours, floor=kept.floor, most=START_AT_MOST
        )
        at, size = 0, START_CELLS
        while at < len(reached):
            some = reached.only(slice(at, at + size))
            some = some.only(some.bound >= kept.floor)
            if not len(some):
                break
            before = len(kept.found)
            descent = self._mixing(r, some, limits).promising(START_OPTIONS)
            nodes = descent.best_first(START_PLANS, kept.floor)
            self._look_at(r, _rows(some, descent, nodes), limits, kept)
            if len(kept.found) > before and at > 0:
                break
            at, size = at + size, 4 * size

    def _descended(self, r: int, some: Reached, limits: Limits, kept: Kept) -> Iterator[Rows]:
        """Yield the plans of some combinations that may win: by blocks first, then by options."""
        mixing = self._mixing(r, some, limits)
        coarse = mixing.blocks()
        blocks = stacked_nodes(list(coarse.plans(kept)))
        blocks = blocks.at(np.argsort(-blocks.bound, kind="stable"))
        start, size = 0, FIRST_BLOCKS
        while start < len(blocks):
            if kept.tired:
                kept.leave(blocks.bound[start:])
                break
            few = blocks.at(slice(start, start + size))
            few = few.at(kept.may_win(few.bound, few.money))
            if len(few):
                descent, roots = mixing.options(coarse, few)
                for nodes in descent.plans(kept, roots):
                    yield _rows(some, descent, nodes)
            start, size = start + size, min(MORE * size, MOST_BLOCKS)

    def _mixing(self, r: int, some: Reached, limits: Limits) -> Mixing:
        return Mixing(
            self._combined_of(r), some, self._worth, self._sums_of(r), money=limits.ends[0]
        )

    # --- Plans ------------------------------------------------------------------------------------

    def _look_at(self, r: int, plans: Rows, limits: Limits, kept: Kept) -> None:
        """Work out those of some plans that may win."""
        if not len(plans):
            return
        sums, combined = self._sums_of(r), self._combined_of(r)
        found = sums.sums(plans)
        value = self._worth.upper(found.gains, found.ceiling, combined.marked[plans.at])
        limit = float(self.ready.frame(r, [0] * len(combined.groups)).head_unit.limit.si)
        broken = broken_of(found.load, found.chip, found.travel, hottest=limit, margin=ROUNDED)
        whole = ~np.any(list(broken.values()), axis=0)
        picks = sums.picks(plans)
        self._reject(picks[~whole], {gate: which[~whole] for gate, which in broken.items()})
        parts = sums.parts(plans)
        money = combined.money[plans.at] + parts
        left = np.flatnonzero(whole & kept.may_win(value + ROUNDED, money))
        left = left[np.lexsort((money[left], -value[left]))]
        size, at = FIRST, 0
        while at < len(left):
            some = left[at : at + size]
            some = some[kept.may_win(value[some] + ROUNDED, money[some])]
            if len(some):
                self._work_out(r, plans.at[some], picks[some], parts[some], limits, kept)
            at, size = at + size, min(4 * size, LARGEST)

    def _work_out(
        self,
        r: int,
        at: NDArray[np.intp],
        picks: NDArray[np.intp],
        parts: FloatArray,
        limits: Limits,
        kept: Kept,
    ) -> None:
        """Work plans out exactly, and keep those that are within the limits."""
        names = [tuple(int(v) for v in row) for row in picks]
        takes = [self._takes(r, int(each)) for each in at]
        fresh = [index for index, name in enumerate(names) if name not in self._exact]
        if fresh:
            left = {
                name: np.array([takes[index][2][name] for index in fresh]) for name in takes[0][2]
            }
            values, broken = self._evaluation.values(picks[fresh], left)
            self._reject(picks[fresh], broken)
            self.tally.checked += len(fresh)
            out = np.any(list(broken.values()), axis=0)
            for index, value in zip(fresh, np.where(out, -np.inf, values), strict=True):
                self._exact[names[index]] = float(value)
        for name, (hours, money, _), spent in zip(names, takes, parts, strict=True):
            value = self._exact[name]
            if np.isfinite(value) and name not in self._found:
                self._found[name] = Found(name, value, money + float(spent), hours)
                if name not in self._barred and limits.hold(money + float(spent), hours):
                    kept.add(self._found[name])

    def _reject(self, picks: NDArray[np.intp], broken: dict[str, NDArray[np.bool_]]) -> None:
        """Count plans that break a limit, each once."""
        names = [row.tobytes() for row in picks]
        new = np.array([name not in self._rejected for name in names], dtype=bool)
        new &= np.any(list(broken.values()), axis=0)
        for gate, which in broken.items():
            count = int(np.sum(which & new))
            if count:
                self.tally.rejected[gate] = self.tally.rejected.get(gate, 0) + count
        self._rejected.update(name for name, one in zip(names, new, strict=True) if one)

    def _takes(self, r: int, at: int) -> tuple[float, float, dict[str, float]]:
        """Return hours and money of a combination beside the parts, and what it leaves marked."""
        if (r, at) not in self._taken:
            ready = self.ready
            cells = self._combined_of(r).cells_of(at)
            takes = [ready.always, ready.radio_takes[r]]
            takes += [take for cell in cells for take in cell.takes]
            hours, money = ready.labour.of(takes)
            money += sum(take.material for take in takes)
            union: dict[str, tuple[str, ...]] = {}
            for take in takes:
                for kind, there in take.kinds.items():
                    union[kind] = (*union.get(kind, ()), *there)
            self._taken[r, at] = hours, money, marks(Changes((), _Every(union), {}))
        return self._taken[r, at]

    # --- What is kept -----------------------------------------------------------------------------

    def _cells_of(self, r: int) -> list[list[Cell]]:
        if r not in self._cells:
            channels = self.ready.space.channels
            self._cells[r] = cells_of(self.ready, r)
            self.tally.frames += int(np.prod([len(c.forms) for c in channels]))
        return self._cells[r]

    def _combined_of(self, r: int) -> Combinations:
        if r not in self._combined:
            self._combined[r] = Combinations(self.ready, self._worth, r, self._cells_of(r))
        return self._combined[r]

    def _sums_of(self, r: int) -> PlanSums:
        if r not in self._sums:
            self._sums[r] = PlanSums(self.ready, self._combined_of(r))
        return self._sums[r]


def _rows(some: Reached, descent: Descent, nodes: Nodes) -> Rows:
    """Return single plans of a descent."""
    return Rows(some.cells[nodes.mixed], descent.options(nodes), some.at[nodes.mixed])


class _Every(dict[str, tuple[str, ...]]):
    """Changes by kind, nothing for those that are not made."""

    def __missing__(self, kind: str) -> tuple[str, ...]:
        return ()
