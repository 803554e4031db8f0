"""What the options of units that are wired in one way admit, channel by channel."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray
from conewright.stages.choose.mounted.driven import Middle, middle_of, solved_branch
from conewright.stages.choose.mounted.plan_rows import run_of

if TYPE_CHECKING:
    from conewright.stages.choose.mounted.driven import Hanging, Twinned
    from conewright.stages.choose.mounted.prepared import Prepared, UnitOptions

__all__ = ["Admittances"]

BLOCK = 1024
"""Options that are solved together: all at once take much memory."""


class Admittances:
    """Admittances of the options of units [S].

    Args:
        ready: the space.
        units: options.
        hangings: what each unit hangs on its channels.
        twins: of these, those together that are alike.
        fitted: whether an option of a unit brings a part of the catalogue.

    """

    def __init__(
        self,
        ready: Prepared,
        units: Sequence[UnitOptions],
        hangings: Sequence[Sequence[Hanging]],
        twins: Sequence[Sequence[Twinned]],
        fitted: Sequence[NDArray[np.bool_]],
    ) -> None:
        self._ready, self._units, self._hangings = ready, units, hangings
        self._twins, self._fitted = twins, fitted
        self._middles: dict[tuple[int, str, bool], Middle] = {}

    @cached_property
    def cold(self) -> tuple[dict[str, ComplexArray], ...]:
        """Of every option with cold coils, by unit and channel; one array where they are alike."""
        every = [np.arange(len(unit)) for unit in self._units]
        return tuple(self._solved(unit, rows, hot=False) for unit, rows in enumerate(every))

    def of(self, unit: int, rows: NDArray[np.intp]) -> dict[str, tuple[ComplexArray, ComplexArray]]:
        """Return those of some options of a unit, cold and hot, by channel.

        Those with hot coils are worked out when they are asked for: all of them take much memory.
        """
        hot, known = self._solved(unit, rows, hot=True), self.cold[unit]
        return {name: (known[name][run_of(rows)], each) for name, each in hot.items()}

    def middle(self, unit: int, name: str, *, fitted: bool) -> Middle:
        """Return the middle of a unit's options on a channel: of those that bring a part of the
        catalogue, or of the others.
        """
        key = (unit, name, fitted)
        if key not in self._middles:
            rows = np.flatnonzero(self._fitted[unit] == fitted)
            every = self.of(unit, rows)
            self._middles |= {(unit, n, fitted): middle_of(*both) for n, both in every.items()}
        return self._middles[key]

    def _solved(self, unit: int, rows: NDArray[np.intp], *, hot: bool) -> dict[str, ComplexArray]:
        found: dict[str, ComplexArray] = {}
        names = {each.places: each.channel.id for each in self._hangings[unit]}
        for each in self._twins[unit]:
            parts = [np.zeros((0, self._ready.ear.frequency.size), dtype=complex)]
            for start in range(0, len(rows), BLOCK):
                some, first = rows[start : start + BLOCK], each.first
                there = self._ready.options_in(self._units[unit], some, only=first.places)
                parts.append(solved_branch(first.at(some), there, hot=hot)[0])
            admittance = parts[1] if len(parts) == 2 else np.concatenate(parts)
            found |= {names[places]: admittance for places in each.places}
        return found
