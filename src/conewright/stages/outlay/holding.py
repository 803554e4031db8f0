"""How likely what a plan mends holds two years, what comes back where it does not, and its twin."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import prod
from typing import TYPE_CHECKING

from conewright.job.repairs import SWAP, repairs_of, twin_of, ways_of
from conewright.stages.common.changes import changes, new_driver_places
from conewright.stages.find.faults import trade
from conewright.stages.outlay.amounts import Amount, exactly
from conewright.stages.report.words import odds

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build

__all__ = ["Held", "Holding", "cost_with_returns", "holding"]

NEW = "new"
RENEWED = ("surround-glued", "repaired", "new-driver", "used-driver", "removed")
"""Kinds of change after which a place no longer has the part that aged beside its twin's."""


@dataclass(frozen=True, slots=True)
class Held:
    """One thing that must hold: where, what was done, the chance of it, what comes back.

    `kind` is that of the change that does it, nothing for what is left; `fault` as fault@place.
    """

    at: str
    kind: str
    fault: str
    title: str
    chance: Amount
    back: str

    @property
    def words(self) -> str:
        """All of it in a sentence."""
        chance = odds(self.chance.typical)
        return f"{self.at}: {self.title}, holds two years with {chance}; else {self.back}."


@dataclass(frozen=True, slots=True)
class Holding:
    """What a plan mends, and the twins that it leaves."""

    parts: tuple[Held, ...]

    @property
    def chance(self) -> Amount:
        """Chance that all of it holds: each by itself."""
        told = [part.chance for part in self.parts]
        return Amount(
            prod(each.low for each in told),
            prod(each.typical for each in told),
            prod(each.high for each in told),
        )


def cost_with_returns(cost: float, hold: float | None) -> float:
    """Return what a plan costs, and as much again by the chance that it comes back.

    Args:
        cost: of the plan.
        hold: chance that what it mends holds two years; None where it mends nothing.

    """
    return cost if hold is None else cost * (2.0 - hold)


def holding(build: Build) -> Holding | None:
    """Return how long what a plan mends holds; None for one that mends nothing.

    Source: chances of the table of repairs; a twin by find's table of faults; all from memory.
    """
    if build.proposal is None:
        return None
    parts = (*_repairs(build), *_new_drivers(build))
    return Holding((*parts, *_twins(build))) if parts else None


def _repairs(build: Build) -> Iterator[Held]:
    assert build.proposal is not None
    for way in ways_of(build.job.proposal(build.proposal), build.job):
        if way.repair.name != SWAP and way.at not in new_driver_places(build):
            repair = way.repair
            chance = Amount(*repair.holds)
            yield Held(way.at, repair.kind, way.fault, repair.title, chance, repair.back)


def _new_drivers(build: Build) -> Iterator[Held]:
    """Yield the drivers that a plan fits where a fault of one was found, and on its other side."""
    found = [each for each in build.job.findings if each.state == "found"]
    asked = {each.at: each.fault for each in found} | {
        twin: each.fault for each in found if (twin := twin_of(build.job, each.at)) is not None
    }
    for place in build.locations:
        if place.id not in new_driver_places(build) or place.id not in asked:
            continue
        for repair in repairs_of(asked[place.id]):
            if repair.name == NEW:
                fault, chance = f"{repair.fault}@{place.id}", Amount(*repair.holds)
                yield Held(place.id, repair.kind, fault, "new driver", chance, repair.back)


def _twins(build: Build) -> Iterator[Held]:
    """Yield the other sides of what tore with age, where the plan leaves them as they are."""
    changed = changes(build)
    renewed = {at for kind in RENEWED for at in changed.at(kind)} | new_driver_places(build)
    for each in build.job.findings:
        twin, hazard = twin_of(build.job, each.at), trade.fault(each.fault).twin
        if each.state != "found" or twin is None or not hazard or twin in renewed:
            continue
        if all((other.fault, other.at) != (each.fault, twin) for other in build.job.findings):
            title, back = "the other side, as old and left as it is", "it fails the same way"
            yield Held(twin, "", "", title, exactly(1.0 - hazard), back)
