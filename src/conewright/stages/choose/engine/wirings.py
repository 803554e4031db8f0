"""A group of channels wired in one way: its units hung on its channels, whichever way round."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import programme_weights
from conewright.physics.electrics.filters import butterworth_high_pass
from conewright.stages.choose.engine.driven import (
    Hanging,
    Twinned,
    middle_of,
    solved_branch,
    twinned,
)
from conewright.stages.choose.engine.ear import Transfer
from conewright.stages.choose.engine.envelopes import Envelope
from conewright.stages.choose.engine.nested import Parted
from conewright.stages.choose.engine.numbers import (
    HIGHEST,
    LOADED_AT,
    LOWEST,
    Signs,
    UnitNumbers,
    loads_of,
)
from conewright.stages.choose.engine.output import Output
from conewright.stages.choose.engine.prepared import Prepared, UnitOptions
from conewright.stages.choose.engine.rows import rows_of, stood_in
from conewright.stages.common.load import load_of

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build

__all__ = ["MOST_TRAVEL", "Wiring"]

MOST_TRAVEL = 1.4
"""Peak travel over Xmax from which a cone meets its end; of 0.75 to 1.4, from memory."""

LEADING = 8
"""Dimensions of the common space of the bass in which bounds are looked at; the rest is a norm."""

Classes = list[tuple[tuple[int, ...], NDArray[np.intp]]]


@dataclass(frozen=True, eq=False)
class _Source:
    """What drives channels that are alike.

    Attributes:
        name: of the first.
        names: of all of them.
        level: without any high-pass [V/V].
        source: impedance before the load [ohm].
        ahead: of that, resistance behind the output; None where it is not only that.

    """

    name: str
    names: tuple[str, ...]
    level: FloatArray
    source: ComplexArray
    ahead: FloatArray | None


class Wiring:
    """A group of channels wired in one way under one radio; its forms differ in signs only.

    Args:
        ready: the space.
        r: radio.
        c: group of channels.
        forms: that are wired so.

    Attributes:
        besides: what the channels of all other groups draw at most, and at least [A/V], (2, F).
        envelopes, blocks: of units in cells, by what cells have in common.
        ranks: of options, by unit and class: those that are alike stand together.

    """

    def __init__(self, ready: Prepared, r: int, c: int, forms: Sequence[int]) -> None:
        self.ready, self.radio, self.group, self._forms = ready, r, c, tuple(forms)
        self.channels = ready.space.channels[c]
        self.units = ready.units(c, forms[0])
        self.hangings = ready.hangings(r, c, forms[0], self.units)
        self._numbers: dict[tuple[int, int], UnitNumbers] = {}
        self._leasts: dict[tuple[int, str, int, int], FloatArray] = {}
        self._signs: dict[int, Mapping[str, int]] = {}
        self.besides: FloatArray = np.zeros((2, ready.ear.frequency.size))
        self.envelopes: dict[Hashable, Envelope] = {}
        self.blocks: dict[Hashable, Parted] = {}
        self.ranks: dict[Hashable, NDArray[np.intp]] = {}

    # --- Options ----------------------------------------------------------------------------------

    @cached_property
    def classes(self) -> tuple[Classes, ...]:
        """Options of each unit that differ only in the part that is fitted, as masks."""
        return tuple(_classes(unit) for unit in self.units)

    @cached_property
    def fitted(self) -> tuple[NDArray[np.bool_], ...]:
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
    def admittances(self) -> tuple[dict[str, tuple[ComplexArray, ComplexArray]], ...]:
        """Admittance of every option of a unit, cold and hot, by channel."""
        found = []
        for index, every in enumerate(self.twins):
            mine: dict[str, tuple[ComplexArray, ComplexArray]] = {}
            names = {each.places: each.channel.id for each in self.hangings[index]}
            for each in every:
                both = self._admittance(index, each.first)
                mine |= {names[places]: both for places in each.places}
            found.append(mine)
        return tuple(found)

    def _admittance(self, unit: int, hanging: Hanging) -> tuple[ComplexArray, ComplexArray]:
        places = self.ready.options_in(self.units[unit], only=hanging.places)
        return (
            solved_branch(hanging, places, hot=False)[0],
            solved_branch(hanging, places, hot=True)[0],
        )

    @cached_property
    def twins(self) -> tuple[tuple[Twinned, ...], ...]:
        """What each unit hangs on its channels, those together that are alike."""
        return tuple(twinned(hangings, self.ready.mounted) for hangings in self.hangings)

    def signs_of(self, f: int, unit: int) -> tuple[int, Signs]:
        """Return the sign of a unit's first place under a form, and those of all against it."""
        sign = self.signs_at(f)
        every = [sign[n] for twins in self.twins[unit] for some in twins.places for n in some]
        if not every:
            return 1, ()
        return every[0], tuple(every[0] * each for each in every)

    def signs_at(self, f: int) -> Mapping[str, int]:
        """Return which way round every place is connected under a form."""
        if f not in self._signs:
            build = self.ready.frame(self.radio, self._all_forms(f))
            names = self.channels.channels
            self._signs[f] = {n: s for name in names for n, s in build.channel(name).polarity}
        return self._signs[f]

    # --- Numbers ----------------------------------------------------------------------------------

    def loads(self, unit: int, which: NDArray[np.intp]) -> FloatArray:
        """Return what some options load the first channel with, as in `LOADED_AT` [S]."""
        return self._loads[unit][which]

    @cached_property
    def _loads(self) -> tuple[FloatArray, ...]:
        name, found = self.channels.channels[0], []
        for index, unit in enumerate(self.units):
            found.append(np.zeros((len(unit), len(LOADED_AT))))
            if name in self.admittances[index]:
                cold = self.admittances[index][name][0]
                found[index] += loads_of(cold, self.ready.ear.frequency)
        return tuple(found)

    def numbers(self, unit: int, beside: int) -> UnitNumbers:
        """Return the numbers of a unit's options beside a class of neighbours."""
        key = (unit, beside)
        if key not in self._numbers:
            self._numbers[key] = self._worked_out(unit, beside)
        return self._numbers[key]

    def _worked_out(self, unit: int, beside: int) -> UnitNumbers:
        ready, size = self.ready, self.ready.ear.frequency.size
        middles = {}
        for twins in self.twins[unit]:
            name = twins.first.channel.id
            others = []
            for other, admittances in enumerate(self.admittances):
                if other == unit or name not in admittances:
                    continue
                fitted = self.fitted[other]
                here = fitted if beside >> other & 1 else ~fitted
                cold, hot = admittances[name]
                others.append((cold[here], hot[here]))
            middles[name] = middle_of(others, size)
        return UnitNumbers(
            self.parted(unit),
            middles,
            lambda rows: ready.options_in(self.units[unit], rows),
            len(self.units[unit]),
            passed=self.passed,
            signs=list(dict.fromkeys(self.signs_of(f, unit)[1] for f in self._forms)),
            ear=ready.ear,
            transfer=self.transfer(unit),
            factors=ready.factors,
            beside=self._beside(unit),
            outputs=self.outputs,
        )

    def parted(self, unit: int) -> tuple[Twinned, ...]:
        """Return what a unit hangs on its channels, alike ones together where neighbours are so."""
        found = []
        for twins in self.twins[unit]:
            names = [
                h.channel.id for p in twins.places for h in self.hangings[unit] if h.places == p
            ]
            found.append((twins, names))
        parted = []
        for twins, names in found:
            if all(self._same_beside(unit, names[0], name) for name in names[1:]):
                parted.append(twins)
                continue
            by_places = {h.places: h for h in self.hangings[unit]}
            parted += [Twinned(by_places[places], (places,)) for places in twins.places]
        return tuple(parted)

    def alike_at(self, unit: int, channel: str) -> int:
        """Return which of the `parted` hangings of a unit hangs on a channel, -1 for none."""
        there = {each.places for each in self.hangings[unit] if each.channel.id == channel}
        every = enumerate(self.parted(unit))
        return next((index for index, twins in every if there & set(twins.places)), -1)

    def _same_beside(self, unit: int, one: str, other: str) -> bool:
        """Whether the neighbours of a unit on two channels are alike."""
        return all(
            (one in each) == (other in each) and (one not in each or each[one] is each[other])
            for index, each in enumerate(self.admittances)
            if index != unit
        )

    @cached_property
    def passed(self) -> Mapping[str, ComplexArray]:
        """What each high-pass lets through, by channel, shape (high-passes, F)."""
        frequency = self.ready.ear.frequency
        common = [
            None if value is None else _filtered(value, frequency)
            for value in self.channels.corners
        ]
        found: dict[str, ComplexArray] = {}
        for hangings in self.hangings:
            for each in hangings:
                own = np.ravel(each.circuit.high_pass + 0.0 * frequency)
                table = np.array([own if one is None else one for one in common])
                known = (other for other in found.values() if np.array_equal(other, table))
                found.setdefault(each.channel.id, next(known, table))
        return found

    @cached_property
    def leading(self) -> ComplexArray:
        """What takes the common space of the bass to its leading dimensions."""
        size = len(next(iter(self.ready.factors.values()), ()))
        return np.eye(min(LEADING, size), size, dtype=complex)

    def transfer(self, unit: int) -> Transfer:
        """Return what the places of a unit do at the ear, tweeters on their frames as well."""
        ready, columns = self.ready, dict[str, FloatArray]()
        base = ready.base
        names = {name for each in self.hangings[unit] for name in each.places}
        open_ = {name for name in names if base.location(name).back is not None}
        places = ready.options_in(self.units[unit], only=open_)
        one = np.zeros(1, dtype=np.intp)
        places |= ready.options_in(self.units[unit], one, only=names - open_)
        every = [stood_in(base.location(name), each, columns) for name, each in places.items()]
        both = [each for place in every for each in (place, place.tweeter) if each is not None]
        return ready.ear.transfer(both, rows_of(ready.centre, columns))

    # --- The radio --------------------------------------------------------------------------------

    @cached_property
    def output(self) -> Output:
        """The output stage of the radio."""
        return Output.of(self.build, self.ready.centre)

    @cached_property
    def outputs(self) -> Mapping[str, Output]:
        """What drives each channel: an output of the radio, or an amplifier."""
        circuit = self.ready.solver.solve(self.build)
        load = load_of(self.build, circuit, self.ready.centre)
        units = {name: load.amplifier_of(name) for name in self.channels.channels}
        return {
            name: self.output if unit is None else Output.amplified(unit)
            for name, unit in units.items()
        }

    def _all_forms(self, f: int) -> list[int]:
        forms = [0] * len(self.ready.space.channels)
        forms[self.group] = f
        return forms

    @cached_property
    def build(self) -> Build:
        """The radio with the channels of this wiring, all others as found."""
        return self.ready.frame(self.radio, self._all_forms(self._forms[0]))

    @cached_property
    def drawn(self) -> Mapping[str, FloatArray]:
        """What each channel of the radio draws per volt at the knob: without any high-pass at most,
        with any at least [A/V], (2, F).
        """
        found = {}
        frequency = self.ready.ear.frequency
        heard = (frequency > LOWEST) & (frequency < HIGHEST)
        for name in self.channels.channels:
            found[name] = np.zeros((2, frequency.size))
        for source in self._sources:
            level = np.sqrt(2.0) * source.level
            every = [each[source.name][0] for each in self.admittances if source.name in each]
            most = sum(np.abs(each).max(axis=0) for each in every)
            borne = np.minimum(most, 1.0 / self.output.borne)
            least = np.maximum(sum(each.real.min(axis=0) for each in every), 1e-9)
            passed = np.abs(self.passed[source.name]).min(axis=0)
            for name in source.names:
                found[name] = np.stack(
                    [
                        level * np.where(heard, borne, most),
                        level * passed / (1.0 / least + np.abs(source.source)),
                    ]
                )
        return found

    def _beside(self, unit: int) -> Mapping[str, FloatArray]:
        """Return what all other channels draw than those that are alike, by the first of them."""
        found = {}
        for twins in self.parted(unit):
            names = {self._by_places[unit][places].channel.id for places in twins.places}
            others = [each for name, each in self.drawn.items() if name not in names]
            found[twins.first.channel.id] = self.besides + np.sum(
                [np.zeros((2, self.ready.ear.frequency.size)), *others], axis=0
            )
        return found

    @cached_property
    def _by_places(self) -> list[dict[tuple[str, ...], Hanging]]:
        return [{each.places: each for each in every} for every in self.hangings]

    def asked(
        self, corner: int, classes: Sequence[NDArray[np.intp]]
    ) -> tuple[FloatArray, FloatArray]:
        """Return what the channels of the radio ask of it for each volt at the knob, at least.

        Share of its supply by channel, (channels, F), and peak current of all, (F,) [A/V]:
        |Y/(1 + Zs Y)| is 1/(1/Re Y + |Zs|) or more, and Re Y no less than the least of each unit.
        """
        size = self.ready.ear.frequency.size
        total, taken = np.zeros(size), np.zeros((len(self._sources), size))
        for index, source in enumerate(self._sources):
            least = np.full(size, 1e-9)
            for unit, which in enumerate(classes):
                if source.name in self.admittances[unit]:
                    least = least + np.maximum(self._least(unit, source.name, which), 0.0)
            gain = np.sqrt(2.0) * source.level * np.abs(self.passed[source.name][corner])
            total += len(source.names) * gain / (1.0 / least + np.abs(source.source))
            if source.ahead is not None:
                least = least / (1.0 + least * source.ahead)
            known = source.ahead is not None
            taken[index] = gain * self.output.lost(least if known else 0.0 * least)
        return taken, total

    def _least(self, unit: int, name: str, which: NDArray[np.intp]) -> FloatArray:
        key = (unit, name, int(which[0]), which.size)
        if key not in self._leasts:
            self._leasts[key] = self.admittances[unit][name][0][which].real.min(axis=0)
        return self._leasts[key]

    def volts(self, taken: FloatArray, drawn: FloatArray) -> float:
        """Return the EMF of programme at which the radio's volts end at the latest [V].

        Args:
            taken: by channel, as from `asked`.
            drawn: by all channels.

        """
        if not len(taken):
            return np.inf
        squared = np.square(taken + self.output.sagging * drawn) @ self._weights
        return float(self.output.by_volts(squared).min())

    @cached_property
    def _weights(self) -> FloatArray:
        return programme_weights(frequency=self.ready.ear.frequency)

    @cached_property
    def _sources(self) -> tuple[_Source, ...]:
        """The channels of the radio that play, those that are alike as one."""
        hung = {each.channel.id: each for hangings in self.hangings for each in hangings}
        alike: dict[object, list[str]] = {}
        for name, each in hung.items():
            if each.channel.driven_by is None and not each.idle:
                units = range(len(self.units))
                key = tuple(self.alike_at(unit, name) for unit in units)
                alike.setdefault(key, []).append(name)
        found = []
        for names in alike.values():
            each = hung[names[0]]
            ahead = np.ravel(each.source - each.circuit.source_resistance)
            found.append(
                _Source(
                    names[0],
                    tuple(names),
                    np.ravel(np.abs(each.level)),
                    np.ravel(each.source),
                    None if np.any(ahead.imag) else ahead.real,
                )
            )
        return tuple(found)

    @cached_property
    def allowed(self) -> float:
        """Conductance that the first channel may have, at most [S]: beyond it is overloaded."""
        name = self.channels.channels[0]
        for hangings in self.hangings:
            for each in hangings:
                if each.channel.id == name:
                    least = self.ready.least_load(self.radio, each.channel.id)
                    left = least - float(each.circuit.cable_resistance[0, 0])
                    return 1.0 / left if left > 0.0 else np.inf
        return np.inf


def _classes(unit: UnitOptions) -> Classes:
    """Return the options of a unit that differ only in the part that is fitted."""
    kinds, which = np.unique(unit.kinds, axis=0, return_inverse=True)
    which = which.ravel()
    return [
        (tuple(int(v) for v in kind), np.flatnonzero(which == index))
        for index, kind in enumerate(kinds)
    ]


def _filtered(corner: float, frequency: FloatArray) -> ComplexArray:
    if corner == 0.0:
        return np.ones(frequency.size, dtype=complex)
    return np.ravel(butterworth_high_pass(corner=corner, order=2, frequency=frequency))
