"""Groups of options that only add, searched from blocks down to plans as a search of choose is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.choose.cells.nested import Listed, Nested, Scale, ordered, parted
from conewright.stages.choose.engine.descent import Descent, Mixed, stacked_nodes

__all__ = ["Group", "Upper", "bounded_plans", "promising"]

Upper = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, eq=False)
class Group:
    """Options of which a plan takes one: costs, gains and a ceiling of each."""

    costs: FloatArray
    gains: FloatArray
    ceiling: FloatArray

    def __len__(self) -> int:
        return len(self.ceiling)


@dataclass(frozen=True, eq=False)
class _Worth:
    """What sums are worth, as a search asks for it."""

    function: Upper

    def upper(
        self, gains: FloatArray, ceiling: FloatArray, marked: FloatArray | float
    ) -> FloatArray:
        return self.function(gains, ceiling) + marked


@dataclass(frozen=True)
class _Floor:
    """A floor that never rises."""

    floor: float
    tired: bool = False

    def looked_at(self, count: int) -> None:
        pass

    def leave(self, bound: FloatArray) -> None:
        raise AssertionError(f"nothing is left open here, found {bound}")

    def may_win(self, bound: FloatArray, money: FloatArray) -> NDArray[np.bool_]:
        return (bound >= self.floor) & np.isfinite(money)


def _scale(gains: int) -> Scale:
    return Scale(gains=np.ones(gains), loud=1.0, highest=10.0, money=1.0, bass=1.0, load=1.0)


def _listed(group: Group) -> Listed:
    """What counts as bass is slack: it adds in step, whatever its phase."""
    count, none = len(group), np.zeros(len(group))
    listed = Listed(
        rows=np.arange(count),
        gains=group.gains,
        ceiling=group.ceiling,
        costs=group.costs,
        bass=np.zeros((count, 3), dtype=complex),
        radius=none,
        rest=none,
        slack=group.gains[:, 0],
    )
    order = ordered(_scale(group.gains.shape[1]).points(listed))
    blocks = parted(listed, order, most=max(count // 2, 1))
    assert sorted(np.concatenate([blocks.options(k) for k in blocks.blocks.rows])) == list(
        range(count)
    )
    return listed.only(order)


def _descent(groups: Sequence[Group], limits: FloatArray, upper: Upper) -> Descent:
    units = len(groups)
    mixed = Mixed(
        lists=np.arange(units)[np.newaxis, :],
        signs=np.ones((1, units)),
        money=np.zeros(1),
        marked=np.zeros(1),
        ceiling=np.full(1, np.inf),
        bass=np.full(1, np.inf),
        allowed=limits[np.newaxis, np.newaxis, 1:],
        slots=(0,) * units,
    )
    nested = Nested([_listed(each) for each in groups], _scale(groups[0].gains.shape[1]))
    return Descent(nested, mixed, _Worth(upper), float(limits[0]))


def bounded_plans(
    groups: Sequence[Group], *, limits: FloatArray, upper: Upper, floor: float
) -> tuple[NDArray[np.intp], FloatArray]:
    """Every plan within limits that reaches a floor, the best first: options of each group, and
    what the plan is worth."""
    descent = _descent(groups, limits, upper)
    found = stacked_nodes(list(descent.plans(_Floor(floor))))
    order = np.argsort(-found.bound, kind="stable")
    picks = descent.options(found.at(order))
    return picks.reshape(-1, len(groups)), found.bound[order]


def promising(
    groups: Sequence[Group], *, limits: FloatArray, upper: Upper, most: int
) -> NDArray[np.intp]:
    """A few plans that are likely to be good."""
    descent = _descent(groups, limits, upper)
    return descent.options(descent.best_first(most, -np.inf)).reshape(-1, len(groups))
