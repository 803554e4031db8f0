"""What drives each cone of a unit: its branch of a channel solved for many options at once.

Channels that are alike to the last bit, as those of twins with cables of one length, are solved
once, and what they send is added up with their signs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.states.electrics import ChannelState
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import low_rolloff
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree, solve_tree
from conewright.stages.choose.mounted.plan_rows import MountedOptions
from conewright.stages.common.circuit import ChannelCircuit

__all__ = [
    "Driven",
    "Hanging",
    "Middle",
    "Twinned",
    "driven_of",
    "middle_of",
    "solved_branch",
    "twinned",
]

MOST_MOVED = 0.95
"""Beyond this a neighbour moves a drive by so much that nothing is bounded any more [1]."""

MUTED = 1e-12
"""Drive of what is on a channel that plays nothing [1]."""


@dataclass(frozen=True, eq=False)
class Hanging:
    """What one unit hangs on one channel: rows are its options.

    Attributes:
        places: in its branch.
        branch: of the load.
        parts: impedance of each part in it, by key, (rows or 1, F) [ohm].
        capacitors: size of those that are chosen, by key, (rows, 1) [F].
        farad: impedance of a capacitor of 1 F, (1, F) [ohm].
        source: of channel and cable, with what lies before all branches, (1, F) [ohm].
        high_pass: what the one that is set for the channel itself lets through [V/V], (1, F).

    """

    channel: ChannelState
    circuit: ChannelCircuit
    places: tuple[str, ...]
    branch: Tree
    parts: Mapping[str, ComplexArray]
    capacitors: Mapping[str, FloatArray]
    farad: ComplexArray
    source: ComplexArray
    high_pass: ComplexArray

    @property
    def before(self) -> ComplexArray:
        """Of the cable, with what lies before all branches, (1, F) [ohm]."""
        return np.asarray(self.source - self.circuit.source_resistance)

    @property
    def idle(self) -> bool:
        """Whether nothing on its channel plays."""
        return bool(self.circuit.idle[0, 0])

    @property
    def level(self) -> ComplexArray:
        """From the knob to the source, without the high-pass [V/V].

        What is set ahead of an amplifier stays, whatever is set for its own channel.
        """
        level = self.circuit.settings / self.high_pass
        return np.asarray(level * (MUTED if self.idle else 1.0))

    @property
    def flat(self) -> FloatArray:
        """Peak of the source per volt at the knob without any filter [V/V], (1, F) or (1, 1)."""
        return np.asarray(np.sqrt(2.0) * np.abs(self.circuit.unfiltered.settings))

    def at(self, rows: NDArray[np.intp]) -> Hanging:
        """Return it for some of its options."""
        parts = {k: p[rows] if len(p) > 1 else p for k, p in self.parts.items()}
        capacitors = {k: size[rows] for k, size in self.capacitors.items()}
        return replace(self, parts=parts, capacitors=capacitors)


@dataclass(frozen=True, eq=False)
class Twinned:
    """Hangings that are alike; the first is solved for all.

    places: of each hanging, in one order.
    """

    first: Hanging
    places: tuple[tuple[str, ...], ...]


def twinned(
    hangings: Sequence[Hanging], mounted: Mapping[str, MountedOptions]
) -> tuple[Twinned, ...]:
    """Return hangings, those together that are alike with the same drivers in them."""
    groups: list[list[Hanging]] = []
    for each in hangings:
        for group in groups:
            if _alike(group[0], each, mounted):
                group.append(each)
                break
        else:
            groups.append([each])
    return tuple(Twinned(group[0], tuple(each.places for each in group)) for group in groups)


def _alike(one: Hanging, other: Hanging, mounted: Mapping[str, MountedOptions]) -> bool:
    pairs_up = ("places", "parts", "capacitors")
    if any(len(getattr(one, name)) != len(getattr(other, name)) for name in pairs_up):
        return False
    if any(mounted[a] is not mounted[b] for a, b in zip(one.places, other.places, strict=True)):
        return False
    names = dict(zip(one.places, other.places, strict=True))
    names |= dict(zip(one.parts, other.parts, strict=True))
    names |= dict(zip(one.capacitors, other.capacitors, strict=True))
    if _renamed(one.branch, names) != other.branch:
        return False
    pairs = [
        (one.source, other.source),
        (one.circuit.settings, other.circuit.settings),
        (one.circuit.high_pass, other.circuit.high_pass),
        (one.circuit.low_pass, other.circuit.low_pass),
        (one.high_pass, other.high_pass),
        (one.circuit.idle, other.circuit.idle),
        *zip(one.parts.values(), other.parts.values(), strict=True),
        *zip(one.capacitors.values(), other.capacitors.values(), strict=True),
    ]
    return all(a is b or np.array_equal(a, b) for a, b in pairs) and (
        one.channel.driven_by == other.channel.driven_by
    )


def _renamed(tree: Tree, names: Mapping[str, str]) -> Tree:
    if isinstance(tree, Leaf):
        return Leaf(names[tree.name])
    parts = tuple(_renamed(part, names) for part in tree.parts)
    return Series(parts) if isinstance(tree, Series) else Parallel(parts)


BLOCK = 1024
"""Rows that are looked at together."""


@dataclass(frozen=True, eq=False)
class Middle:
    """Admittance of all that may stand beside a unit on a channel: a middle, and how far at most
    from it, cold and hot, shape (1 or rows, F) [S].
    """

    cold: ComplexArray
    cold_radius: FloatArray
    hot: ComplexArray
    hot_radius: FloatArray

    @property
    def known(self) -> bool:
        """Whether it stands for one thing only, row by row."""
        return not (self.cold_radius.any() or self.hot_radius.any())

    @staticmethod
    def nothing(size: int) -> Middle:
        """Return that of an empty channel."""
        none, at_all = np.zeros((1, size), dtype=complex), np.zeros((1, size))
        return Middle(none, at_all, none, at_all)

    def with_(self, other: Middle) -> Middle:
        """Return that of what stands there together."""
        return Middle(
            self.cold + other.cold,
            self.cold_radius + other.cold_radius,
            self.hot + other.hot,
            self.hot_radius + other.hot_radius,
        )


def middle_of(cold: ComplexArray, hot: ComplexArray) -> Middle:
    """Return the middle of the options of a neighbour, by their admittances cold and hot."""
    centre, hot_centre = _centre(cold), _centre(hot)
    return Middle(centre, _radius(cold, centre), hot_centre, _radius(hot, hot_centre))


def _radius(values: ComplexArray, centre: ComplexArray) -> FloatArray:
    """Return how far values are from a middle at most, (1, F), in blocks to spare memory."""
    blocks = np.array_split(values, len(values) // BLOCK + 1)
    most = [np.abs(each - centre).max(axis=0, keepdims=True) for each in blocks]
    return np.asarray(np.max(most, axis=0))


def _centre(values: ComplexArray) -> ComplexArray:
    """Return the middle of the smallest upright rectangle round some complex values."""
    real = 0.5 * (values.real.min(axis=0) + values.real.max(axis=0))
    imag = 0.5 * (values.imag.min(axis=0) + values.imag.max(axis=0))
    return np.asarray((real + 1j * imag)[np.newaxis, :])


def solved_branch(
    hanging: Hanging, mounted: Mapping[str, MountedOptions], *, hot: bool
) -> tuple[ComplexArray, Mapping[str, ComplexArray]]:
    """Return the admittance of a branch and the voltage across each place per volt across it."""
    impedances: dict[str, ComplexArray] = dict(hanging.parts)
    for key, size in hanging.capacitors.items():
        impedances[key] = np.asarray(hanging.farad / size)
    for name in hanging.places:
        options = mounted[name]
        impedances[name] = (options.hot if hot else options.cold).terminals
    if isinstance(hanging.branch, Leaf):
        return np.asarray(1.0 / impedances[hanging.branch.name]), {}
    tree = solve_tree(tree=hanging.branch, impedances=impedances, voltage=1.0)
    return np.asarray(1.0 / tree.impedance), {n: tree.voltages[n] for n in hanging.places}


@dataclass(frozen=True, eq=False)
class Driven:
    """One driver of each of several alike channels, a place's own or the tweeter on its frame,
    per volt at the knob and without any high-pass.

    Attributes:
        places: where it stands, one of each channel.
        channel: the first of these.
        flow: in the middle of its neighbours [m3/s/V], (rows, F).
        moved: share by which the neighbours may move it [1], (1 or rows, F); None for not at all.
        most, least: factors of its size at most and at least.
        velocity: of the cone [m/s/V].
        current: with hot coils, without their radius [A/V].
        least_hot: factor of that at least.
        options: what stands there.
        drawn: current of its channel per volt of the source, at most [A/V].
        share: of the source's volts that is left for the branch, in the middle of its neighbours.

    """

    places: tuple[str, ...]
    channel: str
    flow: ComplexArray
    moved: FloatArray | None
    most: FloatArray | float
    least: FloatArray | float
    velocity: ComplexArray
    current: ComplexArray
    least_hot: FloatArray | float
    options: MountedOptions
    drawn: FloatArray
    share: ComplexArray

    def peak_travel(
        self, frequency: FloatArray, at: NDArray[np.intp] | NDArray[np.bool_]
    ) -> FloatArray:
        """Return the peak travel over Xmax for a volt of programme at the knob [1/V], (rows, F).

        Args:
            frequency: of the grid [Hz].
            at: columns of it that are meant.

        """
        some = frequency[at]
        profile = low_rolloff(frequency=some) / (2.0 * np.pi * some)
        moved = np.abs(self.velocity[:, at]) * (np.sqrt(2.0) * profile)
        return np.asarray(moved / (self.options.xmax * self.options.stretch))


def driven_of(
    twins: Twinned, middle: Middle, mounted: Mapping[str, MountedOptions]
) -> Iterator[Driven]:
    """Yield every driver on channels that are alike, beside what stands on them besides."""
    first, level = twins.first, twins.first.level
    cold, hot = (
        _drives(first, mounted, y0, radius, level, hot=heat)
        for heat, y0, radius in (
            (False, middle.cold, middle.cold_radius),
            (True, middle.hot, middle.hot_radius),
        )
    )
    for index, name in enumerate(first.places):
        options = mounted[name]
        drive, burning = cold.of(name), hot.of(name)
        places = tuple(each[index] for each in twins.places)
        pairs = [(places, options, drive, burning)]
        if options.tweeter is not None:
            small = options.tweeter
            above, above_hot = drive * options.cold.passed, burning * options.hot.passed
            pairs.append((tuple(f"{at}.tweeter" for at in places), small, above, above_hot))
        for at, each, across, across_hot in pairs:
            velocity = across * each.cold.velocity_per_volt
            yield Driven(
                places=at,
                channel=first.channel.id,
                flow=velocity * (each.cold.sd * each.cold.share),
                moved=cold.moved,
                most=cold.most,
                least=cold.least,
                velocity=velocity,
                current=across_hot / each.hot.impedance,
                least_hot=hot.least,
                options=each,
                drawn=cold.drawn,
                share=cold.left,
            )


@dataclass(frozen=True, eq=False)
class _Drives:
    share: ComplexArray
    left: ComplexArray
    across: Mapping[str, ComplexArray]
    drawn: FloatArray
    moved: FloatArray | None
    most: FloatArray | float
    least: FloatArray | float

    def of(self, name: str) -> ComplexArray:
        """Voltage across a place."""
        return self.share * self.across[name] if name in self.across else self.share


def _drives(
    hanging: Hanging,
    mounted: Mapping[str, MountedOptions],
    beside: ComplexArray,
    radius: FloatArray,
    level: ComplexArray,
    *,
    hot: bool,
) -> _Drives:
    own, across = solved_branch(hanging, mounted, hot=hot)
    whole = own + beside
    share = 1.0 / (1.0 + hanging.source * whole)
    drawn = np.abs(whole * share)
    if not radius.any():
        return _Drives(share * level, share, across, drawn, None, 1.0, 1.0)
    moved = np.minimum(np.abs(hanging.source * share) * radius, MOST_MOVED)
    most = 1.0 / (1.0 - moved)
    drawn = (drawn + radius * np.abs(share)) * most
    return _Drives(share * level, share, across, drawn, moved * most, most, 1.0 / (1.0 + moved))
