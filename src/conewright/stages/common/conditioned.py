"""The draws of a build after what was read on the vehicle.

A reading was taken on the vehicle as found, so it moves the axes that all builds of a job share;
what a plan puts in a part's place has a value of its own, and keeps its draws. A reading that
disagrees with what is written moves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import exp, hypot

import numpy as np

from conewright.job.builds.draws import SCORE_WITHIN_95, Draws, Shift, draw
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.electrics.conductor import temperature_factor
from conewright.stages.common.changes import as_found
from conewright.stages.common.circuit import Solver
from conewright.stages.common.observations import Observation, observations_of
from conewright.stages.common.updating import Observe, linearised, updated

__all__ = ["Disagreement", "ReadDraws", "conditioned_draws", "disagreements"]

TOO_FAR = 3.0
"""A reading further than this from what is written disagrees with it [standard errors]."""

NO_SLOPE = 1e-9
"""An axis that moves a measurement by less is none of its own."""

AT_A_DRIVER = ("coil-resistance", "impedance-sweep")

COIL_FIGURES = ("", "coil")
"""What a reading at a driver calls its ohms: a meter's have no name of their own."""

UNIT_TO_UNIT = 0.07
"""Within this share of what is written without a spread, coils of a type lie, 95 % of them;
workshop experience, from memory."""

OF_A_SWEEP = ("fs", "qms", "qes", "qts", "bl", "rms", "cms", "mms", "vas")
"""What a sweep narrows at its place, as far as the driver is written in these."""

SEEN_IN_A_SWEEP = ("fs", "qms", "qes", "qts")

Own = Mapping[tuple[str, Value], Value]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A reading that cannot be so if what is written is: expected with its standard error [SI]."""

    observation: Observation
    expected: float
    error: float
    apart: float

    @property
    def side(self) -> str:
        """Whether it reads `low` or `high`."""
        return "low" if self.apart < 0.0 else "high"


@dataclass(frozen=True, eq=False)
class ReadDraws(Draws):
    """Draws after the readings of a job.

    Attributes:
        told: the readings that disagree, and that moved nothing.
        settled: tests and places of those that did.
        effective: how many independent draws they are worth; None where none was weighted.

    """

    told: tuple[Disagreement, ...] = ()
    settled: frozenset[tuple[str, str]] = field(default=frozenset())
    effective: float | None = None


def conditioned_draws(build: Build, *, samples: int) -> Draws:
    """Return the draws of a build's job after its readings.

    Args: build: any of the job; samples: a power of two.
    Returns: those of `draw` where nothing was read as a number; row 0 is the likeliest state.
    Raises: OutOfRangeError if `samples` is no power of two.
    """
    plain = draw(build.axes, samples=samples)
    if not build.job.readings:
        return plain
    agreed, told, own = _judged(as_found(build))
    if not agreed:
        return ReadDraws(plain.axes, plain.scores, told=told)
    spread = (value.path for value in own.values() if value.spreads)
    new = tuple(path for path in spread if path not in plain.axes)
    fresh = draw(new, samples=samples)
    axes, scores = (*plain.axes, *new), np.hstack((plain.scores, fresh.scores))
    settled = frozenset((each.test, each.at) for each in agreed)
    read = ReadDraws(axes, scores, own=own, told=told, settled=settled)
    joint = [each for each in agreed if not _replaces(each, own)]
    return _moved(read, joint) if joint else read


def disagreements(build: Build) -> tuple[Disagreement, ...]:
    """Return the readings of a build's job that disagree with what is written."""
    return _judged(as_found(build))[1]


def _moved(draws: ReadDraws, joint: Sequence[Observation]) -> ReadDraws:
    """Return draws after observations that speak of several values together."""
    candidates = sorted({axis for each in joint for axis in _axes(each, draws.own)})
    observe = _observing(joint, candidates, draws.own)
    slopes = linearised(observe, np.zeros(len(candidates)))[1]
    moving = np.flatnonzero(np.abs(slopes).max(axis=0) > NO_SLOPE)
    axes = [candidates[k] for k in moving]
    if not axes:
        return draws  # all that it depends on is written without a spread
    columns = [draws.axes.index(axis) for axis in axes]
    update = updated(
        _observing(joint, axes, draws.own),
        np.array([each.read for each in joint]),
        np.array([each.noise for each in joint]),
        draws.scores[:, columns],
    )
    scores = draws.scores.copy()
    scores[:, columns] = update.scores
    values = {value for each in joint for value in each.build.values()} | set(draws.own.values())
    shift = Shift(
        values=frozenset(value for value in values if not set(axes).isdisjoint(value.axes)),
        centre=dict(zip(axes, update.centre.tolist(), strict=True)),
        before=draws.scores,
    )
    return replace(draws, scores=scores, shift=shift, effective=update.effective)


