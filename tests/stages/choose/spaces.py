"""Searches made ready from a job and a few invented parts, and plans of them written out."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from benchmarks.invented_parts import invented
from numpy.typing import NDArray

from conewright.catalogue.compiled import Compiled
from conewright.catalogue.forms import table_of, written
from conewright.catalogue.offer import Offer
from conewright.catalogue.part_rows import read_catalogue
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.stages.choose.engine.exact import Solved
from conewright.stages.choose.engine.parts import driver_columns
from conewright.stages.choose.engine.prepared import Prepared, with_drivers
from conewright.stages.choose.engine.solve import Limits, Picks, Search, _Combination
from conewright.stages.choose.space.gates import Allowed
from conewright.stages.choose.space.knobs import space_of, with_capacitor
from conewright.stages.choose.space.options import Change, Space, together

__all__ = ["Plan", "Watched", "compiled_of", "few_parts", "plan_build", "searched", "whole_change"]

Row = Mapping[str, str]
EVERYWHERE = Allowed(cut=True, unmeasured=True)


def few_parts(seed: int, **counts: int) -> list[Row]:
    """Return invented parts of some kinds, so many of each, all of them to be had."""
    chance = random.Random(seed)
    rows = invented(400, seed=seed)
    found: list[Row] = []
    for kind, count in counts.items():
        of_kind = [row for row in rows if row["kind"] == kind]
        chosen = chance.sample(of_kind, count)
        found += [{**row, "stock": "40", "part": f"{row['part']}"} for row in chosen]
    return found


def compiled_of(rows: Iterable[Row]) -> Compiled:
    """Return parts as a catalogue."""
    return read_catalogue(table_of(written(list(rows), ending=".csv"), file="parts.csv")).compiled


@dataclass(frozen=True)
class Plan:
    """A plan drawn by chance, with the bounds that the search has of it."""

    combination: _Combination
    row: NDArray[np.intp]
    picks: Picks


class Watched(Search):
    """A search that keeps what the last plans came to."""

    last: Solved

    def _judged(
        self,
        build: Build,
        r: int,
        found: Solved,
        some: Sequence[tuple[_Combination, NDArray[np.intp]]],
    ) -> NDArray[np.float64]:
        self.last = found
        return super()._judged(build, r, found, some)

    def some_plans(self, seed: int, count: int) -> list[Plan]:
        """Return plans of any combinations, by chance."""
        chance = random.Random(seed)
        combinations = self._combinations(Limits())
        plans = []
        for _ in range(count):
            each = chance.choice(combinations)
            found = self._groups(each, Limits())
            if found is None:
                continue
            row = np.full(self._width, -1, dtype=np.intp)
            for group in found[0]:
                row = np.maximum(row, group.picks[chance.randrange(len(group))])
            plans.append(Plan(each, row, self._picks(each, row)))
        return plans

    def worked_out(self, plan: Plan) -> tuple[float, Solved]:
        """Return the points of a plan, and what it comes to."""
        value = float(self._values(plan.combination, [(plan.combination, plan.row)])[0])
        return value, self.last


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


def whole_change(space: Space, picks: Picks) -> Change:
    """Return everything that a plan changes, put together of its options."""
    changes = [space.base, space.radios[picks[0]].change]
    compiled = space.offer.compiled
    for c, channels in enumerate(space.channels):
        f, capacitor, corner = picks[1 + 3 * c : 4 + 3 * c]
        form = channels.forms[f]
        change = form.change
        if form.chosen is not None:
            size = 1e6 * float(form.chosen.size[capacitor])
            fields = {
                f"{name}.load": with_capacitor(
                    str(change.set[f"{name}.load"]), key, f"{size:.12g} uF"
                )
                for name, key in form.chosen.keys.items()
            }
            buy = {int(form.chosen.rows[capacitor]): float(len(form.chosen.keys))}
            change = Change(fields, buy=buy)
        changes += [change, channels.corner_change(channels.corners[corner])]
    start = 1 + 3 * len(space.channels)
    for g, group in enumerate(space.places):
        changes.append(group.change_of(picks[start + g], space.offer))
    del compiled
    return together(changes)


def plan_build(space: Space, picks: Picks) -> Build:
    """Return a plan as a proposal of the job carried out, the drivers among the job's own."""
    change = whole_change(space, picks)
    drivers = [row for row in change.buy if space.offer.compiled.text("kind", row) == "driver"]
    job = with_drivers(space.job, drivers, space)
    return job.model_copy(update={"proposals": (change.proposal("plan"),)}).build("plan")
