"""A handful of numbers for every option, with which whole plans are bounded.

What adds is kept so that sums bound: pressures of the bass and of the coherent rest add at most in
step (Minkowski), powers add, and the ceiling is the least of all. A neighbour on the same channel
takes its share of the drop in the source and the cable. Around a middle admittance Y0 of all that
may stand there, |Y - Y0| <= r, the drive is d0/(1 + e) with d0 = 1/(1 + Zs (Yown + Y0)) and
|e| <= k = |Zs r d0|: so |drive| lies between |d0|/(1 + k) and |d0|/(1 - k), and it moves by at most
|d0| k/(1 - k).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.states.electrics import ChannelState
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import programme_weights
from conewright.physics.electrics.filters import butterworth_high_pass
from conewright.physics.electrics.wiring import Tree, solve_tree
from conewright.stages.choose.mounted.ear import Ear, Transfer
from conewright.stages.choose.mounted.plan_rows import MountedOptions
from conewright.stages.common.circuit import ChannelCircuit
from conewright.stages.hear.ceiling import PEAK_TO_RMS

__all__ = [
    "GAINS",
    "LOADED_AT",
    "Hanging",
    "Middle",
    "Numbers",
    "UnitNumbers",
    "Vectors",
    "middle_of",
    "solved_branch",
]

GAINS = ("bass", "treble", "coherent", "powers")
"""What adds up over the units of a plan: [Pa/V], [Pa2/V2], [Pa/V], [Pa2/V2]."""

LOADED_AT = (
    *((180.0, 0.0), (250.0, 0.0), (350.0, 0.0), (2500.0, 0.0)),
    *((5000.0, 0.0), (5000.0, -0.4), (10_000.0, 0.0), (10_000.0, -0.4)),
)
"""Where the admittances of the branches of a channel are added up to rule out a load [Hz], and the
angle at which [rad]: |Y| >= Re(Y exp(-i angle)) for any."""

MOST_MOVED = 0.95
"""Beyond this a neighbour moves a drive by so much that nothing is bounded any more [1]."""


@dataclass(frozen=True, eq=False)
class Hanging:
    """What one unit hangs on one channel: rows are its options.

    Attributes:
        places: in its branch.
        branch: of the load.
        parts: impedance of each part in it, by key, (rows or 1, F) [ohm].
        source: of channel and cable, with what lies before all branches, (1, F) [ohm].
        high_pass: what the one that is set for the channel itself lets through [V/V], (1, F).

    """

    channel: ChannelState
    circuit: ChannelCircuit
    places: tuple[str, ...]
    branch: Tree
    parts: Mapping[str, ComplexArray]
    source: ComplexArray
    high_pass: ComplexArray

    @property
    def before(self) -> ComplexArray:
        """Of the cable, with what lies before all branches, (1, F) [ohm]."""
        return np.asarray(self.source - self.circuit.source_resistance)


@dataclass(frozen=True, eq=False)
class Middle:
    """Admittance of all that may stand beside a unit on a channel: a middle, and how far at most
    from it, cold and hot, shape (1, F) [S].
    """

    cold: ComplexArray
    cold_radius: FloatArray
    hot: ComplexArray
    hot_radius: FloatArray


@dataclass(frozen=True, eq=False)
class Numbers:
    """Numbers of all options of a unit under one form, beside one class of neighbours.

    Attributes:
        gains: bounds of `GAINS`, shape (options, 4).
        ceiling: of the programme, a bound [V], shape (options,).
        loads: admittance as in `LOADED_AT`, by channel, shape (options, 8) [S].
        travel: peak travel over Xmax at the radio's ceiling, at least [1], shape (options,).
        bass: pressures in the common space of the bass [Pa/V], shape (options, dimensions).
        slack: how far the norm of a sum with one may be off [Pa/V], shape (options,).

    """

    gains: FloatArray
    ceiling: FloatArray
    loads: Mapping[str, FloatArray]
    travel: FloatArray
    bass: ComplexArray
    slack: FloatArray


def middle_of(hangings: Sequence[tuple[ComplexArray, ComplexArray]], size: int) -> Middle:
    """Return the middle of what stands beside a unit: admittances of each neighbour's options,
    cold and hot.
    """
    cold, hot = np.zeros((1, size), dtype=complex), np.zeros((1, size), dtype=complex)
    radius, hot_radius = np.zeros((1, size)), np.zeros((1, size))
    for each, burning in hangings:
        centre, hot_centre = _centre(each), _centre(burning)
        cold, hot = cold + centre, hot + hot_centre
        radius = radius + np.abs(each - centre).max(axis=0, keepdims=True)
        hot_radius = hot_radius + np.abs(burning - hot_centre).max(axis=0, keepdims=True)
    return Middle(cold, radius, hot, hot_radius)


def _centre(values: ComplexArray) -> ComplexArray:
    """Return the middle of the smallest upright rectangle round some complex values."""
    real = 0.5 * (values.real.min(axis=0) + values.real.max(axis=0))
    imag = 0.5 * (values.imag.min(axis=0) + values.imag.max(axis=0))
    return np.asarray((real + 1j * imag)[np.newaxis, :])


def solved_branch(
    hanging: Hanging, mounted: Mapping[str, MountedOptions], *, hot: bool
) -> tuple[ComplexArray, dict[str, ComplexArray]]:
    """Return the admittance of a branch and the voltage across each place per volt across it."""
    impedances: dict[str, ComplexArray] = dict(hanging.parts)
    for name in hanging.places:
        options = mounted[name]
        impedances[name] = (options.hot if hot else options.cold).terminals
    tree = solve_tree(tree=hanging.branch, impedances=impedances, voltage=1.0)
    return np.asarray(1.0 / tree.impedance), {n: tree.voltages[n] for n in hanging.places}


@dataclass(frozen=True, eq=False)
class _Driven:
    """One driver, a place's own or the tweeter on its frame, per volt of its channel's source.

    Attributes:
        flow: in the middle of its neighbours, without any high-pass [m3/s/V].
        moved: share by which the neighbours may move it [1], (1 or rows, F).
        most, least: factors of its size at most and at least.
        velocity: of the cone [m/s/V].
        current: with hot coils, without their radius [A/V].
        least_hot: factor of that at least.

    """

    place: str
    channel: str
    flow: ComplexArray
    moved: FloatArray
    most: FloatArray
    least: FloatArray
    velocity: ComplexArray
    current: ComplexArray
    least_hot: FloatArray
    options: MountedOptions


class UnitNumbers:
    """The options of a unit beside one class of neighbours, and their numbers by high-pass.

    Args:
        hangings: what it hangs on its channels.
        middles: of what stands beside it, by channel.
        mounted: its options in place, by place.
        ear: of the seat that counts.
        transfer: of its places.
        factors: of closed places, to the common space of the bass.
        emf: at which the volts or amps of a channel run out at the earliest, by channel [V].

    """

    def __init__(
        self,
        hangings: Sequence[Hanging],
        middles: Mapping[str, Middle],
        mounted: Mapping[str, MountedOptions],
        *,
        ear: Ear,
        transfer: Transfer,
        factors: Mapping[str, ComplexArray],
        emf: Mapping[str, FloatArray],
    ) -> None:
        self._hangings, self._ear, self._transfer, self._emf = hangings, ear, transfer, emf
        self._driven = [
            each for h in hangings for each in _driven(h, middles[h.channel.id], mounted)
        ]
        self._loads = {h.channel.id: _conductance(h, mounted, ear.frequency) for h in hangings}
        self._bass = _Bass(self._driven, ear, transfer, factors)
        self._known: dict[float | None, Numbers] = {}

    def at(self, corner: float | None) -> Numbers:
        """Return the numbers of all options with a high-pass [Hz]; None for what is set there."""
        if corner not in self._known:
            passed, ear = self._passed(corner), self._ear
            levels = _levels(self._driven, ear, self._transfer, passed)
            bass, slack = self._bass.vectors(passed)
            norm = np.sqrt(np.sum(_squared(bass), axis=1)) + slack
            gains = np.stack([norm, *levels], axis=1)
            ceiling = _ceiling(self._driven, passed, ear.frequency)
            travel = _travel(self._driven, passed, self._emf, ear.frequency)
            self._known[corner] = Numbers(gains, ceiling, self._loads, travel, bass, slack)
        return self._known[corner]

    def vectors(self, corner: float | None, rows: NDArray[np.intp]) -> Vectors:
        """Return the pressures behind the norms of some options."""
        known, passed = self.at(corner), self._passed(corner)
        coherent, loose = _coherent(self._driven, self._ear, self._transfer, passed, rows)
        return Vectors(known.bass[rows], known.slack[rows], coherent, loose)

    def _passed(self, corner: float | None) -> dict[str, ComplexArray]:
        return {h.channel.id: _passed(h, corner, self._ear.frequency) for h in self._hangings}


@dataclass(frozen=True, eq=False)
class Vectors:
    """Pressures of options, which add with their phases.

    Attributes:
        bass: in the common space of the bass [Pa/V], shape (options, dimensions).
        slack: how far the norm of a sum with it may be off [Pa/V], shape (options,).
        coherent: on the grid, where sources add so [Pa/V], shape (options, points).
        loose: how far each may be off [Pa/V].

    """

    bass: ComplexArray
    slack: FloatArray
    coherent: ComplexArray
    loose: FloatArray


def _passed(hanging: Hanging, corner: float | None, frequency: FloatArray) -> ComplexArray:
    """Return what a high-pass lets through, shape (F,)."""
    if corner is None:
        return np.ravel(hanging.high_pass)
    if corner == 0.0:
        return np.ones(frequency.size, dtype=complex)
    return np.ravel(butterworth_high_pass(corner=corner, order=2, frequency=frequency))


def _driven(
    hanging: Hanging, middle: Middle, mounted: Mapping[str, MountedOptions]
) -> Iterator[_Driven]:
    signs = dict(hanging.channel.polarity)
    # What is set ahead of an amplifier stays, whatever is set for its own channel.
    level = hanging.circuit.settings / hanging.high_pass
    idle = 1e-12 if hanging.circuit.idle[0, 0] else 1.0
    cold, hot = (
        _drives(hanging, mounted, y0, radius, hot=heat)
        for heat, y0, radius in (
            (False, middle.cold, middle.cold_radius),
            (True, middle.hot, middle.hot_radius),
        )
    )
    for name in hanging.places:
        options = mounted[name]
        drive = cold.across[name] * level * (idle * signs[name])
        burning = hot.across[name] * level * idle
        pairs = [(name, options, drive, burning)]
        if options.tweeter is not None:
            small = options.tweeter
            pairs.append(
                (
                    f"{name}.tweeter",
                    small,
                    drive * options.cold.passed,
                    burning * options.hot.passed,
                )
            )
        for at, each, across, across_hot in pairs:
            velocity = across * each.cold.velocity_per_volt
            yield _Driven(
                place=at,
                channel=hanging.channel.id,
                flow=velocity * each.cold.sd * each.cold.share,
                moved=cold.moved,
                most=cold.most,
                least=cold.least,
                velocity=velocity,
                current=across_hot / each.hot.impedance,
                least_hot=hot.least,
                options=each,
            )


@dataclass(frozen=True, eq=False)
class _Drives:
    across: Mapping[str, ComplexArray]
    moved: FloatArray
    most: FloatArray
    least: FloatArray


def _drives(
    hanging: Hanging,
    mounted: Mapping[str, MountedOptions],
    beside: ComplexArray,
    radius: FloatArray,
    *,
    hot: bool,
) -> _Drives:
    own, across = solved_branch(hanging, mounted, hot=hot)
    share = 1.0 / (1.0 + hanging.source * (own + beside))
    moved = np.minimum(np.abs(hanging.source * share) * radius, MOST_MOVED)
    return _Drives(
        {name: share * volts for name, volts in across.items()},
        moved / (1.0 - moved),
        1.0 / (1.0 - moved),
        1.0 / (1.0 + moved),
    )


def _conductance(
    hanging: Hanging, mounted: Mapping[str, MountedOptions], frequency: FloatArray
) -> FloatArray:
    own, _ = solved_branch(hanging, mounted, hot=False)
    at = [int(np.argmin(np.abs(frequency - hertz))) for hertz, _ in LOADED_AT]
    turned = np.exp(-1j * np.array([angle for _, angle in LOADED_AT]))
    return np.asarray((own[:, at] * turned).real)


# --- Levels -------------------------------------------------------------------------------------


def _levels(
    driven: Sequence[_Driven],
    ear: Ear,
    transfer: Transfer,
    passed: Mapping[str, ComplexArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return treble power, coherent norm and overall power of a unit, bounds of each."""
    coherent, loose = _coherent(driven, ear, transfer, passed, slice(None))
    powers: FloatArray | float = 0.0
    for each in driven:
        answer, through = transfer.grid[each.place], passed[each.channel]
        weight = _squared(answer) + ear.diffuse * transfer.power[each.place]
        powers = powers + _squared(each.flow) * each.most**2 * (weight * _squared(through))
    low, alone = ear.coherent, 1.0 - ear.share
    together = (np.abs(coherent) + loose) ** 2
    treble = powers @ (ear.treble * ear.share) + together @ (ear.treble * alone)[low]
    norm = np.sqrt(together @ (ear.overall * alone)[low])
    return np.asarray(treble), norm, np.asarray(powers @ (ear.overall * ear.share))