def _judged(
    found: Build,
) -> tuple[tuple[Observation, ...], tuple[Disagreement, ...], dict[tuple[str, Value], Value]]:
    """Return the readings that agree, those that do not, and what places have of their own.

    Drivers are judged by their sheets, and then the channels by what is known of the drivers.
    """
    agreed: list[Observation] = []
    told: list[Disagreement] = []
    own: dict[tuple[str, Value], Value] = {}
    read = observations_of(found)
    for each in sorted(read, key=lambda each: each.test not in AT_A_DRIVER):
        apart = _coils(each, own) | own
        no = _disagreement(each, apart)
        if no is None:
            agreed.append(each)
            own = apart | (_own_values(each) if each.test in AT_A_DRIVER else {})
        elif np.isfinite(no.apart):
            told.append(no)
    return tuple(agreed), tuple(told), own


def _coils(each: Observation, own: Own) -> dict[tuple[str, Value], Value]:
    """Return the coils that a reading of ohms is about, each apart from others of its type.

    What is written of a type, its spread included, is what is known of each before.
    """
    if each.unit != "ohm" or each.figure == "peak":
        return {}
    found = {}
    for place in each.build.locations:
        value = place.driver.written.get("re")
        if value is not None and (place.id, value) not in own:
            path, quantity = f"{place.id}.own.re", value.quantity
            if not value.spreads and "re" not in dict(place.driver.own):
                margin = UNIT_TO_UNIT * value.si
                quantity = Quantity.of(value.si, "resistance", "ohm", margin=margin)
            found[place.id, value] = replace(value, path=path, quantity=quantity)
    return found


def _disagreement(each: Observation, own: Own) -> Disagreement | None:
    """Return how far off an observation is, None if it agrees; infinitely where it is open."""
    axes = _axes(each, own)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected, slopes = linearised(_observing([each], axes, own), np.zeros(len(axes)))
    error = hypot(float(np.linalg.norm(slopes)), each.noise)
    apart = (each.read - float(expected[0])) / error
    if abs(apart) <= TOO_FAR:
        return None
    middle = exp(expected[0]) if each.logs else float(expected[0])
    return Disagreement(each, middle, error * (middle if each.logs else 1.0), apart)


def _own_values(each: Observation) -> dict[tuple[str, Value], Value]:
    """Return what a place has of its own, over the sheet of its driver, after a reading there."""
    own: dict[tuple[str, Value], Value] = {}
    place = each.build.location(each.at)
    for name, value in place.driver.written.items():
        path = f"{place.id}.own.{name}"
        if name == "re" and each.figure in COIL_FIGURES:
            own[place.id, value] = _own_resistance(path, each)
        elif name in OF_A_SWEEP and each.figure in ("resonance", "peak") and value.spreads:
            origin = Origin.MEASURED if name in SEEN_IN_A_SWEEP else value.origin
            own[place.id, value] = replace(value, path=path, origin=origin)
    return own


def _own_resistance(path: str, each: Observation) -> Value:
    """Return what was read of a coil, at 20 °C."""
    warm = float(temperature_factor(temperature=each.build.vehicle.temperature.si))
    read, noise = each.read / warm, each.noise / warm
    if each.logs:
        read, noise = exp(each.read) / warm, exp(each.read) * each.noise / warm
    quantity = Quantity.of(read, "resistance", "ohm", margin=SCORE_WITHIN_95 * noise)
    return Value(path, quantity, Origin.MEASURED, f"{each.test} at {each.at}")


def _replaces(each: Observation, own: Own) -> bool:
    """Whether an observation is a place's own value already."""
    paths = {value.path for value in own.values()}
    return each.test in AT_A_DRIVER and each.figure in COIL_FIGURES and f"{each.at}.own.re" in paths


def _axes(each: Observation, own: Own) -> list[str]:
    """Return the axes that an observation may depend on."""
    written = {axis for value in each.build.values() for axis in value.axes}
    here = {place.id for place in each.build.locations}
    read = {axis for (place, _), value in own.items() if place in here for axis in value.axes}
    return sorted(written | read)


def _observing(observations: Sequence[Observation], axes: Sequence[str], own: Own) -> Observe:
    """Return what observations would be at scores of these axes, all others at their centre."""
    every = tuple(sorted({*axes, *(axis for each in observations for axis in _axes(each, own))}))
    columns = [every.index(axis) for axis in axes]

    def observe(scores: FloatArray) -> FloatArray:
        whole = np.zeros((len(scores), len(every)))
        whole[:, columns] = scores
        draws = Draws(every, whole, own=own)
        solvers = {each.grid: Solver(draws, np.array(each.grid)) for each in observations}
        return np.stack([each.shown(solvers[each.grid]) for each in observations], axis=1)

    return observe
