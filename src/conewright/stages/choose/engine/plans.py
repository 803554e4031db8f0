"""Plans of combinations of cells: what they come to as sums, and their picks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.engine.sums import Radio, Sums
from conewright.stages.choose.engine.wholes import Whole, WholeSolver, stacked_wholes

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.choose.engine.combinations import Combinations
    from conewright.stages.choose.engine.prepared import Prepared
    from conewright.stages.choose.engine.wirings import Wiring

__all__ = ["PlanSums", "Rows"]

MOST_KEPT = 20_000
"""Groups of channels that are kept solved for one wiring; beyond it they start anew."""


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
        self._by_id = {id(c.wired.wiring): c.wired.wiring for g in combined.groups for c in g}

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
            slots = [s for s, each in enumerate(self._combined.slots) if each == g]
            units = slots[: len(wiring.units)]
            if int(key) not in self._solved:
                self._solved[int(key)] = _Solved(wiring)
            solved = self._solved[int(key)]
            forms = self._forms[g][plans.cells[:, g]]
            groups.append(solved.of(np.column_stack((forms, plans.options[:, units]))))
            cones.append(solved.solver.cones)
        return self._radio.sums(groups, cones)

    def picks(self, plans: Rows) -> NDArray[np.intp]:
        """Return the picks of plans."""
        space, combined = self._ready.space, self._combined
        channels = len(space.channels)
        picks = np.full((len(plans), 1 + 3 * channels + len(space.places)), -1, dtype=np.intp)
        picks[:, 0] = combined.radio
        for g in range(channels):
            here = plans.cells[:, g]
            picks[:, [1 + 3 * g, 1 + 3 * g + 2]] = self._forms[g][here]
            slots = [s for s, each in enumerate(combined.slots) if each == g]
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
            here = plans.cells[:, g]
            slots = [s for s, each in enumerate(self._combined.slots) if each == g]
            for key in np.unique(self._wirings[g][here]):
                some = np.flatnonzero(self._wirings[g][here] == key)
                for unit, slot in zip(self._by_id[int(key)].units, slots, strict=False):
                    total[some] += unit.money[plans.options[some, slot]]
        return total
