"""What whole plans come to, as sums over their groups of channels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.physics.basics.arrays import FloatArray, squared_magnitude
from conewright.physics.basics.programme import programme_weights
from conewright.physics.electrics.amplifier import junction_temperature
from conewright.stages.choose.cells.form_cells import drawn_alone
from conewright.stages.choose.mounted.option_numbers import MOVES_UP_TO
from conewright.stages.common.load import HOTTEST_CHIP
from conewright.stages.report.having import may_have

if TYPE_CHECKING:
    from conewright.stages.choose.engine.wholes import Whole
    from conewright.stages.choose.mounted.output import Output
    from conewright.stages.choose.mounted.prepared import Prepared

__all__ = ["Radio", "Sums"]

CARRIED = 1e-6
"""What singular vectors that were left out may carry of a norm."""

TINY = 1e-300


@dataclass(frozen=True, eq=False)
class Sums:
    """Plans: bounds that differ from what they come to by rounding, as far as all is known.

    Attributes:
        gains: as in `GAINS`, shape (plans, gains).
        ceiling: [V].
        load: least impedance over what is borne, at most [1].
        chip: temperature with loud music, at least [K].
        travel: peak travel over Xmax, at least [1].

    """

    gains: FloatArray
    ceiling: FloatArray
    load: FloatArray
    chip: FloatArray
    travel: FloatArray


class Radio:
    """A radio with the channels that no plan changes."""

    def __init__(self, ready: Prepared, r: int, output: Output) -> None:
        self._output, self._ear = output, ready.ear
        self._weights = programme_weights(frequency=ready.ear.frequency)
        self._alone = ready.ear.overall[ready.ear.coherent] * (
            1.0 - ready.ear.share[ready.ear.coherent]
        )
        self._low = ready.ear.frequency < MOVES_UP_TO
        build = ready.frame(r, [0] * len(ready.space.channels))
        draws = ready.centre
        head = build.head_unit
        self._warms = may_have(build, "output-chip")
        self._dash, self._rth = (
            float(draws(value)[0, 0]) for value in (head.dash, head.junction_to_dash)
        )
        # Of what is not searched only what it draws without any filter, as it does at most.
        self._besides = drawn_alone(ready, r)[0][self._low]

    def sums(self, groups: Sequence[Whole], cones: Sequence[Sequence[int]]) -> Sums:
        """Return what plans come to.

        Args:
            groups: of channels, a row of each for every plan.
            cones: by group, the channel of each cone.

        """
        vectors = np.asarray(sum(each.bass for each in groups))
        bass = np.sqrt(squared_magnitude(vectors).sum(axis=1))
        bass = bass * (1.0 + CARRIED) + sum(each.slack for each in groups)
        coherent = np.sqrt(
            squared_magnitude(np.asarray(sum(each.coherent for each in groups))) @ self._alone
        )
        treble = sum(each.treble for each in groups)
        powers = sum(each.powers for each in groups)
        return Sums(
            gains=np.stack([bass, treble, coherent, powers], axis=1),
            ceiling=self._ceiling(groups),
            load=np.min([each.load for each in groups], axis=0),
            chip=self._chip(groups),
            travel=self._travel(groups, cones),
        )

    def alone(self, whole: Whole, cones: Sequence[int], besides: FloatArray) -> Sums:
        """Return what groups of channels add, beside any others.

        Args:
            whole: the groups.
            cones: channel of each cone.
            besides: what all other channels draw per volt at most, and at least [A/V], (2, F).

        """
        bass = np.sqrt(squared_magnitude(whole.bass).sum(axis=1)) * (1.0 + CARRIED) + whole.slack
        coherent = np.sqrt(squared_magnitude(whole.coherent) @ self._alone)
        return Sums(
            gains=np.stack([bass, whole.treble, coherent, whole.powers], axis=1),
            ceiling=self._ceiling([whole], besides[1]),
            load=whole.load,
            chip=np.zeros(len(bass)),
            travel=self._travel([whole], [cones], besides[0][self._low]),
        )

    def _ceiling(self, groups: Sequence[Whole], besides: FloatArray | float = 0.0) -> FloatArray:
        output = self._output
        least = np.min([each.ceiling for each in groups], axis=0)
        drawn = besides + sum(each.drawn for each in groups)
        least = np.minimum(least, output.by_feed(np.square(drawn) @ self._weights))
        sag = output.sagging * drawn
        for each in groups:
            for channel in range(each.taken.shape[1]):
                taken = each.taken[:, channel]
                squared = np.square(taken + sag) @ self._weights
                heard = taken.any(axis=1)
                volts = output.by_volts(np.maximum(squared, TINY))
                least = np.where(heard, np.minimum(least, volts), least)
        return np.asarray(least)

    def _travel(
        self,
        groups: Sequence[Whole],
        cones: Sequence[Sequence[int]],
        besides: FloatArray | None = None,
    ) -> FloatArray:
        output = self._output
        drawn = (self._besides if besides is None else besides) + sum(
            each.flat_drawn for each in groups
        )
        sag, most = output.sagging * drawn, np.zeros(len(groups[0].slack))
        mean = 2.0 / np.pi * output.swing * np.maximum(drawn, TINY)
        fed = max(output.limit - output.quiet, 0.0) / mean
        for each, channels in zip(groups, cones, strict=True):
            for cone, channel in enumerate(channels):
                volts = output.supply / np.maximum(each.flat[:, channel] + sag, TINY)
                amps = output.peak / np.maximum(each.asked[:, channel], TINY)
                emf = np.minimum(volts, np.minimum(amps, fed))
                most = np.maximum(most, (emf * each.travel[:, cone]).max(axis=1))
        return most

    def _chip(self, groups: Sequence[Whole]) -> FloatArray:
        output = self._output
        if not self._warms:
            return np.zeros(len(groups[0].slack))
        heat = output.supply * output.quiet + sum(each.heat for each in groups)
        heat = np.minimum(heat, output.supply * output.limit)
        reached = junction_temperature(ambient=self._dash, thermal_resistance=self._rth, heat=heat)
        return np.asarray(np.minimum(reached, HOTTEST_CHIP))
