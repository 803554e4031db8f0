"""The vehicle as chains of parts that can fail: one chain a channel, and the vehicle itself.

A fault is an atom, `fault@subject`; a state of a chain is no fault, one, or two that can be there
together.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from conewright.job.builds.standing import capacitors_before
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.location import LocationState
from conewright.job.document.fault_names import AMPLIFIER_OFF, CHANNEL_FAULTS, VEHICLE_FAULTS
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import pairs_of
from conewright.stages.find.faults.entries import FAULT_IDS, LOW_LOAD, SHARED_RETURN
from conewright.stages.find.faults.presence import can_fail

__all__ = [
    "SMALLEST_CONE",
    "VEHICLE",
    "Atom",
    "Chain",
    "State",
    "behind_capacitor",
    "chains_of",
    "is_tweeter",
    "shared_returns",
]

VEHICLE = "vehicle"
"""Id of the chain of what all channels share, and subject of its faults."""

SMALLEST_CONE = 12e-4
"""Cones smaller than this are tweeters [m2]: a dome has 5 to 8 cm2, a wide-band pod 23."""

WOOFER_FAULTS = (
    "surround-torn",
    "coil-open",
    "coil-rubbing",
    "coil-shorted",
    "lead-intermittent",
    "reversed",
    "trim-rattle",
    "mount-loose",
    "grit-or-water",
    "cap-unglued",
)
TWEETER_FAULTS = ("tweeter-open", "lead-intermittent")
CAPACITOR_FAULT = "capacitor-dried"
CAVITY_FAULT = "panel-open"
SHARED = ("chassis", "shared")
"""Ways back that are not a channel's own."""


EXCLUSIVE = (
    frozenset({"coil-open", "coil-shorted", "lead-intermittent"}),
    frozenset({"wire-broken", "pair-shorted"}),
    frozenset({"channel-dead", "channel-offset"}),
    frozenset({"tweeter-open", "lead-intermittent"}),
)
"""Faults that one subject has only one of: each would hide the other for good."""

State = tuple[int, ...]
"""Indices of the atoms that are present, at most two."""


@dataclass(frozen=True, slots=True, order=True)
class Atom:
    """One fault at one subject: a location, a channel, an amplifier or the vehicle."""

    fault: str
    subject: str

    @property
    def id(self) -> str:
        """`fault@subject`."""
        return f"{self.fault}@{self.subject}"


@dataclass(frozen=True)
class Chain:
    """What can fail between one output of the radio and its loudspeakers, or in the vehicle.

    `known` faults are there in every state, besides the at most two that a state names.
    """

    id: str
    channel: ChannelState | None
    places: tuple[LocationState, ...]
    atoms: tuple[Atom, ...]
    states: tuple[State, ...]
    known: tuple[Atom, ...] = ()

    @property
    def woofer(self) -> LocationState | None:
        """The place that carries the bass, None where there is none."""
        cones = [place for place in self.places if not is_tweeter(place, self.channel)]
        return max(cones, key=_cone_area, default=None)

    @property
    def tweeter(self) -> LocationState | None:
        """The place that carries the treble alone, None where there is none."""
        small = [place for place in self.places if is_tweeter(place, self.channel)]
        return small[0] if small else None

    @property
    def in_door(self) -> bool:
        """Whether its wires pass the fold of a door."""
        return any(place.kind == "door" for place in self.places)

    @cached_property
    def members(self) -> FloatArray:
        """Which atoms each state holds, 1 or 0, shape (states, atoms)."""
        held = np.zeros((len(self.states), len(self.atoms)))
        for row, state in enumerate(self.states):
            held[row, list(state)] = 1.0
        return held

    def faults(self, state: State) -> tuple[Atom, ...]:
        """The atoms present in a state, the known ones first."""
        return (*self.known, *(self.atoms[index] for index in state))


