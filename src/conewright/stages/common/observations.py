"""What the readings of a job say of its values: a number each, how sure, and what would show it.

Only what a meter or a sweep showed as a number counts here; words are for stage find. What a
standing finding explains says nothing of a sound part.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from math import hypot, log, sqrt

import numpy as np

from conewright.data_files import data_rows
from conewright.errors import QuantityError
from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.peaks import highest
from conewright.physics.basics.programme import NORMAL_PROGRAMME
from conewright.physics.electrics.wiring import Leaf
from conewright.stages.common.circuit import Solver

__all__ = ["EXPLAINED", "Observation", "observations_of"]

PAIR, COIL, DROP, SWEEP = "pair-resistance", "coil-resistance", "feed-drop", "impedance-sweep"
DIMENSIONS = {PAIR: "resistance", COIL: "resistance", DROP: "voltage"}

EXPLAINED = frozenset({"coil-open", "tweeter-open", "coil-shorted", "lead-intermittent"})
"""Findings at a driver that explain what a meter or a sweep reads there."""

UNSTEADY = frozenset({"lead-intermittent", "wire-broken", "pair-shorted"})
"""Findings of a channel, or at what it drives, that explain what an ohm-meter at its plug reads."""

ANYWHERE = (1000.0,)
"""Grid of what does not depend on frequency [Hz]."""

SPAN, POINTS = 3.0, 201
"""The peak is looked for within this factor of the resonance that was read."""


@dataclass(frozen=True, eq=False)
class Observation:
    """One number that was read.

    Attributes:
        test, at: of the reading; `figure` of a sweep.
        said: what it said, and in which unit it counts.
        read: the number with what the instrument adds taken off, SI; its log where `logs`.
        noise: its standard error, or that of its log.
        build: as much of the vehicle as found as it depends on.
        grid: frequencies it is reckoned at [Hz].
        of: what it would be in every draw, shape (1 + samples,) or (1,).

    """

    test: str
    at: str
    figure: str
    said: str
    unit: str
    read: float
    noise: float
    logs: bool
    build: Build
    grid: tuple[float, ...]
    of: Callable[[Build, Solver], FloatArray]

    def shown(self, solver: Solver) -> FloatArray:
        """What it would be in every draw, the central row left out; its log where `logs`."""
        found = np.broadcast_to(self.of(self.build, solver), (1 + solver.draws.samples,))[1:]
        return np.log(found) if self.logs else found


def observations_of(found: Build) -> tuple[Observation, ...]:
    """Return the numbers among the readings of a vehicle as found, the latest of each test.

    A driver that was measured by itself keeps that resistance also where it was swept later.
    """
    latest: dict[tuple[str, str], tuple[ChannelState | None, str | Mapping[str, str]]] = {}
    for reading in found.job.readings:
        if isinstance(reading.value, str | Mapping):
            for at, channel in _subjects(found, reading.test, reading.at):
                latest[reading.test, at] = (channel, reading.value)
    made: list[Observation] = []
    for (test, at), (channel, value) in latest.items():
        if isinstance(value, Mapping):
            if test == SWEEP and channel is not None:
                taken = _swept(found, channel, at, value)
                made += [
                    each for each in taken if each.figure != "coil" or (COIL, at) not in latest
                ]
        elif (read := _number(value, DIMENSIONS.get(test))) is not None:
            if channel is None:
                made.append(_feed_drop(found, value, read))
            elif read.value < _meter(test, "reading", "open-from"):
                made.append(_resistance(found, channel, test, at, value, read))
    return tuple(made)


def _subjects(found: Build, test: str, at: str) -> Iterator[tuple[str, ChannelState | None]]:
    """Yield what a reading is about, unless nothing that is known or a finding explains it."""
    if test == DROP:
        yield "vehicle", None
        return
    for channel in found.channels:
        places = [name for name, _ in channel.polarity]
        if at not in (channel.id, *places):
            continue
        if test == PAIR and not any(fault.fault in UNSTEADY for fault in channel.faults):
            yield channel.id, channel
        if test in (COIL, SWEEP) and places:
            place = at if at in places else max(places, key=lambda name: _area(found, name))
            if not any(fault.fault in EXPLAINED for fault in found.location(place).faults):
                yield place, channel


def _area(found: Build, place: str) -> float:
    return found.location(place).driver.figures()["sd"]


def _number(text: str, dimension: str | None) -> Quantity | None:
    if dimension is None:
        return None
    try:
        read = parse_quantity(text, dimension=dimension, nonnegative=True)
    except QuantityError:
        return None  # in words, or in a unit that is none of it
    return read if read.value > 0.0 else None


# --- What was read, and how sure ----------------------------------------------------------------


def _resistance(
    found: Build, channel: ChannelState, test: str, at: str, said: str, read: Quantity
) -> Observation:
    """An ohm-meter's number, with what leads that were not zeroed add on average taken off."""
    chance = _meter(test, "leads", "not zeroed", "chance")
    low, usual, high = (
        _meter(test, "leads", "not zeroed", end) for end in ("low", "typical", "high")
    )
    spread = (high - low) / (2.0 * SCORE_AT_95)
    mean = chance * usual
    leads = sqrt(chance * (usual**2 + spread**2) - mean**2)
    of = _plug(channel.id) if test == PAIR else _coil(at)
    return Observation(
        test=test,
        at=at,
        figure="",
        said=said,
        unit="ohm",
        read=max(read.value - mean, 0.0),
        noise=hypot(_error(test, read), leads),
        logs=False,
        build=_part(found, channel, None if test == PAIR else at),
        grid=ANYWHERE,
        of=of,
    )


