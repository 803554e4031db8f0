"""Searches made ready from a job and a few invented parts, and plans of them written out."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from benchmarks.invented_parts import invented

from conewright.catalogue.compiled import Compiled
from conewright.catalogue.driver_columns import driver_columns
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.catalogue.offer import Offer
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import REFERENCE_PRESSURE
from conewright.stages.choose.cells.combinations import Reached
from conewright.stages.choose.engine.found import Limits, Picks
from conewright.stages.choose.engine.plan_sums import Rows
from conewright.stages.choose.engine.solve import Search
from conewright.stages.choose.finals.planned import PlannedPlan, job_with
from conewright.stages.choose.mounted.branch_sums import COLUMNS, LOADED_AT
from conewright.stages.choose.mounted.exact import Solved
from conewright.stages.choose.mounted.prepared import Prepared
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
        radio, at: combination of cells that it is of.
        picks: what it takes.
        hours, money: as the search has them.
        bounds: of bass, clarity, loudness [dB]: from sums of what options add at most, and from
            sums of groups of channels that were solved.
        travel: peak travel over Xmax, at least: of options, and of groups that were solved.
        overloaded: whether its load is ruled out ahead.
        lacking: whether its travel is, since its channels draw too little.
        bound: points that no plan of its combination exceeds.

    """

    radio: int
    at: int
    picks: Picks
    hours: float
    money: float
    bounds: Mapping[str, tuple[float, float]]
    travel: tuple[float, float]
    overloaded: bool
    lacking: bool
    bound: float


class Watched(Search):
    """A search whose plans can be drawn by chance."""

    def some_plans(self, seed: int, count: int) -> list[Plan]:
        """Return plans of any combinations, by chance."""
        chance = random.Random(seed)
        radios = list(self._radios(Limits()))
        return [self._drawn(chance.choice(radios), chance) for _ in range(count if radios else 0)]

    def reached(self, r: int, limits: Limits) -> Reached:
        """Return all combinations within limits that may hold a plan."""
        money, hours = limits.ends
        return self._combined_of(r).within(money=money, hours=hours, floor=-np.inf)

    def _drawn(self, r: int, chance: random.Random) -> Plan:
        combined, sums = self._combined_of(r), self._sums_of(r)
        reached = self.reached(r, Limits())
        row = chance.randrange(len(reached))
        at = int(reached.at[row])
        options = np.zeros((1, len(combined.slots)), dtype=np.intp)
        gains, ceiling = np.zeros((1, 4)), reached.ceiling[[row]].copy()
        travel, overloaded, lacking = 0.0, False, False
        for g, cell in enumerate(combined.cells_of(at)):
            added = np.zeros(COLUMNS)
            for unit in range(len(cell.classes)):
                listed = cell.listed(unit)
                k = chance.randrange(len(listed))
                options[0, combined.slots.index(g) + unit] = listed.rows[k]
                gains += listed.gains[k]
                ceiling = np.minimum(ceiling, listed.ceiling[k])
                added += listed.costs[k, 1:]
                where = np.flatnonzero(cell.classes[unit] == listed.rows[k])
                travel = max(travel, float(cell.numbers(unit)[2][where[0]]))
            beyond = added > cell.wired.allowed + 1e-9
            overloaded |= bool(beyond[: len(LOADED_AT)].any())
            lacking |= bool(beyond[len(LOADED_AT) :].any())
        plan = Rows(reached.cells[[row]], options, reached.at[[row]])
        found = sums.sums(plan)
        sizes = _levels(gains, ceiling)
        whole = _levels(found.gains, found.ceiling)
        hours, money, _ = self._takes(r, at)
        return Plan(
            radio=r,
            at=at,
            picks=tuple(int(v) for v in sums.picks(plan)[0]),
            hours=hours,
            money=money + float(sums.parts(plan)[0]),
            bounds={name: (sizes[name], whole[name]) for name in sizes},
            travel=(travel, float(found.travel[0])),
            overloaded=overloaded,
            lacking=lacking,
            bound=float(reached.bound[row]),
        )

    def worked_out(self, plan: Plan) -> tuple[float, Solved]:
        """Return the points of a plan, minus infinity if it breaks a limit, and what it is."""
        picks = np.array([plan.picks])
        left = {
            name: np.array([each]) for name, each in self._takes(plan.radio, plan.at)[2].items()
        }
        value, broken = self._evaluation.values(picks, left)
        _, found = self._evaluation.solved(picks)
        return (-np.inf if any(each[0] for each in broken.values()) else float(value[0])), found


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
