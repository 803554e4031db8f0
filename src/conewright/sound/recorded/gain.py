"""A recorder's gain: whether it stood still, by the stairs and the pilots of a stimulus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import amplitude_decibel, decibel
from conewright.sound.played.signals import RATE
from conewright.sound.played.stimuli import PILOTS, STAIR, Core, Part, Stimulus
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.clock_fit import stair_amplitudes
from conewright.sound.recorded.deconvolution import clear_of_sweep
from conewright.sound.recorded.spoils import Flag

__all__ = [
    "PilotTrack",
    "StairLevels",
    "floor_has_holes",
    "gain_flag",
    "pilot_tracks",
    "stair_levels",
]

STEP_DECIBEL: Final = 6.0
LEAST: Final = 0.5
"""A step may be off by that and three times its noise [dB]."""
SUPPRESSED: Final = 6.3
"""Steps over this are those of a suppressor: what is quieter is turned down more [dB]."""
WANDER, INNER = 3.0, 3.29
"""A pilot may wander by that and so many times what noise alone makes of it [dB]."""
BOTH_WANDER, BOTH_NOISE = 1.0, 4.5
"""The same of both pilots of a sweep; a lossy coder moves one of them more than the other."""
CLEAR: Final = 8.0
"""A pilot that is not so far over the floor says nothing [dB]."""
WINDOW, HOP = 0.1, 0.05
ASIDE: Final = np.array([-45.0, 45.0])
"""Where the noise beside a stair's tone is looked at [Hz]; no sum of tones lies there."""
PILOT_ASIDE: Final = np.array([-110.0, -70.0, 70.0, 110.0])
HOLES: Final = 3.5
"""Mean power of a bin over its geometric mean; 2.51 of any noise, from 4.5 on where a suppressor
left some bins of some frames (own simulation) [dB]."""
HOLES_BAND: Final = (1500.0, 8000.0)
HOLES_FRAME: Final = 0.0107
FEWEST_FRAMES: Final = 24
LEAST_FLOOR: Final = 6e-5
"""Rms under which 16 bit themselves make holes: two of their steps."""


@dataclass(frozen=True, slots=True)
class StairLevels:
    """Levels of the steps of the stairs [dB], and their standard deviations, shape (stairs, 3)."""

    level: FloatArray
    spread: FloatArray

    @property
    def steps(self) -> FloatArray:
        """Fall from step to step [dB], shape (stairs, 2)."""
        return np.asarray(-np.diff(self.level, axis=-1))

    @property
    def off(self) -> FloatArray:
        """By how much steps are off 6 dB beyond what is allowed [dB], shape (stairs, 2)."""
        spread = np.hypot(self.spread[:, 1:], self.spread[:, :-1])
        return np.asarray(np.abs(self.steps - STEP_DECIBEL) - LEAST - 3.0 * spread)

    @property
    def drift(self) -> float:
        """By how much the stairs' first steps differ beyond what is allowed [dB]."""
        if len(self.level) < 2:
            return 0.0
        spread = float(np.hypot(*self.spread[:, 0]))
        return float(abs(self.level[1, 0] - self.level[0, 0]) - LEAST - 3.0 * spread)


@dataclass(frozen=True, slots=True)
class PilotTrack:
    """Gain by a pilot while the sweep is elsewhere.

    time: after the start of the sweep [s], gain: re its median [dB], shape (M,). spread: what
    noise alone makes of it [dB].
    """

    frequency: float
    time: FloatArray
    gain: FloatArray
    spread: float

    @property
    def wander(self) -> float:
        """From its 5 % to its 95 % point [dB]."""
        low, high = np.percentile(self.gain, [5.0, 95.0])
        return float(high - low)


def stair_levels(
    samples: FloatArray, *, rate: float, clock: Clock, stimulus: Stimulus
) -> StairLevels:
    """Levels of the stairs' steps, the noise beside the tones taken out.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        stimulus: what was played.

    """
    tones = np.array(STAIR)
    beside = (tones[:, None] + ASIDE).ravel()
    level, spread = [], []
    for stair in stimulus.stairs:
        amplitudes = [
            np.abs(stair_amplitudes(samples, rate=rate, clock=clock, stair=stair, frequency=each))
            for each in (tones, beside)
        ]
        power = np.sum(amplitudes[0] ** 2, axis=-1)
        noise = np.mean(amplitudes[1] ** 2, axis=-1)
        clean = np.maximum(power - tones.size * noise, 1e-3 * power + np.finfo(float).tiny)
        level.append(decibel(clean))
        spread.append(10.0 / np.log(10.0) * np.sqrt(2.0 * noise / clean))
    return StairLevels(np.array(level).reshape(-1, 3), np.array(spread).reshape(-1, 3))


