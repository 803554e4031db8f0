"""What is there to fail: a thing the vehicle has not cannot be at fault, nor can it be tested."""

from __future__ import annotations

from conewright.job.builds.state import Build
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.entries import Thing

__all__ = ["can_fail", "has_corners"]


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
    if thing == "balance":
        return True if has_corners(build) else None
    names = {complaint.partition("@")[0] for complaint in build.job.about.complaints}
    # Words that nobody knows are told elsewhere; they show nothing.
    known = names.intersection(trade.words_of_complaints())
    if any(thing in trade.complaint(name).shows for name in known):
        return True
    name = {"hands-free": "hands-free", "amplifier": "factory-amplifier"}[thing]
    return None if carries is None else name in carries
