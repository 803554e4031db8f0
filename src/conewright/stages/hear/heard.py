"""The sound of a build: everything `hear` and `compare` read off, solved once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Value
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import a_weighting, decibel, niosh_time
from conewright.physics.basics.programme import low_rolloff, programme_weights
from conewright.physics.electrics.filters import butterworth_high_pass
from conewright.stages.common.circuit import LUMPED_BELOW, Circuit, Solver
from conewright.stages.common.together import Cabin
from conewright.stages.hear.between import Between, between_of, thirds_between
from conewright.stages.hear.ceiling import (
    LIMITS,
    Ceiling,
    clean_ceiling,
    fed_too_little,
    programme_ceiling,
    radio_ceiling,
)
from conewright.stages.hear.listening import (
    REFERENCE_EMF,
    Heard,
    heard_at,
    level_of,
    mean_level,
    named_bands,
)
from conewright.stages.hear.unwired_sound import heard_circuit

__all__ = [
    "HIGH_PASS_MENU",
    "BuildSound",
    "SeatSound",
    "bass_mask",
    "open_areas",
    "sound_of",
    "treble_mask",
]

HIGH_PASS_MENU = (0.0, 60.0, 80.0, 100.0, 120.0, 150.0, 180.0, 250.0)
"""The high-pass settings radios usually offer, 0 for off [Hz]; common practice, no source."""

BASS_CORNER_DROP = 10.0
"""IEC 60268-5: the effective range ends where the level is 10 dB below that of the best region."""

BASS_FROM, BASS_TO = 39.0, 102.0
REFERENCE_FROM, REFERENCE_TO = 79.0, 320.0
LOWEST_JUDGED = 19.9
OCTAVE = 13
"""Points of the standard grid in an octave, its ends included."""


@dataclass(frozen=True)
class SeatSound:
    """Levels at one seat; rows are draws, row 0 central."""

    heard: Heard
    sound: BuildSound
    turned: tuple[str, ...] = ()

    @cached_property
    def thirds(self) -> FloatArray:
        """Level of a 2.83 V sine in each third octave [dB], shape (draws, 31)."""
        return self._thirds(REFERENCE_EMF)

    @cached_property
    def clean_thirds(self) -> FloatArray:
        """Level at the sine ceiling in each third octave [dB], shape (draws, 31)."""
        return self._thirds(self.sound.ceiling.emf)

    def _thirds(self, emf: FloatArray | float) -> FloatArray:
        sound = self.sound
        return thirds_between(
            self.heard,
            emf,
            sound.between,
            seat=sound.build.seat(self.heard.seat),
            build=sound.build,
            circuit=sound.circuit,
            turned=self.turned,
        )

    @cached_property
    def overall(self) -> FloatArray:
        """Level of 2.83 V of programme [dB(A)], shape (draws, 1)."""
        frequency = self.heard.frequency
        weights = programme_weights(frequency=frequency) * 10 ** (a_weighting(frequency) / 10)
        squared = np.sum(weights * self.heard.squared, axis=-1, keepdims=True)
        return level_of(squared * REFERENCE_EMF**2)

    @cached_property
    def clean_overall(self) -> FloatArray:
        """Level of the loudest clean programme [dB(A)], shape (draws, 1)."""
        return self.overall + decibel((self.sound.programme.emf / REFERENCE_EMF) ** 2)

    @cached_property
    def bass(self) -> FloatArray:
        """Mean level of the third octaves from 40 to 100 Hz [dB], shape (draws, 1)."""
        return mean_level(self.thirds, bass_mask())

    @cached_property
    def treble(self) -> FloatArray:
        """Mean level of the third octaves from 3.15 to 16 kHz [dB], shape (draws, 1)."""
        return mean_level(self.thirds, treble_mask())

    @cached_property
    def bass_corner(self) -> FloatArray:
        """Frequency below which the bass is gone [Hz], shape (draws, 1).

        The lowest frequency down to which the level stays within 10 dB of the mean from 80 to
        315 Hz; the 20 Hz when it never falls that far.
        """
        frequency = self.heard.frequency
        near = (frequency > REFERENCE_FROM) & (frequency < REFERENCE_TO)
        # Over an octave, so that no single resonance or dip of the cabin counts.
        levels = level_of(_smooth(self.heard.squared) * REFERENCE_EMF**2)
        line = mean_level(levels, near) - BASS_CORNER_DROP
        below = (frequency > LOWEST_JUDGED) & (frequency < REFERENCE_FROM)
        return _last_crossing(levels[:, below] - line, frequency[below])

    @cached_property
    def hearing_time(self) -> FloatArray:
        """Minutes a day to a full dose at the loudest clean programme, shape (draws, 1)."""
        return niosh_time(self.clean_overall) / 60.0

    @property
    def programme_limit(self) -> str:
        """What ends the loudest clean programme, central values."""
        limit = LIMITS[int(np.ravel(self.sound.programme.binding)[0])]
        sound = self.sound
        if limit == "amps" and fed_too_little(sound.build, sound.circuit, sound.draws):
            return "the converter's amps"
        return limit

    def binding(self) -> tuple[str, ...]:
        """Words for what binds at each frequency, central values."""
        return tuple(LIMITS[code] for code in np.atleast_2d(self.sound.ceiling.binding)[0])


@dataclass(frozen=True)
class BuildSound:
    """The sound of one build; what only some answers need is worked out when asked for."""

    build: Build
    circuit: Circuit
    hot: Circuit
    cabin: Cabin

    @property
    def draws(self) -> Draws:
        """The draws behind everything."""
        return self.cabin.draws

    @property
    def silent(self) -> bool:
        """Whether nothing plays at all, central state."""
        playing = {location.channel for location in self.circuit.locations.values()}
        return all(self.circuit.channels[name].idle[0, 0] for name in playing)

    @cached_property
    def seats(self) -> Mapping[str, SeatSound]:
        """What is heard at every seat."""
        return {
            seat.id: SeatSound(
                heard_at(seat, build=self.build, circuit=self.circuit, cabin=self.cabin), self
            )
            for seat in self.build.seats
        }

    def bass_if_turned(self, seat: str, location: str) -> FloatArray:
        """What swapping the two wires of a place changes in the bass at a seat [dB], (draws, 1)."""
        heard = heard_at(
            self.build.seat(seat),
            build=self.build,
            circuit=self.circuit,
            cabin=self.cabin,
            turned=(location,),
        )
        return SeatSound(heard, self, (location,)).bass - self.seats[seat].bass

    @cached_property
    def between(self) -> tuple[Between, ...]:
        """What is needed to listen between the points of the grid."""
        return between_of(self.build, self.circuit, self.cabin)

    @cached_property
    def ceiling(self) -> Ceiling:
        """The clean sine ceiling at every frequency."""
        return clean_ceiling(self.build, self.circuit, self.hot, self.draws)

    @cached_property
    def programme(self) -> Ceiling:
        """The clean programme ceiling; needs a grid over the audible range."""
        return programme_ceiling(self.build, self.circuit, self.hot, self.draws)

    @cached_property
    def travel_ratio(self) -> Mapping[str, FloatArray]:
        """Peak travel over Xmax at the ceiling of what drives it, with a programme's bass.

        Shape (draws, F) per location. A high-pass that is set takes its share off.
        """
        channels = self.circuit.channels
        return {
            name: ratio * np.abs(channels[self.circuit.locations[name].channel].high_pass)
            for name, ratio in self._full_travel.items()
        }

    @cached_property
    def _full_travel(self) -> Mapping[str, FloatArray]:
        """The same ratio with every high-pass off.

        The ceiling is volts or amps, whichever comes first, of music from deep bass up: what a
        filter takes away does not turn the knob up. The programme rolls off at 12 dB per octave
        below 50 Hz.
        """
        flat = {name: each.unfiltered for name, each in self.circuit.channels.items()}
        circuit = replace(self.circuit, channels=flat)
        volts, amps = radio_ceiling(self.build, circuit, self.draws)
        profile = low_rolloff(frequency=self.frequency)
        ratios = {}
        for name, location in self.circuit.locations.items():
            channel = location.channel
            emf = np.minimum(volts[channel], amps[channel])
            gain = np.abs(flat[channel].settings * self.circuit.channels[channel].low_pass)
            peak = np.sqrt(2) * np.abs(location.excursion) * emf * gain * profile
            ratios[name] = peak / self.draws(self.build.location(name).driver.xmax)
        return ratios

    @cached_property
    def air_speed(self) -> Mapping[str, Mapping[str, FloatArray]]:
        """Peak speed of the air in the openings of each mount at the clean sine ceiling [m/s].

        By location and opening, shape (F,), central values; none where a lumped cavity no longer
        holds. What a film or patch covers moves with it and makes no jet.
        """
        emf = self.ceiling.emf[0] * (self.frequency < LUMPED_BELOW)
        return {
            name: {
                opening: np.sqrt(2) * np.abs(location.flows[opening]) * emf * gain / area.si
                for opening, area in open_areas(self.build.location(name)).items()
                if opening in location.flows
            }
            for name, location in self.circuit.locations.items()
            for gain in [np.abs(self.circuit.channels[location.channel].settings)[0]]
        }

    @property
    def frequency(self) -> FloatArray:
        """The grid [Hz]."""
        return self.circuit.frequency

    def high_pass(self, location: str) -> float | None:
        """Lowest setting of the menu that keeps the central travel within Xmax, None for none.

        It takes the place of what is set.
        """
        ratio = self._full_travel[location][0]
        for setting in HIGH_PASS_MENU:
            passed = ratio
            if setting:
                passed = ratio * np.abs(
                    butterworth_high_pass(corner=setting, order=2, frequency=self.frequency)
                )
            if passed.max() <= 1.0:
                return setting
        return None


def sound_of(build: Build, solver: Solver) -> BuildSound:
    """Solve a build with cold and with hot coils."""
    cold, hot = heard_circuit(build, solver), heard_circuit(build, solver, hot=True)
    return solver.once(build, BuildSound, lambda: BuildSound(build, cold, hot, solver.cabin))


def open_areas(place: LocationState) -> dict[str, Value]:
    """Return the areas of a mount's openings that nothing covers; closed ones are left out."""
    cavity, trim = place.cavity, place.trim
    if cavity is None or trim is None:
        return {}
    areas = {"drains": cavity.drains, "grille": trim.grille_area, "edge": trim.edge_gap}
    if cavity.cover == "none":
        areas["panel"] = cavity.panel_holes
    return {opening: area for opening, area in areas.items() if area.si > 0.0}


