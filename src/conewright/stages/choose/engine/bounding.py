"""One option of every group, the best whole under limits: what cannot win is left out with proof.

Costs add and must stay within limits; gains add and ceilings have a least; the worth of a plan is
bounded by a function of sums and least that falls with none of them. So an option is out when even
with the most that the others could add for the money left its bound does not reach the floor
(an envelope of prefix maxima over the options sorted by money), and so is a pair of options.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray

__all__ = ["Bounded", "Envelope", "Group", "Upper", "bounded_plans", "promising"]

Upper = Callable[[FloatArray, FloatArray], FloatArray]
"""The most that a plan can be worth, of its sums of gains, (rows, gains), and its least ceiling,
(rows,)."""

SLACK = 1e-9
"""A cost this much over a limit is within it: sums of prices are rounded."""

BLOCK = 1 << 20
"""Pairs that are looked at together: few enough to stay near the processor."""


@dataclass(frozen=True, eq=False)
class Group:
    """Options of which a plan takes one: rows of every array.

    Attributes:
        costs: shape (options, limits); the first is money.
        gains: shape (options, gains).
        ceiling: shape (options,).
        picks: by choice of a plan, which is taken; -1 of choices that it does not speak of, shape
            (options, choices).

    """

    costs: FloatArray
    gains: FloatArray
    ceiling: FloatArray
    picks: NDArray[np.intp]

    def __len__(self) -> int:
        """Return the number of options."""
        return len(self.ceiling)

    def only(self, kept: NDArray[np.bool_] | NDArray[np.intp]) -> Group:
        """Return some options."""
        return Group(self.costs[kept], self.gains[kept], self.ceiling[kept], self.picks[kept])


@dataclass(frozen=True, eq=False)
class Bounded:
    """Whole plans within the limits whose bound reaches the floor, the highest bound first.

    Attributes:
        picks: by choice, which is taken, shape (plans, choices).
        bound: the most that each can be worth, shape (plans,).
        costs: shape (plans, limits).

    """

    picks: NDArray[np.intp]
    bound: FloatArray
    costs: FloatArray


class Envelope:
    """The most that a group can add for some money, gain by gain: prefix maxima over money.

    Attributes:
        least: of every cost.

    """

    def __init__(self, group: Group) -> None:
        order = np.argsort(group.costs[:, 0], kind="stable")
        self.money = group.costs[order, 0]
        self.gains = np.maximum.accumulate(group.gains[order], axis=0)
        self.ceiling = np.maximum.accumulate(group.ceiling[order])
        self.least = group.costs.min(axis=0)

    def at(self, money: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the most for each sum of money that reaches for one option at least."""
        last = np.searchsorted(self.money, money + SLACK, side="right") - 1
        last = np.maximum(last, 0)
        return self.gains[last], self.ceiling[last]


def bounded_plans(
    groups: Sequence[Group], *, limits: FloatArray, upper: Upper, floor: float
) -> Bounded:
    """Return every whole plan within the limits that may be worth the floor or more.

    Args:
        groups: with one option at least each.
        limits: of the sums of costs, shape (limits,).
        upper: the most that a plan can be worth.
        floor: plans with a bound below it are left out.

    """
    kept = _pruned(list(groups), limits, upper, floor)
    while len(kept) > 1:
        sizes = [len(group) for group in kept]
        first, second = np.argsort(sizes, kind="stable")[:2].tolist()
        others = [group for index, group in enumerate(kept) if index not in (first, second)]
        kept = [*others, _joined(kept[first], kept[second], others, limits, upper, floor)]
    whole = kept[0]
    within = np.all(whole.costs <= limits + SLACK, axis=1)
    bound = np.where(within, upper(whole.gains, whole.ceiling), -np.inf)
    best = np.argsort(-bound, kind="stable")
    best = best[bound[best] >= floor]
    return Bounded(whole.picks[best], bound[best], whole.costs[best])


