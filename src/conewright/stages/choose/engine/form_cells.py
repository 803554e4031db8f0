"""The channels of a group under a form, a high-pass and a class of options: what may be combined.

A cell fixes everything that is not a part of the catalogue, so that its hours and the money for
its work are one number, and its bounds are those of the parts that are left to choose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import programme_weights
from conewright.physics.electrics.filters import butterworth_high_pass
from conewright.stages.choose.engine.bounding import Envelope, Group
from conewright.stages.choose.engine.option_takes import Take, union_of
from conewright.stages.choose.engine.prepared import Prepared, UnitOptions
from conewright.stages.choose.mounted.ear import Transfer
from conewright.stages.choose.mounted.option_numbers import (
    GAINS,
    LOADED_AT,
    UnitNumbers,
    Vectors,
    middle_of,
    solved_branch,
)
from conewright.stages.choose.mounted.plan_rows import (
    MOST_TRAVEL,
    MountedOptions,
    rows_of,
    stood_in,
)
from conewright.stages.common.load import lowest_borne, supply_limit
from conewright.stages.hear.ceiling import PEAK_TO_RMS

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build

__all__ = ["Cell", "Wired"]

TINY = 1e-12
"""Ohms that keep a quotient a number where nothing is left."""


@dataclass(frozen=True, eq=False)
class Cell:
    """A form of a group of channels, a high-pass, and a class of each unit's options.

    Attributes:
        wired: the form.
        corner: index of the high-pass.
        classes: which options of each unit, as masks.
        takes: what it takes beside the parts.
        gains: the most that its options add, shape (gains,).
        ceiling: the most that they allow [V].
        material: money of what it takes beside the parts and the work.
        cheapest: money of the cheapest part of each unit.
        drawn: from the supply per volt at the knob, at least [A/V], shape (F,).
        middle, radius: its bass in the common space, and how far from that any of its plans is
            [Pa/V].

    """

    wired: Wired
    corner: int
    classes: tuple[NDArray[np.intp], ...]
    beside: tuple[int, ...]
    takes: tuple[Take, ...]
    gains: FloatArray
    ceiling: float
    material: float
    cheapest: tuple[float, ...]
    drawn: FloatArray
    middle: ComplexArray
    radius: float

    @cached_property
    def signature(self) -> frozenset[tuple[str, frozenset[str]]]:
        """What it changes: cells with the same take the same work."""
        return frozenset(union_of(self.takes).items())

    @cached_property
    def open(self) -> tuple[NDArray[np.bool_], ...]:
        """Which options of each unit's class do not hit their ends, whatever stands beside."""
        return tuple(self.numbers(u)[3] <= MOST_TRAVEL for u in range(len(self.classes)))

    def envelope(self, unit: int) -> Envelope:
        """Return the most that a unit can add for some money."""
        if unit not in self._envelopes:
            self._envelopes[unit] = Envelope(self.group(unit, priced=True))
        return self._envelopes[unit]

    def group(self, unit: int, *, priced: bool) -> Group:
        """Return the options of a unit that may be chosen in this cell.

        Args:
            unit: its position.
            priced: whether those without a price are left out.

        """
        key = (unit, priced)
        if key not in self._groups:
            self._groups[key] = self._group(unit, priced)
        return self._groups[key]

    def _group(self, u: int, priced: bool) -> Group:
        ready, mask, c = self.wired.ready, self.classes[u], self.wired.group
        channels, width = len(ready.space.channels), len(LOADED_AT)
        unit = self.wired.units[u]
        gains, ceiling, loads, _ = self.numbers(u)
        costs = np.zeros((mask.size, 1 + channels * width))
        costs[:, 0] = np.nan_to_num(unit.money[mask], nan=0.0)
        costs[:, 1 + c * width : 1 + (c + 1) * width] = loads
        picks = np.full((mask.size, 1 + 3 * channels + len(ready.space.places)), -1, dtype=np.intp)
        picks[:, 1 + 3 * c + 1] = unit.capacitor[mask]
        for k, g in enumerate(unit.groups):
            picks[:, 1 + 3 * channels + g] = unit.options[mask, k]
        kept = self.open[u]
        if priced:
            kept = kept & ~np.isnan(unit.money[mask])
        return Group(costs, gains, ceiling, picks).only(kept)

    @cached_property
    def _groups(self) -> dict[tuple[int, bool], Group]:
        return {}

    @cached_property
    def _envelopes(self) -> dict[int, Envelope]:
        return {}

    def numbers(self, unit: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return gains, ceilings, loads and travel of a unit's options in this cell."""
        return self.wired.numbers(unit, self.beside[unit], self.corner, self.classes[unit])

    def vectors(self, unit: int, which: NDArray[np.intp]) -> Vectors | None:
        """Return the pressures of some of all options of a unit, None where it is left off."""
        return self.wired.vectors(unit, self.beside[unit], self.corner, which)


class Wired:
    """A group of channels under one form and one radio, its units hung on its channels."""

    def __init__(self, ready: Prepared, r: int, c: int, f: int) -> None:
        self.ready, self.radio, self.group, self.form = ready, r, c, f
        self.channels = ready.space.channels[c]
        self.units = ready.units(c, f)
        self.hangings = ready.hangings(r, c, f, self.units)
        self._numbers: dict[tuple[int, int], UnitNumbers] = {}
        self._leasts: dict[tuple[int, str, int, int], FloatArray] = {}

    # --- Numbers ----------------------------------------------------------------------------------

    @cached_property
    def _places(self) -> tuple[dict[str, MountedOptions], ...]:
        return tuple(self.ready.options_in(unit) for unit in self.units)

    @cached_property
    def _fitted(self) -> tuple[NDArray[np.bool_], ...]:
        """Whether an option of a unit brings a part of the catalogue."""
        found = []
        for unit in self.units:
            fitted = np.zeros(len(unit), dtype=bool)
            for k, g in enumerate(unit.groups):
                variants = self.ready.space.places[g].variants
                has = np.array([len(variant.rows) > 0 for variant in variants])
                fitted |= has[unit.kinds[:, k]]
            found.append(fitted)
        return tuple(found)

    @cached_property
    def _admittances(self) -> tuple[dict[str, tuple[ComplexArray, ComplexArray]], ...]:
        """Admittance of every option of a unit, cold and hot, by channel."""
        found = []
        for index, hangings in enumerate(self.hangings):
            places = self._places[index]
            found.append(
                {
                    each.channel.id: (
                        solved_branch(each, places, hot=False)[0],
                        solved_branch(each, places, hot=True)[0],
                    )
                    for each in hangings
                }
            )
        return tuple(found)

    def numbers(
        self, unit: int, beside: int, corner: int, which: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return gains, ceilings, loads and travel of some options of a unit.

        Args:
            unit: its position.
            beside: code of the classes of its neighbours, a bit for each that brings parts.
            corner: index of the high-pass.
            which: options.

        """
        if not self.hangings[unit]:
            nothing = np.zeros((which.size, len(GAINS)))
            loads = np.zeros((which.size, len(LOADED_AT)))
            return nothing, np.full(which.size, np.inf), loads, np.zeros(which.size)
        found = self._beside(unit, beside).at(self.channels.corners[corner])
        first = found.loads.get(self.channels.channels[0])
        loads = np.zeros((which.size, len(LOADED_AT))) if first is None else first[which]
        return found.gains[which], found.ceiling[which], loads, found.travel[which]

    def _middle(
        self, unit: int, beside: int, corner: int, which: NDArray[np.intp]
    ) -> tuple[ComplexArray | float, float]:
        """Return the middle of the bass of some options, and how far any is from it at most."""
        if not self.hangings[unit]:
            return 0.0, 0.0
        found = self._beside(unit, beside).at(self.channels.corners[corner])
        some, slack = found.bass[which], found.slack[which]
        middle = some.mean(axis=0)
        away = np.sqrt(np.sum(np.abs(some - middle) ** 2, axis=1)) + slack
        return middle, float(away.max())

    def vectors(
        self, unit: int, beside: int, corner: int, which: NDArray[np.intp]
    ) -> Vectors | None:
        """Return the pressures of some options of a unit, None where it is left off."""
        if not self.hangings[unit]:
            return None
        return self._beside(unit, beside).vectors(self.channels.corners[corner], which)

    def _beside(self, unit: int, beside: int) -> UnitNumbers:
        key = (unit, beside)
        if key not in self._numbers:
            self._numbers[key] = self._worked_out(unit, beside)
        return self._numbers[key]

    def _worked_out(self, unit: int, beside: int) -> UnitNumbers:
        ready, size = self.ready, self.ready.ear.frequency.size
        middles = {}
        for hanging in self.hangings[unit]:
            name = hanging.channel.id
            others = []
            for other, admittances in enumerate(self._admittances):
                if other == unit or name not in admittances:
                    continue
                fitted = self._fitted[other]
                here = fitted if beside >> other & 1 else ~fitted
                cold, hot = admittances[name]
                others.append((cold[here], hot[here]))
            middles[name] = middle_of(others, size)
        return UnitNumbers(
            self.hangings[unit],
            middles,
            self._places[unit],
            ear=ready.ear,
            transfer=self._transfer(unit),
            factors=ready.factors,
            emf=self._earliest,
        )

    @cached_property
    def _earliest(self) -> dict[str, FloatArray]:
        """EMF at which volts or amps of each channel run out at the earliest [V], shape (F,).

        From below: every channel of the radio at the least load that it bears, which draws most.
        """
        ready = self.ready
        build = self._build
        radio, draws = build.head_unit, ready.centre
        supply, feed, own, clip, peak = (
            float(draws(value)[0, 0])
            for value in (
                *(radio.supply, radio.feed_resistance, radio.output_resistance),
                *(radio.clip_loss, radio.peak_current),
            )
        )
        least = float(lowest_borne(radio, draws)[0, 0])
        circuit = ready.solver.solve(build)
        flat = {
            name: np.abs(np.ravel(each.unfiltered.settings))
            for name, each in circuit.channels.items()
        }
        by_radio = [each.id for each in build.channels if each.driven_by is None]
        mean = 2.0 / np.pi * radio.swing * sum(np.sqrt(2.0) * flat[n] / least for n in by_radio)
        reach = radio.swing * min(1.0, (least + own) / (least + clip))
        limit = float(supply_limit(build, draws)[0, 0]) - float(
            draws(radio.quiescent_current)[0, 0]
        )
        found = {}
        for name, gain in flat.items():
            if name not in by_radio:
                found[name] = np.zeros(gain.size)
                continue
            volts = supply * reach / (np.sqrt(2.0) * gain + reach * feed * mean)
            amps = np.minimum(peak * least / (np.sqrt(2.0) * gain), max(limit, 0.0) / mean)
            found[name] = np.minimum(volts, amps) * np.ones(ready.ear.frequency.size)
        return found

    @cached_property
    def _build(self) -> Build:
        """The radio with the channels of this form, all others as found."""
        forms = [0] * len(self.ready.space.channels)
        forms[self.group] = self.form
        return self.ready.frame(self.radio, forms)

    def _transfer(self, unit: int) -> Transfer:
        """Return what the places of a unit do at the ear, tweeters on their frames as well."""
        ready, columns = self.ready, dict[str, FloatArray]()
        every = [
            stood_in(ready.base.location(name), options, columns)
            for name, options in self._places[unit].items()
        ]
        both = [each for place in every for each in (place, place.tweeter) if each is not None]
        return ready.ear.transfer(both, rows_of(ready.centre, columns))

    # --- Cells ------------------------------------------------------------------------------------

    def drawn(self, corner: int, classes: Sequence[NDArray[np.intp]]) -> FloatArray:
        """Return what the channels draw per volt at the knob, at least [A/V], shape (F,).

        |Y/(1 + Zs Y)| is 1/(1/Re Y + |Zs|) or more, and Re Y no less than the least of each unit.
        """
        total = np.zeros(self.ready.ear.frequency.size)
        for name, (level, source) in self._sources.items():
            least = np.zeros(total.size)
            for unit, which in enumerate(classes):
                if name in self._admittances[unit]:
                    least = least + self._least(unit, name, which)
            gain = level * self._through(corner, name)
            total += np.sqrt(2.0) * gain / (1.0 / np.maximum(least, 1e-9) + np.abs(source))
        return total

    def _least(self, unit: int, name: str, which: NDArray[np.intp]) -> FloatArray:
        key = (unit, name, int(which[0]), which.size)
        if key not in self._leasts:
            self._leasts[key] = self._admittances[unit][name][0][which].real.min(axis=0)
        return self._leasts[key]

    def volts(self, corner: int, drawn: FloatArray) -> float:
        """Return the EMF of programme at which the radio's volts end at the latest [V].

        Args:
            corner: index of the high-pass.
            drawn: by all channels per volt, at least [A/V].

        From above: the output at its own resistance.
        """
        supply, swing, reach, feed = self._supply
        weights, most = self._weights, np.inf
        for name, (level, _) in self._sources.items():
            gain = np.sqrt(2.0) * level * self._through(corner, name)
            ceiling = supply * reach / (gain + reach * feed * (2.0 / np.pi) * swing * drawn)
            most = min(most, np.sqrt(2.0 / np.sum(weights * ceiling**-2.0)) / PEAK_TO_RMS)
        return float(most)

    @cached_property
    def _weights(self) -> FloatArray:
        return programme_weights(frequency=self.ready.ear.frequency)

    @cached_property
    def _supply(self) -> tuple[float, float, float, float]:
        """Supply [V], swing [1], reach at most [1], and resistance of the feed [ohm]."""
        radio, draws = self._build.head_unit, self.ready.centre
        supply, clip, own, feed = (
            float(draws(value)[0, 0])
            for value in (
                *(radio.supply, radio.clip_loss),
                *(radio.output_resistance, radio.feed_resistance),
            )
        )
        return supply, radio.swing, radio.swing * max(1.0, own / max(clip, 1e-3)), feed

    @cached_property
    def _sources(self) -> dict[str, tuple[FloatArray, ComplexArray]]:
        """Level without high-pass, and resistance of source and cable, by channel of the radio."""
        found = {}
        for hangings in self.hangings:
            for each in hangings:
                if each.channel.driven_by is None and not each.circuit.idle[0, 0]:
                    passed = np.maximum(np.abs(each.circuit.high_pass), 1e-30)
                    level = np.ravel(np.abs(each.circuit.settings) / passed)
                    found[each.channel.id] = level, np.ravel(each.source)
        return found

    def _through(self, corner: int, name: str) -> FloatArray:
        value = self.channels.corners[corner]
        if value is not None:
            return _size(value, self.ready.ear.frequency)
        one = next(e for some in self.hangings for e in some if e.channel.id == name)
        return np.ravel(np.abs(one.circuit.high_pass)) * np.ones(self.ready.ear.frequency.size)

    @cached_property
    def allowed(self) -> FloatArray:
        """Conductance that the first channel may have, at most [S]: beyond it is overloaded.

        At `LOADED_AT`: |Z| of the whole is no more than 1/|Y| and what lies before the branches.
        """
        name = self.channels.channels[0]
        for hangings in self.hangings:
            for each in hangings:
                if each.channel.id == name:
                    frequency = self.ready.ear.frequency
                    at = [int(np.argmin(np.abs(frequency - hertz))) for hertz, _ in LOADED_AT]
                    left = self.ready.least_load(self.radio, name) - np.abs(each.before[0, at])
                    return np.where(left > 0.0, 1.0 / np.maximum(left, TINY), np.inf)
        return np.full(len(LOADED_AT), np.inf)

    def cells(self) -> list[Cell]:
        """Return every cell of this form."""
        ready = self.ready
        take = ready.form_takes[self.group, self.form]
        classes = [_classes(unit) for unit in self.units]
        found = []
        for picks in product(*(range(len(each)) for each in classes)):
            masks = tuple(classes[u][k][1] for u, k in enumerate(picks))
            fitted = [bool(self._fitted[u][mask[0]]) for u, mask in enumerate(masks)]
            code = sum(1 << u for u, each in enumerate(fitted) if each)
            beside = tuple(code & ~(1 << u) for u in range(len(self.units)))
            variants = [
                ready.place_takes[g, v]
                for u, k in enumerate(picks)
                for g, v in zip(self.units[u].groups, classes[u][k][0], strict=True)
            ]
            material = sum(each.material for each in variants) + take.material
            for corner, value in enumerate(self.channels.corners):
                gains, ceiling = np.zeros(len(GAINS)), np.inf
                middle: ComplexArray | float = 0.0
                radius, held = 0.0, True
                cheapest = []
                for u, mask in enumerate(masks):
                    more, most, _, travel = self.numbers(u, beside[u], corner, mask)
                    free = travel <= MOST_TRAVEL
                    if not free.any():
                        held = False
                        break
                    more, most = more[free], most[free]
                    at, away = self._middle(u, beside[u], corner, mask[free])
                    middle, radius = middle + at, radius + away
                    gains = gains + more.max(axis=0)
                    cheapest.append(_least_of(self.units[u].money[mask[free]]))
                    ceiling = min(ceiling, float(most.max()))
                if not held:
                    continue
                drawn = self.drawn(corner, masks)
                set_it = ready.corner_take(self.group, value)
                found.append(
                    Cell(
                        wired=self,
                        corner=corner,
                        classes=masks,
                        beside=beside,
                        takes=(*variants, take, set_it),
                        gains=gains,
                        ceiling=min(ceiling, self.volts(corner, drawn)),
                        drawn=drawn,
                        middle=np.asarray(middle),
                        radius=radius,
                        material=material,
                        cheapest=tuple(cheapest),
                    )
                )
        return found


def _least_of(money: FloatArray) -> float:
    """Return the least of some prices, those that are not known left out."""
    return float(np.min(money, where=~np.isnan(money), initial=np.inf))


def _classes(unit: UnitOptions) -> list[tuple[tuple[int, ...], NDArray[np.intp]]]:
    """Return the options of a unit that differ only in the part that is fitted."""
    kinds, which = np.unique(unit.kinds, axis=0, return_inverse=True)
    which = which.ravel()
    return [
        (tuple(int(v) for v in kind), np.flatnonzero(which == index))
        for index, kind in enumerate(kinds)
    ]


def _size(corner: float, frequency: FloatArray) -> FloatArray:
    if corner == 0.0:
        return np.ones(frequency.size)
    passed = butterworth_high_pass(corner=corner, order=2, frequency=frequency)
    return np.abs(np.ravel(passed))
