"""What reaches the seats: pressure per volt at the volume knob, and levels made of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import SeatState
from conewright.physics.acoustics.cabin import diffuse_pressure_squared
from conewright.physics.basics import bands
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray, squared_magnitude
from conewright.physics.basics.levels import REFERENCE_PRESSURE
from conewright.stages.common.circuit import Circuit
from conewright.stages.common.together import Cabin

__all__ = [
    "REFERENCE_EMF",
    "Heard",
    "added_up",
    "diffuse_share",
    "heard_at",
    "level_of",
    "mean_level",
    "named_bands",
    "sent",
    "third_octave_levels",
    "third_octaves",
]

REFERENCE_EMF = 2.83
"""Source EMF behind every level [V rms], the voltage of an advertised sensitivity."""

COHERENT_BELOW, DIFFUSE_ABOVE = 225.0, 450.0
"""Below the first, sources add with their phases; above the second, as powers with the cabin's
diffuse sound; between them the share shifts evenly in log frequency [Hz]."""

BANDS: tuple[tuple[str, str, float, float], ...] = (
    ("deep_bass", "deep bass, 20 to 31.5 Hz", 17.8, 35.5),
    ("bass", "bass, 40 to 100 Hz", 35.5, 112.2),
    ("upper_bass", "upper bass, 125 to 250 Hz", 112.2, 281.8),
    ("voice", "voice, 315 Hz to 2.5 kHz", 281.8, 2818.4),
    ("treble", "treble, 3.15 to 16 kHz", 2818.4, 17782.8),
)
"""Name, words, and edges [Hz] of the five bands in which a change is explained."""


@dataclass(frozen=True)
class Heard:
    """Sound at one seat per volt of EMF at the volume knob, rows draws, columns frequencies.

    Attributes:
        coherent: complex sum of all sources [Pa/V].
        power: sum of the squared moduli of the same [Pa2/V2].
        squared: the best estimate of the squared pressure [Pa2/V2].

    """

    seat: str
    frequency: FloatArray
    coherent: ComplexArray
    power: FloatArray
    squared: FloatArray

    def level(self, emf: FloatArray | float = REFERENCE_EMF) -> FloatArray:
        """Sound pressure level for this EMF [dB re 20 uPa]."""
        return level_of(self.squared * np.square(emf))

    def thirds(self, emf: FloatArray | float = REFERENCE_EMF) -> FloatArray:
        """Level of a sine in each third octave for this EMF [dB re 20 uPa], shape (draws, 31)."""
        return third_octave_levels(self.squared * np.square(emf), self.frequency)

    def power_level(self, emf: FloatArray | float = REFERENCE_EMF) -> FloatArray:
        """Level if the phases of the sources did not matter [dB re 20 uPa]."""
        return level_of(self.power * np.square(emf))


def heard_at(
    seat: SeatState, *, build: Build, circuit: Circuit, cabin: Cabin, turned: Collection[str] = ()
) -> Heard:
    """Add up at one seat what every driver of the build sends into the cabin.

    Args:
        seat: whose ear it is.
        build: which is heard.
        circuit: of the build, solved.
        cabin: which carries the sound, with the draws of every value.
        turned: places whose two wires are swapped, which changes nothing else of a circuit.

    """
    return added_up(sent(circuit), seat, build=build, air=circuit.air, cabin=cabin, turned=turned)


def sent(circuit: Circuit) -> dict[str, ComplexArray]:
    """Return what each place sends into the cabin per volt at the knob [m3/s/V], (draws, F)."""
    return {
        name: location.output * circuit.channels[location.channel].settings
        for name, location in circuit.locations.items()
    }


def added_up(
    flows: Mapping[str, ComplexArray],
    seat: SeatState,
    *,
    build: Build,
    air: Air,
    cabin: Cabin,
    turned: Collection[str] = (),
) -> Heard:
    """Add up at one seat what every place sends, on the grid and with the draws of the cabin."""
    frequency, absorption = cabin.frequency, cabin.draws(build.vehicle.absorption_area)
    coherent: ComplexArray = np.zeros((1, frequency.size), dtype=complex)
    power: FloatArray = np.zeros((1, frequency.size))
    radiated: FloatArray = np.zeros((1, frequency.size))
    places = [build.location(name) for name in flows]
    answers = cabin.pressures(build.vehicle, places, seat.ear)
    for flow, place, answer in zip(flows.values(), places, answers, strict=True):
        pressure = answer * flow
        swapped = (place.host or place.id) in turned
        coherent = coherent - pressure if swapped else coherent + pressure
        power = power + squared_magnitude(pressure)
        radiated = radiated + squared_magnitude(flow) * cabin.power_share(build.vehicle, place)
    diffuse = diffuse_pressure_squared(
        air=air,
        volume_velocity=np.sqrt(radiated),
        absorption_area=absorption,
        frequency=frequency,
    )
    share = diffuse_share(frequency)
    squared = (1 - share) * squared_magnitude(coherent) + share * (power + diffuse)
    return Heard(seat.id, frequency, coherent, power, squared)


def level_of(squared: FloatArray) -> FloatArray:
    """Sound pressure level of a squared pressure [dB re 20 uPa]."""
    # A silent vehicle has no level; the floor keeps the logarithm finite far below hearing.
    floor = (REFERENCE_PRESSURE * 1e-10) ** 2
    return np.asarray(10 * np.log10(np.maximum(squared, floor) / REFERENCE_PRESSURE**2))


def third_octave_levels(squared: FloatArray, frequency: FloatArray) -> FloatArray:
    """Return the mean level in each third octave from 20 Hz to 20 kHz [dB], shape (..., 31)."""
    return level_of(bands.band_mean_power(squared, frequency=frequency))


def third_octaves() -> list[tuple[str, str, float]]:
    """Return, for each third octave, its part of a figure's id, its words, and its centre [Hz]."""
    return [
        (f"{_hertz(label).replace('.', '_')}hz", f"{_hertz(label)} Hz", float(centre))
        for label, centre in zip(bands.NOMINAL_BANDS, bands.band_centres(), strict=True)
    ]


def mean_level(thirds: FloatArray, inside: NDArray[Any]) -> FloatArray:
    """Return the energy mean of some third-octave levels [dB], shape (..., 1)."""
    chosen = thirds[..., np.asarray(inside, dtype=bool)]
    return np.asarray(10 * np.log10(np.mean(10 ** (chosen / 10), axis=-1, keepdims=True)))


def named_bands() -> list[tuple[str, str, FloatArray]]:
    """Return name, words and third-octave mask of each of the five named bands."""
    centres = bands.band_centres()
    return [
        (name, words, np.asarray((centres > low) & (centres < high), dtype=float))
        for name, words, low, high in BANDS
    ]


def _hertz(label: str) -> str:
    """Nominal frequency in hertz, `1.25k` as `1250`."""
    return f"{1000 * float(label[:-1]):.0f}" if label.endswith("k") else label


def diffuse_share(frequency: FloatArray) -> FloatArray:
    """Return the part in which sources add as powers, with the cabin's diffuse sound [1]."""
    octaves = np.log(frequency / COHERENT_BELOW) / np.log(DIFFUSE_ABOVE / COHERENT_BELOW)
    return np.asarray(np.clip(octaves, 0.0, 1.0))
