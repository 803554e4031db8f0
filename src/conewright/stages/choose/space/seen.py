"""What the options of a job are made from: vehicle, faults, parts, and what is allowed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.stages.choose.space.gates import Allowed
from conewright.stages.choose.space.groups import Change

if TYPE_CHECKING:
    from conewright.catalogue.driver_columns import DriverColumns
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build

__all__ = ["Seen", "base_of", "built"]


@dataclass(frozen=True)
class Seen:
    """What the generator goes by.

    Attributes:
        job: as it is written, with the wishes that count.
        found: as found.
        base: with what every plan mends.
        offer: the parts.
        parts: its drivers.
        allowed: what is, beyond what simply goes in.
        may: knobs that may be turned.
        faults: established ones of drivers, by place; all under an empty name.

    """

    job: Job
    found: Build
    base: Build
    offer: Offer
    parts: DriverColumns
    allowed: Allowed
    may: frozenset[str]
    faults: Mapping[str, tuple[str, ...]]

    def rows(self, kind: str) -> NDArray[np.intp]:
        """Return the rows of a kind that can be paid for; only one of the same works."""
        compiled = self.offer.compiled
        rows = np.flatnonzero(np.array(compiled.texts["kind"]) == kind)
        rows = rows[compiled.offered[rows] == rows]
        if self.allowed.money and "price" in compiled.numbers:
            rows = rows[~np.isnan(compiled.numbers["price"][rows])]
        if "stock" in compiled.numbers:
            stock = compiled.numbers["stock"][rows]
            rows = rows[np.isnan(stock) | (stock > 0.0)]
        return np.asarray(rows)


def base_of(job: Job, established: Sequence[str]) -> Build:
    """Return the vehicle with every established fault mended."""
    return built(job, {"base": Change(mends=tuple(established))})["base"]


def built(job: Job, changes: Mapping[str, Change]) -> dict[str, Build]:
    """Return the builds of several changes of a job, by their names.

    The job's own proposals stay beside them: the cabin is as large as all places ask for.
    """
    plans = tuple(change.proposal(name) for name, change in changes.items())
    own = tuple(each for each in job.proposals if each.id not in changes)
    tried = job.model_copy(update={"proposals": (*own, *plans)})
    return {name: tried.build(name) for name in changes}
