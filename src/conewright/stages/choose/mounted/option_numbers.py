"""A handful of numbers for every option, with which whole plans are bounded.

What adds is kept so that sums bound: pressures of the bass and of the coherent rest add at most in
step (Minkowski), powers add, and the ceiling is the least of all. A neighbour on the same channel
takes its share of the drop in the source and the cable. Around a middle admittance Y0 of all that
may stand there, |Y - Y0| <= r, the drive is d0/(1 + e) with d0 = 1/(1 + Zs (Yown + Y0)) and
|e| <= k = |Zs r d0|: so |drive| lies between |d0|/(1 + k) and |d0|/(1 - k), and it moves by at most
|d0| k/(1 - k). Every high-pass weighs the same squares, so that all of them are one product.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray, squared_magnitude
from conewright.physics.basics.programme import programme_weights
from conewright.stages.choose.mounted.branch_sums import MOVED_AT, columns_of
from conewright.stages.choose.mounted.driven import (
    Driven,
    Middle,
    Twinned,
    driven_of,
    solved_branch,
)
from conewright.stages.choose.mounted.ear import Ear, Transfer
from conewright.stages.choose.mounted.output import Output
from conewright.stages.choose.mounted.plan_rows import MountedOptions
from conewright.stages.hear.ceiling import PEAK_TO_RMS

__all__ = [
    "GAINS",
    "HIGHEST",
    "LOWEST",
    "MOVES_UP_TO",
    "Numbers",
    "Signs",
    "UnitNumbers",
]

GAINS = ("bass", "treble", "coherent", "powers")
"""What adds up over the units of a plan: [Pa/V], [Pa2/V2], [Pa/V], [Pa2/V2]."""

BLOCK = 256
"""Options that are solved together: few enough to stay near the processor."""

LOWEST, HIGHEST = 19.9, 20_010.0
"""Ends of what counts for the least load [Hz]."""

MOVES_UP_TO = 2500.0
"""Cones of tweeters travel furthest below [Hz]; a bound from below leaves out what is above."""

MOST_KEPT = 10_000
"""Options of a unit whose vectors are kept, and not worked out anew when they are asked for."""

Signs = tuple[int, ...]
"""Which way round the places of a unit are connected, the first as +1."""


@dataclass(frozen=True, eq=False)
class Numbers:
    """Numbers of all options of a unit under one form and high-pass, beside one class of
    neighbours.

    Attributes:
        gains: bounds of `GAINS`, shape (options, 4).
        ceiling: of the programme, a bound [V], shape (options,).
        travel: peak travel over Xmax at the radio's ceiling, at least [1], shape (options,).
        slack: how far the norm of a sum with one may be off [Pa/V], shape (options,).

    """

    gains: FloatArray
    ceiling: FloatArray
    travel: FloatArray
    slack: FloatArray


class UnitNumbers:
    """The options of a unit beside one class of neighbours, and their numbers by high-pass.

    Attributes:
        speed: peak travel over Xmax per volt across the branch at `MOVED_AT`, by the channels that
            are solved [1/V], (options, F).

    Args:
        twins: what it hangs on its channels.
        middles: of what stands beside it, by channel.
        mounted: gives some of its options in place, by place.
        count: options.
        passed: what each high-pass lets through, by channel, shape (high-passes, F).
        signs: ways round in which its places may be connected.
        ear: of the seat that counts.
        transfer: of its places.
        factors: of closed places, to the common space of the bass.
        beside: what all other channels draw at most and at least, by channel, without and with any
            high-pass [A/V], (2, F).
        outputs: that drive the channels.

    """

    def __init__(
        self,
        twins: Sequence[Twinned],
        middles: Mapping[str, Middle],
        mounted: Callable[[NDArray[np.intp]], Mapping[str, MountedOptions]],
        count: int,
        *,
        passed: Mapping[str, ComplexArray],
        signs: Sequence[Signs],
        ear: Ear,
        transfer: Transfer,
        factors: Mapping[str, ComplexArray],
        beside: Mapping[str, FloatArray],
        outputs: Mapping[str, Output],
    ) -> None:
        self._ear, self._transfer, self._factors = ear, transfer, factors
        self._twins, self._middles, self._passed, self._others = twins, middles, passed, beside
        self._outputs_of = outputs
        self._weights = programme_weights(frequency=ear.frequency)
        self._places = tuple(place for each in twins for some in each.places for place in some)
        corners = len(next(iter(passed.values())))
        self._treble, self._powers, self._travel = np.zeros((3, count, corners))
        self._low = columns_of(MOVED_AT, ear.frequency)
        names = dict.fromkeys(each.first.channel.id for each in twins)
        self.speed = {name: np.zeros((count, len(MOVED_AT))) for name in names}
        self._ceiling = np.full((count, corners), np.inf)
        self._coherent = {each: np.zeros((count, corners)) for each in signs}
        self._flows: list[list[ComplexArray]] = []
        self._moved: list[list[FloatArray | None]] = []
        self._driven: list[Driven] = []
        for start in range(0, count, BLOCK):
            rows = np.arange(start, min(start + BLOCK, count))
            self._solve(rows, mounted(rows))
        self._bass = {each: self._bass_of(each) for each in signs}
        self._vectors: dict[tuple[int, Signs], ComplexArray] = {}

    # --- Doors ------------------------------------------------------------------------------------

    def at(self, corner: int, signs: Signs) -> Numbers:
        """Return the numbers of all options with a high-pass."""
        norm, slack = self._bass[signs]
        gains = np.stack(
            [
                norm[:, corner],
                self._treble[:, corner],
                self._coherent[signs][:, corner],
                self._powers[:, corner],
            ],
            axis=1,
        )
        return Numbers(gains, self._ceiling[:, corner], self._travel[:, corner], slack[:, corner])

    def vectors(
        self, corner: int, signs: Signs, rows: NDArray[np.intp], space: ComplexArray
    ) -> ComplexArray:
        """Return the bass of some options in a space, nothing of what has an open back.

        Args:
            corner: of the high-pass.
            signs: ways round.
            rows: options.
            space: takes the common space of the bass to it, shape (dimensions, of that).

        """
        count = len(self._treble)
        if self._open:
            return np.zeros((len(rows), len(space)), dtype=complex)
        if count > MOST_KEPT:
            return self._vectors_of(corner, signs, rows, space)
        key = (corner, signs)
        if key not in self._vectors:
            self._vectors[key] = self._vectors_of(corner, signs, np.arange(count), space)
        return self._vectors[key][rows]

    def sampled(self, most: int) -> ComplexArray:
        """Return the bass of so many options in the whole common space, with every high-pass and
        whichever way round."""
        count = len(self._treble)
        rows = np.unique(np.linspace(0, count - 1, most).astype(int))
        size = np.eye(len(next(iter(self._factors.values()), ())), dtype=complex)
        if self._open:
            return np.zeros((0, len(size)), dtype=complex)
        corners = range(len(next(iter(self._passed.values()))))
        every = product(corners, self._bass)
        return np.concatenate([self._vectors_of(k, signs, rows, size) for k, signs in every])

    def _vectors_of(
        self, corner: int, signs: Signs, rows: NDArray[np.intp], space: ComplexArray
    ) -> ComplexArray:
        total = np.zeros((len(rows), len(space)), dtype=complex)
        for flow, each in zip(self._whole(self._flows), self._driven, strict=True):
            factor = space @ self._factor(each, corner, signs)
            total += (flow if len(rows) == len(flow) else flow[rows]) @ factor.T
        return total

    # --- Blocks -----------------------------------------------------------------------------------

    def _solve(self, rows: NDArray[np.intp], mounted: Mapping[str, MountedOptions]) -> None:
        """Solve a block of options, and keep what bounds need of them."""
        driven = []
        at = slice(int(rows[0]), int(rows[-1]) + 1)
        for each in self._twins:
            each = Twinned(each.first.at(rows), each.places)
            driven += list(driven_of(each, self._middles[each.first.channel.id], mounted))
            self._clip(at, each, mounted)
        columns = self._ear.bass_columns
        self._flows.append([each.flow[:, columns] for each in driven])
        self._moved.append(
            [None if each.moved is None else each.moved[:, columns] for each in driven]
        )
        self._driven = driven
        self._levels(at, driven)
        self._ends(at, driven)

    def _levels(self, at: slice, driven: Sequence[Driven]) -> None:
        ear, low, alone = self._ear, self._ear.coherent, 1.0 - self._ear.share
        for each in driven:
            through = squared_magnitude(self._passed[each.channel])
            size = squared_magnitude(each.flow)
            if each.moved is not None:
                size *= np.square(each.most)
            weight: FloatArray = np.zeros((1, ear.frequency.size))
            for place in each.places:
                answer = self._answer(place, at)
                weight = weight + squared_magnitude(answer) + ear.diffuse * self._power(place, at)
            if len(weight) > 1:
                size, weight = size * weight, np.ones((1, ear.frequency.size))
            self._treble[at] += size @ (weight * ear.treble * ear.share * through).T
            self._powers[at] += size @ (weight * ear.overall * ear.share * through).T
        alike = _alike([self._passed[each.channel] for each in driven])
        overall = ear.overall[low] * alone[low]
        for signs, coherent in self._coherent.items():
            if alike:
                through = squared_magnitude(self._passed[driven[0].channel])[:, low]
                pressure, loose = self._pressure(driven, signs, at, None)
                coherent[at] = np.sqrt((np.abs(pressure) + loose) ** 2 @ (overall * through).T)
                continue
            for corner in range(coherent.shape[1]):
                pressure, loose = self._pressure(driven, signs, at, corner)
                coherent[at, corner] = np.sqrt((np.abs(pressure) + loose) ** 2 @ overall)

    def _pressure(
        self, driven: Sequence[Driven], signs: Signs, at: slice, corner: int | None
    ) -> tuple[ComplexArray, FloatArray | float]:
        """Return pressures where sources add with their phases, and how far each may be off."""
        low = self._ear.coherent
        pressure: ComplexArray | float = 0.0
        loose: FloatArray | float = 0.0
        for each in driven:
            answer = sum(
                sign * self._answer(place, at)[:, low]
                for place, sign in zip(each.places, self._signs(each, signs), strict=True)
            )
            if corner is not None:
                answer = answer * self._passed[each.channel][corner, low]
            pressure = pressure + each.flow[:, low] * answer
            if each.moved is not None:
                size = sum(np.abs(self._answer(place, at)[:, low]) for place in each.places)
                loose = loose + each.moved[:, low] * np.abs(each.flow[:, low]) * size
        return np.asarray(pressure), loose

    def _ends(self, at: slice, driven: Sequence[Driven]) -> None:
        """Work out where travel and heat end a programme, and how far cones travel at least."""
        frequency = self._ear.frequency
        slow = self._weights / (2.0 * np.pi * frequency) ** 2
        low = frequency < MOVES_UP_TO
        for each in driven:
            passed = self._passed[each.channel]
            through = squared_magnitude(passed)
            velocity = np.abs(each.velocity) * each.least
            travel = np.square(velocity) @ (slow * through).T
            current = (squared_magnitude(each.current) * np.square(each.least_hot)) @ (
                self._weights * through
            ).T
            self._quicken(at, each)
            options, emf = each.options, self._earliest(each)
            by_travel = options.clean / (PEAK_TO_RMS * np.sqrt(travel))
            by_heat = np.sqrt(options.power / options.hot.re / current)
            self._ceiling[at] = np.minimum(self._ceiling[at], np.minimum(by_travel, by_heat))
            least = each.least[:, low] if isinstance(each.least, np.ndarray) else each.least
            peak = each.peak_travel(frequency, low) * least * emf[:, low]
            for corner, filtered in enumerate(np.abs(passed[:, low])):
                most = (peak * filtered).max(axis=1)
                self._travel[at, corner] = np.maximum(self._travel[at, corner], most)

    def _quicken(self, at: slice, each: Driven) -> None:
        """Take in how far a cone travels for each volt across its branch."""
        most = each.peak_travel(self._ear.frequency, self._low) / np.abs(each.share[:, self._low])
        speed = self.speed[each.channel]
        speed[at] = np.maximum(speed[at], most)

    def _earliest(self, each: Driven) -> FloatArray:
        """Return the EMF at which volts or amps of a channel run out at the earliest [V].

        None without the high-pass: what that takes away does not turn the knob up. An overloaded
        channel is no matter: its plan is out.
        """
        hanging = next(t.first for t in self._twins if t.first.channel.id == each.channel)
        if hanging.channel.driven_by is not None or hanging.idle:
            return np.zeros((1, self._ear.frequency.size))
        output = self._outputs_of[each.channel]
        heard = (self._ear.frequency > LOWEST) & (self._ear.frequency < HIGHEST)
        drawn = np.where(heard, np.minimum(each.drawn, 1.0 / output.borne), each.drawn)
        level = hanging.flat
        lost = (1.0 + max(output.clip - output.own, 0.0) * drawn) / output.swing
        together = self._others[each.channel][0] + len(each.places) * level * drawn
        volts = output.supply / (level * lost + output.sagging * together)
        fed = max(output.limit - output.quiet, 0.0) / (2.0 / np.pi * output.swing * together)
        return np.asarray(np.minimum(volts, np.minimum(output.peak / (level * drawn), fed)))

    def _clip(self, at: slice, twins: Twinned, mounted: Mapping[str, MountedOptions]) -> None:
        """Work out where the volts and amps of a channel end a programme at the latest."""
        first = twins.first
        if first.idle:
            return
        output = self._outputs_of[first.channel.id]
        middle = self._middles[first.channel.id]
        own, _ = solved_branch(first, mounted, hot=False)
        least = np.maximum(own.real, 0.0) + np.maximum(middle.cold.real - middle.cold_radius, 0.0)
        level = np.sqrt(2.0) * np.abs(first.level)
        drawn = level * least / (1.0 + least * np.abs(first.source))
        ahead = first.before
        lost: FloatArray = np.full_like(least, output.lost(np.zeros(1))[0])
        if not np.any(ahead.imag):
            lost = output.lost(least / (1.0 + least * ahead.real))
        through = (self._weights * squared_magnitude(self._passed[first.channel.id])).T
        taken = level * lost + output.sagging * len(twins.places) * drawn
        others = self._others[first.channel.id][1]
        # The other channels have filters of their own: their share is not weighed by this one's.
        passed = np.abs(self._passed[first.channel.id]).T
        beside = (self._weights * others)[:, np.newaxis] * passed
        both = 2.0 * output.sagging * (taken @ beside)
        alone = float(np.square(output.sagging * others) @ self._weights)
        volts = output.by_volts(np.square(taken) @ through + both + alone)
        current = np.square(drawn) @ through
        amps = np.minimum(output.by_amps(current), output.by_feed(current * len(twins.places) ** 2))
        self._ceiling[at] = np.minimum(self._ceiling[at], np.minimum(volts, amps))

    def _answer(self, place: str, at: slice) -> ComplexArray:
        answer = self._transfer.grid[place]
        return answer if len(answer) == 1 else answer[at]

    def _power(self, place: str, at: slice) -> FloatArray | float:
        power = self._transfer.power[place]
        several = isinstance(power, np.ndarray) and power.ndim > 1 and len(power) > 1
        return power[at] if several else power  # type: ignore[index]

    def _signs(self, each: Driven, signs: Signs) -> list[int]:
        known = dict(zip(self._places, signs, strict=True))
        return [known[place.removesuffix(".tweeter")] for place in each.places]

    # --- Bass -------------------------------------------------------------------------------------

    @property
    def _open(self) -> bool:
        """Whether one of its places is open behind, so that its flow says not all."""
        return any(place not in self._factors for place in self._places)

    def _whole(self, blocks: Sequence[Sequence[ComplexArray]]) -> list[ComplexArray]:
        if len(blocks) > 1:
            whole = [np.concatenate(parts) for parts in zip(*blocks, strict=True)]
            blocks[:] = [whole]  # type: ignore[index]
        return list(blocks[0])

    def _factor(self, each: Driven, corner: int, signs: Signs) -> ComplexArray:
        """Return what takes a flow to the common space, shape (dimensions, columns)."""
        total = sum(
            sign * self._factors[place]
            for place, sign in zip(each.places, self._signs(each, signs), strict=True)
        )
        return np.asarray(total * self._passed[each.channel][corner, self._ear.bass_columns])

    def _bass_of(self, signs: Signs) -> tuple[FloatArray, FloatArray]:
        """Return the norm of the bass of every option, slack added, and that slack."""
        flows = self._whole(self._flows)
        moved = [
            None if any(part is None for part in parts) else np.concatenate(parts)
            for parts in zip(*self._moved, strict=True)
        ]
        count, corners = self._treble.shape
        norms, slacks = np.zeros((2, count, corners))
        for corner in range(corners):
            if self._open:
                norm = self._direct(flows, corner, signs)
                slack = norm + self._loose(flows, moved, corner)
                norms[:, corner], slacks[:, corner] = slack, slack
                continue
            roots = [_root(self._factor(each, corner, signs)) for each in self._driven]
            if len(roots) == 1:
                total = squared_magnitude(flows[0] @ roots[0].T).sum(axis=1)
            else:
                whole = np.concatenate(
                    [self._factor(each, corner, signs) for each in self._driven], axis=1
                )
                total = squared_magnitude(np.concatenate(flows, axis=1) @ _root(whole).T).sum(
                    axis=1
                )
            slack = np.zeros(count)
            for flow, root, share, each in zip(flows, roots, moved, self._driven, strict=True):
                if share is not None:
                    off = np.abs(flow) * share
                    for sizes in self._sizes(each, corner, root):
                        slack += np.sqrt(np.square(off @ sizes.T).sum(axis=1))
            norms[:, corner], slacks[:, corner] = np.sqrt(total) + slack, slack
        return norms, slacks

    def _sizes(self, each: Driven, corner: int, root: ComplexArray) -> list[FloatArray]:
        """Return what takes sizes of flows to no less than their norms, whatever their phases.

        One for each place: those of twins need not be moved alike.
        """
        if len(each.places) == 1:
            return [np.abs(root)]
        passed = self._passed[each.channel][corner, self._ear.bass_columns]
        return [np.abs(_root(self._factors[place] * passed)) for place in each.places]

    def _direct(self, flows: Sequence[ComplexArray], corner: int, signs: Signs) -> FloatArray:
        """Return the norm point by point, for places whose answers differ by option."""
        ear, columns, through = self._ear, self._ear.bass_columns, self._ear.drawn_through()
        grid: ComplexArray | float = 0.0
        inner: ComplexArray | float = 0.0
        for flow, each in zip(flows, self._driven, strict=True):
            heard = flow * self._passed[each.channel][corner, columns]
            between = heard @ through.T
            for place, sign in zip(each.places, self._signs(each, signs), strict=True):
                grid = grid + sign * heard * self._transfer.grid[place][:, columns]
                inner = inner + sign * between * self._transfer.inner[place]
        power = squared_magnitude(np.asarray(grid)) @ ear.bass_grid[columns]
        return np.asarray(np.sqrt(power + squared_magnitude(np.asarray(inner)) @ ear.bass_inner))

    def _loose(
        self, flows: Sequence[ComplexArray], moved: Sequence[FloatArray | None], corner: int
    ) -> FloatArray:
        """Norm at most of what the neighbours may add to the pressure of open places."""
        ear, columns, total = self._ear, self._ear.bass_columns, np.zeros(len(flows[0]))
        sizes = np.abs(ear.drawn_through())
        for flow, share, each in zip(flows, moved, self._driven, strict=True):
            if share is None:
                continue
            off = np.abs(flow * self._passed[each.channel][corner, columns]) * share
            for place in each.places:
                grid = squared_magnitude(self._transfer.grid[place][:, columns])
                inner = squared_magnitude(self._transfer.inner[place])
                on_grid = np.sum(off**2 * grid * ear.bass_grid[columns], axis=1)
                between = np.sum((off @ sizes.T) ** 2 * inner * ear.bass_inner, axis=1)
                total += np.sqrt(on_grid + between)
        return total


def _root(factor: ComplexArray) -> ComplexArray:
    """Return the square matrix whose products have the norms of those with another."""
    sizes, vectors = np.linalg.eigh(factor.conj().T @ factor)
    roots = np.sqrt(np.maximum(sizes, 0.0))
    return np.asarray((vectors * roots) @ vectors.conj().T)


def _alike(tables: Sequence[ComplexArray]) -> bool:
    return all(each is tables[0] or np.array_equal(each, tables[0]) for each in tables)
