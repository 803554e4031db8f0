"""Which single measurement would narrow the answer most, and which guesses carry it.

The share of a figure's variance that one input explains is taken from the draws themselves, by
regression on the first two Hermite polynomials of the input's score: z and z² − 1 (first-order
sensitivity; Saltelli and others, Global Sensitivity Analysis, 2008, from memory). To know the
input exactly would leave sqrt(1 − S) of the width of the band.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.value import Value
from conewright.job.measurables import measurement
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report.data import Narrowing

__all__ = ["narrowing"]

CHANCE_OF_A_FLUKE = 0.05
"""Chance that any input at all passes without having anything to do with any figure."""

TERMS = 2
"""Regressors for each input: z and z² − 1."""

SCREEN = 4.0
"""Inputs that explain less than a fluke by this factor are left out from the start."""

NOTHING_LEFT = 1e-9
"""Length or square below which a unit vector is used up."""

FEWEST_SAMPLES = 16
"""With fewer draws than this, nothing can be told from a fluke."""


@dataclass(frozen=True, slots=True)
class _Effect:
    """An input, the figure it moves most, and the share of that band's width it accounts for."""

    value: Value
    figure: str
    share: float


def narrowing(
    headlines: Mapping[str, FloatArray],
    draws: Draws,
    values: Iterable[Value],
    most: int = 3,
    *,
    names: Mapping[str, str] | None = None,
) -> tuple[Narrowing, ...]:
    """Return the measurements that would narrow the headline figures most, the best first.

    A measurement counts by the figure that it narrows most. Inputs that no measurement reaches
    are left out, and so are those that were not drawn or whose effect could be a fluke.

    Args:
        headlines: figure id to its draws, shape (1 + samples,) or (1 + samples, 1), row 0 central.
        draws: the draws behind them.
        values: the inputs to choose from.
        most: how many to return at most.
        names: id of a place, driver, channel or seat to its name; an id without one names itself.

    Returns:
        One entry for each measurement; `share` is the part of the width of the band of `figure`
        that would go if the input were known exactly, 0 to 1.

    """
    outcomes = dict(_outcomes(headlines, draws.samples))
    if not outcomes or draws.samples < FEWEST_SAMPLES:
        return ()
    measurable = (value for value in values if measurement(value.path) is not None)
    return tuple(
        Narrowing(
            path=effect.value.path,
            label=_label(effect.value.path, names or {}),
            origin=effect.value.origin,
            share=effect.share,
            figure=effect.figure,
        )
        for effect in _effects(outcomes, draws, measurable)[:most]
    )


def _effects(
    outcomes: Mapping[str, FloatArray], draws: Draws, values: Iterable[Value]
) -> list[_Effect]:
    """Effects that are no flukes, one for each distinct score, the strongest first."""
    inputs = list(_distinct(values, drawn=frozenset(draws.axes)))
    if not inputs:
        return []
    linear, curved = _basis(np.stack([draws.score_of(value) for value in inputs], axis=1))
    trials = len(inputs) * len(outcomes)
    explained = _explained(np.stack([*outcomes.values()]), linear, curved)
    near = explained > _fluke(draws.samples - 1, trials) / SCREEN
    best: dict[int, _Effect] = {}
    for (figure, outcome), some in zip(outcomes.items(), map(np.flatnonzero, near), strict=True):
        for k, share in _width_shares(outcome, linear[:, some], curved[:, some], trials=trials):
            k = int(some[k])
            if k not in best or share > best[k].share:
                best[k] = _Effect(inputs[k], figure, share)
    return sorted(best.values(), key=lambda effect: -effect.share)


def _distinct(values: Iterable[Value], drawn: frozenset[str]) -> Iterator[Value]:
    """Values that were drawn, the first of those that share their axes."""
    seen = set()
    for value in values:
        key = (value.axes, value.correlation if len(value.axes) > 1 else 1.0)
        if value.spreads and drawn.issuperset(value.axes) and key not in seen:
            seen.add(key)
            yield value


