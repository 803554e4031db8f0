"""Where a change comes from: builds between two builds, and fair shares of the difference."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations
from math import factorial

from conewright.errors import BadInputError
from conewright.job.builds.state import Build, ChannelState, LocationState
from conewright.physics.basics.arrays import FloatArray

__all__ = ["CAUSES", "blend", "causes_of_change", "shapley_shares"]

CAUSES: dict[str, str] = {
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

UNHEARD = frozenset({"sleep-drain", "microphone", "settings", "supply-sag"})
"""Faults that change nothing at a seat by themselves, or by what else they change in a build."""


def blend(old: Build, new: Build, taken: frozenset[str]) -> Build:
    """Return the old build with only the taken causes changed to the new one.

    Raises:
        BadInputError: the builds do not have the same locations and channels.

    """
    if [item.id for item in old.locations] != [item.id for item in new.locations] or [
        item.id for item in old.channels
    ] != [item.id for item in new.channels]:
        raise BadInputError("the two builds do not have the same locations and channels")
    signs = _signs(new if "polarity" in taken else old)
    other = new if "other" in taken else old
    return replace(
        old,
        vehicle=other.vehicle,
        seats=other.seats,
        faults=(new if "faults" in taken else old).faults,
        head_unit=(new if "settings" in taken else old).head_unit,
        amplifiers=(new if "settings" in taken else old).amplifiers,
        locations=tuple(
            _blend_location(a, b, taken) for a, b in zip(old.locations, new.locations, strict=True)
        ),
        channels=tuple(
            _blend_channel(a, b, taken, signs)
            for a, b in zip(old.channels, new.channels, strict=True)
        ),
    )


def causes_of_change(old: Build, new: Build) -> tuple[str, ...]:
    """Return the causes that make a difference between two builds, in the order of `CAUSES`."""
    start = _states(old)
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
    )


def _blend_channel(
    old: ChannelState, new: ChannelState, taken: frozenset[str], signs: dict[str, int]
) -> ChannelState:
    wiring = new if "wiring" in taken else old
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
