"""What the radio's channels drive and what that asks of it, solved once for all that ask."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import Draws
from conewright.job.builds.resolve_electrics import USUAL_SYSTEM
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import AmplifierState, FeedState, HeadUnitState
from conewright.job.builds.states.value import Value
from conewright.job.builds.typical import typical
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import (
    HARD_PROGRAMME,
    NORMAL_PROGRAMME,
    current_equivalent_resistance,
    equivalent_resistance,
    programme_weights,
)
from conewright.physics.electrics import amplifier
from conewright.physics.electrics.conductor import (
    COPPER_RESISTIVITY,
    level_loss,
    over_copper,
)
from conewright.physics.electrics.converter import input_current, peak_current_within
from conewright.stages.common.circuit import ChannelCircuit, Circuit, Solver
from conewright.stages.common.damage import OPEN_FROM

__all__ = [
    "BATTERY_RESISTANCE",
    "CHASSIS_RESISTANCE",
    "EASY",
    "HARD",
    "HOTTEST_CHIP",
    "AmplifierLoad",
    "ChannelLoad",
    "CleanPowers",
    "RadioLoad",
    "asleep",
    "besides",
    "load_of",
    "lowest_borne",
    "overloaded",
    "radio_load",
    "supply_limit",
    "volts_over_usual",
]

EASY, HARD = NORMAL_PROGRAMME, HARD_PROGRAMME
"""Mean power of loud and of hard-pressed programme over that of a sine that just clips."""

LEAST_CURRENT = 1e-12
"""Current that counts as one at all [A]."""

HOTTEST_CHIP = 573.15
"""What would be hotter has long protected itself, or is dead; no figure goes beyond [K]."""


BATTERY_RESISTANCE, CHASSIS_RESISTANCE = 0.010, 0.004
"""Of a starter battery, and of the way back through the body [ohm]; from memory."""


@dataclass(frozen=True)
class ChannelLoad:
    """One channel; rows are draws, row 0 central, one column."""

    channel: ChannelCircuit
    frequency: FloatArray

    @cached_property
    def _heard(self) -> ComplexArray:
        """Impedance at the plug over the audible range only [ohm]."""
        return self.channel.plug_impedance[..., _audible(self.frequency)]

    @cached_property
    def lowest_at(self) -> int:
        """Column of the lowest audible impedance, central values."""
        return int(np.flatnonzero(_audible(self.frequency))[np.argmin(np.abs(self._heard[0]))])

    @property
    def lowest_frequency(self) -> float:
        """Frequency of the lowest impedance [Hz]."""
        return float(self.frequency[self.lowest_at])

    @cached_property
    def minimum_impedance(self) -> FloatArray:
        """Lowest modulus at the plug from 20 Hz to 20 kHz, cable included [ohm]."""
        return np.asarray(np.abs(self._heard).min(axis=-1, keepdims=True))

    @cached_property
    def equivalent_resistance(self) -> FloatArray:
        """Resistance that draws the same programme current from the radio [ohm]."""
        return current_equivalent_resistance(
            admittance=1.0 / self.channel.plug_impedance, frequency=self.frequency
        ).reshape(-1, 1)

    @cached_property
    def power_resistance(self) -> FloatArray:
        """Resistance that takes the same programme power from the radio [ohm]."""
        return equivalent_resistance(
            admittance=1.0 / self.channel.plug_impedance, frequency=self.frequency
        ).reshape(-1, 1)

    @property
    def conducts(self) -> bool:
        """Whether an ohm-meter at the plug reads a resistance."""
        return bool(np.all(self.channel.plug_resistance < OPEN_FROM))

    @property
    def closed(self) -> bool:
        """Whether there is a way for current at any frequency, central state."""
        return bool(self.minimum_impedance[0, 0] < OPEN_FROM)

    @property
    def idle(self) -> bool:
        """Whether nothing on it plays, central state: open, shorted, or without a drive."""
        return bool(self.channel.idle[0, 0])

    @cached_property
    def working_load(self) -> ComplexArray:
        """The load that a clean sine is reckoned into [ohm].

        The d.c. resistance at the plug, the hardest load a cone asks for over most of its range;
        where there is no d.c. path, or nothing but cable in it, the impedance where it is lowest.
        """
        if self.conducts and np.all(self.channel.plug_resistance > self.channel.cable_resistance):
            return np.asarray(self.channel.plug_resistance + 0j)
        return self.channel.plug_impedance[:, [self.lowest_at]]

    @cached_property
    def cable_loss(self) -> FloatArray:
        """Level lost in the cable [dB]."""
        beyond = np.abs(self.working_load - self.channel.cable_resistance)
        return np.asarray(level_loss(series=self.channel.cable_resistance, load=beyond))


@dataclass(frozen=True)
class CleanPowers:
    """Powers of the largest clean sine by channel [W].

    Attributes:
        alone: of a channel alone; a converter gives no more than it can.
        together: all channels at once, the feed sagging; where a converter gives too little, every
            channel is turned down by the same factor.
        fed: the same where what feeds the radio gives whatever it is asked for.

    """

    alone: Mapping[str, FloatArray]
    together: Mapping[str, FloatArray]
    fed: Mapping[str, FloatArray]


@dataclass(frozen=True)
class AmplifierLoad:
    """An amplifier with the channels of it that play; every array has one row a draw."""

    state: AmplifierState
    cable: FeedState | None
    supply: FloatArray
    draws: Draws
    channels: Mapping[str, ChannelLoad]

    @cached_property
    def clip_loss(self) -> FloatArray:
        """Extra loss at the clip point [ohm]."""
        return self.draws(self.state.clip_loss)

    @cached_property
    def allowed(self) -> FloatArray:
        """Lowest impedance that a channel of it bears [ohm]."""
        return lowest_borne(self.state, self.draws)

    @cached_property
    def clean_volts(self) -> FloatArray:
        """Clean rms volts of one channel into the load that its rating is for [V]."""
        clean, load = self.draws(self.state.clean), self.draws(self.state.clean_load)
        by_power = self.state.clean.quantity.dimension == "power"
        return np.asarray(np.sqrt(clean * load) if by_power else clean)

    @cached_property
    def swing(self) -> FloatArray:
        """Peak volts of an open output, its supply not sagging [V]."""
        load = self.draws(self.state.clean_load)
        return amplifier.open_swing(volts=self.clean_volts, load=load, clip_loss=self.clip_loss)

    @cached_property
    def most_current(self) -> FloatArray:
        """Peak current that its rated load may ask for, and no more [A]."""
        return np.asarray(self.swing / (self.allowed + self.clip_loss))

    def peak_current(self, load: ChannelLoad) -> FloatArray:
        """Peak current of the largest clean sine into a load, its supply not sagging [A]."""
        by_volts = self.swing / np.abs(load.working_load + self.clip_loss)
        return np.minimum(by_volts, self.most_current)

    @cached_property
    def sine_output(self) -> FloatArray:
        """What all its channels give at full sine, its supply not sagging [W]."""
        peaks = (
            0.5 * self.peak_current(load) ** 2 * np.real(load.working_load)
            for load in self.channels.values()
        )
        return np.asarray(sum(peaks, start=np.zeros((1, 1))))

    @cached_property
    def feed_resistance(self) -> FloatArray:
        """Of what feeds it: as written, else of its cable, battery and body, else typical [ohm]."""
        cable, written = self.cable, self.state.feed_resistance
        if cable is None or written.origin.value in ("measured", "sheet"):
            return self.draws(written)
        if cable.length is None or cable.size is None:
            return self.draws(written)
        ways = 2.0 if cable.return_by == "cable" else 1.0
        copper = COPPER_RESISTIVITY * ways * self.draws(cable.length) / self.draws(cable.size)
        body = CHASSIS_RESISTANCE if cable.return_by == "chassis" else 0.0
        return np.asarray(over_copper(cable.metal) * copper + BATTERY_RESISTANCE + body)

    @cached_property
    def sag(self) -> FloatArray:
        """Supply left at it with full sine on all its channels, over that of the vehicle [1]."""
        return amplifier.fed_share(
            supply=self.supply,
            feed_resistance=self.feed_resistance,
            power=self.sine_output / self.draws(self.state.efficiency),
            rest_current=self.draws(self.state.quiescent_current),
        )

    @property
    def sine_supply_current(self) -> FloatArray:
        """Supply current with full sine on all its channels [A]."""
        given = self.sine_output * self.sag / self.draws(self.state.efficiency)
        return np.asarray(given / self.supply + self.draws(self.state.quiescent_current))

    @property
    def asked_current(self) -> FloatArray:
        """What its cable is asked for at most [A]: its own fuses, else full sine."""
        fuse = self.state.fuse
        return self.sine_supply_current if fuse is None else self.draws(fuse)

    def _taken(self, fraction: float) -> FloatArray:
        """Power that programme takes beyond rest [W]."""
        share = amplifier.programme_share(fraction=fraction, switching=self.state.switching)
        return np.asarray(self._programme * share / self.draws(self.state.efficiency))

    @cached_property
    def _programme(self) -> FloatArray:
        """Power of a sine as high as programme may peak, into what programme sees [W]."""
        powers = (
            0.5 * self.programme_ceiling(load) ** 2 / load.equivalent_resistance
            for load in self.channels.values()
        )
        return np.asarray(sum(powers, start=np.zeros((1, 1))))

    def programme_ceiling(self, load: ChannelLoad) -> FloatArray:
        """Peak volts at its output that programme is clipped at [V]."""
        return amplifier.clean_peak_voltage(
            supply=self.swing,
            clip_loss=self.clip_loss,
            impedance=load.equivalent_resistance.astype(complex),
        )

    def supply_current(self, fraction: float) -> FloatArray:
        """Mean supply current with programme on all its channels [A]."""
        rest = self.draws(self.state.quiescent_current)
        return np.asarray(self._taken(fraction) / self.supply + rest)

    def heat(self, fraction: float) -> FloatArray:
        """Heat in it with programme on all its channels, that of rest included [W]."""
        given = fraction * sum(
            0.5 * self.programme_ceiling(load) ** 2 / load.power_resistance
            for load in self.channels.values()
        )
        rest = self.supply * self.draws(self.state.quiescent_current)
        return np.asarray(np.maximum(self._taken(fraction) - given, 0.0) + rest)


@dataclass(frozen=True)
class RadioLoad:
    """The radio, the amplifiers and all channels; every array has one row a draw."""

    build: Build
    circuit: Circuit
    draws: Draws
    channels: Mapping[str, ChannelLoad]

    @cached_property
    def live(self) -> Mapping[str, ChannelLoad]:
        """The channels that play: of the others the radio is taken to give nothing."""
        return {name: load for name, load in self.channels.items() if not load.idle}

    @cached_property
    def by_radio(self) -> Mapping[str, ChannelLoad]:
        """Those that play by the radio's own power."""
        return {name: load for name, load in self.live.items() if name not in self._amplified}

    @cached_property
    def amplifiers(self) -> Mapping[str, AmplifierLoad]:
        """The amplifiers by id."""
        cables = {cable.id: cable for cable in self.build.feeds}
        return {
            state.id: AmplifierLoad(
                state,
                cables.get(state.feed or ""),
                self.supply,
                self.draws,
                {n: load for n, load in self.live.items() if self._amplified.get(n) == state.id},
            )
            for state in self.build.amplifiers
        }

    @cached_property
    def _amplified(self) -> Mapping[str, str]:
        """What drives each channel that the radio does not."""
        known = {each.id: each.driven_by for each in self.build.channels}
        unknown = {each.id: each.driven_by for each in self.build.unknown}
        return {name: unit for name, unit in (known | unknown).items() if unit is not None}

    def amplifier_of(self, channel: str) -> AmplifierLoad | None:
        """Return the amplifier that drives a channel, None for the radio."""
        name = self._amplified.get(channel)
        return None if name is None else self.amplifiers[name]

    def allowed_of(self, channel: str) -> FloatArray:
        """Return the lowest impedance that is borne by what drives a channel [ohm]."""
        unit = self.amplifier_of(channel)
        return self.allowed if unit is None else unit.allowed

    @cached_property
    def supply(self) -> FloatArray:
        """Supply at the plug, engine running, radio quiet [V]."""
        return self.draws(self.build.head_unit.supply)

    @cached_property
    def allowed(self) -> FloatArray:
        """Lowest impedance that the radio bears [ohm]."""
        return lowest_borne(self.build.head_unit, self.draws)

    @cached_property
    def _clip_loss(self) -> FloatArray:
        """Extra loss at the clip point [ohm]."""
        return self.draws(self.build.head_unit.clip_loss)

    @cached_property
    def _loaded_supply(self) -> FloatArray:
        """Supply left while all channels deliver their largest sine [V]."""
        radio = self.build.head_unit
        conductance = sum(
            1.0 / np.abs(load.working_load + self._clip_loss) for load in self.by_radio.values()
        )
        return amplifier.loaded_supply(
            supply=self.supply,
            supply_resistance=self.draws(radio.feed_resistance),
            conductance=self.build.head_unit.swing**2 * conductance,
            quiescent_current=self.draws(radio.quiescent_current),
        )

    def peak_current(self, channel: str, *, together: bool = False) -> FloatArray:
        """Peak current of the largest clean sine [A]: volts or the output's own limit.

        together: with all channels at once, the feed of radio and amplifier sagging.
        """
        unit = self.amplifier_of(channel)
        if unit is not None:
            most = unit.peak_current(self.channels[channel])
            return most * unit.sag if together else most
        supply = self._loaded_supply if together else self.supply
        load = self.channels[channel].working_load
        by_volts = self.build.head_unit.swing * supply / np.abs(load + self._clip_loss)
        return np.minimum(by_volts, self.draws(self.build.head_unit.peak_current))

    @cached_property
    def clean_powers(self) -> CleanPowers:
        """Power of the largest clean sine that reaches the loudspeakers, cable taken off [W]."""
        quiet = self.draws(self.build.head_unit.quiescent_current)
        limit = supply_limit(self.build, self.draws)
        most = (
            peak_current_within(limit=limit, quiescent_current=quiet) / self.build.head_unit.swing
        )
        asked = sum(self._peaks_together[name] for name in self.by_radio)
        share = np.minimum(1.0, most / np.maximum(asked, LEAST_CURRENT))
        alone = {name: self.peak_current(name) for name in self.channels}
        # What an amplifier drives is not fed through the radio.
        radio = self.channels.keys() - self._amplified.keys()
        held = {name: np.minimum(alone[name], most) for name in radio}
        turned = {name: share * self._peaks_together[name] for name in radio}
        return CleanPowers(
            alone=self._powers(alone | held),
            together=self._powers({**self._peaks_together, **turned}),
            fed=self._powers(self._peaks_together),
        )

    @cached_property
    def _peaks_together(self) -> Mapping[str, FloatArray]:
        """Peak currents with all channels at once and the feed sagging [A], by channel."""
        return {name: self.peak_current(name, together=True) for name in self.channels}

    def _powers(self, peaks: Mapping[str, FloatArray]) -> Mapping[str, FloatArray]:
        """Power of sines of some peak currents behind the cables [W], by channel."""
        beyond = {
            name: np.real(load.working_load) - load.channel.cable_resistance
            for name, load in self.channels.items()
        }
        return {name: np.asarray(0.5 * peaks[name] ** 2 * ohms) for name, ohms in beyond.items()}

    def heat(self, fraction: float) -> FloatArray:
        """Heat in the chip with programme on all channels, its quiescent current included [W].

        Behind a converter no more than all that it gives the chip.
        """
        total = self.supply * self.draws(self.build.head_unit.quiescent_current)
        for load in self.by_radio.values():
            total = total + amplifier.programme_heat(
                supply=self.build.head_unit.swing * self.supply,
                peak_voltage=self.programme_ceiling(load),
                resistance=load.equivalent_resistance,
                power_resistance=load.power_resistance,
                fraction=fraction,
            )
        return np.minimum(total, self.supply * supply_limit(self.build, self.draws))

    def chip_temperature(self, fraction: float) -> FloatArray:
        """Junction temperature [K], no higher than HOTTEST_CHIP."""
        radio = self.build.head_unit
        reached = amplifier.junction_temperature(
            ambient=self.draws(radio.dash),
            thermal_resistance=self.draws(radio.junction_to_dash),
            heat=self.heat(fraction),
        )
        return np.asarray(np.minimum(reached, HOTTEST_CHIP))

    def supply_current(self, fraction: float) -> FloatArray:
        """Mean supply current with programme on all channels [A]."""
        music = sum(
            amplifier.programme_current(
                peak_voltage=self.programme_ceiling(load),
                resistance=load.equivalent_resistance,
                fraction=fraction,
            )
            for load in self.by_radio.values()
        )
        return np.asarray(
            self.build.head_unit.swing * music + self.draws(self.build.head_unit.quiescent_current)
        )

    @cached_property
    def sine_supply_current(self) -> FloatArray:
        """Mean supply current that a full sine on all channels asks for [A]."""
        peaks = sum(self._peaks_together[name] for name in self.by_radio)
        quiet = self.draws(self.build.head_unit.quiescent_current)
        return np.asarray(
            amplifier.supply_current(
                peak_current=self.build.head_unit.swing * peaks, channels=1, quiescent_current=quiet
            )
        )

    def power_share(self, location: str) -> FloatArray:
        """Share of its channel's programme power that a loudspeaker takes [1]."""
        here = self.circuit.locations[location]
        channel = self.channels[here.channel].channel
        whole = channel.load_impedance
        across = whole / (channel.plug_impedance + channel.source_resistance)
        weights = programme_weights(frequency=self.circuit.frequency)
        taken = np.sum(weights * _power(here.drive, here.impedance), axis=-1, keepdims=True)
        whole_power = np.sum(weights * _power(across, whole), axis=-1, keepdims=True)
        return np.asarray(taken / whole_power)

    def programme_ceiling(self, load: ChannelLoad) -> FloatArray:
        """Peak volts at the plug that programme is clipped at [V]."""
        unit = self.amplifier_of(load.channel.id)
        if unit is not None:
            return unit.programme_ceiling(load)
        return amplifier.clean_peak_voltage(
            supply=self.build.head_unit.swing * self.supply,
            clip_loss=self._clip_loss,
            impedance=load.equivalent_resistance.astype(complex),
        )