def _coherent(
    driven: Sequence[_Driven],
    ear: Ear,
    transfer: Transfer,
    passed: Mapping[str, ComplexArray],
    rows: NDArray[np.intp] | slice,
) -> tuple[ComplexArray, FloatArray]:
    """Return pressures where sources add with their phases, and how far each may be off."""
    low = ear.coherent
    coherent: ComplexArray | float = 0.0
    loose: FloatArray | float = 0.0
    for each in driven:
        answer = transfer.grid[each.place]
        answer = answer[:, low] if len(answer) == 1 else answer[rows][:, low]
        pressure = each.flow[rows][:, low] * (answer * passed[each.channel][low])
        coherent = coherent + pressure
        moved = each.moved[:, low] if len(each.moved) == 1 else each.moved[rows][:, low]
        loose = loose + moved * np.abs(pressure)
    return np.asarray(coherent), np.asarray(loose)


class _Bass:
    """The norm of a unit's bass pressure: a quadratic form in its flows, once for each filter."""

    def __init__(
        self,
        driven: Sequence[_Driven],
        ear: Ear,
        transfer: Transfer,
        factors: Mapping[str, ComplexArray],
    ) -> None:
        self._driven, self._ear, self._transfer = driven, ear, transfer
        self._columns = ear.bass_columns
        self._through = ear.drawn_through()
        self._sizes = np.abs(self._through)
        self._flows = [each.flow[:, self._columns] for each in driven]
        self._open = any(each.place not in factors for each in driven)
        self._factors = factors

    def vectors(self, passed: Mapping[str, ComplexArray]) -> tuple[ComplexArray, FloatArray]:
        """Return pressures in the common space, and by how much the norm of a sum may be off.

        What has an open back is not linear in its flow: all of it is slack.
        """
        slack = self._slack(passed)
        count, size = len(self._flows[0]), len(next(iter(self._factors.values()), ()))
        total = np.zeros((count, size), dtype=complex)
        if self._open:
            return total, slack + self._direct(passed)
        for flow, each in zip(self._flows, self._driven, strict=True):
            factor = self._factors[each.place] * passed[each.channel][self._columns]
            total += flow @ factor.T
        return total, slack

    def _slack(self, passed: Mapping[str, ComplexArray]) -> FloatArray:
        total = np.zeros(len(self._flows[0]))
        for flow, each in zip(self._flows, self._driven, strict=True):
            moved = each.moved[:, self._columns]
            if moved.any():
                through = np.abs(passed[each.channel][self._columns])
                total += self._loose(np.abs(flow) * through * moved, each.place)
        return total

    def _direct(self, passed: Mapping[str, ComplexArray]) -> FloatArray:
        """Return the norm point by point, for places whose answers differ by option."""
        ear, columns = self._ear, self._columns
        flows = [
            flow * passed[each.channel][columns]
            for flow, each in zip(self._flows, self._driven, strict=True)
        ]
        grid: ComplexArray | float = 0.0
        inner: ComplexArray | float = 0.0
        for flow, each in zip(flows, self._driven, strict=True):
            grid = grid + flow * self._transfer.grid[each.place][:, columns]
            inner = inner + (flow @ self._through.T) * self._transfer.inner[each.place]
        power = _squared(np.asarray(grid)) @ ear.bass_grid[columns]
        return np.asarray(np.sqrt(power + _squared(np.asarray(inner)) @ ear.bass_inner))

    def _loose(self, moved: FloatArray, place: str) -> FloatArray:
        """Norm at most of what the neighbours may add to a place's pressure."""
        ear, columns = self._ear, self._columns
        grid = _squared(self._transfer.grid[place][:, columns])
        inner = _squared(self._transfer.inner[place])
        on_grid = np.sum(moved**2 * grid * ear.bass_grid[columns], axis=1)
        between = np.sum((moved @ self._sizes.T) ** 2 * inner * ear.bass_inner, axis=1)
        return np.asarray(np.sqrt(on_grid + between))


