"""Several loudspeakers in one vehicle: which mirror each other, and what each does at an ear.

What a source does at an ear is worked out once for each cabin, place and ear on a grid, with the
same draws, however many builds and however many mixtures of two builds ask for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, TypeVar

import numpy as np

from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95, Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState, OpenState
from conewright.job.builds.states.value import Value
from conewright.job.builds.states.vehicle import OpeningState, VehicleState
from conewright.job.repairs import opposite
from conewright.physics.acoustics.backs import (
    FULL_SPACE,
    doublet_power_share,
    doublet_pressure,
    doublet_separation,
    one_sided,
)
from conewright.physics.acoustics.box import Box, Point, box_modes, box_pressure, distance
from conewright.physics.acoustics.cabin import (
    HALF_SPACE,
    Opening,
    monopole_pressure,
    window_mass,
)
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real

__all__ = [
    "Cabin",
    "CabinSize",
    "cabin_size",
    "has_twin",
    "in_group",
    "mirrored",
    "opposed_twins",
    "places_left",
]

CORNERS = {
    **{word: (word,) for word in ("front", "rear", "left", "right")},
    "back": ("rear",),
    "fl": ("front", "left"),
    "fr": ("front", "right"),
    "rl": ("rear", "left"),
    "rr": ("rear", "right"),
    "l": ("left",),
    "r": ("right",),
}
"""Words in the id of a channel, and the sides of the vehicle that they name."""

PANEL_FROM = 225.0
"""Above this a loudspeaker's own panel begins to be large against the wave [Hz]."""

SHUT = 1e-6
"""No window is open by less [m2]."""
Spot = tuple[Value, Value, Value]
Made = TypeVar("Made")


@dataclass(frozen=True, eq=False)
class CabinSize:
    """A drawn box; every array has a row for each draw, shape (1 + samples, 1).

    Attributes:
        length, width, height: inside, as a ruler finds them [m].
        volume: of the air in it [m3].
        sounding: the edges of the box that resounds as the cabin does [m].

    """

    length: FloatArray
    width: FloatArray
    height: FloatArray
    volume: FloatArray
    sounding: tuple[FloatArray, FloatArray, FloatArray]


def cabin_size(vehicle: VehicleState, draws: Draws) -> CabinSize:
    """Draw a box that agrees with its volume.

    Edges, share that is air, and volume are drawn one by one; where fill x length x width x height
    is not the volume, each gives way in proportion to the variance of its logarithm. For normal
    logarithms that is the conditional draw (Matheron's rule; Chiles and Delfiner, Geostatistics,
    1999, from memory).
    """
    values = (
        *(vehicle.cabin_length, vehicle.cabin_width, vehicle.cabin_height),
        *(vehicle.cabin_fill, vehicle.cabin_volume),
    )
    logs = [np.log(draws(value)) for value in values]
    variances = [_log_width(value) ** 2 for value in values]
    gap = logs[0] + logs[1] + logs[2] + logs[3] - logs[4]
    whole = sum(variances)
    given_way = [gap * variance / whole if whole else 0.0 * gap for variance in variances]
    length, width, height = (np.exp(logs[n] - given_way[n]) for n in range(3))
    like = [draws(value) for value in vehicle.likeness]
    return CabinSize(
        length=length,
        width=width,
        height=height,
        volume=np.exp(logs[4] + given_way[4]),
        sounding=(length * like[0], width * like[1], height * like[2]),
    )