def bass_mask() -> FloatArray:
    """Mask of the third octaves that count as bass, 40 to 100 Hz."""
    centres = bands.band_centres()
    return np.asarray((centres > BASS_FROM) & (centres < BASS_TO), dtype=float)


def treble_mask() -> FloatArray:
    """Mask of the third octaves that count as treble, 3.15 to 16 kHz."""
    return next(mask for name, _, mask in named_bands() if name == "treble")


def _smooth(squared: FloatArray) -> FloatArray:
    """Mean over an octave round each point of the standard grid, over what there is at its ends."""
    ones = np.ones(OCTAVE)
    points = np.convolve(np.ones(squared.shape[-1]), ones, mode="same")
    return np.stack([np.convolve(row, ones, mode="same") for row in squared]) / points


def _last_crossing(above: FloatArray, frequency: FloatArray) -> FloatArray:
    """Frequency of the highest change from below to above zero, row by row, shape (draws, 1)."""
    corner = np.full((above.shape[0], 1), frequency[0])
    log_f = np.log(frequency)
    for row, values in enumerate(above):
        low = np.flatnonzero(values < 0.0)
        if low.size == 0:
            continue
        k = low[-1]
        if k == values.size - 1:
            corner[row] = frequency[k]
            continue
        part = -values[k] / (values[k + 1] - values[k])
        corner[row] = np.exp(log_f[k] + part * (log_f[k + 1] - log_f[k]))
    return corner
