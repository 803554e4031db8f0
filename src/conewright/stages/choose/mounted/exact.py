"""Whole plans worked out by the stages' own physics, many at once: their rows are plans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState, FilterState
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import decibel
from conewright.stages.choose.mounted.ear import Ear
from conewright.stages.choose.mounted.plan_rows import (
    MountedOptions,
    RowSolver,
    role,
    rows_of,
    stood_in,
)
from conewright.stages.choose.space.groups import SLOPE
from conewright.stages.common.load import EASY, load_of
from conewright.stages.hear.heard import BuildSound
from conewright.stages.hear.listening import REFERENCE_EMF, added_up, level_of, sent
from conewright.stages.report.having import may_have

__all__ = ["Plans", "Solved", "solved"]

OFF = 1e-6
"""Corner of a high-pass that lets everything through [Hz]."""


@dataclass(frozen=True)
class Plans:
    """Plans of one form, a row each.

    Attributes:
        mounted: by place, the drivers in it.
        capacitors: by channel and key of the part, shape (rows, 1) [F].
        corners: by channel, of its high-pass, shape (rows, 1) [Hz]; NaN for what is set there.

    """

    mounted: Mapping[str, MountedOptions]
    capacitors: Mapping[tuple[str, str], FloatArray]
    corners: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Solved:
    """What plans come to, central values, shape (rows,).

    Attributes:
        bass, clarity, loudness: levels at the seat [dB, dB, dB(A)].
        least_load: lowest impedance over the least that what drives it bears [1].
        chip: temperature with loud music [K].
        travel: peak travel over Xmax at the ceiling, of the worst place [1]; where more is let
            pass, over that.
        plays: by place, whether it plays.

    """

    bass: FloatArray
    clarity: FloatArray
    loudness: FloatArray
    least_load: FloatArray
    chip: FloatArray
    travel: FloatArray


def solved(build: Build, plans: Plans, *, ear: Ear, centre: Draws) -> Solved:
    """Return what plans of one form come to.

    Args:
        build: wired and turned as all of them, with their radio.
        plans: what stands in every place.
        ear: of the seat that counts.
        centre: draws whose central state is meant.

    """
    rows = len(next(iter(plans.mounted.values())))
    many, columns = _of_many(build, plans)
    draws = rows_of(centre, columns)
    solver = RowSolver(draws, ear.frequency, plans.mounted)
    cabin, inner = ear.cabins(draws)
    sound = BuildSound(many, solver.solve(many), solver.solve(many, hot=True), cabin)
    circuit, flows = sound.circuit, sent(sound.circuit)
    air = Air(temperature=build.vehicle.temperature.si)
    heard = added_up(flows, ear.seat, build=many, air=air, cabin=cabin)
    places = [many.location(name) for name in flows]
    between = np.zeros((1, ear.inner.size), dtype=complex)
    answers = inner.pressures(build.vehicle, places, ear.seat.ear)
    for flow, answer in zip(flows.values(), answers, strict=True):
        between = between + answer * ear.between(flow)
    bass = ear.bass_power(heard.coherent, between)
    overall = level_of((heard.squared @ ear.overall) * REFERENCE_EMF**2)
    emf = np.ravel(sound.programme.emf)
    load = load_of(many, circuit, draws)
    loads = [
        np.ravel(each.minimum_impedance) / np.ravel(load.allowed_of(name))
        for name, each in load.channels.items()
        if not each.idle
    ]
    travel = [ratio.max(axis=-1) * _free(plans, name) for name, ratio in sound.travel_ratio.items()]
    hot = np.ravel(load.chip_temperature(EASY)) if may_have(build, "output-chip") else np.zeros(1)
    return Solved(
        bass=_each(level_of(bass * REFERENCE_EMF**2), rows),
        clarity=_each(level_of((heard.squared @ ear.treble) * REFERENCE_EMF**2), rows),
        loudness=_each(overall + decibel((emf / REFERENCE_EMF) ** 2), rows),
        least_load=_each(np.min(np.broadcast_arrays(*loads), axis=0), rows),
        chip=_each(hot, rows),
        travel=_each(np.max(np.broadcast_arrays(*travel), axis=0), rows),
    )


def _each(values: FloatArray, rows: int) -> FloatArray:
    return np.array(np.broadcast_to(values, (rows,)), dtype=float)


def _free(plans: Plans, name: str) -> FloatArray:
    """Clean travel over Xmax and over what is let pass, of each plan's driver in a place."""
    host, dot, _ = name.partition(".tweeter")
    options = plans.mounted[host]
    if dot:
        assert options.tweeter is not None
        options = options.tweeter
    return np.ravel(options.clean / (options.xmax * options.stretch))


def _of_many(build: Build, plans: Plans) -> tuple[Build, dict[str, FloatArray]]:
    """Return the build with columns in the place of what differs, and those columns."""
    columns: dict[str, FloatArray] = {}
    places = tuple(
        stood_in(place, plans.mounted[place.id], columns) if place.id in plans.mounted else place
        for place in build.locations
    )
    channels = tuple(_set(channel, plans, columns) for channel in build.channels)
    return replace(build, locations=places, channels=channels), columns


def _set(channel: ChannelState, plans: Plans, columns: dict[str, FloatArray]) -> ChannelState:
    """Return a channel with columns for its capacitors and its high-pass."""
    parts = []
    for part in channel.parts:
        size = plans.capacitors.get((channel.id, part.key))
        if size is not None:
            name = f"rows of {channel.id}.{part.key}"
            columns[name] = size
            part = replace(part, value=role(name))
        parts.append(part)
    corner = plans.corners.get(channel.id)
    settings = channel.settings
    if corner is not None:
        name = f"rows of {channel.id}.high-pass"
        columns[name] = np.maximum(corner, OFF)
        passed = FilterState(role(name), SLOPE, "butterworth")
        settings = replace(settings, high_pass=passed)
    return replace(channel, parts=tuple(parts), settings=settings)
