"""The best plan within limits, proved: cells by their bounds, parts by theirs, plans exactly."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.engine.cells import MOST_TRAVEL, Cell, cells_of
from conewright.stages.choose.engine.combinations import Combination, Combinations
from conewright.stages.choose.engine.exact import Plans, Solved, solved
from conewright.stages.choose.engine.found import ALIKE, DECIMALS, Found, Kept, Limits, Picks, Tally
from conewright.stages.choose.engine.numbers import LOADED_AT
from conewright.stages.choose.engine.prepared import Prepared
from conewright.stages.choose.engine.search import Group, bounded_plans, promising
from conewright.stages.choose.engine.worth import Worth
from conewright.stages.common.changes import Changes
from conewright.stages.compare.wishes import marks, points_by_wish

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["DECIMALS", "Found", "Limits", "Picks", "Search", "Tally"]

BATCH = 256
START_CELLS, START_PLANS = 24, 6
"""Where a first plan is looked for: cells with the highest bounds, and plans of each."""

CHUNK = 48
"""Combinations of cells whose plans are worked out together, the best first."""

GATES = ("load", "heat", "travel")

ROUNDED = 1e-6
"""What singular vectors that were left out may carry of a norm."""


class Search:
    """Searches one space for the best plans within any limits; what is known is kept between.

    Attributes:
        ready: the space.
        tally: what was done so far.

    """

    def __init__(self, ready: Prepared, *, gap: float = 0.0) -> None:
        self.ready, self.gap, self.tally = ready, gap, Tally()
        self._exact: dict[Picks, float] = {}
        self._cells: dict[int, list[list[Cell]]] = {}
        self._barred: set[Picks] = set()
        self._taken: dict[tuple[int, int], tuple[float, float, dict[str, float]]] = {}
        self._combined: dict[int, Combinations] = {}
        self._reference = ready.as_found
        self._worth = Worth(ready.space.job, self._reference)

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
        combinations = self._combinations(limits)
        kept = Kept(below, self.gap)
        for each in combinations[:START_CELLS]:
            if each.bound >= kept.floor:
                picks = self._start(each, limits)
                self._work_out(each, picks, kept, limits)
        at = 0
        while at < len(combinations) and combinations[at].bound >= kept.floor:
            pending: list[tuple[float, Combination, NDArray[np.intp]]] = []
            for each in combinations[at : at + CHUNK]:
                if each.bound < kept.floor:
                    break
                pending += self._bounded(each, limits, kept)
            at += CHUNK
            self._work_out_all(pending, kept, limits)
        return kept.found

    def _combinations(self, limits: Limits, *, floor: float = -np.inf) -> list[Combination]:
        """Return radios and cells whose bounds are within the limits, the highest bound first."""
        found: list[Combination] = []
        for r in range(len(self.ready.space.radios)):
            if all(self._cells_of(r)):
                found += self._combined_of(r).within(limits, floor=floor)
        found.sort(key=lambda each: (-each.bound, each.radio, each.cells))
        return found

    def _combined_of(self, r: int) -> Combinations:
        if r not in self._combined:
            self._combined[r] = Combinations(self.ready, self._worth, r, self._cells_of(r))
        return self._combined[r]

    def _cells_of(self, r: int) -> list[list[Cell]]:
        if r not in self._cells:
            ready = self.ready
            self._cells[r] = [cells_of(ready, r, c) for c in range(len(ready.space.channels))]
            self.tally.frames += int(np.prod([len(c.forms) for c in ready.space.channels]))
        return self._cells[r]

    def _takes(self, each: Combination) -> tuple[float, float, dict[str, float]]:
        """Return hours and money of a combination beside the parts, and what it leaves marked."""
        key = (each.radio, each.at)
        if key not in self._taken:
            self._taken[key] = self._takes_anew(each)
        return self._taken[key]

    def _takes_anew(self, each: Combination) -> tuple[float, float, dict[str, float]]:
        ready = self.ready
        cells = self._of(each)
        takes = [ready.always, ready.radio_takes[each.radio]]
        takes += [take for cell in cells for take in cell.takes]
        hours, money = ready.labour.of(takes)
        money += sum(take.material for take in takes)
        union: dict[str, tuple[str, ...]] = {}
        for take in takes:
            for kind, at in take.kinds.items():
                union[kind] = (*union.get(kind, ()), *at)
        return hours, money, marks(Changes((), _Every(union), {}))

    def _of(self, each: Combination) -> list[Cell]:
        groups = self._cells_of(each.radio)
        return [groups[c][k] for c, k in enumerate(each.cells)]

    def _groups(
        self, each: Combination, limits: Limits
    ) -> tuple[list[Group], FloatArray, dict[str, float], float, float] | None:
        """Return what is left to choose in a combination, with the limits of it; None for none."""
        hours, money, left = self._takes(each)
        if limits.hours is not None and hours > limits.hours + 1e-9:
            return None
        room = np.inf if limits.money is None else limits.money - money
        cells = self._of(each)
        priced = limits.money is not None
        groups = [cell.group(u, priced=priced) for cell in cells for u in range(len(cell.classes))]
        at_most = np.array(
            [room, *(cell.wired.allowed for cell in cells for _ in LOADED_AT)], dtype=float
        )
        if any(len(group) == 0 for group in groups):
            return None
        return groups, at_most, left, hours, money

    @property
    def _width(self) -> int:
        return 1 + 3 * len(self.ready.space.channels) + len(self.ready.space.places)

    def _start(self, each: Combination, limits: Limits) -> NDArray[np.intp]:
        found = self._groups(each, limits)
        if found is None:
            return np.empty((0, self._width), dtype=np.intp)
        groups, at_most, left, _, _ = found
        volts = self._volts(each)
        return promising(
            groups,
            limits=at_most,
            upper=lambda gains, ceiling: self._upper(
                gains, np.minimum(ceiling, volts), left, each.radio
            ),
            most=START_PLANS,
        )

    def _bounded(
        self, each: Combination, limits: Limits, kept: Kept
    ) -> list[tuple[float, Combination, NDArray[np.intp]]]:
        found = self._groups(each, limits)
        if found is None:
            return []
        groups, at_most, left, _, _ = found
        volts = self._volts(each)
        plans = bounded_plans(
            groups,
            limits=at_most,
            upper=lambda gains, ceiling: self._upper(
                gains, np.minimum(ceiling, volts), left, each.radio
            ),
            floor=kept.floor,
        )
        bound = plans.bound
        reached = bound >= kept.floor
        return [
            (float(one), each, picks)
            for one, picks in zip(bound[reached], plans.picks[reached], strict=True)
        ]

    def _volts(self, each: Combination) -> float:
        """Return the EMF at which the radio's volts end at the latest, all channels drawing."""
        cells = self._of(each)
        drawn = np.sum([cell.drawn for cell in cells], axis=0)
        return min(cell.wired.volts(cell.corner, drawn) for cell in cells)

    # --- Exactly ----------------------------------------------------------------------------------

    def _work_out_all(
        self,
        pending: list[tuple[float, Combination, NDArray[np.intp]]],
        kept: Kept,
        limits: Limits,
    ) -> None:
        """Work out pending plans, the highest bound first, until none can reach the floor."""
        pending.sort(key=lambda each: -each[0])
        at = 0
        while at < len(pending) and pending[at][0] >= kept.floor:
            batch = [each for each in pending[at : at + BATCH] if each[0] >= kept.floor]
            at += BATCH
            by_frame: dict[tuple[object, ...], list[tuple[Combination, NDArray[np.intp]]]] = {}
            for _, combination, picks in batch:
                by_frame.setdefault(self._frame_of(combination), []).append((combination, picks))
            for some in by_frame.values():
                self._work_out_some(some, kept, limits)

    def _work_out(
        self, each: Combination, picks: NDArray[np.intp], kept: Kept, limits: Limits
    ) -> None:
        if len(picks):
            self._work_out_some([(each, row) for row in picks], kept, limits)

    def _frame_of(self, each: Combination) -> tuple[object, ...]:
        """Return what plans must share to be worked out together."""
        cells = self._of(each)
        kept = tuple(
            cell.wired.channels.corners[cell.corner] is None and not self._off(c)
            for c, cell in enumerate(cells)
        )
        return each.radio, tuple(cell.wired.form for cell in cells), kept

    def _off(self, c: int) -> bool:
        """Whether no high-pass is set as found in a group of channels."""
        names = self.ready.space.channels[c].channels
        return all(self.ready.base.channel(n).settings.high_pass is None for n in names)

    def _work_out_some(
        self,
        some: Sequence[tuple[Combination, NDArray[np.intp]]],
        kept: Kept,
        limits: Limits,
    ) -> None:
        whole = [self._picks(each, row) for each, row in some]
        fresh = [index for index, picks in enumerate(whole) if picks not in self._exact]
        if fresh:
            first = some[fresh[0]][0]
            values = self._values(first, [some[index] for index in fresh])
            for index, value in zip(fresh, values, strict=True):
                self._exact[whole[index]] = float(value)
            self.tally.checked += len(fresh)
        for (each, _), picks in zip(some, whole, strict=True):
            value = self._exact[picks]
            if np.isfinite(value) and picks not in self._barred:
                hours, money = self.takes_of(each, picks)
                if limits.hold(money, hours):
                    kept.add(Found(picks, value, money, hours))

    def _picks(self, each: Combination, row: NDArray[np.intp]) -> Picks:
        picks = row.copy()
        picks[0] = each.radio
        for c, cell in enumerate(self._of(each)):
            picks[1 + 3 * c] = cell.wired.form
            picks[1 + 3 * c + 2] = cell.corner
        return tuple(int(v) for v in picks)

    def takes_of(self, each: Combination, picks: Picks) -> tuple[float, float]:
        """Return hours and money of a plan of a combination."""
        hours, money, _ = self._takes(each)
        start = 1 + 3 * len(self.ready.space.channels)
        for cell in self._of(each):
            for unit in cell.wired.units:
                wanted = np.array([picks[start + g] for g in unit.groups])
                same = np.all(unit.options == wanted, axis=1)
                capacitor = picks[1 + 3 * cell.wired.group + 1]
                if (unit.capacitor >= 0).any():
                    same &= unit.capacitor == capacitor
                money += float(unit.money[np.flatnonzero(same)[0]])
        return hours, money

    def _values(
        self, first: Combination, some: Sequence[tuple[Combination, NDArray[np.intp]]]
    ) -> FloatArray:
        """Return the points of plans of one frame, minus infinity where a limit is broken."""
        ready, space = self.ready, self.ready.space
        forms = [cell.wired.form for cell in self._of(first)]
        build = ready.frame(first.radio, forms)
        start = 1 + 3 * len(space.channels)
        picks = np.array([self._picks(each, row) for each, row in some])
        mounted = {
            name: ready.mounted[name].at(picks[:, start + g])
            for g, group in enumerate(space.places)
            for name in group.places
        }
        capacitors, corners = {}, {}
        for c, channels in enumerate(space.channels):
            chosen = channels.forms[forms[c]].chosen
            told = np.array([np.nan if v is None else v for v in channels.corners])
            corner = told[picks[:, 1 + 3 * c + 2]][:, np.newaxis]
            for name in channels.channels:
                if chosen is not None:
                    size = chosen.size[picks[:, 1 + 3 * c + 1]][:, np.newaxis]
                    capacitors[name, chosen.keys[name]] = size
                if not np.isnan(corner).all():
                    corners[name] = np.nan_to_num(corner, nan=0.0)
        found = solved(
            build, Plans(mounted, capacitors, corners), ear=ready.ear, centre=ready.centre
        )
        return self._judged(build, first.radio, found, some)

    def _judged(
        self,
        build: Build,
        r: int,
        found: Solved,
        some: Sequence[tuple[Combination, NDArray[np.intp]]],
    ) -> FloatArray:
        known: dict[Combination, dict[str, float]] = {}
        left: dict[str, list[float]] = {}
        for each, _ in some:
            if each not in known:
                known[each] = self._takes(each)[2]
            for name, value in known[each].items():
                left.setdefault(name, []).append(value)
        given = {
            "bass": found.bass - self._reference.bass,
            "clarity": found.clarity - self._reference.clarity,
            "loudness": found.loudness - self._reference.loudness,
            **{name: np.array(values) for name, values in left.items()},
            "hands_free": np.full(len(some), self._hands_free(r)),
        }
        told = points_by_wish(self.ready.space.job, given)
        assert told is not None
        value = np.asarray(sum(told.values()), dtype=float)
        limit = float(build.head_unit.limit.si)
        broken = {
            "load": found.least_load < 1.0 - 1e-9,
            "heat": found.chip > limit,
            "travel": found.travel > MOST_TRAVEL,
        }
        for gate, which in broken.items():
            if which.any():
                self.tally.rejected[gate] = self.tally.rejected.get(gate, 0) + int(which.sum())
                value = np.where(which, -np.inf, value)
        return np.asarray(value)

    def _upper(
        self, gains: FloatArray, ceiling: FloatArray, left: dict[str, float], r: int
    ) -> FloatArray:
        """Return the most that plans can be worth, of their sums and least ceilings."""
        marked = self._worth.marked({**left, "hands_free": self._hands_free(r)})
        return self._worth.upper(gains, ceiling, marked)

    def _hands_free(self, r: int) -> float:
        return float(self.ready.hands_free[r])


class _Every(dict[str, tuple[str, ...]]):
    """Changes by kind, nothing for those that are not made."""

    def __missing__(self, kind: str) -> tuple[str, ...]:
        return ()
