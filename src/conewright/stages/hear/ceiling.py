"""How loud a build plays cleanly, and what stops it: volts, amps, cone travel or coil heat.

The network is linear, so every response scales with the EMF at the volume knob; the ceiling is the
smallest EMF at which one of the limits is met.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.document.places import ON_FRAME
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.programme import programme_weights
from conewright.stages.common.circuit import ChannelCircuit, Circuit
from conewright.stages.common.damage import clean_travel
from conewright.stages.common.load import AmplifierLoad, load_of, supply_limit

__all__ = [
    "LEAST_LEFT",
    "LIMITS",
    "PEAK_TO_RMS",
    "Ceiling",
    "ceiling_at",
    "channel_of",
    "clean_ceiling",
    "fed_too_little",
    "programme_ceiling",
    "radio_ceiling",
]

LIMITS = ("volts", "amps", "travel", "heat")
"""What can bind, in the order of the codes in `Ceiling.binding`."""

PEAK_TO_RMS = 4.0
"""Peak of the test programme over its rms value: 12 dB, which is one eighth of the power of a sine
of the same peak."""

LEAST_CURRENT = 1e-12
"""Mean current for each volt that counts as one at all [A/V]."""

LEAST_LEFT = 1e-3
"""Mean current that a converter leaves the outputs at least: next to nothing is heard [A]."""

UNBOUND = 1e12
"""Times the ceiling of what plays: no bound, and still a number."""

LEAST = 1e-9
"""Least share of the knob that counts, far up a filter's slope [1]: a ceiling stays a number."""


@dataclass(frozen=True)
class Ceiling:
    """The largest clean EMF at the volume knob [V rms], and the index in `LIMITS` that binds."""

    emf: FloatArray
    binding: NDArray[np.intp]


def channel_of(build: Build, place: str) -> ChannelState | None:
    """Return the channel that drives a place, None where nobody knows it."""
    host = place.removesuffix(ON_FRAME)
    driving = (c for c in build.channels if host in {name for name, _ in c.polarity})
    return next(driving, None)


def ceiling_at(build: Build, place: str) -> str:
    """Return whose volts and amps end what a place plays, in words."""
    channel = channel_of(build, place)
    amplified = channel is not None and channel.driven_by is not None
    return f"{'the amplifier' if amplified else 'the radio'}'s ceiling"


def radio_ceiling(
    build: Build, circuit: Circuit, draws: Draws
) -> tuple[Mapping[str, FloatArray], Mapping[str, FloatArray]]:
    """Return, per channel, the EMF at the knob at which its volts and its amps run out [V rms].

    Those are the amplifier's of a channel that one drives, and the radio's own volts ahead of it.

    Volts: E sqrt2 |g| = (Vs - sag) k with k = swing |Z + Ro| / |Z + Rclip|, where all channels play
    at once and sag = Rfeed (2/pi) sqrt2 E sum |g| / |Z + Ro| is the mean current of class-AB
    bridges through the feed. Amps: E sqrt2 |g| / |Z + Ro| = Ipeak, or, where a converter feeds the
    radio, the EMF at which that mean current and the quiescent one reach what it gives for good:
    what it stores is spent long before the half of a bass note is over.
    """
    radio, load = build.head_unit, load_of(build, circuit, draws)
    amplified = {name: unit for name in circuit.channels if (unit := load.amplifier_of(name))}
    supply, feed = draws(radio.supply), draws(radio.feed_resistance)
    clip, peak_current = draws(radio.clip_loss), draws(radio.peak_current)
    swing = radio.swing
    demand = {name: _peak_current_per_volt(channel) for name, channel in circuit.channels.items()}
    drawn = (
        np.where(circuit.channels[n].idle, 0.0, each)
        for n, each in demand.items()
        if n not in amplified
    )
    mean = (2 / np.pi) * swing * sum(drawn)
    sag = feed * mean
    quiet, limit = draws(radio.quiescent_current), supply_limit(build, draws)
    # Where nothing plays nothing is drawn.
    fed = np.maximum(limit - quiet, LEAST_LEFT) / np.maximum(mean, LEAST_CURRENT)
    volts, amps = {}, {}
    for name, channel in circuit.channels.items():
        gain = np.sqrt(2) * np.abs(channel.settings)
        if name in amplified:
            volts[name], amps[name] = _amplified(channel, amplified[name])
            if channel.fed is not None:
                # The radio must not clip ahead of the amplifier that it feeds.
                ahead = supply * swing / (np.sqrt(2) * np.maximum(np.abs(channel.fed), LEAST))
                volts[name] = np.minimum(volts[name], np.where(channel.idle, np.inf, ahead))
            continue
        reach = swing * np.abs(
            (channel.plug_impedance + channel.source_resistance) / (channel.plug_impedance + clip)
        )
        # What does not play clips unheard.
        heard = np.where(channel.idle, UNBOUND, 1.0)
        volts[name] = supply * reach / (gain + reach * sag) * heard
        amps[name] = np.minimum(peak_current / demand[name], fed) * heard
    return volts, amps


