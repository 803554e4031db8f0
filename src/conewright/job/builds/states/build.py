"""One concrete state of a job: the vehicle as found, or with a proposal applied."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from conewright.job.builds.states.value import Value
from conewright.job.document.parts import AS_FOUND
from conewright.job.document.places import ON_FRAME
from conewright.phrases import counted
from conewright.shown import Shown

if TYPE_CHECKING:
    from conewright.job.builds.states.electrics import (
        AmplifierState,
        ChannelState,
        ConverterState,
        FeedState,
        HeadUnitState,
        UnknownChannelState,
        UnusedChannelState,
    )
    from conewright.job.builds.states.location import LocationState, SeatState
    from conewright.job.builds.states.value import FaultState, Fill
    from conewright.job.builds.states.vehicle import VehicleState
    from conewright.job.document.document import Document

__all__ = [
    "Build",
]


@dataclass(frozen=True)
class Build(Shown):
    """One concrete state of the vehicle: as found, or with one proposal applied.

    `axes` are the random axes of the whole job (as found and every proposal), so that two builds
    of one job draw the same path on the same axis.
    `unknown` channels drive what nobody knows: find and feed tell what they may drive; `unused`
    ones drive nothing.
    `faults` are the findings of the job that are there; places and channels carry their own.
    `planned` are the paths of the fields that the proposal changes.
    """

    job: Document = field(repr=False, compare=False)
    proposal: str | None
    title: str
    vehicle: VehicleState
    converter: ConverterState | None
    head_unit: HeadUnitState
    channels: tuple[ChannelState, ...]
    unknown: tuple[UnknownChannelState, ...]
    unused: tuple[UnusedChannelState, ...]
    amplifiers: tuple[AmplifierState, ...]
    locations: tuple[LocationState, ...]
    seats: tuple[SeatState, ...]
    feeds: tuple[FeedState, ...]
    faults: tuple[FaultState, ...]
    planned: frozenset[str]
    fills: tuple[Fill, ...]
    axes: tuple[str, ...]

    def __repr__(self) -> str:
        """Return which state it is of, and how much of it."""
        parts = {
            "channel": len(self.channels) + len(self.unknown) + len(self.unused),
            "location": len(self.locations),
            "seat": len(self.seats),
        }
        told = ", ".join(counted(n, word) for word, n in parts.items())
        return f"<Build {self.id}: {told}; {counted(len(self.fills), 'value')} filled in>"

    @property
    def id(self) -> str:
        """Id of the proposal, `as-found` for none."""
        return self.proposal or AS_FOUND

    def location(self, location_id: str) -> LocationState:
        """Return the location of this id, `door-fl.tweeter` for the tweeter on the frame there;
        raise KeyError if there is none.

        >>> import conewright as cw
        >>> cutout = cw.demo_job().build().location("door-fl").mount.cutout
        >>> cutout.si, cutout.origin.value
        (0.122, 'measured')
        """
        places = {location.id: location for location in self.locations}
        host, dot, _ = location_id.partition(ON_FRAME)
        tweeter = places[host].tweeter if dot and host in places else None
        return tweeter or places[location_id]

    def places_on(self, channel: ChannelState) -> tuple[LocationState, ...]:
        """Return the places that a channel drives, a tweeter on a frame behind its driver."""
        hosts = (self.location(name) for name, _ in channel.polarity)
        both = ((host, host.tweeter) for host in hosts)
        return tuple(place for pair in both for place in pair if place is not None)

    def channel(self, channel_id: str) -> ChannelState:
        """Return the channel of this id; raise KeyError if there is none."""
        return {channel.id: channel for channel in self.channels}[channel_id]

    def seat(self, seat_id: str) -> SeatState:
        """Return the seat of this id; raise KeyError if there is none."""
        return {seat.id: seat for seat in self.seats}[seat_id]

    def values(self) -> Iterator[Value]:
        """Yield every value of the build once, in the order of the job."""
        return iter(self._values)

    @cached_property
    def _values(self) -> tuple[Value, ...]:
        electrics = (
            *(self.converter, self.head_unit, self.channels, self.unknown),
            *(self.unused, self.amplifiers),
        )
        places = (self.locations, self.seats, self.feeds)
        parts = (self.vehicle, electrics, *places, self.faults)
        found: dict[str, Value] = {}
        for value in _values_in(parts):
            found.setdefault(value.path, value)
        return tuple(found.values())


def _values_in(node: object) -> Iterator[Value]:
    """Yield every value inside a state, a tuple of states, or anything nested of them."""
    if isinstance(node, Value):
        yield node
    elif isinstance(node, tuple):
        for item in node:
            yield from _values_in(item)
    elif is_dataclass(node):
        for item in fields(node):
            yield from _values_in(getattr(node, item.name))
