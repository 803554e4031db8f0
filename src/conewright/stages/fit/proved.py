"""What the driver that sits in a place proves of the room there: it is in, and the window passes.

A depth or a gap that was measured is at least what that driver takes of it. Its distribution is
cut off there, and what else the limit depends on is weighted by the chance that is left: the joint
distribution after that evidence, exact for a limit without spread (truncated normal: Johnson, Kotz
and Balakrishnan, Continuous Univariate Distributions 1, 1994, section 13.10.1, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from conewright.job.builds.draws import Draws, Shift, score_at
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import as_found
from conewright.stages.common.screws import is_measured
from conewright.stages.common.updating import NEARLY_ALL, taken
from conewright.stages.fit.sandwich import allowances, play_of

__all__ = ["Proved", "is_given", "proved_draws", "sits_there"]

LEAST_CHANCE = 1.35e-3
"""A limit that what was measured keeps less often disagrees with it: three standard errors."""


@dataclass(frozen=True, slots=True)
class Proved:
    """A measured depth or gap of the vehicle as found, and what the driver there says of it.

    Attributes:
        place: as found.
        value: the depth or gap.
        limit: what it is at least, in the central state [m].
        side: where it lies.
        agrees: whether what was measured allows that; if not it narrows nothing.

    """

    place: LocationState
    value: Value
    limit: float
    side: str
    agrees: bool


@dataclass(frozen=True, eq=False)
class _Limit:
    """A value that is drawn, what it is at least [m], and the values that limit depends on."""

    place: LocationState
    value: Value
    side: str
    least: FloatArray
    of: tuple[Value, ...]


def proved_draws(build: Build, draws: Draws) -> tuple[Draws, tuple[Proved, ...]]:
    """Return draws after what sits in each place of the vehicle as found, and what that proves.

    Args:
        build: any of the job; the evidence is of the vehicle as found.
        draws: of the axes of the job and of the allowances of every place.

    """
    cut: dict[str, FloatArray] = {}
    moved: set[str] = set()
    weights, proved = np.ones(draws.samples), []
    for limit in _limits(as_found(build), draws):
        score, left = _cut_off(draws, limit)
        agrees = float(np.mean(left[1:])) >= LEAST_CHANCE
        least = float(limit.least[0, 0])
        proved.append(Proved(limit.place, limit.value, least, limit.side, agrees))
        if agrees:
            cut[limit.value.path] = score
            weights *= left[1:]
            moved |= {axis for value in (limit.value, *limit.of) for axis in value.axes}
    return (_moved(build, draws, cut, moved, weights) if cut else draws), tuple(proved)


def sits_there(place: LocationState, found: LocationState | None) -> bool:
    """Whether a place holds the driver that was found there, mounted as it was found."""
    if found is None or place.driver.id != found.driver.id:
        return False
    return _mounted(place) == _mounted(found)


def is_given(value: Value) -> bool:
    """Whether a dimension was measured or stands on a sheet."""
    return value.origin in (Origin.MEASURED, Origin.SHEET)


# --- Underneath ---------------------------------------------------------------------------------


def _mounted(place: LocationState) -> tuple[object, ...]:
    mount = place.mount
    return mount.spacer, mount.cutout, mount.glass_depths, mount.trim_gap


def _limits(found: Build, draws: Draws) -> Iterator[_Limit]:
    """Yield what the drivers that were found prove, as far as their frames are known."""
    for place in found.locations:
        mount, frame = place.mount, place.driver.frame
        play, _, give = allowances(place)
        if is_given(frame.depth):
            least = draws(frame.depth) - draws(mount.spacer) + play_of(place, draws)
            for depth in mount.glass_depths:
                if is_measured(depth) and depth.spreads and not depth.follows:
                    of = (frame.depth, mount.spacer, play)
                    yield _Limit(place, depth, "behind", least, of)
        gap = mount.trim_gap
        fronted = gap is not None and is_measured(gap) and gap.spreads and not gap.follows
        if gap is not None and fronted and is_given(frame.front_height):
            least = draws(frame.front_height) + draws(mount.spacer) - draws(give)
            yield _Limit(place, gap, "in front", least, (frame.front_height, mount.spacer, give))


def _cut_off(draws: Draws, limit: _Limit) -> tuple[FloatArray, FloatArray]:
    """Return the scores of a value above its limit, and the chance of being there, for each draw.

    Row 0 is the middle of what is left.
    """
    from scipy.special import ndtr, ndtri

    score = np.concatenate(([0.0], draws.score(limit.value.path)))
    least = score_at(limit.value.quantity, limit.least[:, 0], signed=limit.value.signed)
    left = np.broadcast_to(ndtr(-least), score.shape)
    # By the upper tail, which keeps its digits far out.
    return -np.asarray(ndtri(np.maximum(ndtr(-score) * left, np.finfo(float).tiny))), left


def _moved(
    build: Build,
    draws: Draws,
    cut: dict[str, FloatArray],
    moved: set[str],
    weights: FloatArray,
) -> Draws:
    scores = draws.scores.copy()
    for path, score in cut.items():
        scores[:, draws.axes.index(path)] = score[1:]
    shares = weights / weights.sum()
    axes = sorted(moved.intersection(draws.axes))
    if 1.0 / float(np.sum(shares**2)) < NEARLY_ALL * draws.samples:
        columns = [draws.axes.index(axis) for axis in axes]
        scores[:, columns] = scores[taken(shares)][:, columns]
    found = as_found(build)
    own = (value for place in found.locations for value in allowances(place))
    known = (value for value in (*found.values(), *own) if not moved.isdisjoint(value.axes))
    centre = dict.fromkeys(axes, 0.0) | {path: float(score[0]) for path, score in cut.items()}
    return replace(draws, scores=scores, shift=Shift(frozenset(known), centre, draws.scores))
