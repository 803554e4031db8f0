"""What a seat makes of flows: bass, treble and overall level as sums over points of frequency.

The bass is the mean of its third octaves with the points between those of the grid, as hear has
it; its pressure is linear in the flows, so the norm of every place's share is a quadratic form.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState, SeatState
from conewright.physics.acoustics.cabin import diffuse_pressure_squared
from conewright.physics.basics import bands
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, squared_magnitude
from conewright.physics.basics.levels import a_weighting
from conewright.physics.basics.programme import programme_weights
from conewright.stages.common.together import Cabin
from conewright.stages.hear.between import (
    CENTRAL,
    CENTRAL_RANGE,
    cubic_through,
    points_between,
)
from conewright.stages.hear.heard import bass_mask, treble_mask
from conewright.stages.hear.listening import diffuse_share

__all__ = ["Ear", "Transfer"]

NEGLIGIBLE = 1e-15

CARRIES = 1e-8
"""Share of the largest below which a singular value carries nothing."""


@dataclass(frozen=True, eq=False)
class Transfer:
    """What places do at an ear, pressure over volume velocity [Pa s/m3].

    Attributes:
        grid: by place, on the standard grid, shape (1 or rows, F).
        inner: by place, on the points of the bass between them, shape (1 or rows, points).
        power: by place, sound power over that in a large panel [1].

    """

    grid: Mapping[str, ComplexArray]
    inner: Mapping[str, ComplexArray]
    power: Mapping[str, FloatArray | float]


class Ear:
    """One seat of a vehicle in its central state.

    Attributes:
        frequency: the standard grid [Hz], shape (F,).
        inner: points between those of it, where the bass is listened to [Hz].
        overall: weights of squared pressures in the programme's level, shape (F,).
        treble: the same of the treble.
        bass_grid, bass_inner: the same of the bass, on the grid and between.
        bass_columns: of the grid, all that the bass depends on.
        share: part of every point that adds as powers [1].
        coherent: points where not all does.

    """

    def __init__(self, build: Build, seat: SeatState, centre: Draws) -> None:
        self.build, self.seat = build, seat
        self.frequency = bands.fine_grid()
        self.overall = programme_weights(frequency=self.frequency) * 10 ** (
            a_weighting(self.frequency) / 10
        )
        self.share = diffuse_share(self.frequency)
        self.coherent = self.share < 1.0
        points = points_between(self.frequency, CENTRAL, *CENTRAL_RANGE)
        whole = np.concatenate((self.frequency, points))
        order = np.argsort(whole)
        every = bands.band_mean_power(np.eye(whole.size), frequency=whole[order])
        of_bass = np.empty(whole.size)
        of_bass[order] = every[:, bass_mask() > 0].mean(axis=1)
        self.bass_grid = of_bass[: self.frequency.size]
        heard = of_bass[self.frequency.size :] > NEGLIGIBLE
        self.inner = points[heard]
        self.bass_inner = of_bass[self.frequency.size :][heard]
        on_grid = bands.band_mean_power(np.eye(self.frequency.size), frequency=self.frequency)
        self.treble = on_grid[:, treble_mask() > 0].mean(axis=1)
        self._at, self._by = cubic_through(self.frequency, self.inner)
        self._centre = centre
        self._cabins = Cabin(centre, self.frequency), Cabin(centre, self.inner)

    @cached_property
    def bass_columns(self) -> NDArray[np.intp]:
        """Columns of the grid that the bass depends on."""
        on_it = np.flatnonzero(self.bass_grid > NEGLIGIBLE)
        return np.union1d(on_it, self._at.ravel())

    def transfer(self, places: Sequence[LocationState], draws: Draws) -> Transfer:
        """Return what places do at the ear; `draws` has the columns of what is open behind."""
        grid, inner = self.cabins(draws)
        vehicle, ear = self.build.vehicle, self.seat.ear
        names = [place.id for place in places]
        return Transfer(
            dict(zip(names, grid.pressures(vehicle, places, ear), strict=True)),
            dict(zip(names, inner.pressures(vehicle, places, ear), strict=True)),
            {
                place.id: np.asarray(grid.power_share(vehicle, place), dtype=float)
                for place in places
            },
        )

    def cabins(self, draws: Draws) -> tuple[Cabin, Cabin]:
        """Return the cabin on the grid and between, for some draws; what is common is kept."""
        closed = [place for place in self.build.locations if place.back is None]
        for cabin in self._cabins:
            cabin.pressures(self.build.vehicle, closed, self.seat.ear)
        grid, inner = (cabin.beside(draws) for cabin in self._cabins)
        return grid, inner

    @cached_property
    def diffuse(self) -> FloatArray:
        """Squared pressure of the diffuse sound for a flow of 1 m3/s, shape (F,)."""
        return np.ravel(
            diffuse_pressure_squared(
                air=Air(temperature=self.build.vehicle.temperature.si),
                volume_velocity=1.0,
                absorption_area=self._centre(self.build.vehicle.absorption_area)[:1],
                frequency=self.frequency,
            )
        )

    def between(self, flow: ComplexArray) -> ComplexArray:
        """Return a flow on the points between, drawn through those of the grid."""
        total = flow[:, self._at[0]] * self._by[0]
        for at, by in zip(self._at[1:], self._by[1:], strict=True):
            total += flow[:, at] * by
        return np.asarray(total)

    def drawn_through(self) -> FloatArray:
        """Return the matrix that takes `bass_columns` of a flow to the points between."""
        place = {column: index for index, column in enumerate(self.bass_columns)}
        matrix = np.zeros((self.inner.size, self.bass_columns.size))
        for at, by in zip(self._at, self._by, strict=True):
            for row, (column, weight) in enumerate(zip(at, by, strict=True)):
                matrix[row, place[int(column)]] += weight
        return matrix

    def factors(self, places: Sequence[LocationState]) -> dict[str, ComplexArray]:
        """Return, for closed places, what takes `bass_columns` of their flows to one common space.

        The norm of a sum there is that of the bass pressure, shape (dimensions, columns): the
        singular vectors of all places' answers that carry anything, so few that sums are cheap.
        """
        known = self.transfer(places, self._centre)
        columns, through = self.bass_columns, self.drawn_through()
        on_grid = np.sqrt(self.bass_grid[columns])[:, np.newaxis]
        between = np.sqrt(self.bass_inner)[:, np.newaxis]
        blocks = []
        for place in places:
            grid = np.diag(known.grid[place.id][0, columns])
            inner = known.inner[place.id][0][:, np.newaxis] * through
            blocks.append(np.concatenate((on_grid * grid, between * inner)))
        if not blocks:
            return {}
        _, sizes, vectors = np.linalg.svd(np.concatenate(blocks, axis=1), full_matrices=False)
        kept = sizes > CARRIES * sizes[0]
        whole = sizes[kept, np.newaxis] * vectors[kept]
        parts = np.split(whole, len(places), axis=1)
        return {place.id: part for place, part in zip(places, parts, strict=True)}

    def bass_power(self, grid: ComplexArray, inner: ComplexArray) -> FloatArray:
        """Return the squared pressure of the bass [Pa2], by coherent sums, shape (rows,)."""
        return squared_magnitude(grid) @ self.bass_grid + squared_magnitude(inner) @ self.bass_inner