def radio_load(build: Build, solver: Solver) -> RadioLoad:
    """Solve a build for what its radio drives."""
    return solver.once(build, RadioLoad, lambda: _radio_load(build, solver))


def supply_limit(build: Build, draws: Draws) -> FloatArray:
    """Return the most mean current that its output chip is fed for good [A].

    Inf without a converter; of one what the rest of the radio leaves.
    """
    if build.converter is None:
        return np.full((1, 1), np.inf)
    left = draws(build.converter.rated_current) - besides(build, draws)
    return np.asarray(np.maximum(left, 0.0))


def besides(build: Build, draws: Draws) -> FloatArray:
    """Return what a radio behind a converter draws besides its output chip [A]."""
    found = None if build.converter is None else build.converter.besides
    return np.zeros((1, 1)) if found is None else draws(found)


def asleep(build: Build, radio: FloatArray, drawn: Callable[[Value], FloatArray]) -> FloatArray:
    """Return what a radio, and a converter before it, draw from the battery with the key out [A].

    Args:
        build: the build.
        radio: what the radio draws at its plug [A].
        drawn: gives the draws of a value.

    """
    converter = build.converter
    if converter is None:
        return radio
    through = input_current(
        output_voltage=drawn(build.head_unit.supply),
        output_current=radio,
        efficiency=drawn(converter.efficiency),
        input_voltage=drawn(build.vehicle.rest_voltage),
    )
    return through + drawn(converter.idle_current)


