"""What a plan changes, from the vehicle as found: for the stages, the papers and the pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from conewright.job.builds.building import build_job
from conewright.job.builds.state import (
    Build,
    ChannelState,
    FeedState,
    HeadUnitState,
    LocationState,
)
from conewright.job.document.document import Document
from conewright.job.proposals import apply_proposal

__all__ = [
    "Changes",
    "as_found",
    "changed_parts",
    "changes",
    "cut_needed",
    "moved_places",
    "new_driver_places",
    "opened_places",
    "planned_job",
]


@dataclass(frozen=True, slots=True)
class Changes:
    """What a build changes, by kind of change: ids of places; of channels for `rewired`, of supply
    cables for `recabled`, of the radio for `new-radio`; of all of these for `battery-off`.
    """

    opened: tuple[str, ...]
    by_kind: dict[str, tuple[str, ...]]


def as_found(build: Build) -> Build:
    """Return the state of the same vehicle to which no proposal is applied."""
    return build if build.proposal is None else build_job(build.job)


def planned_job(build: Build) -> Document:
    """Return the job with the build's proposal applied; the job itself as found."""
    return build.job if build.proposal is None else apply_proposal(build.job, build.proposal)


def changes(build: Build) -> Changes:
    """Return the ids of what a build changes, by kind of change."""
    before = as_found(build)
    places = {place.id: place for place in before.locations}
    channels = {channel.id: channel for channel in before.channels}
    opened = tuple(place.id for place in opened_places(build))
    by_kind = {
        kind: tuple(p.id for p in build.locations if p.id in places and test(p, places[p.id]))
        for kind, test in PLACE_TESTS.items()
    }
    new = new_driver_places(build)
    by_kind["new-driver"] = tuple(place.id for place in build.locations if place.id in new)
    by_kind["opened"] = opened
    by_kind["turned"] = _turned(build, before)
    by_kind["rewired"] = tuple(
        channel.id
        for channel in build.channels
        if channel.id not in channels or channel.tree != channels[channel.id].tree
    )
    cables = {cable.id: _laid(cable) for cable in before.feeds}
    by_kind["recabled"] = tuple(
        cable.id for cable in build.feeds if _laid(cable) != cables.get(cable.id)
    )
    swapped = _made(build.head_unit) != _made(before.head_unit)
    by_kind["new-radio"] = (HEAD_UNIT,) if swapped else ()
    by_kind["battery-off"] = (*opened, *by_kind["recabled"], *by_kind["new-radio"])
    return Changes(opened=opened, by_kind=by_kind)


def opened_places(build: Build) -> tuple[LocationState, ...]:
    """Return the places whose trim must come off to get from the vehicle as found to a build.

    A place is opened when its driver, ring, spacer or cut-out changes, when its cavity is stuffed,
    sealed, covered or holed, or when its trim changes.
    """
    before = {place.id: place for place in as_found(build).locations}
    return tuple(place for place in build.locations if _work(place) != _work(before.get(place.id)))


def new_driver_places(build: Build) -> frozenset[str]:
    """Return the ids of the places that get another driver than was found there."""
    before = {place.id: place.driver.id for place in as_found(build).locations}
    return frozenset(
        place.id for place in build.locations if before.get(place.id) != place.driver.id
    )


def cut_needed(place: LocationState) -> float | None:
    """Return by how much the hole's diameter must grow for the driver [m]; 0 where it fits.

    None where the mount's cut-out is not known. Oval frames: along the short axis.
    """
    hole, frame = place.mount.cutout, place.driver.frame
    if hole is None:
        return None
    return max(frame.cutout.si - hole.si, 0.0)


def changed_parts(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places and channels that are written otherwise in a plan."""
    places = zip(job.locations, planned.locations, strict=True)
    channels = zip(job.channels, planned.channels, strict=True)
    return frozenset(
        [old.id for old, new in places if old != new]
        + [old.id for old, new in channels if old != new]
    )


def moved_places(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places that get another driver or spacer: what sits there fits."""
    return frozenset(
        new.id
        for old, new in zip(job.locations, planned.locations, strict=True)
        if (old.driver, old.mount.spacer) != (new.driver, new.mount.spacer)
    )


HEAD_UNIT = "head_unit"

PLACE_TESTS: dict[str, Callable[[LocationState, LocationState], bool]] = {
    "cuts": lambda now, then: _cut_for_driver(now, then) or _wider(now, then),
    "patched": lambda now, then: _cover(now) == "patch" != _cover(then),
    "filmed": lambda now, then: _cover(now) == "film" != _cover(then),
    "spacer": lambda now, then: now.mount.spacer.si > 0.0 and now.mount.spacer != then.mount.spacer,
    "ring": lambda now, then: now.mount.ring and not then.mount.ring,
}
"""The kinds of change that are told by a place and the same place as found."""


def _work(place: LocationState | None) -> object:
    """Everything about a place that cannot change without taking its trim off."""
    if place is None:
        return None
    mount = place.mount
    return place.driver.id, mount.ring, mount.spacer, mount.cutout, place.cavity, place.trim


def _cut_for_driver(now: LocationState, then: LocationState) -> bool:
    """Whether another driver needs a larger hole; the one that was found there sits in its own."""
    return now.driver.id != then.driver.id and bool(cut_needed(now))


def _wider(now: LocationState, then: LocationState) -> bool:
    hole, was = now.mount.cutout, then.mount.cutout
    return hole is not None and was is not None and hole.si > was.si


def _laid(cable: FeedState) -> tuple[object, ...]:
    """Everything about a supply cable that cannot change without laying or fusing it anew."""
    sizes = (cable.length, cable.size, cable.fuse, cable.fuse_distance)
    written = tuple(None if value is None else value.quantity for value in sizes)
    return (*written, cable.metal, cable.route, cable.return_by)


def _made(radio: HeadUnitState) -> tuple[object, ...]:
    """What no work on a radio changes: with another of these it is another radio."""
    power = radio.advertised_power
    rated = (radio.minimum_load.quantity, None if power is None else power.quantity)
    return (radio.name, radio.output, *rated)


def _cover(place: LocationState) -> str:
    return "" if place.cavity is None else place.cavity.cover


def _turned(build: Build, before: Build) -> tuple[str, ...]:
    was = dict(_polarities(before.channels))
    return tuple(
        place for place, sign in _polarities(build.channels) if was.get(place, sign) != sign
    )


def _polarities(channels: tuple[ChannelState, ...]) -> Iterator[tuple[str, int]]:
    for channel in channels:
        yield from channel.polarity