def fed_too_little(build: Build, circuit: Circuit, draws: Draws) -> bool:
    """Whether a converter's current ends before the outputs' own, central values."""
    radio, playing = build.head_unit, sum(not each.idle[0, 0] for each in circuit.channels.values())
    own = 2 / np.pi * radio.swing * playing * radio.peak_current.si + radio.quiescent_current.si
    return bool(supply_limit(build, draws)[0, 0] < own)


def _amplified(channel: ChannelCircuit, unit: AmplifierLoad) -> tuple[FloatArray, FloatArray]:
    """Return the EMF at the knob at which an amplifier's channel runs out of volts and of amps.

    Its supply is taken to sag as with full sine on all its channels, whatever is played.
    """
    gain = np.sqrt(2) * np.maximum(np.abs(channel.settings), LEAST)
    into = np.abs(channel.plug_impedance + channel.source_resistance)
    heard = np.where(channel.idle, UNBOUND, 1.0)
    reach = into / np.abs(channel.plug_impedance + unit.clip_loss)
    volts, amps = unit.swing * unit.sag * reach / gain, unit.most_current * into / gain
    return volts * heard, amps * heard


def clean_ceiling(build: Build, circuit: Circuit, hot: Circuit, draws: Draws) -> Ceiling:
    """Return the sine ceiling at each frequency.

    Args:
        build: the build.
        circuit: solved with cold coils: volts, amps and travel.
        hot: solved with coils at rated power: heat, P = |i|^2 Re(hot) with R the hot coil's.
        draws: the draws both were solved with.

    """
    volts, amps = radio_ceiling(build, circuit, draws)
    travel, heat = [], []
    for name, location in circuit.locations.items():
        place = build.location(name)
        driver = place.driver
        clean = draws(driver.xmax) * clean_travel(place.faults, draws)
        gain = np.abs(circuit.channels[location.channel].settings)
        travel.append(clean / (np.sqrt(2) * gain * np.abs(location.excursion)))
        burning = hot.locations[name]
        heat.append(np.sqrt(draws(driver.power) / burning.re) / (gain * np.abs(burning.current)))
    lowest = [
        _least(list(volts.values())),
        _least(list(amps.values())),
        _least(travel),
        _least(heat),
    ]
    table = np.stack(np.broadcast_arrays(*lowest))
    return Ceiling(emf=table.min(axis=0), binding=table.argmin(axis=0))


def programme_ceiling(build: Build, circuit: Circuit, hot: Circuit, draws: Draws) -> Ceiling:
    """Return the rms EMF of programme that is still clean, shape (draws, 1), and what binds.

    The programme's peaks stay below the volts and amps of the radio and the travel of every cone;
    its mean power below what every coil bears.
    """
    weights = programme_weights(frequency=circuit.frequency)

    def mean(squared: FloatArray) -> FloatArray:
        return np.asarray(np.sum(weights * squared, axis=-1, keepdims=True))

    volts, amps = radio_ceiling(build, circuit, draws)
    # Peak volts of the programme meet the ceiling where the load, in the mean, lets it be.
    electric = [
        [np.sqrt(2 / mean(ceiling**-2.0)) / PEAK_TO_RMS for ceiling in kind.values()]
        for kind in (volts, amps)
    ]
    travel, heat = [], []
    for name, location in circuit.locations.items():
        place = build.location(name)
        driver = place.driver
        clean = draws(driver.xmax) * clean_travel(place.faults, draws)
        gain = np.abs(circuit.channels[location.channel].settings)
        rms_travel = np.sqrt(mean(np.abs(gain * location.excursion) ** 2))
        travel.append(clean / (PEAK_TO_RMS * rms_travel))
        burning = hot.locations[name]
        rms_current = np.sqrt(mean(np.abs(gain * burning.current) ** 2))
        heat.append(np.sqrt(draws(driver.power) / burning.re) / rms_current)
    lowest = [_least(electric[0]), _least(electric[1]), _least(travel), _least(heat)]
    table = np.stack(np.broadcast_arrays(*lowest))
    return Ceiling(emf=table.min(axis=0), binding=table.argmin(axis=0))


def _peak_current_per_volt(channel: ChannelCircuit) -> FloatArray:
    through = channel.settings / (channel.plug_impedance + channel.source_resistance)
    return np.asarray(np.sqrt(2) * np.abs(through))


def _least(ceilings: list[FloatArray]) -> FloatArray:
    least = ceilings[0]
    for ceiling in ceilings[1:]:
        least = np.minimum(least, ceiling)
    return least
