"""Third octaves between the points of the standard grid, where a cabin bends a curve.

The standard grid has five points in a third octave; resonances of a cabin are narrower than that,
and where they cancel a dip is narrower still. Between its points the cabin is worked out anew: the
central state at ten times as many, the draws at the more the less their cabin is damped. What the
loudspeakers send is smooth, and is drawn through the points that are there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import SeatState
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.common.circuit import Circuit
from conewright.stages.common.together import Cabin
from conewright.stages.hear.listening import Heard, added_up, level_of, sent

__all__ = [
    "CENTRAL",
    "CENTRAL_RANGE",
    "Between",
    "between_of",
    "cubic_through",
    "points_between",
    "thirds_between",
    "weighted",
]

CENTRAL, SHARP, BLUNT = 10, 3, 2
"""Points for each of the standard grid: central state, the less damped half of the draws, the
other half."""

CENTRAL_RANGE, DRAWN_RANGE = (17.0, 570.0), (28.0, 283.0)
"""Where points are put between [Hz]: all that adds with its phases, and the third octaves from
31.5 to 250 Hz, below which hardly a mode stands and above which they crowd."""


@dataclass(frozen=True, eq=False)
class Between:
    """Some rows of the draws on points between those of the standard grid.

    Attributes:
        rows: of the draws; the first is always the central state.
        cabin: with those draws, on these points.
        flows: what each place sends there, per volt [m3/s/V], shape (rows, points).

    """

    rows: NDArray[np.intp]
    cabin: Cabin
    flows: Mapping[str, ComplexArray]


def between_of(build: Build, circuit: Circuit, cabin: Cabin) -> tuple[Between, ...]:
    """Return what is needed to listen to a build between the points of its grid."""
    flows = sent(circuit)
    found = []
    for rows, finer in _finer(build, cabin):
        at = cubic_through(circuit.frequency, finer.frequency)
        found.append(
            Between(rows, finer, {name: weighted(_rows(f, rows), *at) for name, f in flows.items()})
        )
    return tuple(found)


def thirds_between(
    heard: Heard,
    emf: FloatArray | float,
    between: Collection[Between],
    *,
    seat: SeatState,
    build: Build,
    circuit: Circuit,
    turned: Collection[str] = (),
) -> FloatArray:
    """Return the level of a sine in each third octave [dB], shape (draws, 31).

    Args:
        heard: on the standard grid.
        emf: of each of its points [V]; its logarithm is drawn through them too.
        between: what is needed to listen between them.
        seat: whose ear it is.
        build: which is heard.
        circuit: of the build, solved on the standard grid.
        turned: places whose two wires are swapped.

    """
    grid = heard.frequency
    loud = np.log(np.atleast_2d(emf) + np.zeros(grid.size))
    squared = heard.squared * np.exp(2.0 * loud)
    means = bands.band_mean_power(squared, frequency=grid)
    for part in between:
        if part.rows[-1] >= len(means):
            continue  # where nothing spreads there is but the central state
        at = part.cabin.frequency
        inner = added_up(
            part.flows, seat, build=build, air=circuit.air, cabin=part.cabin, turned=turned
        )
        volts = weighted(_rows(loud, part.rows), *cubic_through(grid, at))
        finer = inner.squared * np.exp(2.0 * volts)
        known = _rows(squared, part.rows)
        whole, order = np.concatenate((grid, at)), np.argsort(np.concatenate((grid, at)))
        power = np.concatenate((known, finer + np.zeros((len(known), 1))), axis=-1)[:, order]
        # Every group carries the central state along; one of them is about nothing else.
        own = slice(0, 1) if part.rows.size == 1 else slice(1, None)
        means[part.rows[own]] = bands.band_mean_power(power[own], frequency=whole[order])
    return level_of(means)


def _finer(build: Build, cabin: Cabin) -> tuple[tuple[NDArray[np.intp], Cabin], ...]:
    """Return the rows of each group and its cabin; the same for all builds of one cabin."""
    damping, centre = build.vehicle.damping, np.zeros(1, dtype=np.intp)

    def made() -> tuple[tuple[NDArray[np.intp], Cabin], ...]:
        drawn = cabin.draws(damping)[1:, 0]
        groups = [(centre, CENTRAL, CENTRAL_RANGE)]
        if build.vehicle.top != "down":
            sharp = drawn <= np.median(drawn)
            for half, points in ((sharp, SHARP), (~sharp, BLUNT)):
                if half.any():
                    rows = np.concatenate((centre, 1 + np.flatnonzero(half)))
                    groups.append((rows, points, DRAWN_RANGE))
        return tuple(
            (
                rows,
                Cabin(cabin.draws.only(rows[1:]), points_between(cabin.frequency, points, *ends)),
            )
            for rows, points, ends in groups
        )

    return cabin.once(damping, made)


def points_between(grid: FloatArray, points: int, low: float, high: float) -> FloatArray:
    """Return the points between those of a grid, even in log frequency, from low to high [Hz]."""
    ends = grid[(grid > low) & (grid < high)]
    steps = np.arange(1, points) / points
    between = ends[:-1, np.newaxis] * (ends[1:] / ends[:-1])[:, np.newaxis] ** steps
    return np.asarray(between.ravel())


def cubic_through(grid: FloatArray, at: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the four points round each frequency, and Lagrange's weights of a cubic through them.

    Shapes (4, points); the grid is even in log frequency.
    """
    first = np.clip(np.searchsorted(grid, at) - 2, 0, grid.size - 4)
    x = np.log(at / grid[first]) / np.log(grid[first + 1] / grid[first])
    nodes = range(4)
    weights = [np.prod([(x - m) / (n - m) for m in nodes if m != n], axis=0) for n in nodes]
    return first + np.arange(4)[:, np.newaxis], np.array(weights)


def weighted(values: Any, points: NDArray[np.intp], weights: FloatArray) -> Any:
    """Return the values between the points of their grid, by weights of `cubic_through`."""
    total = values[:, points[0]] * weights[0]
    for each, weight in zip(points[1:], weights[1:], strict=True):
        total += values[:, each] * weight
    return np.asarray(total)


def _rows(values: Any, rows: NDArray[np.intp]) -> Any:
    """Return some rows of what has a row for each draw, or one for all."""
    return values[rows] if len(values) > 1 else values