def _squared(value: ComplexArray) -> FloatArray:
    return np.asarray(value.real**2 + value.imag**2)


# --- Ceilings -----------------------------------------------------------------------------------


def _ceiling(
    driven: Sequence[_Driven],
    passed: Mapping[str, ComplexArray],
    frequency: FloatArray,
) -> FloatArray:
    """Return the EMF of programme at which a unit's own travel or heat ends it, at most [V]."""
    weights = programme_weights(frequency=frequency)
    slow = weights / (2.0 * np.pi * frequency) ** 2
    least: FloatArray | float = np.inf
    for each in driven:
        through = _squared(passed[each.channel])
        travel = _squared(each.velocity) * each.least**2 @ (slow * through)
        current = _squared(each.current) * each.least_hot**2 @ (weights * through)
        by_travel = np.ravel(each.options.clean) / (PEAK_TO_RMS * np.sqrt(travel))
        by_heat = np.sqrt(np.ravel(each.options.power / each.options.hot.re) / current)
        least = np.minimum(least, np.minimum(by_travel, by_heat))
    return np.broadcast_to(np.asarray(least), (len(driven[0].flow),)).copy()


def _travel(
    driven: Sequence[_Driven],
    passed: Mapping[str, ComplexArray],
    emf: Mapping[str, FloatArray],
    frequency: FloatArray,
) -> FloatArray:
    """Return the travel over Xmax that a unit's cones have at least, at the radio's ceiling."""
    most: FloatArray | float = 0.0
    for each in driven:
        scale = np.sqrt(2.0) * emf[each.channel] * np.minimum(1.0, (frequency / 50.0) ** 2)
        scale = scale * np.abs(passed[each.channel]) / (2.0 * np.pi * frequency)
        peak = (np.abs(each.velocity) * each.least * scale).max(axis=1)
        most = np.maximum(most, peak / np.ravel(each.options.xmax * each.options.stretch))
    return np.asarray(most)
