"""The best plan within limits, proved: cells by their bounds, parts by theirs, plans exactly."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.engine.cells import Cell, cells_of
from conewright.stages.choose.engine.combinations import Combinations, Reached
from conewright.stages.choose.engine.descent import Descent, Nodes
from conewright.stages.choose.engine.evaluation import Evaluation, broken_of
from conewright.stages.choose.engine.found import ALIKE, DECIMALS, Found, Kept, Limits, Picks, Tally
from conewright.stages.choose.engine.mixing import mixed_of
from conewright.stages.choose.engine.plans import PlanSums, Rows
from conewright.stages.choose.engine.prepared import Prepared
from conewright.stages.choose.engine.worth import Worth
from conewright.stages.common.changes import Changes
from conewright.stages.compare.wishes import marks

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["DECIMALS", "Found", "Limits", "Picks", "Search", "Tally"]

START_CELLS, START_OPTIONS, START_PLANS = 32, 48, 192
"""Where a first plan is looked for: cells with the highest bounds, the most promising options of
each of their units, and plans of these."""

CHUNK = 384
"""Combinations of cells whose plans are looked for together, the best first."""

ROUNDED = 1e-6
"""Points, and shares of a limit, within which sums are what a plan comes to."""

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

    # --- Doors ------------------------------------------------------------------------------------

    def best(self, limits: Limits) -> Found | None:
        """Return the best plan within limits, None where none is."""
        found = self._within(limits, below=0.0)
        return min(found, key=lambda each: each.order, default=None)

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
        kept = Kept(below, self.gap)
        for each in self._found.values():
            if each.picks not in self._barred and limits.hold(each.money, each.hours):
                kept.add(each)
        waiting = [(r, self._reached(r, limits, kept)) for r in self._radios()]
        waiting.sort(key=lambda each: -each[1].bound.max(initial=-np.inf))
        for r, reached in waiting:
            for plans in self._started(r, reached, limits, kept):
                self._look_at(r, plans, limits, kept)
            for start in range(0, len(reached), CHUNK):
                some = reached.only(slice(start, start + CHUNK))
                some = some.only(some.bound >= kept.floor)
                if not len(some):
                    break
                for plans in self._descended(r, some, limits, kept):
                    self._look_at(r, plans, limits, kept)
        return kept.found

    def _radios(self) -> Iterator[int]:
        """Yield the radios with which there is a cell of every group of channels."""
        for r in range(len(self.ready.space.radios)):
            if all(self._cells_of(r)):
                yield r

    def _reached(self, r: int, limits: Limits, kept: Kept) -> Reached:
        return self._combined_of(r).within(limits, floor=kept.floor)

    def _started(self, r: int, reached: Reached, limits: Limits, kept: Kept) -> Iterator[Rows]:
        """Yield plans that are likely to be good: the sooner one is known the less is looked at."""
        some = reached.only(slice(0, START_CELLS))
        some = some.only(some.bound >= kept.floor)
        if len(some):
            yield from self._descended(r, some, limits, kept, start=True)

    def _descended(
        self, r: int, some: Reached, limits: Limits, kept: Kept, *, start: bool = False
    ) -> Iterator[Rows]:
        money = np.inf if limits.money is None else limits.money
        nested, mixed = mixed_of(
            self._combined_of(r),
            some,
            self._worth,
            money=money,
            floor=kept.floor,
            most=START_OPTIONS if start else None,
        )
        descent = Descent(nested, mixed, self._worth, money)

        def rows(nodes: Nodes) -> Rows:
            return Rows(some.cells[nodes.mixed], nested.rows[nodes.blocks], some.at[nodes.mixed])

        if start:
            yield rows(descent.best_first(START_PLANS, kept.floor))
            return
        for nodes in descent.plans(kept):
            yield rows(nodes)

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
            self._cells[r] = [cells_of(self.ready, r, c) for c in range(len(channels))]
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


class _Every(dict[str, tuple[str, ...]]):
    """Changes by kind, nothing for those that are not made."""

    def __missing__(self, kind: str) -> tuple[str, ...]:
        return ()
