"""Money and hours of plans put together of options, exactly as the outlay of the whole has them.

What adds stands with every option: parts and materials. What does not (the first of a kind takes
longer, a trim comes off once, surprises) follows from all changes of a plan together, which are the
union of what its options change.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.driver_columns import DriverColumns
from conewright.stages.common.changes import Changes, changes
from conewright.stages.outlay.consumables import BY_TRIMS, RIM, USUAL_SCREWS
from conewright.stages.outlay.reckoning import labour, outlay

if TYPE_CHECKING:
    from conewright.catalogue.compiled import Compiled
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.circuit import Solver

__all__ = ["Labour", "Take", "option_money", "paid", "take_of", "union_of"]

BY_FRAME = ("screw", "nut", "cord", "ring", "board")
"""Materials whose amount goes with the basket of the driver."""

IN_PAIRS = 2


@dataclass(frozen=True)
class Take:
    """What one choice takes beside what every plan does.

    Attributes:
        kinds: what it changes, ids by kind of change.
        material: of its own, drivers and what goes with their baskets left out.
        by_frame: of the part that stands for all: money by item.

    """

    kinds: Mapping[str, frozenset[str]] = field(default_factory=dict)
    material: float = 0.0
    by_frame: Mapping[str, float] = field(default_factory=dict)


def take_of(
    build: Build,
    base: Build,
    *,
    solver: Solver,
    bought: frozenset[str],
    stands_for_many: bool = False,
) -> Take:
    """Return what a build takes that the base does not.

    Args:
        build: of the choice, with what every plan does.
        base: of what every plan does.
        solver: for what parts by value bear.
        bought: kinds of lines and items that the catalogue prices.
        stands_for_many: whether its driver stands for others, which have baskets of their own.

    """
    costs, before = (_materials(each, solver, bought) for each in (build, base))
    framed = BY_FRAME if stands_for_many else ()
    frames = {name: costs[name] - before.get(name, 0.0) for name in framed if name in costs}
    whole = sum(costs.values()) - sum(before.values())
    done = changes(base).by_kind
    kinds = {
        kind: more
        for kind, at in changes(build).by_kind.items()
        if (more := frozenset(at) - frozenset(done[kind]))
    }
    return Take(kinds, whole - sum(frames.values()), frames)


def _materials(build: Build, solver: Solver, bought: frozenset[str]) -> dict[str, float]:
    """Return what a build takes besides work and surprises, by item."""
    found: dict[str, float] = {}
    if build.proposal is None:
        return found
    for line in outlay(build, solver=solver).lines:
        if line.kind in ("work", "contingency") or line.item in BY_TRIMS:
            continue
        if {line.kind, line.item} & bought:
            continue
        found[line.item] = found.get(line.item, 0.0) + line.cost.typical
    return found


class Labour:
    """Hours and money of unions of changes, each worked out once."""

    def __init__(self, base: Build) -> None:
        self._base = base
        self._kinds = tuple(changes(base).by_kind)
        self._known: dict[frozenset[tuple[str, frozenset[str]]], tuple[float, float]] = {}

    def of(self, takes: Iterable[Take]) -> tuple[float, float]:
        """Return the hours of several choices together, and what they cost besides parts."""
        return self._of_kinds(union_of(takes))

    def alone(self, kind: str, there: frozenset[str]) -> tuple[float, float]:
        """Return what one kind of change adds to the hours and the money of any others."""
        if not there:
            return 0.0, 0.0
        hours, money = self._of_kinds({kind: there})
        return hours - self.always[0], money - self.always[1]

    @cached_property
    def always(self) -> tuple[float, float]:
        """Hours and money of any change at all, whatever it is."""
        one, other = ({kind: frozenset({""})} for kind in ("filtered", "settings-reset"))
        alone = [self._of_kinds(kinds) for kinds in (one, other)]
        both = self._of_kinds({**one, **other})
        hours, money = (sum(each[k] for each in alone) - both[k] for k in (0, 1))
        return hours, money

    def _of_kinds(self, union: Mapping[str, frozenset[str]]) -> tuple[float, float]:
        key = frozenset(union.items())
        if key not in self._known:
            by_kind = {kind: tuple(sorted(union.get(kind, ()))) for kind in self._kinds}
            whole = Changes(by_kind.get("opened", ()), by_kind, {})
            self._known[key] = labour(self._base, whole)
        return self._known[key]


def union_of(takes: Iterable[Take]) -> dict[str, frozenset[str]]:
    """Return all that several choices change, ids by kind of change."""
    union: dict[str, frozenset[str]] = {}
    for take in takes:
        for kind, at in take.kinds.items():
            union[kind] = union.get(kind, frozenset()) | at
    return union


# --- Parts ----------------------------------------------------------------------------------------


def paid(compiled: Compiled, row: int, count: float) -> float:
    """Return the money for so many pieces of a part; NaN where it has no price."""
    price = compiled.number("price", row)
    if price is None:
        return float("nan")
    return price * (ceil(count / IN_PAIRS) if compiled.text("per", row) == "pair" else count)


def option_money(
    take: Take,
    rows: NDArray[np.intp],
    stands_for: int,
    *,
    parts: DriverColumns,
    compiled: Compiled,
    count: int,
) -> FloatArray:
    """Return the money of each driver of a variant, with what goes with its basket.

    Args:
        take: of the variant, made with one of them.
        rows: of the catalogue.
        stands_for: the one that it was made with.
        parts: drivers of the catalogue.
        compiled: the catalogue.
        count: places.

    """
    prices = np.array([paid(compiled, int(row), count) for row in rows])
    here = np.array([stands_for])
    for item, cost in take.by_frame.items():
        prices = prices + cost * _measure(item, rows, parts) / _measure(item, here, parts)[0]
    return prices


def _measure(item: str, rows: NDArray[np.intp], parts: DriverColumns) -> FloatArray:
    """Return what the amount of a material goes with, for each basket."""
    if item in ("screw", "nut"):
        return np.asarray(np.nan_to_num(parts.of("screw_count", rows), nan=USUAL_SCREWS) + 1.0)
    outer = parts.of("outer", rows)
    if item == "cord":
        return outer
    outer_long = np.where(
        np.isnan(parts.of("outer_long", rows)), outer, parts.of("outer_long", rows)
    )
    if item == "board":
        over = 2e-3 * RIM
        return np.asarray((outer + over) * (outer_long + over))
    inner = parts.of("cutout", rows)
    inner_long = parts.of("cutout_long", rows)
    inner_long = np.where(np.isnan(inner_long), inner, inner_long)
    return np.asarray(np.hypot(outer, outer_long) + np.hypot(inner, inner_long))
