"""Where a change comes from: builds between two builds, and fair shares of the difference."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from math import factorial

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.location import LocationState
from conewright.physics.basics.arrays import FloatArray

__all__ = [
    "CAUSES",
    "OF_WHICH",
    "blend",
    "causes_of_change",
    "places_that_come",
    "shapley_shares",
]

CAUSES: dict[str, str] = {
    "places": "loudspeakers added and taken out",
    "driver": "other loudspeakers",
    "wiring": "series, parallel, parts and cable",
    "polarity": "which way round they are connected",
    "ring": "sealing ring",
    "holes": "cover, holes, cavity and trim",
    "settings": "radio, amplifiers and channel settings",
    "faults": "faults that are mended or left",
    "other": "place, cabin and the rest",
}
"""What can change between two builds, and how it is called."""

OF_WHICH = "of which from "
"""What the label of a share begins with, before its cause."""

UNHEARD = frozenset({"sleep-drain", "microphone", "settings", "supply-sag"})
"""Faults that change nothing at a seat by themselves, or by what else they change in a build."""


def blend(old: Build, new: Build, taken: frozenset[str]) -> Build:
    """Return the old build with only the taken causes changed to the new one.

    A place that only one of them has is there in every build between them, and plays where a
    channel drives it. With the places go the channels that only one has, and the wiring of those
    that share a place with one.
    """
    signs = _signs(new if "polarity" in taken else old)
    other = new if "other" in taken else old
    coming = _coming(old, new)
    before, after = ({place.id: place for place in each.locations} for each in (old, new))
    return replace(
        old,
        vehicle=other.vehicle,
        seats=other.seats,
        faults=(new if "faults" in taken else old).faults,
        head_unit=(new if "settings" in taken else old).head_unit,
        amplifiers=(new if "settings" in taken else old).amplifiers,
        locations=tuple(
            _blend_location(before[name], after[name], taken)
            if name in before and name in after
            else before.get(name) or after[name]
            for name in dict.fromkeys((*before, *after))
        ),
        channels=tuple(_blend_channels(old, new, taken, signs, coming)),
    )


def places_that_come(old: Build, new: Build) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the ids of the places that only the new build has, and those only the old one has."""
    before, after = ([place.id for place in each.locations] for each in (old, new))
    return (
        tuple(name for name in after if name not in before),
        tuple(name for name in before if name not in after),
    )


def causes_of_change(old: Build, new: Build) -> tuple[str, ...]:
    """Return the causes that make a difference between two builds, in the order of `CAUSES`."""
    start = _states(blend(old, new, frozenset()))
    return tuple(cause for cause in CAUSES if _states(blend(old, new, frozenset({cause}))) != start)


def shapley_shares(
    causes: Sequence[str], value: Callable[[frozenset[str]], FloatArray]
) -> dict[str, FloatArray]:
    """Split `value(all) - value(none)` fairly over the causes.

    Args:
        causes: the players, at most about seven: every subset is evaluated once.
        value: the outcome when only these causes have changed, any shape.

    Returns:
        The share of each cause; they add up to the whole difference.

    Source:
        Shapley, A value for n-person games, 1953: the mean of a cause's contribution over all
        orders in which the causes can be brought in.

    """
    outcomes = {
        frozenset(subset): value(frozenset(subset))
        for size in range(len(causes) + 1)
        for subset in combinations(causes, size)
    }
    return {cause: _share(cause, causes, outcomes) for cause in causes}


def _share(
    cause: str, causes: Sequence[str], outcomes: dict[frozenset[str], FloatArray]
) -> FloatArray:
    count = len(causes)
    others = [item for item in causes if item != cause]
    total = 0.0 * outcomes[frozenset()]
    for size in range(count):
        weight = factorial(size) * factorial(count - size - 1) / factorial(count)
        for subset in combinations(others, size):
            before = frozenset(subset)
            total = total + weight * (outcomes[before | {cause}] - outcomes[before])
    return total


def _blend_location(old: LocationState, new: LocationState, taken: frozenset[str]) -> LocationState:
    holes = new if "holes" in taken else old
    ring = new if "ring" in taken else old
    other = new if "other" in taken else old
    mount = replace(other.mount, ring=ring.mount.ring, ring_origin=ring.mount.ring_origin)
    return replace(
        other,
        driver=(new if "driver" in taken else old).driver,
        mount=mount,
        cavity=holes.cavity,
        trim=holes.trim,
        faults=(new if "faults" in taken else old).faults,
        tweeter_faults=(new if "faults" in taken else old).tweeter_faults,
        repairs=(new if "faults" in taken else old).repairs,
    )


def _coming(old: Build, new: Build) -> frozenset[str]:
    """Return the channels that come or go with places, or share a place with one that does."""
    pairs = [(each, {name for name, _ in each.polarity}) for each in (*old.channels, *new.channels)]
    ids = [{channel.id for channel in each.channels} for each in (old, new)]
    added, removed = places_that_come(old, new)
    coming, places = ids[0] ^ ids[1], {*added, *removed}
    while True:
        more = {each.id for each, driven in pairs if each.id in coming or driven & places}
        reached = places.union(*(driven for each, driven in pairs if each.id in more))
        if (more, reached) == (coming, places):
            return frozenset(coming)
        coming, places = more, reached


def _blend_channels(
    old: Build,
    new: Build,
    taken: frozenset[str],
    signs: dict[str, int],
    coming: frozenset[str],
) -> Iterator[ChannelState]:
    before, after = ({channel.id: channel for channel in each.channels} for each in (old, new))
    placed = "places" in taken
    for name in dict.fromkeys((*before, *after)):
        if name in before and name in after:
            wired = placed if name in coming else "wiring" in taken
            yield _blend_channel(before[name], after[name], taken, signs, wired=wired)
        elif name in (after if placed else before):
            yield (after if placed else before)[name]


def _blend_channel(
    old: ChannelState,
    new: ChannelState,
    taken: frozenset[str],
    signs: dict[str, int],
    *,
    wired: bool,
) -> ChannelState:
    wiring = new if wired else old
    settings = new if "settings" in taken else old
    return replace(
        wiring,
        # A driver that only the new wiring connects keeps the way round it has there.
        polarity=tuple((name, signs.get(name, sign)) for name, sign in wiring.polarity),
        settings=settings.settings,
        driven_by=settings.driven_by,
        input=settings.input,
        faults=(new if "faults" in taken else old).faults,
    )


def _signs(build: Build) -> dict[str, int]:
    return {name: sign for channel in build.channels for name, sign in channel.polarity}


def _states(build: Build) -> tuple[object, ...]:
    channels = tuple(replace(channel, load="") for channel in build.channels)
    audible = tuple(fault for fault in build.faults if fault.fault not in UNHEARD)
    sources = (build.head_unit, build.amplifiers)
    return (build.vehicle, build.seats, *sources, build.locations, channels, audible)
