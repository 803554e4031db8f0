"""Searches made ready from a job and a few invented parts, and plans of them written out."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from benchmarks.invented_parts import invented
from numpy.typing import NDArray

from conewright.catalogue.compiled import Compiled
from conewright.catalogue.driver_columns import driver_columns
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.catalogue.offer import Offer
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import REFERENCE_PRESSURE
from conewright.stages.choose.engine.bounding import SLACK, Group
from conewright.stages.choose.engine.combinations import Combination
from conewright.stages.choose.engine.form_cells import Cell
from conewright.stages.choose.engine.found import Limits, Picks
from conewright.stages.choose.engine.prepared import Prepared
from conewright.stages.choose.engine.solve import Search
from conewright.stages.choose.finals.planned import PlannedPlan, job_with
from conewright.stages.choose.mounted.exact import Solved
from conewright.stages.choose.space.gates import Allowed
from conewright.stages.choose.space.groups import Space
from conewright.stages.choose.space.knobs import space_of
from conewright.stages.hear.listening import REFERENCE_EMF

__all__ = ["Plan", "Watched", "compiled_of", "few_parts", "searched", "written_build"]

Row = Mapping[str, str]
EVERYWHERE = Allowed(cut=True, unmeasured=True)


def few_parts(seed: int, **counts: int) -> list[Row]:
    """Return invented parts of some kinds, so many of each, all of them to be had."""
    chance = random.Random(seed)
    rows = _invented()
    found: list[Row] = []
    for kind, count in counts.items():
        of_kind = [row for row in rows if row["kind"] == kind]
        chosen = chance.sample(of_kind, count)
        found += [{**row, "stock": "40", "per": chance.choice(("piece", "pair"))} for row in chosen]
    return found


@cache
def _invented() -> list[Row]:
    return invented(400)


def compiled_of(rows: Iterable[Row]) -> Compiled:
    """Return parts as a catalogue."""
    return read_catalogue(table_of(written(list(rows), ending=".csv"), file="parts.csv")).compiled


@dataclass(frozen=True)
class Plan:
    """A plan drawn by chance, with what the search knows of it ahead.

    Attributes:
        combination: of cells that it is of.
        row: what it takes, as the search joins it.
        picks: the same, whole.
        bounds: of bass, clarity, loudness [dB]: from sums of sizes, and from sums of pressures.
        travel: peak travel over Xmax, at least.
        overloaded: whether its load is ruled out ahead.

    """

    combination: Combination
    row: NDArray[np.intp]
    picks: Picks
    bounds: Mapping[str, tuple[float, float]]
    travel: float
    overloaded: bool


class Watched(Search):
    """A search that keeps what plans came to, and whose plans can be drawn by chance."""

    last: Solved
    sums: tuple[FloatArray, FloatArray]

    def _judged(
        self,
        build: Build,
        r: int,
        found: Solved,
        some: Sequence[tuple[Combination, NDArray[np.intp]]],
    ) -> FloatArray:
        self.last = found
        return super()._judged(build, r, found, some)

    def _upper(
        self, gains: FloatArray, ceiling: FloatArray, left: dict[str, float], r: int
    ) -> FloatArray:
        self.sums = gains, ceiling
        return super()._upper(gains, ceiling, left, r)

    def some_plans(self, seed: int, count: int) -> list[Plan]:
        """Return plans of any combinations, by chance."""
        chance = random.Random(seed)
        combinations = self._combinations(Limits())
        plans: list[Plan] = []
        for _ in range(count if combinations else 0):
            each = chance.choice(combinations)
            found = self._groups(each, Limits())
            if found is not None:
                plans.append(self._drawn(each, found[0], found[1], chance))
        return plans

    def _drawn(
        self, each: Combination, groups: Sequence[Group], limits: FloatArray, chance: random.Random
    ) -> Plan:
        rows = [chance.randrange(len(group)) for group in groups]
        one = [group.only(np.array([row])) for group, row in zip(groups, rows, strict=True)]
        row = np.max([group.picks[0] for group in one], axis=0)
        volts = self._volts(each)
        gains = np.sum([group.gains for group in one], axis=0)
        least = np.min([group.ceiling for group in one], axis=0)
        ceiling = np.minimum(least, volts)
        left = self._takes(each)[2]
        bound = self._upper(gains, ceiling, left, each.radio)
        sizes = _levels(*self.sums)
        self._refined(each, groups, row[np.newaxis], bound, volts, left)
        pressures = _levels(*self.sums)
        travel = [
            cell.numbers(u)[3][_at(cell, u, row, len(self.ready.space.channels))]
            for cell in self._of(each)
            for u in range(len(cell.classes))
        ]
        costs = np.sum([group.costs[0] for group in one], axis=0)
        return Plan(
            each,
            row,
            self._picks(each, row),
            {name: (sizes[name], pressures[name]) for name in sizes},
            float(max(travel)),
            bool(np.any(costs[1:] > limits[1:] + SLACK)),
        )

    def worked_out(self, plan: Plan) -> tuple[float, Solved]:
        """Return the points of a plan, and what it comes to."""
        value = float(self._values(plan.combination, [(plan.combination, plan.row)])[0])
        return value, self.last


def _levels(gains: FloatArray, ceiling: FloatArray) -> dict[str, float]:
    """Return levels of sums: what is heard of 2.83 V, and at the ceiling [dB]."""
    bass, treble, coherent, powers = gains[0]
    with np.errstate(divide="ignore"):
        squared = {
            "bass": (bass * REFERENCE_EMF) ** 2,
            "clarity": treble * REFERENCE_EMF**2,
            "loudness": (coherent**2 + powers) * ceiling[0] ** 2,
        }
        return {n: float(10 * np.log10(s / REFERENCE_PRESSURE**2)) for n, s in squared.items()}


def _at(cell: Cell, u: int, row: NDArray[np.intp], channels: int) -> int:
    """Return which of a unit's options a plan takes, among those of a cell."""
    unit, mask = cell.wired.units[u], cell.classes[u]
    wanted = row[[1 + 3 * channels + g for g in unit.groups]]
    same = np.all(unit.options[mask] == wanted, axis=1)
    same &= (unit.capacitor[mask] < 0) | (unit.capacitor[mask] == row[1 + 3 * cell.wired.group + 1])
    return int(np.flatnonzero(same)[0])


def searched(
    job: Job,
    rows: Iterable[Row],
    *,
    may: Iterable[str] | None = None,
    allowed: Allowed = EVERYWHERE,
    gap: float = 0.0,
    seat: str | None = None,
) -> Watched:
    """Return a search over everything that may be combined."""
    compiled = compiled_of(rows)
    parts = driver_columns(compiled)
    found = tuple(f"{each.fault}@{each.at}" for each in job.findings)
    offer = Offer("invented", None, "0" * 64, compiled)
    space = space_of(job, offer, parts, established=found, allowed=allowed, may=may)
    return Watched(Prepared(space, parts, seat or job.seats[0].id), gap=gap)


def written_build(space: Space, picks: Picks) -> Build:
    """Return a plan as a proposal of the job carried out, as it would be written into it."""
    plan = PlannedPlan("plan", space, picks)
    return job_with(space.job, (plan,)).build("plan")
