"""Plans of combinations of cells: what they come to as sums, and their picks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.cells.nested import Listed
from conewright.stages.choose.engine.evaluation import broken_of
from conewright.stages.choose.engine.sums import Radio, Sums
from conewright.stages.choose.engine.wholes import Whole, WholeSolver, stacked_wholes
from conewright.stages.choose.mounted.branch_sums import COLUMNS
from conewright.stages.choose.mounted.option_numbers import GAINS

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.cells.combinations import Combinations
    from conewright.stages.choose.cells.wirings import Wiring
    from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["PlanSums", "Rows"]

MOST_KEPT = 20_000
"""Groups of channels that are kept solved for one wiring; beyond it they start anew."""


ROUNDED = 1e-6
"""Share of a limit within which sums are what a plan comes to."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Plans of one radio; rows are these.

    Attributes:
        cells: of each group of channels, (plans, groups).
        options: rows of each unit that a plan may have, (plans, units).
        at: position of the combination of cells.

    """

    cells: NDArray[np.intp]
    options: NDArray[np.intp]
    at: NDArray[np.intp]

    def __len__(self) -> int:
        """Return the number of plans."""
        return len(self.cells)

    def only(self, kept: NDArray[np.intp]) -> Rows:
        """Return some plans."""
        return Rows(self.cells[kept], self.options[kept], self.at[kept])


class _Solved:
    """Groups of channels of one wiring that were solved."""

    def __init__(self, wiring: Wiring) -> None:
        self.solver = WholeSolver(wiring)
        self._at: dict[bytes, int] = {}
        self._whole: Whole | None = None

    def of(self, keys: NDArray[np.intp]) -> Whole:
        """Return groups by form, high-pass and option of each unit, a row each."""
        distinct, back = np.unique(keys, axis=0, return_inverse=True)
        if len(self._at) > MOST_KEPT:
            self._at, self._whole = {}, None
        names = [row.tobytes() for row in distinct]
        fresh = [index for index, name in enumerate(names) if name not in self._at]
        if fresh:
            new = distinct[fresh]
            solved = self.solver.solve(new[:, 0], new[:, 1], list(new[:, 2:].T))
            start = len(self._at)
            self._at |= {names[index]: start + k for k, index in enumerate(fresh)}
            self._whole = solved if self._whole is None else stacked_wholes([self._whole, solved])
        assert self._whole is not None
        rows = np.array([self._at[name] for name in names], dtype=np.intp)
        return self._whole.at(rows[back.ravel()])


class PlanSums:
    """What plans of one radio come to."""

    def __init__(self, ready: Prepared, combined: Combinations) -> None:
        self._ready, self._combined = ready, combined
        self._radio = Radio(ready, combined.radio, combined.groups[0][0].wired.wiring.output)
        self._solved: dict[int, _Solved] = {}
        self._forms = [
            np.array([[cell.wired.form, cell.corner] for cell in cells])
            for cells in combined.groups
        ]
        self._wirings = [
            np.array([id(cell.wired.wiring) for cell in cells]) for cells in combined.groups
        ]
        self._at = [
            [s for s, each in enumerate(combined.slots) if each == g]
            for g in range(len(combined.groups))
        ]
        self._by_id = {id(c.wired.wiring): c.wired.wiring for g in combined.groups for c in g}

    @property
    def first_units(self) -> list[int]:
        """The first unit of each group of channels."""
        return [units[0] for units in self._at]

    def sums(self, plans: Rows) -> Sums:
        """Return what plans come to, but for rounding."""
        wired = np.stack([each[plans.cells[:, g]] for g, each in enumerate(self._wirings)], axis=1)
        found: list[tuple[NDArray[np.intp], Sums]] = []
        for wirings in np.unique(wired, axis=0):
            here = np.flatnonzero(np.all(wired == wirings, axis=1))
            found.append((here, self._of_one(plans.only(here), wirings)))
        order = np.argsort(np.concatenate([here for here, _ in found]))
        names = list(vars(found[0][1]))
        parts = {n: np.concatenate([getattr(each, n) for _, each in found]) for n in names}
        return Sums(**{name: values[order] for name, values in parts.items()})

    def _of_one(self, plans: Rows, wirings: NDArray[np.intp]) -> Sums:
        """Return what plans come to whose channels are wired alike."""
        groups, cones = [], []
        for g, key in enumerate(wirings):
            wiring = self._by_id[int(key)]
            solved, whole = self._group(g, wiring, plans.cells[:, g], plans.options[:, self._at[g]])
            groups.append(whole)
            cones.append(solved.solver.cones)
        return self._radio.sums(groups, cones)

    def whole(
        self, g: int, cells: NDArray[np.intp], options: NDArray[np.intp]
    ) -> tuple[Listed, dict[str, NDArray[np.bool_]]]:
        """Return groups of channels with all that stands on them as options by themselves, and
        which of them break a limit whatever else a plan takes.

        Args:
            g: group.
            cells: of each.
            options: of each unit, (groups, units).

        """
        count = len(cells)
        gains, ends = np.zeros((count, len(GAINS))), np.zeros(count)
        bass = np.zeros((count, len(self._combined.groups[g][0].middle)), dtype=complex)
        rest, slack = np.zeros((2, count))
        broken = {"load": np.zeros(count, dtype=bool), "travel": np.zeros(count, dtype=bool)}
        for key in np.unique(self._wirings[g][cells]):
            here = np.flatnonzero(self._wirings[g][cells] == key)
            wiring = self._by_id[int(key)]
            solved, whole = self._group(g, wiring, cells[here], options[here])
            known = self._radio.alone(whole, solved.solver.cones, wiring.besides)
            gains[here], ends[here] = known.gains, known.ceiling
            bass[here] = whole.bass @ wiring.leading.T
            left = np.sum(np.abs(whole.bass) ** 2, axis=1) - np.sum(np.abs(bass[here]) ** 2, axis=1)
            rest[here] = np.sqrt(np.maximum(left, 0.0))
            slack[here] = whole.slack
            told = broken_of(known.load, known.chip, known.travel, hottest=np.inf, margin=ROUNDED)
            for gate, which in broken.items():
                which[here] = told[gate]
        costs = np.zeros((count, 1 + COLUMNS))
        costs[:, 0] = self._money_of(g, cells, options)
        rows = np.arange(count)
        return Listed(rows, gains, ends, costs, bass, np.zeros(count), rest, slack), broken

    def _group(
        self, g: int, wiring: Wiring, cells: NDArray[np.intp], options: NDArray[np.intp]
    ) -> tuple[_Solved, Whole]:
        """Return groups of channels of one wiring."""
        if id(wiring) not in self._solved:
            self._solved[id(wiring)] = _Solved(wiring)
        solved = self._solved[id(wiring)]
        keys = np.column_stack((self._forms[g][cells], options[:, : len(wiring.units)]))
        return solved, solved.of(keys)

    def picks(self, plans: Rows) -> NDArray[np.intp]:
        """Return the picks of plans."""
        space, combined = self._ready.space, self._combined
        channels = len(space.channels)
        picks = np.full((len(plans), 1 + 3 * channels + len(space.places)), -1, dtype=np.intp)
        picks[:, 0] = combined.radio
        for g in range(channels):
            here = plans.cells[:, g]
            picks[:, [1 + 3 * g, 1 + 3 * g + 2]] = self._forms[g][here]
            slots = self._at[g]
            for key in np.unique(self._wirings[g][here]):
                some = np.flatnonzero(self._wirings[g][here] == key)
                for unit, slot in zip(self._by_id[int(key)].units, slots, strict=False):
                    rows = plans.options[some, slot]
                    taken = unit.capacitor[rows]
                    picks[some, 1 + 3 * g + 1] = np.maximum(picks[some, 1 + 3 * g + 1], taken)
                    for k, place in enumerate(unit.groups):
                        picks[some, 1 + 3 * channels + place] = unit.options[rows, k]
        return picks

    def parts(self, plans: Rows) -> FloatArray:
        """Return the money for the parts of plans."""
        total = np.zeros(len(plans))
        for g in range(len(self._combined.groups)):
            total += self._money_of(g, plans.cells[:, g], plans.options[:, self._at[g]])
        return total

    def _money_of(self, g: int, cells: NDArray[np.intp], options: NDArray[np.intp]) -> FloatArray:
        """Return the money for the parts of groups of channels."""
        total = np.zeros(len(cells))
        for key in np.unique(self._wirings[g][cells]):
            some = np.flatnonzero(self._wirings[g][cells] == key)
            for k, unit in enumerate(self._by_id[int(key)].units):
                total[some] += unit.money[options[some, k]]
        return total
