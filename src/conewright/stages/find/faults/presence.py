"""What is there to fail: a thing the vehicle has not cannot be at fault, nor can it be tested."""

from __future__ import annotations

from collections.abc import Mapping

from conewright.job.builds.states.build import Build
from conewright.job.document.parts import Carried, Era
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.entries import Thing

__all__ = ["can_fail", "has_corners"]

WITHOUT: Mapping[Thing, tuple[Era, ...]] = {
    "balance": ("mono",),
    "amplifier": ("mono",),
    "hands-free": ("mono", "stereo", "digital"),
    "memory": ("mono",),
    "twin": (),
}
"""Eras of radios that come without a thing: one of knobs alone is off when its switch is, and sits
before any amplifier; common practice, no source."""

WITH: Mapping[Thing, tuple[Era, ...]] = {"hands-free": ("connected",)}
"""Eras of radios that come with it, however old the vehicle is."""

CARRIED: Mapping[Thing, Carried] = {"hands-free": "hands-free", "amplifier": "factory-amplifier"}


def can_fail(fault: str, build: Build, *, cones: int) -> bool:
    """Whether a vehicle has what a fault is of.

    What the job says counts before the vehicle's age; a radio whose year nobody knows is taken to
    be as old as the vehicle.

    Args: fault: its id; build: the vehicle; cones: loudspeakers that play bass.
    """
    kind = trade.fault(fault)
    if not kind.needs:
        return True
    there = _has(kind.needs, build, cones)
    built = build.job.vehicle.built
    return there if there is not None else not built or built >= kind.since


def has_corners(build: Build) -> bool:
    """Whether the radio has more than one output, so that one can be heard without the others."""
    return len(build.channels) + len(build.unknown) > 1


def _has(thing: Thing, build: Build, cones: int) -> bool | None:
    """Whether a vehicle has a thing; None where nothing tells."""
    if thing == "amplifier" and build.amplifiers:
        return True
    carries = build.job.head_unit.carries
    if thing == "twin":
        return cones > 1
    era = build.job.head_unit.era
    if thing == "balance" and (era or has_corners(build)):
        return era not in WITHOUT[thing]
    names = {complaint.partition("@")[0] for complaint in build.job.about.complaints}
    # Words that nobody knows are told elsewhere; they show nothing.
    known = names.intersection(trade.words_of_complaints())
    if any(thing in trade.complaint(name).shows for name in known):
        return True
    if thing in CARRIED and carries is not None:
        return CARRIED[thing] in carries
    if era in WITHOUT[thing]:
        return False
    return True if era in WITH.get(thing, ()) else None