def promising(
    groups: Sequence[Group], *, limits: FloatArray, upper: Upper, most: int
) -> NDArray[np.intp]:
    """Return a few plans that are likely to be good, as picks: a start, and no proof.

    Group by group the plans with the highest bounds are kept, what is not yet taken at its most.
    """
    envelopes = [Envelope(group) for group in groups]
    least = [each.least for each in envelopes]
    so_far: Group | None = None
    for index, group in enumerate(groups):
        rest = envelopes[index + 1 :]
        room = limits - reduce(np.add, least[index + 1 :], np.zeros(len(limits)))
        if so_far is None:
            joined = group.only(np.all(group.costs <= room + SLACK, axis=1))
        else:
            joined = _pairs(so_far, group, room)
        if not len(joined):
            return joined.picks
        bound = _with_rest(joined, rest, limits, upper)
        so_far = joined.only(np.argsort(-bound, kind="stable")[:most])
    assert so_far is not None
    return so_far.picks


def _pruned(groups: list[Group], limits: FloatArray, upper: Upper, floor: float) -> list[Group]:
    """Leave options out by their envelope, again and again until none falls."""
    while True:
        fallen = False
        for index, group in enumerate(groups):
            if not all(map(len, groups)):
                return [each.only(np.zeros(len(each), dtype=bool)) for each in groups]
            others = [Envelope(each) for k, each in enumerate(groups) if k != index]
            least = reduce(np.add, (each.least for each in others), np.zeros(len(limits)))
            within = np.all(group.costs <= limits - least + SLACK, axis=1)
            group = group.only(within)
            bound = _with_rest(group, others, limits, upper)
            left = group.only(bound >= floor)
            fallen |= len(left) < len(groups[index])
            groups[index] = left
        if not fallen:
            return groups


def _with_rest(
    group: Group, rest: Sequence[Envelope], limits: FloatArray, upper: Upper
) -> FloatArray:
    """Return the bound of each option with the most that the others could add to it."""
    gains, ceiling = group.gains, group.ceiling
    least = sum(each.least[0] for each in rest)
    for each in rest:
        money = limits[0] - group.costs[:, 0] - (least - each.least[0])
        more, at_most = each.at(money)
        gains, ceiling = gains + more, np.minimum(ceiling, at_most)
    return upper(gains, ceiling)


def _joined(
    one: Group,
    other: Group,
    rest: Sequence[Group],
    limits: FloatArray,
    upper: Upper,
    floor: float,
) -> Group:
    """Return the pairs of two groups that may still win, as one group."""
    if not all(map(len, (one, other, *rest))):
        return one.only(np.zeros(len(one), dtype=bool))
    envelopes = [Envelope(each) for each in rest]
    room = limits - reduce(np.add, (each.least for each in envelopes), np.zeros(len(limits)))
    found = []
    for block in _blocks(one, len(other)):
        pairs = _pairs(block, other, room)
        bound = _with_rest(pairs, envelopes, limits, upper)
        found.append(pairs.only(bound >= floor))
    return _stacked(found)


def _blocks(group: Group, beside: int) -> Iterator[Group]:
    step = max(BLOCK // max(beside, 1), 1)
    for start in range(0, len(group), step):
        yield group.only(np.arange(start, min(start + step, len(group))))


def _pairs(one: Group, other: Group, room: FloatArray) -> Group:
    """Return every pair within the room there is for both."""
    costs = one.costs[:, np.newaxis, :] + other.costs[np.newaxis, :, :]
    first, second = np.nonzero(np.all(costs <= room + SLACK, axis=-1))
    return Group(
        costs[first, second],
        one.gains[first] + other.gains[second],
        np.minimum(one.ceiling[first], other.ceiling[second]),
        np.maximum(one.picks[first], other.picks[second]),
    )


def _stacked(groups: Sequence[Group]) -> Group:
    return Group(
        np.concatenate([each.costs for each in groups]),
        np.concatenate([each.gains for each in groups]),
        np.concatenate([each.ceiling for each in groups]),
        np.concatenate([each.picks for each in groups]),
    )
