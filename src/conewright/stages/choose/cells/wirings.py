"""Numbers of what hangs on a group of channels that is wired in one way."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import programme_weights
from conewright.stages.choose.cells.envelopes import Envelope
from conewright.stages.choose.cells.hung import Hung
from conewright.stages.choose.cells.nested import Parted
from conewright.stages.choose.mounted.branch_sums import (
    COLUMNS,
    LOADED_AT,
    MOVED_AT,
    TRAVELLERS,
    Source,
    columns_of,
    loads_of,
    need_of,
)
from conewright.stages.choose.mounted.driven import Middle, Twinned
from conewright.stages.choose.mounted.ear import Transfer
from conewright.stages.choose.mounted.option_numbers import (
    HIGHEST,
    LOWEST,
    UnitNumbers,
)
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL, rows_of, stood_in
from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["Wiring", "leading_of"]

LEADING = 8
"""Dimensions of the common space of the bass in which bounds are looked at; the rest is a norm."""

SAMPLED = 64
"""Options of a unit from which it is learnt which dimensions lead."""


@dataclass(frozen=True, eq=False)
class _Source:
    """What drives channels that are alike.

    Attributes:
        name: of the first.
        names: of all of them.
        level: without any high-pass [V/V].
        flat: peak, without any filter [V/V].
        source: impedance before the load [ohm].
        ahead: of that, resistance behind the output; None where it is not only that.

    """

    name: str
    names: tuple[str, ...]
    level: FloatArray
    flat: FloatArray
    source: ComplexArray
    ahead: FloatArray | None


class Wiring(Hung):
    """A group of channels wired in one way, with the numbers of its units' options.

    Args:
        ready: the space.
        r: radio.
        c: group of channels.
        forms: that are wired so.

    Attributes:
        besides: what the channels of all other groups draw at most, and at least [A/V], (2, F).
        leading: takes the common space of the bass to the dimensions in which bounds are looked at.
        envelopes, blocks: of units in cells, by what cells have in common.
        ranks: of options, by unit and class: those that are alike stand together.

    """

    def __init__(self, ready: Prepared, r: int, c: int, forms: Sequence[int]) -> None:
        super().__init__(ready, r, c, forms)
        self._numbers: dict[tuple[int, int], UnitNumbers] = {}
        self._leasts: dict[tuple[int, str, int, int], FloatArray] = {}
        self.leading: ComplexArray = np.zeros((0, 0), dtype=complex)
        self.besides: FloatArray = np.zeros((2, ready.ear.frequency.size))
        self.envelopes: dict[Hashable, Envelope] = {}
        self.blocks: dict[Hashable, Parted] = {}
        self.ranks: dict[Hashable, NDArray[np.intp]] = {}

    def sums(self, unit: int, corner: int, which: NDArray[np.intp]) -> FloatArray:
        """Return what some options of a unit add to the sums of the first channel [S].

        Shape (options, COLUMNS): loads, then what each traveller lacks, what is brought taken off.
        """
        name, low = self.channels.channels[0], self._low
        found = np.zeros((len(which), COLUMNS))
        if name not in self.admittances.cold[unit]:
            return found
        cold = self.admittances.cold[unit][name]
        found[:, : len(LOADED_AT)] = loads_of(cold[np.ix_(which, self._loaded)])
        brought = np.abs(cold[np.ix_(which, low)])
        lacks = np.repeat(-brought[:, np.newaxis], TRAVELLERS, axis=1)
        hung = [u for u, each in enumerate(self.admittances.cold) if name in each]
        travellers = hung[:TRAVELLERS]
        twins = next((each for each in self.parted(unit) if each.first.channel.id == name), None)
        if twins is not None and unit in travellers:
            first = twins.first
            if first.channel.driven_by is None and not first.idle:
                speed = self._any_numbers(unit).speed[name][which]
                speed = speed * np.abs(self.passed[name][corner, low])
                need = need_of(self._source(unit, twins), speed, most=MOST_TRAVEL)
                lacks[:, travellers.index(unit)] += need
        found[:, len(LOADED_AT) :] = lacks.reshape(len(which), -1)
        return found

    def _source(self, unit: int, twins: Twinned) -> Source:
        """Return what drives a unit's cones, at `MOVED_AT`."""
        first, low = twins.first, self._low
        name = first.channel.id
        return Source(
            output=self.outputs[name],
            flat=(first.flat * np.ones(first.source.shape))[0, low],
            impedance=np.abs(first.source[0, low]),
            alike=len(twins.places),
            beside=self._beside(unit)[name][0][low],
        )

    @cached_property
    def _low(self) -> NDArray[np.intp]:
        return columns_of(MOVED_AT, self.ready.ear.frequency)

    def numbers(self, unit: int, beside: int) -> UnitNumbers:
        """Return the numbers of a unit's options beside a class of neighbours."""
        key = (unit, beside)
        if key not in self._numbers:
            self._numbers[key] = self._worked_out(unit, beside)
        return self._numbers[key]

    def _any_numbers(self, unit: int) -> UnitNumbers:
        """Return the numbers of a unit's options beside neighbours that there are."""
        code = sum(1 << u for u, each in enumerate(self.fitted) if u != unit and each[0])
        return self.numbers(unit, code)

    def _worked_out(self, unit: int, beside: int) -> UnitNumbers:
        ready, size = self.ready, self.ready.ear.frequency.size
        middles = {}
        for twins in self.parted(unit):
            name = twins.first.channel.id
            middles[name] = Middle.nothing(size)
            for other, known in enumerate(self.admittances.cold):
                if other != unit and name in known:
                    middle = self.admittances.middle(other, name, fitted=bool(beside >> other & 1))
                    middles[name] = middles[name].with_(middle)
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

    def sampled(self) -> ComplexArray:
        """Return the bass of some options of every unit, in the whole common space."""
        size = len(next(iter(self.ready.factors.values()), ()))
        found = [np.zeros((0, size), dtype=complex)]
        for unit, hangings in enumerate(self.hangings):
            if hangings:
                found.append(self._any_numbers(unit).sampled(SAMPLED))
        return np.concatenate(found)

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
            flat = source.flat
            every = [each[source.name] for each in self.admittances.cold if source.name in each]
            most = sum(np.abs(each).max(axis=0) for each in every)
            borne = np.minimum(most, 1.0 / self.output.borne)
            least = np.maximum(sum(each.real.min(axis=0) for each in every), 1e-9)
            passed = np.abs(self.passed[source.name]).min(axis=0)
            for name in source.names:
                found[name] = np.stack(
                    [
                        flat * np.where(heard, borne, most),
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
                if source.name in self.admittances.cold[unit]:
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
            self._leasts[key] = self.admittances.cold[unit][name][which].real.min(axis=0)
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
            ahead = np.ravel(each.before)
            found.append(
                _Source(
                    names[0],
                    tuple(names),
                    np.ravel(np.abs(each.level)),
                    np.ravel(each.flat) * np.ones(each.source.size),
                    np.ravel(each.source),
                    None if np.any(ahead.imag) else ahead.real,
                )
            )
        return tuple(found)


def leading_of(wirings: Sequence[Wiring]) -> ComplexArray:
    """Return what takes the common space of the bass to the dimensions in which most of it lies.

    Options differ by few figures, so that a handful of directions holds all but a hundredth.
    """
    every = np.concatenate([each.sampled() for each in wirings])
    _, directions = np.linalg.eigh(every.T.conj() @ every)
    return np.asarray(directions[:, ::-1][:, :LEADING].conj().T)
