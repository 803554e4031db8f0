"""Which reading tells the usual loads of an unknown channel apart, and how much it would tell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isinf

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.instruments.topology import (
    FREQUENCIES,
    Key,
    LoadContext,
    LoadReading,
    population,
    usual_error,
    warmth_spread,
)

__all__ = ["Telling", "expected_bits", "telling_apart"]

LEAST_ODDS = 0.003
"""Loads less likely than this are left out of the reckoning."""

STEPS = 160
"""Steps of the scale on which readings are foreseen."""

BLUR = 0.03
"""Least spread of one sample of a load, natural logarithm."""

SAME_FREQUENCY = 1.2
"""An impedance within this factor of one that was read is not read again."""

CANDIDATES: tuple[Key, ...] = (
    *(("plug", None), ("unplugged", None), ("returns", None)),
    *(("impedance", frequency) for frequency in FREQUENCIES),
)


@dataclass(frozen=True, slots=True)
class Telling:
    """The reading that tells two loads apart, and what each of them would read [ohm].

    `separation` is the difference over its spread, by logarithm; inf where one is open.
    """

    kind: str
    frequency: float | None
    expected: tuple[float, float]
    separation: float


def telling_apart(
    a: str, b: str, context: LoadContext | None = None, taken: Iterable[LoadReading] = ()
) -> Telling:
    """Return the reading, not taken yet, that separates two loads best.

    Args: a, b: ids of topologies; context: cable, radio and temperature; taken: readings so far.
    Returns: the reading of the largest difference over spread; one that is open for one load and a
    number for the other comes before all.
    """
    known, keys = context or LoadContext(), _left(tuple(taken))
    one, other = (population(name, known, keys) for name in (a, b))
    tellings = [_telling(key, one[:, column], other[:, column]) for column, key in enumerate(keys)]
    return max(tellings, key=lambda telling: telling.separation)


def expected_bits(
    odds: Mapping[str, float], taken: Sequence[LoadReading], context: LoadContext
) -> dict[Key, float]:
    """Return, for each reading not taken yet, the bits about the load expected from it.

    The mutual information of load and reading; each load's samples are weighed by how well they
    fit what was read before.

    Args: odds: of the loads by id; taken: readings so far; context: cable, radio, temperature.
    """
    keys = _left(taken)
    done: tuple[Key, ...] = tuple((reading.kind, reading.frequency) for reading in taken)
    likely = {name: chance for name, chance in odds.items() if chance >= LEAST_ODDS}
    total = sum(likely.values())
    loads = [
        (chance / total, *_weighed(population(name, context, (*done, *keys)), taken, context))
        for name, chance in likely.items()
    ]
    return {
        key: _bits([(chance, weights, ahead[:, column]) for chance, weights, ahead in loads], key)
        for column, key in enumerate(keys)
    }


def _left(taken: Sequence[LoadReading]) -> tuple[Key, ...]:
    return tuple(key for key in CANDIDATES if not any(_again(key, reading) for reading in taken))


def _again(key: Key, reading: LoadReading) -> bool:
    kind, frequency = key
    if kind != reading.kind:
        return False
    if frequency is None or reading.frequency is None:
        return True
    return max(frequency, reading.frequency) < SAME_FREQUENCY * min(frequency, reading.frequency)


def _telling(key: Key, one: FloatArray, other: FloatArray) -> Telling:
    kind, frequency = key
    middles = (float(np.median(one)), float(np.median(other)))
    expected = (float(np.exp(middles[0])), float(np.exp(middles[1])))
    if isinf(middles[0]) or isinf(middles[1]):
        apart = 0.0 if middles[0] == middles[1] else inf
        return Telling(kind, frequency, expected, apart)
    error = usual_error(kind, expected[0]) / expected[0]
    spread = np.sqrt(np.var(one[np.isfinite(one)]) + np.var(other[np.isfinite(other)]) + error**2)
    return Telling(kind, frequency, expected, float(abs(middles[0] - middles[1]) / spread))


def _weighed(
    logs: FloatArray, taken: Sequence[LoadReading], context: LoadContext
) -> tuple[FloatArray, FloatArray]:
    """Weights of a load's samples given what was read, and their readings still to come."""
    off = np.zeros(len(logs))
    for column, reading in enumerate(taken):
        seen = logs[:, column]
        if isinf(reading.ohm):
            off += np.where(np.isinf(seen), 0.0, inf)
            continue
        error = (reading.error or usual_error(reading.kind, reading.ohm)) / reading.ohm
        off += ((seen - np.log(reading.ohm)) / np.hypot(error, warmth_spread(context))) ** 2
    best = off.min()
    # A load that fits nothing is there by a slip of the hand alone: its samples count alike.
    weights = np.exp(-0.5 * (off - best)) if np.isfinite(best) else np.ones(len(logs))
    return weights / weights.sum(), logs[:, len(taken) :]


def _bits(loads: Sequence[tuple[float, FloatArray, FloatArray]], key: Key) -> float:
    """Mutual information of the load and one reading [bit]."""
    finite = np.concatenate([logs[np.isfinite(logs)] for _, _, logs in loads])
    scale = np.zeros(1)
    if finite.size:
        scale = np.linspace(finite.min() - 4 * BLUR, finite.max() + 4 * BLUR, STEPS)
    seen = np.array([_foreseen(weights, logs, scale, key) for _, weights, logs in loads])
    chances = np.array([chance for chance, _, _ in loads])
    mixed = chances @ seen
    ratio = np.divide(seen, mixed, out=np.ones_like(seen), where=seen > 0.0)
    return float(np.sum(chances[:, None] * seen * np.log2(ratio)))


def _foreseen(weights: FloatArray, logs: FloatArray, scale: FloatArray, key: Key) -> FloatArray:
    """Chance of every step of the scale and, last, of open; shape (steps + 1,)."""
    open_ = np.isinf(logs)
    found = np.zeros(len(scale) + 1)
    found[-1] = weights[open_].sum()
    middles = logs[~open_]
    if middles.size:
        ohm = float(np.exp(np.median(middles)))
        blur = max(BLUR, usual_error(key[0], ohm) / ohm, _bandwidth(weights[~open_], middles))
        bells = np.exp(-0.5 * ((scale[:, None] - middles) / blur) ** 2)
        shares = bells / bells.sum(axis=0)
        found[:-1] = shares @ weights[~open_]
    return found


def _bandwidth(weights: FloatArray, values: FloatArray) -> float:
    """Spread of one sample of a weighted few, so that they stand for all between them.

    Source: Silverman, Density Estimation (1986), section 3.4.2: 0.9 sigma n^(-1/5), n being the
    effective number (sum w)^2 / sum w^2.
    """
    share = weights / max(float(weights.sum()), 1e-300)
    sigma = float(np.sqrt(share @ (values - share @ values) ** 2))
    return float(0.9 * sigma * np.sum(share**2) ** 0.2)
