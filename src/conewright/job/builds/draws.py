"""Draws of the uncertain values of a build, the same for every build of a job.

Every path with a spread is one axis. Its column is a Latin hypercube's (McKay, Beckman and Conover
1979): one draw in each of as many equally likely parts, in an order that comes from the path alone.
So a figure is the same on every run, two builds share the draws of what they share, and what else
stands in a job moves nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from hashlib import shake_256
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from conewright.errors import OutOfRangeError
from conewright.job.builds.states.value import Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray

__all__ = [
    "DEFAULT_SAMPLES",
    "DEFAULT_SEED",
    "SCORE_AT_95",
    "SCORE_WITHIN_95",
    "Draws",
    "Shift",
    "draw",
    "quantile",
    "score_at",
    "shuffled",
]

DEFAULT_SAMPLES = 256
DEFAULT_SEED = 20260302

# Standard-normal scores of the points a job states: 95 % within ±b, and the 5 % and 95 % points.
SCORE_WITHIN_95 = 1.959963984540054
SCORE_AT_95 = 1.6448536269514722

# A normal whose chance of a wrong sign is below this is left alone.
_NEGLIGIBLE = 1e-12


@dataclass(frozen=True, eq=False)
class Shift:
    """Where readings of the vehicle as found have moved the draws of some values.

    Attributes:
        values: what was moved; a plan's own value on the same axis is none of them, and keeps its
            draws.
        centre: score of the central state, by axis.
        before: scores before the readings, shape (samples, axes).

    """

    values: frozenset[Value]
    centre: Mapping[str, float]
    before: FloatArray


@dataclass(frozen=True, eq=False)
class Draws:
    """Samples of every uncertain value: row 0 is the central state, the others are draws.

    Attributes:
        axes: paths of the random axes.
        scores: standard-normal scores, shape (samples, axes).
        shift: what readings have moved; None where nothing was read.
        own: what a place has over its driver's sheet, by the place and the value of the sheet.

    """

    axes: tuple[str, ...]
    scores: FloatArray
    shift: Shift | None = None
    own: Mapping[tuple[str, Value], Value] = field(default_factory=dict)

    def __repr__(self) -> str:
        """Return how many there are."""
        return f"<Draws: {self.samples} of {len(self.axes)} axes>"

    @property
    def samples(self) -> int:
        """Number of draws, the central row not counted."""
        return len(self.scores)

    def __call__(self, value: Value) -> FloatArray:
        """Samples of a value [SI], shape (1 + samples, 1); (1, 1) for one without spread.

        Raises: KeyError if the value spreads on a path that is none of the axes.
        """
        if not value.spreads:
            return np.full((1, 1), value.si)
        scores = self._mixed(value)
        drawn = quantile(value.quantity, scores, signed=value.signed)
        if value.within is not None:
            drawn = np.clip(drawn, *value.within)
        if scores[0] == 0.0:
            drawn[0] = value.si
        return drawn[:, np.newaxis]

    def only(self, rows: NDArray[np.intp]) -> "Draws":
        """Return the central state with some of the draws, by their rows, counted from 1."""
        at, shift = rows - 1, self.shift
        if shift is not None:
            shift = replace(shift, before=shift.before[at])
        return replace(self, scores=self.scores[at], shift=shift)

    def score(self, path: str) -> FloatArray:
        """Standard-normal scores of one axis, shape (samples,).

        Raises: KeyError if there is no such axis.
        """
        try:
            return self.scores[:, self.axes.index(path)]
        except ValueError:
            raise KeyError(f"no random axis {path!r}") from None

    def score_of(self, value: Value) -> FloatArray:
        """Scores a value is drawn with: its own axis, mixed with the axis it follows."""
        return self._mixed(value)[1:]

    def _mixed(self, value: Value) -> FloatArray:
        """Scores of the central state and of every draw of a value, shape (1 + samples,)."""
        if not value.follows:
            return self._column(value.path, value)
        led = value.correlation * self._column(value.follows, value)
        if value.correlation == 1.0:
            return led
        own = sqrt(1.0 - value.correlation**2)
        return led + own * self._column(value.path, value)

    def _column(self, path: str, value: Value) -> FloatArray:
        """Scores of one axis as they are for a value, the central one first."""
        scores, centre, shift = self.score(path), 0.0, self.shift
        if shift is not None and path in shift.centre:
            if value in shift.values:
                centre = shift.centre[path]
            else:
                scores = shift.before[:, self.axes.index(path)]
        return np.concatenate(([centre], scores))


def draw(
    axes: tuple[str, ...], *, samples: int = DEFAULT_SAMPLES, seed: int = DEFAULT_SEED
) -> Draws:
    """Draw all axes of a job.

    Args: axes: paths of the random axes; samples: a power of two; seed: mixed into every path.
    Returns: the draws; a path has the same column whatever other axes there are.
    Raises: OutOfRangeError if `samples` is no power of two.
    """
    if samples < 1 or samples & (samples - 1):
        raise OutOfRangeError(f"samples is {samples}; a power of two is wanted, like 256")
    return Draws(axes, _scores(axes, samples, seed))


@lru_cache(maxsize=16)
def _scores(axes: tuple[str, ...], samples: int, seed: int) -> FloatArray:
    """Standard-normal scores, shape (samples, axes); read-only, since shared."""
    scores = np.empty((samples, len(axes)))
    if axes:
        from scipy.special import ndtri

        for column, path in enumerate(axes):
            order, within = shuffled(path, samples, seed)
            scores[:, column] = (order + within) / samples
        # The lowest part may be met at its very end, whose score would be minus infinity.
        half_step = 0.5 / 2**30
        scores = np.asarray(ndtri(np.clip(scores, half_step, 1.0 - half_step)), dtype=float)
    scores.flags.writeable = False
    return scores


def shuffled(path: str, samples: int, seed: int) -> tuple[NDArray[np.intp], FloatArray]:
    """Return an order of equally likely parts, and a place from 0 to below 1 in each of them.

    Args: path: of the axis; samples: how many parts; seed: mixed into the path.
    Returns: both of shape (samples,).
    Equation: the bytes of SHAKE-256 (FIPS 202) of seed and path as numbers of 64 bits; the first
    half by rank, of the others 53 bits. So it is the same on every machine and with every library.
    """
    digest = shake_256(f"{seed}:{path}".encode()).digest(16 * samples)
    ranked, within = np.frombuffer(digest, dtype="<u8").reshape(2, samples)
    places = (within >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return np.argsort(ranked, kind="stable"), places


def quantile(quantity: Quantity, score: FloatArray, *, signed: bool = False) -> FloatArray:
    """Value of an uncertain quantity at standard-normal scores.

    Args: quantity: with a spread; score: any shape; signed: whether it may be below zero.
    Returns: values [SI], shape of `score`.
    Equation: plus-minus b: normal of sigma b/1.96, without its part below zero unless signed;
    range: two half log-normals that meet at the central value and have low and high as their 5 %
    and 95 % points (two half normals where low is not above zero).
    Raises: OutOfRangeError for a quantity without spread.
    """
    if quantity.low is None or quantity.high is None:
        raise OutOfRangeError("a quantity without spread has no distribution")
    if quantity.spread == "plus-minus":
        sigma = (quantity.high - quantity.value) / SCORE_WITHIN_95
        return _normal(quantity.value, sigma, score, signed=signed)
    if quantity.low > 0.0 and not signed:
        logs = np.log([quantity.low, quantity.value, quantity.high])
        return np.exp(_two_piece(logs[0], logs[1], logs[2], score))
    drawn = _two_piece(quantity.low, quantity.value, quantity.high, score)
    return drawn if signed else np.maximum(drawn, 0.0)


def score_at(quantity: Quantity, value: FloatArray, *, signed: bool = False) -> FloatArray:
    """Standard-normal scores at which an uncertain quantity has these values.

    Args: quantity: with a spread; value: [SI], any shape; signed: as for `quantile`.
    Returns: scores, shape of `value`; minus infinity below all that the quantity can be.
    Equation: the inverse of `quantile`.
    Raises: OutOfRangeError for a quantity without spread.
    """
    if quantity.low is None or quantity.high is None:
        raise OutOfRangeError("a quantity without spread has no distribution")
    if quantity.spread == "plus-minus":
        sigma = (quantity.high - quantity.value) / SCORE_WITHIN_95
        return _normal_score(quantity.value, sigma, value, signed=signed)
    ends = np.array([quantity.low, quantity.value, quantity.high])
    if quantity.low > 0.0 and not signed:
        with np.errstate(divide="ignore"):
            value = np.log(np.maximum(value, 0.0))
        ends = np.log(ends)
    elif not signed:
        value = np.where(value > 0.0, value, -np.inf)
    width = np.where(value < ends[1], ends[1] - ends[0], ends[2] - ends[1])
    return np.asarray(SCORE_AT_95 * (value - ends[1]) / width)


def _two_piece(low: float, middle: float, high: float, score: FloatArray) -> FloatArray:
    """Two half normals with their 5 %, 50 % and 95 % points at low, middle and high."""
    width = np.where(score < 0.0, middle - low, high - middle)
    return middle + width * score / SCORE_AT_95


def _normal(mean: float, sigma: float, score: FloatArray, *, signed: bool) -> FloatArray:
    """Normal at the scores; unless signed, of the part above zero by the inverse distribution."""
    from scipy.special import ndtr, ndtri

    lost = 0.0 if signed or sigma == 0.0 else float(ndtr(-mean / sigma))
    if lost > _NEGLIGIBLE:
        # Upper tails keep their digits where the chance of the complement is used.
        score = -np.asarray(ndtri((1.0 - lost) * ndtr(-score)), dtype=float)
    return mean + sigma * score


def _normal_score(mean: float, sigma: float, value: FloatArray, *, signed: bool) -> FloatArray:
    """Scores of `_normal` at values: minus infinity below zero, unless signed."""
    from scipy.special import ndtr, ndtri

    score = np.asarray((value - mean) / sigma, dtype=float)
    lost = 0.0 if signed else float(ndtr(-mean / sigma))
    if lost <= _NEGLIGIBLE:
        return score
    with np.errstate(divide="ignore"):
        return -np.asarray(ndtri(np.minimum(ndtr(-score) / (1.0 - lost), 1.0)), dtype=float)
