"""What a plan mends by its list, and not by a change of the document: the work on each fault."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from conewright.data_files import data_rows
from conewright.job.builds.standing import capacitors_before, ended
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState, PartState
from conewright.job.document.places import ON_FRAME
from conewright.job.proposals import apply_proposal
from conewright.job.repairs import KEEP, REPAIR_KINDS, SWAP, Way, twin_of, ways_of
from conewright.stages.common.together import mirrored

__all__ = ["HEAD_UNIT", "MENDING_KINDS", "Mend", "capacitors_at", "made_by", "mends_of"]

HEAD_UNIT = "head_unit"


@dataclass(frozen=True, slots=True)
class Mend:
    """One kind of change that mends a fault.

    Attributes:
        fault: as fault@place; nothing where a sound part is done as well.
        kind: of change.
        at: ids of the places, the channel or the radio where it is made.
        opens: whether the trim there must come off.

    """

    fault: str
    kind: str
    at: tuple[str, ...]
    opens: bool


@cache
def _rows() -> tuple[dict[str, str], ...]:
    return data_rows("stages.common", "mends.csv")


MENDING_KINDS = tuple(dict.fromkeys((*(row["kind"] for row in _rows()), *REPAIR_KINDS)))
"""The kinds of change that mend a fault."""

INSTEAD: Mapping[str, tuple[str, ...]] = {
    "surround-glued": ("new-driver", "repaired"),
    "bench-mended": ("new-driver",),
    "mount-renewed": ("new-driver",),
    "filmed": ("patched",),
    "radio-replaced": ("new-radio",),
}
"""What mends a fault besides its own kind of change: then nothing is done twice."""


def mends_of(build: Build) -> tuple[Mend, ...]:
    """Return what mends a plan's faults: its repairs, and its list, what changes end left out."""
    if build.proposal is None:
        return ()
    plan = build.job.proposal(build.proposal)
    if not (plan.mends or plan.repairs):
        return ()
    planned = apply_proposal(build.job, build.proposal)
    found = {each.id for each in build.job.findings if each.state == "found"} | {*plan.mends}
    named = {text.partition("@")[0] for text in plan.repairs}
    ways = [way for way in ways_of(plan, build.job) if way.repair.name in named]
    repairs = [
        Mend(way.fault if opens and way.fault in found else "", way.repair.kind, at, opens)
        for way in ways
        if f"{way.repair.name}@{way.at}" in plan.repairs
        for at in (_both_sides(build, way) if way.repair.name == SWAP else (way.at,),)
        for opens in (way.repair.name != KEEP,)
    ]
    done = {way.fault for way in ways}
    return (
        *repairs,
        *(
            Mend(text, row["kind"], at, row["opens"] == "yes")
            for text in dict.fromkeys(plan.mends)
            for fault, _, where in (text.partition("@"),)
            if text not in done
            and not ended(fault, where, job=build.job, changed=planned, paths=build.planned)
            for row in _rows()
            if row["fault"] == fault and (at := tuple(_where(build, row["where"], where)))
        ),
    )


def _both_sides(build: Build, way: Way) -> tuple[str, ...]:
    other = twin_of(build.job, way.at)
    return (way.at,) if other is None else (way.at, other)


def made_by(
    mends: Iterable[Mend], found: Mapping[str, tuple[str, ...]]
) -> tuple[dict[str, tuple[str, ...]], dict[str, str]]:
    """Return all kinds of change with those that mend, and the kind that mends each fault.

    Args:
        mends: of the plan.
        found: the kinds of change that the document makes, and where.

    """
    by_kind, told = dict(found), dict[str, str]()
    # What may be done instead comes first, so that it is known when the other is asked about.
    for mend in sorted(mends, key=lambda mend: mend.kind in INSTEAD):
        for at in mend.at:
            others = (kind for kind in INSTEAD.get(mend.kind, ()) if at in by_kind.get(kind, ()))
            kind = next(others, mend.kind)
            by_kind[kind] = tuple(dict.fromkeys((*by_kind.get(kind, ()), at)))
            if mend.fault:
                told.setdefault(mend.fault, kind)
    return by_kind, told


def capacitors_at(place: str, build: Build) -> Iterator[tuple[str, PartState]]:
    """Yield the capacitors in series with a place, each with the id of its channel."""
    host = place.removesuffix(ON_FRAME)
    for channel in build.channels:
        if host in dict(channel.polarity):
            for part in _before(place, channel, build):
                yield channel.id, part


def _before(place: str, channel: ChannelState, build: Build) -> tuple[PartState, ...]:
    tweeter = build.location(place.removesuffix(ON_FRAME)).driver.tweeter
    if not place.endswith(ON_FRAME) or tweeter is None:
        return capacitors_before(place, channel)
    return (PartState(place, "capacitor", tweeter.capacitor, None),)


def _where(build: Build, where: str, at: str) -> Iterator[str]:
    """Yield where a kind of change is made that mends a fault at a place or channel."""
    if where == "radio":
        yield HEAD_UNIT
    elif where == "door":
        yield from _foremost_door(build, at)
    elif where == "place":
        # Whoever replaces a tweeter on a frame replaces the driver that carries it.
        yield at.removesuffix(ON_FRAME)
    else:
        yield at
    if where == "pair":
        yield from _twins(build, at)


def _foremost_door(build: Build, channel: str) -> Iterator[str]:
    """Yield the foremost door that a channel drives, if any: its boot folds the wires."""
    driven = {place for each in build.channels if each.id == channel for place, _ in each.polarity}
    doors = [place for place in build.locations if place.id in driven and place.kind == "door"]
    if doors:
        yield max(doors, key=lambda place: place.at[0].si).id


def _twins(build: Build, at: str) -> Iterator[str]:
    """Yield the mirrored places that have a capacitor of their own."""
    here = build.location(at)
    small = tuple(place.tweeter for place in build.locations if place.tweeter is not None)
    for place in (*build.locations, *small):
        if mirrored(here, place) and any(capacitors_at(place.id, build)):
            yield place.id
