"""A group of channels wired in one way: which unit hangs on which channel, and what is alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.electrics.filters import butterworth_high_pass
from conewright.stages.choose.cells.admittances import Admittances
from conewright.stages.choose.mounted.branch_sums import COLUMNS, LOADED_AT, columns_of
from conewright.stages.choose.mounted.driven import Hanging, Twinned, twinned
from conewright.stages.choose.mounted.option_numbers import Signs
from conewright.stages.choose.mounted.output import Output
from conewright.stages.choose.mounted.prepared import Prepared, UnitOptions
from conewright.stages.common.load import load_of

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build

__all__ = ["Hung"]

TINY = 1e-12
"""Ohms that keep a quotient a number where nothing is left."""

Classes = list[tuple[tuple[int, ...], NDArray[np.intp]]]


class Hung:
    """A group of channels wired in one way under one radio; its forms differ in signs only.

    Args:
        ready: the space.
        r: radio.
        c: group of channels.
        forms: that are wired so.

    """

    def __init__(self, ready: Prepared, r: int, c: int, forms: Sequence[int]) -> None:
        self.ready, self.radio, self.group, self._forms = ready, r, c, tuple(forms)
        self.channels = ready.space.channels[c]
        self.units = ready.units(c, forms[0])
        self.hangings = ready.hangings(r, c, forms[0], self.units)
        self._signs: dict[int, Mapping[str, int]] = {}

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
    def admittances(self) -> Admittances:
        """What its units' options admit."""
        return Admittances(self.ready, self.units, self.hangings, self.twins, self.fitted)

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
            for index, each in enumerate(self.admittances.cold)
            if index != unit
        )

    @cached_property
    def _by_places(self) -> list[dict[tuple[str, ...], Hanging]]:
        return [{each.places: each for each in every} for every in self.hangings]

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
                own = np.ravel(each.high_pass)
                table = np.array([own if one is None else one for one in common])
                known = (other for other in found.values() if np.array_equal(other, table))
                found.setdefault(each.channel.id, next(known, table))
        return found

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

    @cached_property
    def output(self) -> Output:
        """The output stage of the radio."""
        return Output.of(self.build, self.ready.centre)

    def _all_forms(self, f: int) -> list[int]:
        forms = [0] * len(self.ready.space.channels)
        forms[self.group] = f
        return forms

    @cached_property
    def build(self) -> Build:
        """The radio with the channels of this wiring, all others as found."""
        return self.ready.frame(self.radio, self._all_forms(self._forms[0]))

    @cached_property
    def _loaded(self) -> NDArray[np.intp]:
        """Columns of `LOADED_AT`."""
        return columns_of((hertz for hertz, _ in LOADED_AT), self.ready.ear.frequency)

    @cached_property
    def allowed(self) -> FloatArray:
        """What the sums of the first channel may come to, (COLUMNS,) [S]: it is overloaded beyond,
        or a cone travels too far.

        At `LOADED_AT`: |Z| of the whole is no more than 1/|Y| and what lies before the branches.
        """
        name, loads = self.channels.channels[0], np.full(len(LOADED_AT), np.inf)
        for hanging in (each for every in self.hangings for each in every):
            if hanging.channel.id == name:
                before = np.abs(hanging.before[0, self._loaded])
                left = self.ready.least_load(self.radio, name) - before
                loads = np.where(left > 0.0, 1.0 / np.maximum(left, TINY), np.inf)
                break
        return np.append(loads, np.zeros(COLUMNS - len(loads)))


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
