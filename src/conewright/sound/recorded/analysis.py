"""One recording from its samples to levels and flags."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.phrases import listed
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import amplitude_decibel
from conewright.sound.played.stimuli import STIMULI, Part, Stimulus
from conewright.sound.recorded.clock_fit import ClockFit, fit_clock
from conewright.sound.recorded.deconvolution import Impulse, deconvolve
from conewright.sound.recorded.gain import (
    floor_has_holes,
    gain_flag,
    pilot_tracks,
    stair_levels,
)
from conewright.sound.recorded.marks import Marks, find_marks
from conewright.sound.recorded.recording import Recording
from conewright.sound.recorded.spoils import (
    FLAT_SHARE,
    Flag,
    Rumble,
    clipped,
    edge_of_band,
    flat_tops,
    floor_falls,
    long_decay,
    noisy,
    rumble,
    silent,
)
from conewright.sound.recorded.third_octaves import BandLevels, band_levels

__all__ = ["Take", "analyse"]

LEAST_SAME: Final = 0.93
FURTHEST_MOVE: Final = 8e-3
"""A path that changed by more than 2.7 m is none within a cabin [s]."""
GAINS: Final = ("gain-control", "noise-suppression")
AFTER_SWEEP: Final = (0.45, 0.9)
"""Where a sweep has died away, from its end [s]; the next part begins at 1 s."""
SILENCE: Final = 2.0
"""Longest stretch before the first mark that is looked at [s]."""


@dataclass(frozen=True, slots=True)
class Take:
    """What one recording holds.

    recording: its file's name and SHA-256 stand there. channel: that was looked at. marks, clock:
    as found; the clock None without marks. impulses, levels: one for each sweep, in its order
    (left, right). flags: what spoils it. peak: highest sample [dB of full scale].
    """

    recording: Recording
    channel: int
    marks: Marks
    clock: ClockFit | None
    impulses: tuple[Impulse, ...]
    levels: tuple[BandLevels, ...]
    flags: tuple[Flag, ...]
    peak: float

    @property
    def stimulus(self) -> Stimulus | None:
        """What was played, where the marks tell."""
        return self.marks.stimulus

    @property
    def usable(self) -> bool:
        """Whether anything may be read from it."""
        return all(flag.severity != "stop" for flag in self.flags)

    @property
    def level_usable(self) -> bool:
        """Whether levels and distortion may be read from it."""
        return all(flag.severity == "note" for flag in self.flags)


def analyse(
    recording: Recording, *, expected: str | None = None, channel: int | None = None
) -> Take:
    """Analyse a recording of a stimulus.

    Args:
        recording: of any rate and number of channels.
        expected: name of the stimulus that was to be played; any when None.
        channel: that is looked at; that with the better marks when None.

    Raises:
        BadInputError: no such stimulus or channel.

    """
    if expected is not None and expected not in STIMULI:
        raise BadInputError(f'expected: found "{expected}"; allowed: {", ".join(STIMULI)}')
    count = len(recording.samples)
    if channel is not None and not 0 <= channel < count:
        raise BadInputError(f"channel: found {channel}; allowed: 0 to {count - 1}")
    rate = recording.rate
    channels = range(count) if channel is None else (channel,)
    found = {
        each: find_marks(recording.samples[each], rate=rate, expected=expected) for each in channels
    }
    best = max(found, key=lambda each: (len(found[each].scores), sum(found[each].scores)))
    samples, marks = np.ascontiguousarray(recording.samples[best]), found[best]
    peak = float(amplitude_decibel(np.abs(samples).max(initial=0.0)))
    flags = _of_marks(marks, expected)
    if marks.stimulus is None:
        return Take(recording, best, marks, None, (), (), flags, peak)
    fit = fit_clock(samples, rate=rate, marks=marks)
    flags += _of_clock(fit, marks, coarse=recording.coarse is not None)
    impulses: tuple[Impulse, ...] = ()
    if not fit.missing:
        cores = marks.stimulus.cores
        impulses = tuple(
            deconvolve(samples, rate=rate, clock=fit.clock, part=part) for part in cores
        )
    levels = tuple(band_levels(each) for each in impulses)
    flags += _of_sound(samples, recording, fit, marks, impulses)
    flags += _of_levels(levels)
    return Take(recording, best, marks, fit, impulses, levels, flags, peak)


def _of_marks(marks: Marks, expected: str | None) -> tuple[Flag, ...]:
    if not marks.arrivals:
        return (Flag("no-marks", "there is no test sound in this recording"),)
    if marks.stimulus is None:
        at = marks.arrivals[0]
        return (
            Flag("truncated", f"one mark alone, at {at:.1f} s: the recorder was stopped too early"),
        )
    if expected is not None and marks.stimulus.name != expected:
        words = f"this is {marks.stimulus.name}, not {expected}: play {expected}"
        return (Flag("wrong-file", words),)
    return ()


def _of_clock(fit: ClockFit, marks: Marks, *, coarse: bool) -> tuple[Flag, ...]:
    unlike = marks.same is not None and marks.same < LEAST_SAME and not coarse
    # What was lost leaves the path as it was; one that changed came from elsewhere in the cabin.
    if fit.missing and not (unlike and abs(fit.missing) <= FURTHEST_MOVE):
        what = "missing" if fit.missing > 0.0 else "too many"
        words = (
            f"{abs(fit.missing) * 1e3:.0f} ms are {what}: the link lost a packet; play from a stick"
        )
        return (Flag("dropout", words),)
    if unlike:
        words = "the phone moved, or a door or window opened, between the first mark and the second"
        return (Flag("moved", words),)
    return ()


def _of_sound(
    samples: FloatArray,
    recording: Recording,
    fit: ClockFit,
    marks: Marks,
    impulses: tuple[Impulse, ...],
) -> tuple[Flag, ...]:
    stimulus = marks.stimulus
    assert stimulus is not None
    rate, clock = recording.rate, fit.clock
    end = max(round((marks.arrivals[0] - 0.02) * rate), 0)
    silence = samples[max(end - round(SILENCE * rate), 0) : end]
    whole = stimulus.cores if impulses else ()
    # What a coarse coder leaves of steps and pilots is its own.
    coarse = recording.coarse is not None
    # A long decay blurs steps and tops; clipping bends them, and is what is to be mended first.
    decays = _of_decay(impulses)
    flags: list[Flag] = list(decays)
    tops = (flat_tops(samples, rate=rate, clock=clock, part=part) for part in whole)
    if clipped(samples) or (not decays and max(tops, default=0.0) > FLAT_SHARE):
        flags.append(Flag("clipped", "turn the phone's level or the radio down by 6 dB"))
    elif whole and not decays:
        stairs = stair_levels(samples, rate=rate, clock=clock, stimulus=stimulus)
        tracks = tuple(
            track
            for part in whole
            for track in pilot_tracks(samples, rate=rate, clock=clock, part=part)
        )
        still = marks.same is None or marks.same >= LEAST_SAME
        moved = gain_flag(stairs, tracks, still=still)
        flags += [moved] if moved and not coarse else []
    edge = min((e for e in map(edge_of_band, impulses) if e is not None), default=None)
    quiet = not recording.lossy and not any(flag.name in GAINS for flag in flags)
    if quiet and floor_has_holes(_silences(samples, silence, rate, fit, whole), rate=rate):
        words = "the noise was cleaned, what is left is full of holes: another recorder app or"
        flags.append(Flag("noise-suppression", f"{words} setting"))
    # A gain that moved took the floor with it.
    steady = not any(flag.name in GAINS for flag in flags)
    falls = steady and any(
        floor_falls(samples, silence, rate=rate, clock=clock, part=part) for part in whole
    )
    if recording.coarse is not None:
        flags.append(Flag("coarse", _coarse_words(recording.coarse)))
    elif recording.lossy or edge is not None or falls:
        flags.append(Flag("lossy", _lossy_words(edge)))
    loudness = _loudness(samples, rate, fit, stimulus.parts)
    return (*flags, *_of_rumble(rumble(silence, rate=rate, loudness=loudness)))


def _of_rumble(found: Rumble) -> tuple[Flag, ...]:
    flags = []
    if found.engine is not None:
        turns = round(30.0 * found.engine, -1)
        words = f"an engine at about {turns:.0f} a minute (four cylinders): switch it off"
        flags.append(Flag("engine", words))
    if found.mains is not None:
        words = f"hum of the mains at {found.mains:.0f} Hz: run laptop and phone on their batteries"
        flags.append(Flag("hum", words))
    return tuple(flags)


def _lossy_words(edge: float | None) -> str:
    where = f" (nothing above {edge / 1000:.1f} kHz)" if edge is not None else ""
    return (
        f"the recorder drops what it takes to be inaudible{where}: levels are good to some tenths "
        "of a decibel from 64 kbit/s on, below that record as WAV or FLAC; distortion and floors "
        "are not given"
    )


def _coarse_words(bit_rate: float) -> str:
    return (
        f"at {bit_rate / 1000:.0f} kbit/s the recorder drops too much of what is quiet: levels are "
        "off by decibels; record as WAV or FLAC, or at 64 kbit/s and more a channel"
    )


def _silences(
    samples: FloatArray,
    before: FloatArray,
    rate: float,
    fit: ClockFit,
    cores: tuple[Part, ...],
) -> tuple[FloatArray, ...]:
    """Silences before the first mark and after each sweep, where a cabin has died away."""
    after = []
    for part in cores:
        ends = (part.seconds[1] + later for later in AFTER_SWEEP)
        first, last = (fit.clock.index(end, rate=rate) for end in ends)
        after.append(samples[max(first, 0) : last])
    return (before, *after)


def _loudness(samples: FloatArray, rate: float, fit: ClockFit, parts: tuple[Part, ...]) -> float:
    """Return the rms of the loudest part."""
    found = []
    for part in parts:
        first, last = (max(fit.clock.index(t, rate=rate), 0) for t in part.seconds)
        cut = samples[first:last]
        found.append(float(np.sqrt(np.mean(cut**2))) if cut.size else 0.0)
    return max(found)


def _of_levels(levels: tuple[BandLevels, ...]) -> tuple[Flag, ...]:
    unheard = silent(levels)
    if unheard is not None:
        side = ("left", "right")[unheard]
        words = f"nothing is heard in the {side} side's turn: look at balance, fader and plug"
        return (Flag("silent-side", words),)
    bands = sorted({band for each in levels for band in noisy(each)}, key=_hertz)
    if not bands:
        return ()
    words = f"noise hides {listed(bands)} Hz: louder, nearer, fan and engine off"
    return (Flag("noisy", words),)


def _of_decay(impulses: tuple[Impulse, ...]) -> tuple[Flag, ...]:
    decay = max((d for d in map(long_decay, impulses) if d is not None), default=None)
    if decay is None:
        return ()
    words = f"it rings for {decay:.1f} s: no cabin; steps of the stair run into one another"
    return (Flag("long-decay", words),)


def _hertz(band: str) -> float:
    return float(band.removesuffix("k")) * (1000.0 if band.endswith("k") else 1.0)