def _log_width(value: Value) -> float:
    """Standard deviation of the logarithm of a value, by its spread."""
    quantity = value.quantity
    if quantity.low is None or quantity.high is None:
        return 0.0
    if quantity.spread == "plus-minus":
        return (quantity.high / quantity.value - 1.0) / SCORE_WITHIN_95
    return float(np.log(quantity.high / quantity.low)) / (2.0 * SCORE_AT_95)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a loudspeaker sounds from; its back and the area of its cone only if that is open."""

    at: Spot
    back: OpenState | None
    sd: Value | None


def _source(place: LocationState) -> Source:
    if not isinstance(place.back, OpenState):
        return Source(place.at, None, None)
    return Source(place.at, place.back, place.driver.written["sd"])


@dataclass(frozen=True, eq=False)
class Cabin:
    """The cabins of one job, with the draws they share, on one grid [Hz]."""

    draws: Draws
    frequency: FloatArray
    _boxes: dict[VehicleState, tuple[CabinSize, Box]] = field(default_factory=dict)
    _heard: dict[tuple[VehicleState, Source, Spot], ComplexArray] = field(default_factory=dict)
    _made: dict[Hashable, Any] = field(default_factory=dict)

    def pressures(
        self, vehicle: VehicleState, places: Sequence[LocationState], ear: Spot
    ) -> tuple[ComplexArray, ...]:
        """Return what each place does at an ear: p/U [Pa s/m3], shape (1 + samples, F).

        U is what comes out of the front; an open back sends as much the other way round.
        """
        sources = [_source(place) for place in places]
        missing = [
            each for each in dict.fromkeys(sources) if (vehicle, each, ear) not in self._heard
        ]
        if missing:
            heard = self._in_open if vehicle.top == "down" else self._in_box
            found = heard(vehicle, missing, ear)
            self._heard.update(
                ((vehicle, each, ear), p) for each, p in zip(missing, found, strict=True)
            )
        return tuple(self._heard[vehicle, each, ear] for each in sources)

    def beside(self, draws: Draws) -> Cabin:
        """Return the same cabins for draws that differ in loudspeakers only; what is known stays.

        What an open back does depends on its cone, so that is worked out anew.
        """
        closed = {key: p for key, p in self._heard.items() if key[1].back is None}
        return Cabin(draws, self.frequency, self._boxes, closed)

    def once(self, what: Hashable, make: Callable[[], Made]) -> Made:
        """Return something about these cabins, made when it is first asked for."""
        if what not in self._made:
            self._made[what] = make()
        made: Made = self._made[what]
        return made

    def power_share(self, vehicle: VehicleState, place: LocationState) -> Real:
        """Sound power of a place over that of the same cone in a large panel [1]."""
        source = _source(place)
        if source.back is None:
            return 1.0
        return doublet_power_share(
            air=Air(temperature=vehicle.temperature.si),
            separation=self._apart(source),
            frequency=self.frequency,
        )

    def _in_box(
        self, vehicle: VehicleState, sources: Sequence[Source], ear: Spot
    ) -> list[ComplexArray]:
        size, box = self._box(vehicle)
        heard = partial(
            box_pressure,
            box=box,
            ear=self._point(ear, size),
            leak_resistance=self.draws(vehicle.leak_resistance),
            leak_mass=self.draws(vehicle.leak_mass),
            openings=[self._opening(each, box) for each in vehicle.openings],
        )
        pairs = [self._pair(each, size) for each in sources]
        fronts = heard(sources=[front for front, _ in pairs])
        both = [each for front, back in pairs if back is not None for each in (front, back)]
        open_backed = iter(heard(sources=both, solid_angle=FULL_SPACE) if both else ())
        found = []
        for source, alone in zip(sources, fronts, strict=True):
            if source.back is None:
                found.append(alone)
                continue
            front, back = next(open_backed), next(open_backed)
            share = self._one_sided(source, box.air)
            found.append((1.0 - share) * (front - back) + share * alone)
        return found

    def _in_open(
        self, vehicle: VehicleState, sources: Sequence[Source], ear: Spot
    ) -> list[ComplexArray]:
        """Direct sound alone, with the mirror images that floor and doors make of it."""
        air, size = Air(temperature=vehicle.temperature.si), cabin_size(vehicle, self.draws)
        assert vehicle.images is not None
        # As the wave gets short a loudspeaker's own panel is large enough.
        panel = np.clip(np.log2(self.frequency / PANEL_FROM), 0.0, 1.0)
        angle = (FULL_SPACE / self.draws(vehicle.images)) ** (1.0 - panel) * HALF_SPACE**panel
        at, found = self._point(ear, size), []
        for source in sources:
            front, back = self._pair(source, size)
            if back is None:
                sound = monopole_pressure(
                    air=air,
                    volume_velocity=1.0,
                    distance=distance(source=front, ear=at),
                    solid_angle=angle,
                    frequency=self.frequency,
                )
            else:
                sound = doublet_pressure(
                    air=air,
                    front=distance(source=front, ear=at),
                    back=distance(source=back, ear=at),
                    separation=self._apart(source),
                    solid_angle=angle,
                    frequency=self.frequency,
                )
            found.append(sound)
        return found

    def _opening(self, opening: OpeningState, box: Box) -> Opening:
        quality = self.draws(opening.q)
        if opening.mass is not None:
            return self.draws(opening.mass), quality
        assert opening.area is not None
        # A window that is shut after all is a hole too small to matter.
        area = np.maximum(self.draws(opening.area), SHUT)
        return window_mass(air=box.air, area=area), quality

    def _apart(self, source: Source) -> FloatArray:
        """Return how far apart front and back of an open loudspeaker sound [m]."""
        assert source.back is not None
        assert source.sd is not None
        apart = doublet_separation(
            sd=self.draws(source.sd), baffle_area=self.draws(source.back.baffle)
        )
        return apart * self.draws(source.back.apart)

    def _one_sided(self, source: Source, air: Air) -> FloatArray:
        return one_sided(air=air, separation=self._apart(source), frequency=self.frequency)

    def _pair(self, source: Source, size: CabinSize) -> tuple[Point, Point | None]:
        """Return where a source sounds from, and where its back does if that is open.

        Both stay within the cabin: before a wall the pair moves inward with its board.
        """
        middle = self._point(source.at, size)
        if source.back is None:
            return middle, None
        half = 0.5 * self._apart(source)
        front, back = [], []
        for along, edge, way in zip(middle, size.sounding, source.back.axis, strict=True):
            room = np.minimum(half * abs(way), 0.5 * edge)
            held = np.clip(along, room, edge - room)
            front.append(held + half * way)
            back.append(held - half * way)
        return (front[0], front[1], front[2]), (back[0], back[1], back[2])

    def _box(self, vehicle: VehicleState) -> tuple[CabinSize, Box]:
        if vehicle not in self._boxes:
            size = cabin_size(vehicle, self.draws)
            box = box_modes(
                air=Air(temperature=vehicle.temperature.si),
                length=size.sounding[0],
                width=size.sounding[1],
                height=size.sounding[2],
                volume=size.volume,
                damping=self.draws(vehicle.damping),
                frequency=self.frequency,
            )
            self._boxes[vehicle] = size, box
        return self._boxes[vehicle]

    def _point(self, at: Spot, size: CabinSize) -> Point:
        """Return a place from the corner that is rearmost, rightmost and lowest."""
        x, y, z = (self.draws(value) for value in at)
        length, width, _ = size.sounding
        return x + 0.5 * length, y + 0.5 * width, z


def opposed_twins(build: Build) -> tuple[tuple[str, str], ...]:
    """Return the pairs of mirrored places whose drivers are connected opposite ways round.

    The one that is connected reversed stands second.
    """
    signs = {name: sign for channel in build.channels for name, sign in channel.polarity}
    pairs = []
    for k, one in enumerate(build.locations):
        for other in build.locations[k + 1 :]:
            if mirrored(one, other) and signs.get(one.id, 0) * signs.get(other.id, 0) < 0:
                pair = (one.id, other.id)
                pairs.append(pair if signs[one.id] > 0 else pair[::-1])
    return tuple(pairs)


def has_twin(build: Build, at: str) -> bool:
    """Whether a place has another one that mirrors it; what is no place counts as if it had."""
    here = next((place for place in build.locations if place.id == at), None)
    return here is None or any(mirrored(here, other) for other in build.locations)


def mirrored(one: LocationState, other: LocationState) -> bool:
    """Whether two places are the same kind of place on opposite sides of the vehicle."""
    here, there = ([c.si for c in place.at] for place in (one, other))
    return one.kind == other.kind and opposite(here, there)


def in_group(place: LocationState, words: str) -> bool:
    """Whether a place lies in `front`, `rear`, `left`, `right`, or `front-left` and so on."""
    x, y = place.at[0].si, place.at[1].si
    sides = {"front": x >= 0.0, "rear": x < 0.0, "left": y > 0.0, "right": y < 0.0, "all": True}
    return all(sides.get(word, False) for word in words.split("-"))


def places_left(build: Build) -> list[tuple[LocationState, ...]]:
    """Return, for each channel of unknown load, the places that no other one drives.

    Those that its id names by their corner; all of them for the only one that names none.
    """
    taken = {name for channel in build.channels for name, _ in channel.polarity}
    found = []
    for channel in build.unknown:
        left = [place for place in build.locations if place.id not in taken]
        words = re.split(r"[-_]", channel.id.lower())
        sides = [side for word in words for side in CORNERS.get(word, ())]
        here = [place for place in left if sides and all(in_group(place, s) for s in sides)]
        if not here and len(build.unknown) == 1:
            here = left
        taken |= {place.id for place in here}
        found.append(tuple(sorted(here, key=lambda place: -place.driver.figures()["sd"])))
    return found
