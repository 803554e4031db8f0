"""The channels of a group under a form, a high-pass and a class of options: what may be combined.

A cell fixes everything that is not a part of the catalogue, so that its hours and the money for
its work are one number, and its bounds are those of the parts that are left to choose.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.choose.cells.envelopes import Envelope
from conewright.stages.choose.cells.nested import Listed, Parted, Scale, ordered, parted
from conewright.stages.choose.cells.wirings import Wiring, leading_of
from conewright.stages.choose.mounted.option_numbers import GAINS, Signs
from conewright.stages.choose.mounted.option_takes import Take, union_of
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL
from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["BLOCKS", "Cell", "Wired", "cells_of", "drawn_alone"]


BLOCKS = 32
"""Into which the options of a unit are parted, to be looked at before they are by themselves."""


@dataclass(frozen=True, eq=False)
class Cell:
    """A form of a group of channels, a high-pass, and a class of each unit's options.

    Attributes:
        wired: the form.
        corner: index of the high-pass.
        classes: which options of each unit, as masks.
        beside: of each unit, the code of the classes of its neighbours.
        takes: what it takes beside the parts.
        gains: the most that its options add, shape (gains,).
        ceiling: the most that they allow [V].
        material: money of what it takes beside the parts and the work.
        cheapest: money of the cheapest part of each unit.
        taken, drawn: of the supply per volt at the knob, at least: its share by channel,
            (channels, F), and the current of all [A/V], (F,).
        middle, radius: its bass in the leading dimensions of the common space, and how far from
            that any of its plans is there [Pa/V].
        rest, slack: the norm of all other dimensions, and how far the whole may be off [Pa/V].
        used: groups of places whose drivers it uses, where they are or elsewhere: once each.

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
    taken: FloatArray
    drawn: FloatArray
    middle: ComplexArray
    radius: float
    rest: float
    slack: float
    used: frozenset[str]

    @cached_property
    def signature(self) -> frozenset[tuple[str, frozenset[str]]]:
        """What it changes: cells with the same take the same work."""
        return frozenset(union_of(self.takes).items())

    def numbers(self, unit: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return gains, ceilings and travel of a unit's options in this cell."""
        return self.wired.numbers(unit, self.beside[unit], self.corner, self.classes[unit])

    def envelope(self, unit: int) -> Envelope:
        """Return the most that a unit can add for some money."""
        key, known = self.key(unit), self.wired.wiring.envelopes
        if key not in known:
            _, gains, ceiling, money = self.options(unit)
            known[key] = Envelope(money, gains, ceiling)
        return known[key]

    def blocks(self, unit: int, scale: Scale) -> Parted:
        """Return the options of a unit in a few blocks of like ones."""
        key, known = self.key(unit), self.wired.wiring.blocks
        if key not in known:
            listed = self.listed(unit)
            order = np.argsort(self._rank(unit, scale)[listed.rows], kind="stable")
            known[key] = parted(listed, order, most=BLOCKS)
        return known[key]

    def _rank(self, unit: int, scale: Scale) -> NDArray[np.intp]:
        """Return in which order options of a unit are alike, much the same in every cell."""
        mask, known = self.classes[unit], self.wired.wiring.ranks
        key = (unit, int(mask[0]), mask.size)
        if key not in known:
            gains, ceiling, _ = self.numbers(unit)
            money = np.nan_to_num(self.wired.units[unit].money[mask], nan=np.inf)
            bass, rest, slack = self.bass(unit, mask)
            none = np.zeros(mask.size)
            costs = np.column_stack((money, self._sums(unit, mask)))
            whole = Listed(mask, gains, ceiling, costs, bass, none, rest, slack)
            rank = np.zeros(len(self.wired.units[unit]), dtype=np.intp)
            rank[mask[ordered(scale.points(whole))]] = np.arange(mask.size)
            known[key] = rank
        return known[key]

    def listed(self, unit: int, kept: NDArray[np.intp] | None = None) -> Listed:
        """Return options of a unit that may be chosen in this cell; some of them if so asked."""
        rows, gains, ceiling, money = self.options(unit)
        if kept is not None:
            rows, gains, ceiling, money = rows[kept], gains[kept], ceiling[kept], money[kept]
        costs = np.column_stack((money, self._sums(unit, rows)))
        bass, rest, slack = self.bass(unit, rows)
        return Listed(rows, gains, ceiling, costs, bass, np.zeros(len(rows)), rest, slack)

    def key(self, unit: int) -> Hashable:
        """Return what cells have in common in which a unit has the same options and numbers."""
        which = self.classes[unit]
        signs = self.wired.signs(unit)[1]
        return unit, self.beside[unit], self.corner, int(which[0]), which.size, signs

    def options(self, unit: int) -> Rows:
        """Return the options of a unit that may be chosen in this cell.

        Rows of the unit, gains, ceilings, and money, inf where it is not known.
        """
        mask = self.classes[unit]
        gains, ceiling, travel = self.numbers(unit)
        kept = travel <= MOST_TRAVEL
        money = np.nan_to_num(self.wired.units[unit].money[mask[kept]], nan=np.inf)
        return mask[kept], gains[kept], ceiling[kept], money

    def _sums(self, unit: int, rows: NDArray[np.intp]) -> FloatArray:
        return self.wired.wiring.sums(unit, self.corner, rows)

    def bass(
        self, unit: int, rows: NDArray[np.intp]
    ) -> tuple[ComplexArray, FloatArray, FloatArray]:
        """Return the bass of some options of a unit, with the first of its places as +1."""
        return self.wired.bass(unit, self.beside[unit], self.corner, rows)

    def sign(self, unit: int) -> int:
        """Return which way round the first place of a unit is connected."""
        return self.wired.signs(unit)[0]


Rows = tuple[NDArray[np.intp], FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class _Most:
    """The most of a class of a unit's options with one high-pass; none of them hits its ends."""

    gains: FloatArray
    ceiling: float
    cheapest: float
    middle: ComplexArray
    radius: float
    rest: float
    slack: float


class Wired:
    """A form of a group of channels: its wiring, and which way round its places are connected."""

    def __init__(self, wiring: Wiring, f: int) -> None:
        self.wiring, self.form = wiring, f
        self.ready, self.radio, self.group = wiring.ready, wiring.radio, wiring.group
        self.channels, self.units = wiring.channels, wiring.units
        self._signs = [wiring.signs_of(f, u) for u in range(len(self.units))]
        self._most: dict[tuple[int, int], list[list[_Most | None]]] = {}

    def numbers(
        self, unit: int, beside: int, corner: int, which: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return gains, ceilings and travel of some options of a unit.

        Args:
            unit: its position.
            beside: code of the classes of its neighbours, a bit for each that brings parts.
            corner: index of the high-pass.
            which: options.

        """
        if not self.wiring.hangings[unit]:
            nothing = np.zeros((which.size, len(GAINS)))
            return nothing, np.full(which.size, np.inf), np.zeros(which.size)
        found = self.wiring.numbers(unit, beside).at(corner, self._signs[unit][1])
        return found.gains[which], found.ceiling[which], found.travel[which]

    def signs(self, unit: int) -> tuple[int, Signs]:
        """Return the sign of a unit's first place, and those of all against it."""
        return self._signs[unit]

    @property
    def allowed(self) -> FloatArray:
        """What the sums of the first channel may come to [S]."""
        return self.wiring.allowed

    def bass(
        self, unit: int, beside: int, corner: int, rows: NDArray[np.intp]
    ) -> tuple[ComplexArray, FloatArray, FloatArray]:
        """Return the bass of options in the leading dimensions, the norm of the rest, and slack."""
        space = self.wiring.leading
        if not self.wiring.hangings[unit]:
            nothing = np.zeros(rows.size)
            return np.zeros((rows.size, len(space)), dtype=complex), nothing, nothing
        _, signs = self._signs[unit]
        known = self.wiring.numbers(unit, beside)
        there = known.at(corner, signs)
        vectors = known.vectors(corner, signs, rows, space)
        slack = there.slack[rows]
        norm = there.gains[rows, 0] - slack
        rest = np.sqrt(np.maximum(norm**2 - np.sum(np.abs(vectors) ** 2, axis=1), 0.0))
        return vectors, rest, slack

    def most(self, unit: int, beside: int) -> list[list[_Most | None]]:
        """Return the most of every class of a unit's options, with every high-pass."""
        if (unit, beside) not in self._most:
            self._most[unit, beside] = [
                [self._most_of(unit, beside, k, mask) for k in range(len(self.channels.corners))]
                for _, mask in self.wiring.classes[unit]
            ]
        return self._most[unit, beside]

    def _most_of(self, unit: int, beside: int, corner: int, mask: NDArray[np.intp]) -> _Most | None:
        gains, ceiling, travel = self.numbers(unit, beside, corner, mask)
        free = travel <= MOST_TRAVEL
        if not free.any():
            return None
        vectors, rest, slack = self.bass(unit, beside, corner, mask[free])
        middle = self._signs[unit][0] * vectors.mean(axis=0)
        away = np.sqrt(np.sum(np.abs(vectors - vectors.mean(axis=0)) ** 2, axis=1))
        return _Most(
            gains=gains[free].max(axis=0),
            ceiling=float(ceiling[free].max()),
            cheapest=_least_of(self.units[unit].money[mask[free]]),
            middle=middle,
            radius=float(away.max()),
            rest=float(rest.max()),
            slack=float(slack.max()),
        )

    def cells(self) -> Iterator[Cell]:
        """Yield every cell of this form."""
        classes = self.wiring.classes
        for picks in product(*(range(len(each)) for each in classes)):
            taken = [
                (g, v)
                for u, k in enumerate(picks)
                for g, v in zip(self.units[u].groups, classes[u][k][0], strict=True)
            ]
            variants = [self.ready.space.places[g].variants[v] for g, v in taken]
            used = [name for each in variants for name in (each.keeps, each.takes) if name]
            if len(set(used)) < len(used):
                continue
            masks = tuple(classes[u][k][1] for u, k in enumerate(picks))
            code = sum(1 << u for u, mask in enumerate(masks) if self.wiring.fitted[u][mask[0]])
            beside = tuple(code & ~(1 << u) for u in range(len(self.units)))
            takes = [self.ready.form_takes[self.group, self.form]]
            takes += [self.ready.place_takes[g, v] for g, v in taken]
            every = [self.most(u, beside[u])[k] for u, k in enumerate(picks)]
            for corner in range(len(self.channels.corners)):
                found = [each[corner] for each in every]
                most = [each for each in found if each is not None]
                if len(most) == len(found):
                    yield self._cell(corner, masks, beside, takes, most, frozenset(used))

    def _cell(
        self,
        corner: int,
        masks: tuple[NDArray[np.intp], ...],
        beside: tuple[int, ...],
        takes: Sequence[Take],
        most: Sequence[_Most],
        used: frozenset[str],
    ) -> Cell:
        taken, drawn = self.wiring.asked(corner, masks)
        set_it = self.ready.corner_take(self.group, self.channels.corners[corner])
        return Cell(
            wired=self,
            corner=corner,
            classes=masks,
            beside=beside,
            takes=(*takes, set_it),
            gains=np.sum([each.gains for each in most], axis=0),
            ceiling=min(*(each.ceiling for each in most), self.wiring.volts(taken, drawn)),
            material=sum(each.material for each in takes),
            cheapest=tuple(each.cheapest for each in most),
            taken=taken,
            drawn=drawn,
            middle=np.sum([each.middle for each in most], axis=0),
            radius=sum(each.radius for each in most),
            rest=sum(each.rest for each in most),
            slack=sum(each.slack for each in most),
            used=used,
        )


def cells_of(ready: Prepared, r: int) -> list[list[Cell]]:
    """Return every cell of every group of channels under a radio."""
    every = [_wirings(ready, r, c) for c in range(len(ready.space.channels))]
    alone = drawn_alone(ready, r)
    drawn = []
    for wirings in every:
        whole = np.array([sum(each.drawn.values()) for each in dict.fromkeys(wirings.values())])
        drawn.append(np.stack([whole[:, 0].max(axis=0), whole[:, 1].min(axis=0)]))
    found = []
    for c, wirings in enumerate(every):
        for wiring in wirings.values():
            wiring.besides = alone + sum(each for k, each in enumerate(drawn) if k != c)
    leading = leading_of([each for wirings in every for each in wirings.values()])
    for wirings in every:
        for wiring in wirings.values():
            wiring.leading = leading
    for wirings in every:
        wired = [Wired(wirings[f], f) for f in range(len(wirings))]
        found.append([cell for each in wired for cell in each.cells()])
    return found


def _wirings(ready: Prepared, r: int, c: int) -> dict[int, Wiring]:
    """Return the wiring of every form of a group of channels."""
    forms: dict[Hashable, list[int]] = {}
    for f in range(len(ready.space.channels[c].forms)):
        forms.setdefault(_wiring_key(ready, c, f), []).append(f)
    wirings = {some[0]: Wiring(ready, r, c, some) for some in forms.values()}
    return {f: wirings[some[0]] for some in forms.values() for f in some}


def _wiring_key(ready: Prepared, c: int, f: int) -> Hashable:
    """Return what forms of a group of channels have in common that differ in signs only."""
    forms = [0] * len(ready.space.channels)
    forms[c] = f
    build, channels = ready.frame(0, forms), ready.space.channels[c]
    form, there = channels.forms[f], (build.channel(name) for name in channels.channels)
    wired = tuple(
        (each.id, each.tree, each.parts, each.settings.high_pass, each.settings.low_pass)
        for each in there
    )
    return wired, form.same, form.silent, form.chosen and form.chosen.rows.tobytes()


def drawn_alone(ready: Prepared, r: int) -> FloatArray:
    """Return what channels of the radio draw that no plan changes, at most and at least [A/V]."""
    build = ready.frame(r, [0] * len(ready.space.channels))
    known = {name for group in ready.space.channels for name in group.channels}
    total = np.zeros((2, ready.ear.frequency.size))
    for name, each in ready.solver.solve(build).channels.items():
        if name in known or build.channel(name).driven_by is not None or each.idle[0, 0]:
            continue
        through = np.abs(1.0 / (each.plug_impedance + each.source_resistance))
        level = np.abs(np.stack([each.unfiltered.settings[0], each.settings[0]]))
        total += np.sqrt(2.0) * level * np.ravel(through)
    return total


def _least_of(money: FloatArray) -> float:
    """Return the least of some prices, those that are not known left out."""
    return float(np.min(money, where=~np.isnan(money), initial=np.inf))