def chains_of(build: Build, known: frozenset[Atom] = frozenset()) -> tuple[Chain, ...]:
    """Return the vehicle's chain first, then one for each channel.

    Args:
        build: the vehicle.
        known: faults that are certain, as a load that is computed to be too low.

    """
    cones = sum(len(_cones(channel, build)) for channel in build.channels)
    there = {fault for fault in FAULT_IDS if can_fail(fault, build, cones=cones)}
    vehicle = [
        Atom(fault, subject)
        for fault in VEHICLE_FAULTS
        if fault in there
        for subject in _subjects(fault, build)
    ]
    shared = _chain(VEHICLE, None, (), vehicle, known)
    return (shared, *(_channel_chain(channel, build, known, there) for channel in build.channels))


def shared_returns(build: Build) -> tuple[str, ...]:
    """Return the channels of a bridge radio that come back through the body or a shared wire."""
    if build.head_unit.output != "bridge":
        return ()
    return tuple(
        channel.id
        for channel in pairs_of(build)
        if channel.driven_by is None and channel.return_by in SHARED
    )


def _subjects(fault: str, build: Build) -> tuple[str, ...]:
    """Return what a fault that several channels share is at."""
    if fault == AMPLIFIER_OFF and build.amplifiers:
        return tuple(each.id for each in build.amplifiers)
    return (VEHICLE,)


def is_tweeter(place: LocationState, channel: ChannelState | None) -> bool:
    """Whether a place carries treble only: on the frame of another driver, behind a capacitor, or
    with a dome's small cone.
    """
    if place.host:
        return True
    if channel is not None and behind_capacitor(place.id, channel):
        return True
    return _cone_area(place) < SMALLEST_CONE


def behind_capacitor(location: str, channel: ChannelState) -> bool:
    """Whether a capacitor lies in series with a location."""
    return bool(capacitors_before(location, channel))


def _cones(channel: ChannelState, build: Build) -> list[LocationState]:
    places = (build.location(name) for name, _ in channel.polarity)
    return [place for place in places if not is_tweeter(place, channel)]


def _channel_chain(
    channel: ChannelState, build: Build, known: frozenset[Atom], there: Collection[str]
) -> Chain:
    places = build.places_on(channel)
    atoms = [atom for place in places for atom in _place_atoms(place, channel)]
    atoms += [Atom(fault, channel.id) for fault in (*CHANNEL_FAULTS, LOW_LOAD)]
    shared = Atom(SHARED_RETURN, channel.id)
    atoms += [shared] if shared in known else []
    found = [atom for atom in atoms if atom.fault in there]
    return _chain(channel.id, channel, places, found, known)


def _place_atoms(place: LocationState, channel: ChannelState) -> Iterator[Atom]:
    tweeter = is_tweeter(place, channel)
    for fault in TWEETER_FAULTS if tweeter else WOOFER_FAULTS:
        yield Atom(fault, place.id)
    if place.host or behind_capacitor(place.id, channel):
        yield Atom(CAPACITOR_FAULT, place.id)
    if place.cavity is not None and not tweeter and place.kind in ("door", "panel"):
        yield Atom(CAVITY_FAULT, place.id)


def _chain(
    id: str,
    channel: ChannelState | None,
    places: tuple[LocationState, ...],
    candidates: list[Atom],
    known: frozenset[Atom],
) -> Chain:
    certain = tuple(atom for atom in candidates if atom in known)
    atoms = [
        atom
        for atom in candidates
        if atom not in known and all(_compatible(atom, other) for other in certain)
    ]
    pairs = [
        pair
        for pair in combinations(range(len(atoms)), 2)
        if _compatible(atoms[pair[0]], atoms[pair[1]])
    ]
    states: list[State] = [(), *((index,) for index in range(len(atoms))), *pairs]
    return Chain(id, channel, places, tuple(atoms), tuple(states), certain)


def _compatible(one: Atom, other: Atom) -> bool:
    if one.subject != other.subject:
        return True
    return not any({one.fault, other.fault} <= group for group in EXCLUSIVE)


def _cone_area(place: LocationState) -> float:
    return dict(place.driver.basis)["sd"].si
