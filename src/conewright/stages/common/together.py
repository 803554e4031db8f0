"""Several loudspeakers in one vehicle: which mirror each other, and what each does at an ear.

What a source does at an ear is worked out once for each cabin, place and ear on a grid, with the
same draws, however many builds and however many mixtures of two builds ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95, Draws
from conewright.job.builds.state import Build, LocationState, Value, VehicleState
from conewright.job.repairs import opposite
from conewright.physics.acoustics.box import Box, Point, box_modes, box_pressure
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = ["Cabin", "CabinSize", "cabin_size", "mirrored", "opposed_twins"]

Spot = tuple[Value, Value, Value]


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


@dataclass(frozen=True, eq=False)
class Cabin:
    """The cabins of one job, with the draws they share, on one grid [Hz]."""

    draws: Draws
    frequency: FloatArray
    _boxes: dict[VehicleState, tuple[CabinSize, Box]] = field(default_factory=dict)
    _heard: dict[tuple[VehicleState, Spot, Spot], ComplexArray] = field(default_factory=dict)

    def pressures(
        self, vehicle: VehicleState, places: Sequence[Spot], ear: Spot
    ) -> tuple[ComplexArray, ...]:
        """Return what each place does at an ear: p/U [Pa s/m3], shape (1 + samples, F)."""
        missing = [at for at in dict.fromkeys(places) if (vehicle, at, ear) not in self._heard]
        if missing:
            size, box = self._box(vehicle)
            found = box_pressure(
                box=box,
                sources=[self._point(at, size) for at in missing],
                ear=self._point(ear, size),
                leak_resistance=self.draws(vehicle.leak_resistance),
                leak_mass=self.draws(vehicle.leak_mass),
            )
            self._heard.update(
                ((vehicle, at, ear), p) for at, p in zip(missing, found, strict=True)
            )
        return tuple(self._heard[vehicle, at, ear] for at in places)

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


def mirrored(one: LocationState, other: LocationState) -> bool:
    """Whether two places are the same kind of place on opposite sides of the vehicle."""
    here, there = ([c.si for c in place.at] for place in (one, other))
    return one.kind == other.kind and opposite(here, there)