def _outcomes(
    headlines: Mapping[str, FloatArray], samples: int
) -> Iterator[tuple[str, FloatArray]]:
    """Draws of the figures that have a spread, central row left out, centred, of unit length."""
    for id, draws in headlines.items():
        outcome = np.ravel(draws)[1:]
        if outcome.size != samples or not np.isfinite(outcome).all():
            continue
        centred = outcome - outcome.mean()
        length = float(np.linalg.norm(centred))
        if length > NOTHING_LEFT * float(np.linalg.norm(outcome)):
            yield id, centred / length


def _basis(scores: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Orthonormal pairs of columns for z and z² − 1 of each input, shape of `scores`."""
    linear = _unit(scores)
    return linear, _unit(_without(_unit(scores**2 - 1.0), linear))


def _width_shares(
    outcome: FloatArray, linear: FloatArray, curved: FloatArray, *, trials: int
) -> Iterator[tuple[int, float]]:
    """Find the inputs that an outcome depends on, the strongest first.

    Each input that is found is taken out of the outcome and of all the other inputs, so that a
    chance correlation of the draws is not counted twice.

    Args:
        outcome: centred and of unit length, shape (samples,).
        linear, curved: orthonormal pairs of columns, shape (samples, inputs), of the inputs that
            are not out of the question from the start.
        trials: how many inputs are tried on all outcomes together.

    Yields:
        Column of the input and 1 − sqrt(1 − S), with S the explained share of the variance,
        adjusted for the number of regressors.

    """
    left, freedom = 1.0, outcome.size - 1
    while linear.size and (freedom := freedom - TERMS) > 0 and left > NOTHING_LEFT:
        explained = _explained(outcome, linear, curved)
        k = int(explained.argmax())
        if explained[k] <= left * _fluke(freedom, trials):
            return
        remainder = left - float(explained[k])
        share = left - remainder * (freedom + TERMS) / freedom
        yield k, 1.0 - math.sqrt(1.0 - min(max(share, 0.0), 1.0))
        for found in (linear[:, [k]], curved[:, [k]]):
            outcome = _without(outcome[:, np.newaxis], found)[:, 0]
            linear, curved = _unit(_without(linear, found)), _unit(_without(curved, found))
        left = float(outcome @ outcome)


def _explained(outcome: FloatArray, linear: FloatArray, curved: FloatArray) -> FloatArray:
    """Square of the part of outcomes along each pair of columns, shape (..., inputs)."""
    along: FloatArray = (outcome @ linear) ** 2 + (outcome @ curved) ** 2
    return along


def _without(columns: FloatArray, units: FloatArray) -> FloatArray:
    """Take from columns their part along unit columns (one each, or one for all)."""
    along: FloatArray = units * np.sum(columns * units, axis=0)
    return columns - along


def _unit(columns: FloatArray) -> FloatArray:
    """Centre columns and scale them to unit length; those of next to no length become zero."""
    centred = columns - columns.mean(axis=0)
    length: FloatArray = np.linalg.norm(centred, axis=0)
    kept = length > NOTHING_LEFT
    return np.where(kept, centred / np.where(kept, length, 1.0), 0.0)


def _fluke(freedom: int, trials: int) -> float:
    """Explained share of the variance that unrelated inputs stay below, all trials together.

    The share R² that two unrelated regressors explain follows P(R² > t) = (1 − t)^(freedom/2).
    """
    return float(1.0 - (CHANCE_OF_A_FLUKE / trials) ** (2.0 / freedom))


def _label(path: str, names: Mapping[str, str]) -> str:
    found = measurement(path)
    owner = path.split(".", 1)[0]
    what = found[0] if found else path
    last = path.rsplit(".", maxsplit=1)[-1]
    if last.isdigit():
        what = f"{what} ({last})"
    return what if owner in {"vehicle", "head_unit"} else f"{what}, {names.get(owner, owner)}"