def volts_over_usual(build: Build) -> float:
    """Return the volts that feed a radio over those of a usual 12 V vehicle [1]."""
    if build.converter is None and build.vehicle.system == USUAL_SYSTEM:
        return 1.0
    usual = typical("system", USUAL_SYSTEM, "charging_voltage").quantity.value
    if build.converter is not None:
        return build.converter.output.si / usual
    own = typical("system", build.vehicle.system, "charging_voltage").quantity.value
    return own / usual


def lowest_borne(source: HeadUnitState | AmplifierState, draws: Draws) -> FloatArray:
    """Return the lowest impedance that an output bears [ohm], shape (1 + samples, 1)."""
    return np.asarray(amplifier.lowest_impedance(rated=draws(source.minimum_load)))


def overloaded(load: RadioLoad) -> tuple[str, ...]:
    """Return the channels whose load falls below what their output bears, central values."""
    return tuple(
        name
        for name, channel in load.live.items()
        if channel.minimum_impedance[0, 0] < load.allowed_of(name)[0, 0]
    )


def _radio_load(build: Build, solver: Solver) -> RadioLoad:
    return load_of(build, solver.solve(build), solver.draws)


def load_of(build: Build, circuit: Circuit, draws: Draws) -> RadioLoad:
    """Return what a circuit that is solved asks of the radio and the amplifiers."""
    loads = {
        name: ChannelLoad(channel, circuit.frequency) for name, channel in circuit.channels.items()
    }
    return RadioLoad(build, circuit, draws, loads)


def _audible(frequency: FloatArray) -> NDArray[np.bool_]:
    """Mask of 20 Hz to 20 kHz, the exact bands of that name included."""
    return np.asarray((frequency > 19.9) & (frequency < 20_010.0))


def _power(voltage: ComplexArray, impedance: ComplexArray) -> FloatArray:
    return np.abs(voltage) ** 2 * np.real(1.0 / impedance)