def _swept(
    found: Build, channel: ChannelState, at: str, said: Mapping[str, str]
) -> Iterator[Observation]:
    """Yield the figures of a sweep of a driver in its place, by their logarithms."""
    resonance = _number(said.get("resonance", ""), "frequency")
    around = (ANYWHERE[0], ANYWHERE[0])
    if resonance is not None:
        around = (resonance.value / SPAN, resonance.value * SPAN)
    grid = tuple(np.geomspace(*around, POINTS).tolist())
    ways = {
        "resonance": ("frequency", "Hz", grid, _peak(at, 0)),
        "peak": ("resistance", "ohm", grid, _peak(at, 1)),
        "coil": ("resistance", "ohm", ANYWHERE, _coil(at)),
    }
    for figure, (dimension, unit, points, of) in ways.items():
        read = _number(said.get(figure, ""), dimension)
        if read is None or (figure == "peak" and resonance is None):
            continue
        yield Observation(
            test=SWEEP,
            at=at,
            figure=figure,
            said=f"{figure} {said[figure]}",
            unit=unit,
            read=log(read.value),
            noise=_error(SWEEP, read) / read.value,
            logs=True,
            build=_part(found, channel, at),
            grid=points,
            of=of,
        )


def _feed_drop(found: Build, said: str, read: Quantity) -> Observation:
    """The volts lost on the worse leg with loud music: feed resistance times supply current."""
    usual, width = 0.0, _error(DROP, read) / read.value
    for name in ("worse leg", "loud music"):
        low, middle, high = (
            log(_meter(DROP, "healthy", name, end)) for end in ("low", "typical", "high")
        )
        usual, width = usual + middle, hypot(width, (high - low) / (2.0 * SCORE_AT_95))
    return Observation(
        test=DROP,
        at="vehicle",
        figure="",
        said=said,
        unit="V",
        read=log(read.value) - usual,
        noise=width,
        logs=True,
        build=replace(found, seats=(), feeds=()),
        grid=ANYWHERE,
        of=_dropped,
    )


def _error(test: str, read: Quantity) -> float:
    """Standard error of a number: the one stated with it, else the meter's."""
    if read.low is not None and read.high is not None:
        score = SCORE_WITHIN_95 if read.spread == "plus-minus" else SCORE_AT_95
        return (read.high - read.low) / (2.0 * score)
    absolute = 0.0 if test == SWEEP else _meter(test, "reading", "absolute")
    return hypot(_meter(test, "reading", "relative") * read.value, absolute)


def _meter(test: str, subject: str, variant: str, column: str = "typical") -> float:
    """Return a number of the table of instruments."""
    for row in data_rows("stages.find", "meter.csv"):
        if (row["test"], row["subject"], row["variant"]) == (test, subject, variant):
            return float(row[column])
    raise KeyError(f"meter.csv has no {test}, {subject}, {variant}")


# --- What would show it -------------------------------------------------------------------------


def _part(found: Build, channel: ChannelState, place: str | None) -> Build:
    """Return as much of a vehicle as a reading of a channel, or of one driver, depends on."""
    if place is not None:
        channel = replace(
            channel,
            tree=Leaf(place),
            parts=(),
            polarity=((place, 1),),
            faults=tuple(fault for fault in channel.faults if fault.at == place),
        )
    driven = tuple(found.location(name) for name, _ in channel.polarity)
    return replace(found, channels=(channel,), locations=driven, seats=(), feeds=())


def _plug(channel: str) -> Callable[[Build, Solver], FloatArray]:
    return lambda build, solver: solver.solve(build).channels[channel].plug_resistance[:, 0]


def _coil(place: str) -> Callable[[Build, Solver], FloatArray]:
    return lambda build, solver: np.ravel(solver.solve(build).locations[place].re)


def _peak(place: str, which: int) -> Callable[[Build, Solver], FloatArray]:
    """Where the impedance of a driver in its place peaks [Hz], or how high [ohm]."""

    def of(build: Build, solver: Solver) -> FloatArray:
        circuit = solver.solve(build)
        logs = np.log(np.abs(circuit.locations[place].terminals))
        return np.exp(highest(x=np.log(circuit.frequency), y=logs)[which])

    return of


def _dropped(build: Build, solver: Solver) -> FloatArray:
    """Feed resistance times mean supply current with loud music on all channels [V].

    Each output draws the mean of |v|/R: sqrt(2/pi) sigma/R for programme of normal amplitudes.
    """
    radio, draws = build.head_unit, solver.draws
    swing = radio.swing
    volts, loss = swing * draws(radio.supply), draws(radio.clip_loss)
    share = swing * sqrt(2.0 / np.pi) * sqrt(NORMAL_PROGRAMME / 2.0)
    total = draws(radio.quiescent_current)
    amplified = {channel.id for channel in build.channels if channel.driven_by is not None}
    for channel in solver.solve(build).channels.values():
        if channel.id in amplified:
            continue
        total = total + share * volts / (channel.plug_resistance + loss)
    return np.ravel(draws(radio.feed_resistance) * total)
