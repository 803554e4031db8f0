"""The search on sums alone, against a solver of mixed-integer programmes and against enumeration.

Sources: scipy.optimize.milp (HiGHS), an independent tool; plain enumeration of all plans.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from itertools import product

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from conewright.physics.basics.arrays import FloatArray
from descended import Group, bounded_plans, promising


def drawn(seed: int, *, gains: int = 1) -> tuple[list[Group], FloatArray]:
    """Groups of options by chance, and limits that cut somewhere through their sums."""
    chance = np.random.default_rng(seed)
    sizes = chance.integers(1, 9, size=chance.integers(1, 6))
    groups = []
    for size in sizes:
        costs = np.round(chance.uniform(0.0, 10.0, (size, 2)), 2)
        costs[0, 0] = 0.0
        points = np.round(chance.uniform(0.0, 5.0, (size, gains)) + 0.4 * costs[:, :1], 3)
        groups.append(Group(costs, points, chance.uniform(1.0, 9.0, size)))
    whole = sum(each.costs.mean(axis=0) for each in groups)
    return groups, np.asarray(whole * chance.uniform(0.3, 1.2, 2))


def additive(gains: FloatArray, _: FloatArray) -> FloatArray:
    return np.asarray(gains[:, 0])


def crooked(gains: FloatArray, ceiling: FloatArray) -> FloatArray:
    """What falls with no sum, and is no sum itself: a level, a share that is full, a ceiling."""
    level = np.log10(1.0 + gains[:, 0] ** 2) + np.minimum(gains[:, 1], 6.0)
    return np.asarray(level + np.log10(ceiling))


def by_solver(groups: Sequence[Group], limits: FloatArray) -> float | None:
    """The most points by HiGHS; None where no plan is within the limits."""
    sizes = [len(each) for each in groups]
    points = np.concatenate([each.gains[:, 0] for each in groups])
    costs = np.concatenate([each.costs for each in groups]).T
    one = np.zeros((len(groups), sum(sizes)))
    for row, (start, size) in enumerate(zip(np.cumsum([0, *sizes]), sizes, strict=False)):
        one[row, start : start + size] = 1.0
    found = milp(
        -points,
        constraints=[LinearConstraint(costs, -np.inf, limits), LinearConstraint(one, 1.0, 1.0)],
        integrality=np.ones(len(points), dtype=np.intp),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    return None if found.x is None else float(-found.fun)


@pytest.mark.parametrize("seed", range(80))
def test_the_most_points_are_those_of_an_independent_solver(seed: int) -> None:
    groups, limits = drawn(seed)
    wanted = by_solver(groups, limits)
    _, found = bounded_plans(groups, limits=limits, upper=additive, floor=-np.inf)
    if wanted is None:
        assert len(found) == 0
        return
    assert found[0] == pytest.approx(wanted, abs=1e-5)
    # The same with a floor, as it is searched with.
    _, again = bounded_plans(groups, limits=limits, upper=additive, floor=float(found[0]) - 1e-9)
    assert again[0] == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize("seed", range(40))
def test_every_plan_that_may_reach_the_floor_is_there(seed: int) -> None:
    groups, limits = drawn(1000 + seed, gains=2)
    wanted = {}
    for picks in product(*(range(len(each)) for each in groups)):
        some = list(zip(groups, picks, strict=True))
        costs = sum(each.costs[k] for each, k in some)
        if np.all(costs <= limits + 1e-9):
            gains = reduce(np.add, (each.gains[[k]] for each, k in some))
            ceiling = np.min([each.ceiling[[k]] for each, k in some], axis=0)
            wanted[picks] = float(crooked(gains, ceiling)[0])
    floor = float(np.median(list(wanted.values()))) if wanted else 0.0
    plans, bounds = bounded_plans(groups, limits=limits, upper=crooked, floor=floor)
    got = {
        tuple(int(k) for k in picks): float(bound)
        for picks, bound in zip(plans, bounds, strict=True)
    }
    assert got.keys() == {picks for picks, value in wanted.items() if value >= floor}
    assert all(got[picks] == pytest.approx(wanted[picks], abs=1e-12) for picks in got)
    assert list(bounds) == sorted(bounds, reverse=True)


@pytest.mark.parametrize("seed", range(20))
def test_promising_plans_are_within_the_limits(seed: int) -> None:
    groups, limits = drawn(2000 + seed, gains=2)
    plans = promising(groups, limits=limits, upper=crooked, most=4)
    every, _ = bounded_plans(groups, limits=limits, upper=crooked, floor=-np.inf)
    assert len(plans) <= 4
    known = {tuple(picks) for picks in every.tolist()}
    assert all(tuple(picks) in known for picks in plans.tolist())
