"""Groups of channels of whole plans, as they are: nothing that stands on a channel is bounded.

What reaches the seat adds over the groups, with phases where it does so; what they share is the
radio, whose supply sags by what all of them draw. So each group is solved once for all plans that
take it, and a plan is a sum. That is the exact answer but for rounding; where an amplifier or an
open back takes part, it bounds from above.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray, squared_magnitude
from conewright.physics.basics.programme import (
    current_equivalent_resistance,
    equivalent_resistance,
    programme_weights,
)
from conewright.physics.electrics import amplifier
from conewright.stages.choose.mounted.driven import Driven, Middle, Twinned, driven_of
from conewright.stages.choose.mounted.ear import Transfer
from conewright.stages.choose.mounted.option_numbers import HIGHEST, LOWEST, MOVES_UP_TO
from conewright.stages.common.load import EASY
from conewright.stages.hear.ceiling import PEAK_TO_RMS

if TYPE_CHECKING:
    from conewright.stages.choose.cells.wirings import Wiring

__all__ = ["Whole", "WholeSolver", "stacked_wholes"]

BLOCK = 256

NONE = np.zeros((1, 1))


@dataclass(eq=False)
class Whole:
    """Groups of channels with all that stands on them; rows are these.

    Attributes:
        bass: pressure in the common space of the bass [Pa/V], (rows, dimensions).
        slack: how far the norm of a sum with it may be off [Pa/V].
        coherent: pressure where sources add with their phases [Pa/V], (rows, points).
        treble, powers: as in `GAINS`.
        ceiling: where travel, heat and amps end a programme [V].
        load: least impedance over what is borne [1].
        heat: in the chip of the radio, with loud programme [W].
        taken: by channel, share of the supply per volt but for the sag, (rows, channels, F).
        drawn: peak current of all channels of the radio per volt [A/V], (rows, F).
        flat, flat_drawn: the same without any high-pass, up to where cones travel.
        asked: peak current of each channel without any high-pass [A/V].
        travel: of each cone over its Xmax per volt at its channel [1/V], (rows, cones, F).

    """

    bass: ComplexArray
    slack: FloatArray
    coherent: ComplexArray
    treble: FloatArray
    powers: FloatArray
    ceiling: FloatArray
    load: FloatArray
    heat: FloatArray
    taken: FloatArray
    drawn: FloatArray
    flat: FloatArray
    flat_drawn: FloatArray
    asked: FloatArray
    travel: FloatArray

    def at(self, rows: NDArray[np.intp]) -> Whole:
        """Return some of them."""
        return Whole(**{name: values[rows] for name, values in vars(self).items()})


def stacked_wholes(parts: Iterable[Whole]) -> Whole:
    """Return groups of channels of one wiring one after the other."""
    every = [vars(each) for each in parts]
    return Whole(**{name: np.concatenate([each[name] for each in every]) for name in every[0]})


class WholeSolver:
    """Solves groups of channels that are wired alike.

    Attributes:
        cones: by cone of `Whole.travel`, the channel of `Whole.flat`.

    """

    def __init__(self, wiring: Wiring) -> None:
        self._wiring, self._ready, self._ear = wiring, wiring.ready, wiring.ready.ear
        self._weights = programme_weights(frequency=self._ear.frequency)
        self._low = self._ear.frequency < MOVES_UP_TO
        self._units = [wiring.parted(unit) for unit in range(len(wiring.units))]
        self._transfers = [
            wiring.transfer(unit) if every else None for unit, every in enumerate(self._units)
        ]
        self._hung = {h.channel.id: h for every in wiring.hangings for h in every}
        alike: dict[object, list[str]] = {}
        for name in self._hung:
            key = tuple(wiring.alike_at(unit, name) for unit in range(len(self._units)))
            alike.setdefault(key, []).append(name)
        self._channels = {names[0]: len(names) for names in alike.values()}
        first = {name: names[0] for names in alike.values() for name in names}
        order = list(self._channels)
        self.cones: list[int] = []
        self._at = {name: order.index(first[name]) for name in self._hung}

    def solve(
        self,
        forms: NDArray[np.intp],
        corners: NDArray[np.intp],
        rows: Sequence[NDArray[np.intp]],
    ) -> Whole:
        """Return groups of channels.

        Args:
            forms: of each.
            corners: position of the high-pass of each.
            rows: by unit, the option that each takes.

        """
        found = []
        for start in range(0, len(forms), BLOCK):
            some = slice(start, start + BLOCK)
            found.append(self._solve(forms[some], corners[some], [each[some] for each in rows]))
        return found[0] if len(found) == 1 else stacked_wholes(found)

    def _solve(
        self,
        forms: NDArray[np.intp],
        corners: NDArray[np.intp],
        rows: Sequence[NDArray[np.intp]],
    ) -> Whole:
        ear, count = self._ear, len(forms)
        admittances = [
            self._wiring.admittances.of(unit, chosen) for unit, chosen in enumerate(rows)
        ]
        whole = self._electric(admittances, corners, count)
        self.cones = []
        travel = []
        for unit, every in enumerate(self._units):
            mounted = self._ready.options_in(self._wiring.units[unit], rows[unit])
            transfer = self._transfers[unit]
            for each in every:
                assert transfer is not None
                beside = _beside(unit, each.first.channel.id, admittances, ear.frequency.size)
                twins = Twinned(each.first.at(rows[unit]), each.places)
                for one in driven_of(twins, beside, mounted):
                    through = self._wiring.passed[one.channel][corners]
                    self._hear(whole, one, through, _rows_of(transfer, rows[unit]), forms)
                    self._end(whole, one, through)
                    if not each.first.idle and each.first.channel.driven_by is None:
                        self.cones.append(self._at[one.channel])
                        travel.append(self._moved(one, through))
            self._open(whole, unit, forms, corners, rows)
        if travel:
            whole.travel = np.stack(travel, axis=1)
        return whole

    # --- Heard ------------------------------------------------------------------------------------

    def _hear(
        self,
        whole: Whole,
        one: Driven,
        through: ComplexArray,
        transfer: Transfer,
        forms: NDArray[np.intp],
    ) -> None:
        ear, low, columns = self._ear, self._ear.coherent, self._ear.bass_columns
        heard = one.flow * through
        weight: FloatArray = np.zeros((1, ear.frequency.size))
        for place in one.places:
            answer = transfer.grid[place]
            weight = weight + squared_magnitude(answer) + ear.diffuse * transfer.power[place]
        size = squared_magnitude(heard) * weight * ear.share
        whole.treble += size @ ear.treble
        whole.powers += size @ ear.overall
        linear = all(place in self._ready.factors for place in one.places)
        for form in np.unique(forms):
            here = np.flatnonzero(forms == form)
            signs = self._wiring.signs_at(int(form))
            hosts = [signs[place.removesuffix(".tweeter")] for place in one.places]
            for place, sign in zip(one.places, hosts, strict=True):
                answer = transfer.grid[place]
                answer = answer if len(answer) == 1 else answer[here]
                whole.coherent[here] += sign * answer[:, low] * heard[here][:, low]
            if linear:
                pairs = zip(one.places, hosts, strict=True)
                factor = sum(sign * self._ready.factors[place] for place, sign in pairs)
                whole.bass[here] += heard[here][:, columns] @ np.asarray(factor).T

    def _open(
        self,
        whole: Whole,
        unit: int,
        forms: NDArray[np.intp],
        corners: NDArray[np.intp],
        rows: Sequence[NDArray[np.intp]],
    ) -> None:
        """Add the bass of a unit that is open behind as slack: its flow says not all of it."""
        places = (place for each in self._units[unit] for some in each.places for place in some)
        if all(place in self._ready.factors for place in places):
            return
        for index in range(len(forms)):
            beside = sum(
                1 << other
                for other, fitted in enumerate(self._wiring.fitted)
                if other != unit and fitted[rows[other][index]]
            )
            _, signs = self._wiring.signs_of(int(forms[index]), unit)
            known = self._wiring.numbers(unit, beside).at(int(corners[index]), signs)
            whole.slack[index] += known.gains[rows[unit][index], 0]

    # --- Ends -------------------------------------------------------------------------------------

    def _end(self, whole: Whole, one: Driven, through: ComplexArray) -> None:
        """Take in where travel and heat of a cone end a programme."""
        slow = self._weights / (2.0 * np.pi * self._ear.frequency) ** 2
        passed, options = squared_magnitude(through), one.options
        travel = (squared_magnitude(one.velocity) * passed) @ slow
        current = (squared_magnitude(one.current) * passed) @ self._weights
        by_travel = np.ravel(options.clean) / (PEAK_TO_RMS * np.sqrt(travel))
        by_heat = np.sqrt(np.ravel(options.power / options.hot.re) / current)
        whole.ceiling = np.minimum(whole.ceiling, np.minimum(by_travel, by_heat))

    def _moved(self, one: Driven, through: ComplexArray) -> FloatArray:
        """Return the peak travel of a cone over its Xmax for a volt of programme's bass."""
        low = self._low
        return one.peak_travel(self._ear.frequency, low) * np.abs(through[:, low])

    def _electric(
        self,
        admittances: Sequence[Mapping[str, tuple[ComplexArray, ComplexArray]]],
        corners: NDArray[np.intp],
        count: int,
    ) -> Whole:
        """Return what the channels ask of what drives them; what is heard is still nothing."""
        ear, low = self._ear, self._low
        size, points = ear.frequency.size, int(low.sum())
        channels = len(self._channels)
        space = len(next(iter(self._ready.factors.values()), ()))
        whole = Whole(
            bass=np.zeros((count, space), dtype=complex),
            slack=np.zeros(count),
            coherent=np.zeros((count, int(ear.coherent.sum())), dtype=complex),
            treble=np.zeros(count),
            powers=np.zeros(count),
            ceiling=np.full(count, np.inf),
            load=np.full(count, np.inf),
            heat=np.zeros(count),
            taken=np.zeros((count, channels, size)),
            drawn=np.zeros((count, size)),
            flat=np.zeros((count, channels, points)),
            flat_drawn=np.zeros((count, points)),
            asked=np.zeros((count, channels, points)),
            travel=np.zeros((count, 0, points)),
        )
        audible = (ear.frequency > LOWEST) & (ear.frequency < HIGHEST)
        for index, (name, several) in enumerate(self._channels.items()):
            hanging = self._hung[name]
            if hanging.idle:
                continue
            own = hanging.circuit.source_resistance
            total = sum(each[name][0] for each in admittances if name in each)
            plug = 1.0 / np.asarray(total) + (hanging.source - own)
            borne = self._ready.least_load(self._wiring.radio, name)
            least = np.abs(plug[:, audible]).min(axis=1) / borne
            whole.load = np.minimum(whole.load, least)
            level = np.sqrt(2.0) * np.abs(hanging.level)
            passed = np.abs(self._wiring.passed[name][corners])
            drawn = level / np.abs(plug + own)
            output = self._wiring.outputs[name]
            lost = level * np.abs((plug + output.clip) / (plug + own)) / output.swing
            if hanging.channel.driven_by is not None:
                volts = output.by_volts(np.square(lost * passed) @ self._weights)
                amps = output.by_amps(np.square(drawn * passed) @ self._weights)
                whole.ceiling = np.minimum(whole.ceiling, np.minimum(volts, amps))
                continue
            whole.drawn += several * drawn * passed
            whole.taken[:, index] = lost * passed
            amps = output.by_amps(np.square(drawn * passed) @ self._weights)
            whole.ceiling = np.minimum(whole.ceiling, amps)
            # A low-pass that is set turns no knob up either.
            plain = (hanging.flat / level)[:, low]
            whole.flat_drawn += several * drawn[:, low] * plain
            whole.flat[:, index] = lost[:, low] * plain
            whole.asked[:, index] = drawn[:, low] * plain
            whole.heat += several * self._heat(plug)
        return whole

    def _heat(self, plug: ComplexArray) -> FloatArray:
        """Return the heat that a channel makes in the chip, with loud programme [W]."""
        output, frequency = self._wiring.output, self._ear.frequency
        admittance = 1.0 / plug
        resistance = current_equivalent_resistance(admittance=admittance, frequency=frequency)
        clean = amplifier.clean_peak_voltage(
            supply=output.swing * output.supply,
            clip_loss=output.clip,
            impedance=resistance.astype(complex),
        )
        return amplifier.programme_heat(
            supply=output.swing * output.supply,
            peak_voltage=clean,
            resistance=resistance,
            power_resistance=equivalent_resistance(admittance=admittance, frequency=frequency),
            fraction=EASY,
        )


def _beside(
    unit: int,
    name: str,
    admittances: Sequence[Mapping[str, tuple[ComplexArray, ComplexArray]]],
    size: int,
) -> Middle:
    """Return what stands beside a unit on a channel, row by row."""
    cold, hot = np.zeros((2, 1, size), dtype=complex)
    for other, known in enumerate(admittances):
        if other != unit and name in known:
            cold, hot = cold + known[name][0], hot + known[name][1]
    return Middle(cold, NONE, hot, NONE)


def _rows_of(transfer: Transfer, rows: NDArray[np.intp]) -> Transfer:
    """Return what places do at the ear for some options."""

    def some(table: Mapping[str, NDArray[np.generic]]) -> dict[str, NDArray[np.generic]]:
        return {
            place: values[rows] if np.ndim(values) > 1 and len(values) > 1 else values
            for place, values in table.items()
        }

    return Transfer(some(transfer.grid), {}, some(transfer.power))  # type: ignore[arg-type]