def pilot_tracks(
    samples: FloatArray, *, rate: float, clock: Clock, part: Part
) -> tuple[PilotTrack, ...]:
    """Gain of the recorder through a sweep, by each pilot that is 8 dB over the floor.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        part: a sweep in its place.

    Returns:
        Amplitudes in Hann windows of 0.1 s every 0.05 s, where no harmonic up to the fifth of the
        sweep is within 0.35/k octave.

    """
    core = part.wave
    if not isinstance(core, Core):
        return ()
    first, last = (max(clock.index(t, rate=rate), 0) for t in part.seconds)
    cut = samples[first:last]
    t = clock.played(cut.size, rate=rate, first=first) - part.seconds[0]
    tracks = []
    for frequency in PILOTS:
        time, here = _amplitudes(cut, t, rate, frequency)
        clear = clear_of_sweep(core, time, frequency=frequency)
        clear &= (time > WINDOW) & (time < core.count / RATE - WINDOW)
        if np.count_nonzero(clear) < 8:
            continue
        aside = [_amplitudes(cut, t, rate, frequency + each)[1][clear] for each in PILOT_ASIDE]
        floor = float(np.median(np.mean(np.square(aside), axis=0)))
        middle = float(np.median(here[clear]))
        if middle <= 0.0 or decibel(floor / middle**2) > -CLEAR:
            continue
        spread = 20.0 / np.log(10.0) * np.sqrt(floor / 2.0) / middle
        gain = amplitude_decibel(here[clear] / middle)
        tracks.append(PilotTrack(frequency, time[clear], gain, float(spread)))
    return tuple(tracks)


def gain_flag(
    stairs: StairLevels, tracks: tuple[PilotTrack, ...], *, still: bool = True
) -> Flag | None:
    """Flag of a gain that did not stand still, or None.

    Args:
        stairs: as measured.
        tracks: of the pilots.
        still: whether the path stood still; otherwise only what happens inside a stair counts.

    """
    wander = max((track.wander for track in _wandering(tracks) if still), default=0.0)
    drift = stairs.drift if still else 0.0
    off = np.max(stairs.off, initial=-np.inf) > 0.0
    if not off and drift <= 0.0 and not wander:
        return None
    steps = stairs.steps[stairs.off > 0.0]
    if steps.size and np.median(steps) > SUPPRESSED:
        return Flag(
            "noise-suppression",
            f"what is quieter was turned down more (steps of 6 dB read {np.max(steps):.1f} dB): "
            "another recorder app or setting",
        )
    seen = [
        f"steps of 6 dB read {steps[np.argmax(np.abs(steps - STEP_DECIBEL))]:.1f} dB"
        if steps.size
        else "",
        f"the second stair is {stairs.level[1, 0] - stairs.level[0, 0]:+.1f} dB"
        if drift > 0.0
        else "",
        f"the pilots wander by {wander:.1f} dB" if wander else "",
    ]
    told = ", ".join(each for each in seen if each)
    return Flag(
        "gain-control", f"the recorder's gain moved ({told}): another recorder app or setting"
    )


def floor_has_holes(silences: Sequence[FloatArray], *, rate: float) -> bool:
    """Tell whether noise was cleaned away bin by bin, as suppressors do.

    Args:
        silences: stretches in which nothing plays, shape (M,) each.
        rate: samples a second [Hz].

    Returns:
        Whether in every stretch the power of a bin from 1.5 to 8 kHz scatters more from frame to
        frame than noise does; never where one has less than 24 frames or 16 bit hardly hold it.
        Power of noise in a bin is exponentially distributed: its mean is e^0.577 of its geometric
        mean. What all bins do together, such as a click, is taken out.

    """
    found = [_scatter(each, rate) for each in silences]
    return bool(found) and all(each is not None and each > HOLES for each in found)


def _scatter(silence: FloatArray, rate: float) -> float | None:
    """Median over bins of the mean power over the geometric mean [dB]."""
    length = round(HOLES_FRAME * rate)
    count = silence.size // length
    if count < FEWEST_FRAMES or np.std(silence) < LEAST_FLOOR:
        return None
    frames = silence[: count * length].reshape(count, length) * np.hanning(length)
    frequency = np.fft.rfftfreq(length, 1 / rate)
    inside = (frequency > HOLES_BAND[0]) & (frequency < HOLES_BAND[1])
    power = np.abs(np.fft.rfft(frames, axis=-1)[:, inside]) ** 2 + np.finfo(float).tiny
    power /= power.mean(axis=-1, keepdims=True)
    mean = decibel(power.mean(axis=0)) - decibel(power).mean(axis=0)
    return float(np.median(mean))


def _wandering(tracks: Sequence[PilotTrack]) -> list[PilotTrack]:
    """Tracks that wander by more than noise, alone or beside the other pilot of their sweep."""
    alone = [each for each in tracks if each.wander > WANDER + INNER * each.spread]
    pairs = ((a, b) for a, b in pairwise(tracks) if a.frequency < b.frequency)
    both = [
        each
        for pair in pairs
        if all(track.wander > BOTH_WANDER + BOTH_NOISE * track.spread for track in pair)
        for each in pair
    ]
    return alone + both


def _amplitudes(
    cut: FloatArray, t: FloatArray, rate: float, frequency: float
) -> tuple[FloatArray, FloatArray]:
    """Times of the windows' middles [s], and the amplitude of a tone in each."""
    length, hop = round(WINDOW * rate), round(HOP * rate)
    if cut.size < length:
        return np.zeros(0), np.zeros(0)
    turned = cut * np.exp(-2j * np.pi * frequency * t)
    window = np.hanning(length)
    frames = np.lib.stride_tricks.sliding_window_view(turned, length)[::hop]
    amplitude = np.abs(frames @ window) * 2.0 / window.sum()
    return t[length // 2 :: hop][: amplitude.size], np.asarray(amplitude)
