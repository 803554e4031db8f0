"""A radio channel by recorder: volts of each step, where it clips, its output resistance.

The loudspeakers are unplugged, or a resistor stands in their place; the recorder hangs on the legs
as `legs` says. It has no volts of its own: one meter reading gives them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.levels import amplitude_decibel
from conewright.physics.basics.validity import require_positive
from conewright.sound.measured.legs import refuse_own_clipping
from conewright.sound.recorded.clock import Clock

__all__ = [
    "CLIP_H3",
    "ClipMark",
    "Knob",
    "Ladder",
    "OutputResistance",
    "ceiling_distortion",
    "ceiling_harmonics",
    "clip_mark",
    "in_volts",
    "knob_steps",
    "ladder_steps",
    "output_resistance",
    "overdrive",
    "resistance_from_volts",
]

CLIP_H3: Final = -40.0
"""Third harmonic at which a stage is said to clip [dB re fundamental]."""

LEVELS: Final = np.arange(-30.0, 1.0)
STEP_SECONDS: Final = 0.3
USED_SECONDS: Final = 0.2
SOFT: Final = -50.0
STEPS_BELOW: Final = 3
LOADED_STEPS: Final = 5
MARK_SPREAD: Final = 0.005
"""Error of a clip mark between steps without noise [dB], found by simulation."""

KNOB_FREQUENCY: Final = 100.0
BLOCK_PERIODS: Final = 5
KNOB_CHANGE: Final = 0.18
KNOB_APART: Final = 0.6
CLEAN_BELOW: Final = 10.0
HARMONICS: Final = (1, 2, 3, 4, 5, 7, 9)


@dataclass(frozen=True, slots=True)
class Ladder:
    """Steps of a tone.

    level: of what was played [dB of full scale]; volts: rms of the fundamental, of the recorder's
    full scale until `in_volts` has set it; h2, h3, h5: harmonics [dB re fundamental]; noise: of a
    harmonic [dB re fundamental], standard deviation. Each of shape (steps,).
    """

    level: FloatArray
    volts: FloatArray
    h2: FloatArray
    h3: FloatArray
    h5: FloatArray
    noise: FloatArray


@dataclass(frozen=True, slots=True)
class ClipMark:
    """Where the third harmonic is 40 dB down.

    level: of what is played [dB of full scale]; spread: its standard deviation [dB]. volts: rms
    there. hard: whether the stage is a hard ceiling; a soft one bends over some decibels, and its
    mark lies between steps by its own third harmonic.
    """

    level: float
    spread: float
    volts: float
    hard: bool


@dataclass(frozen=True, slots=True)
class OutputResistance:
    """Output resistance [ohm], its standard deviation, and that of each step, shape (steps,)."""

    value: float
    spread: float
    steps: FloatArray


@dataclass(frozen=True, slots=True)
class Knob:
    """Steps of a volume knob, each where the hand rested.

    seconds: player time at which each begins [s]; volts: rms; rise: to the next [dB], one shorter;
    h3 [dB re fundamental]. clips: the first step over the clip mark, counted from 0, if any does;
    clean: the loudest one at least 10 dB below it, if there is one.
    """

    seconds: FloatArray
    volts: FloatArray
    rise: FloatArray
    h3: FloatArray
    clips: int | None
    clean: int | None


# --- A hard ceiling ---------------------------------------------------------------------------


def ceiling_harmonics(*, over: Real) -> tuple[FloatArray, FloatArray]:
    """Fundamental and third harmonic of a sine driven over a hard ceiling at 1.

    Args:
        over: how far its peak would stand above the ceiling [dB], zero or more.

    Returns:
        Their amplitudes; the third harmonic's is below zero where it flattens the top.

    Raises:
        OutOfRangeError: `over` below zero.

    Source: closed form, Fourier series of a clipped sine.
    """
    decibels = np.asarray(over, dtype=np.float64)
    if np.any(decibels < 0.0):
        raise OutOfRangeError("over must be at least 0 dB: below the ceiling nothing is bent")
    ceiling = 10.0 ** (-decibels / 20.0)
    angle, drive = np.arcsin(ceiling), 1.0 / ceiling
    first = 2.0 / np.pi * (drive * angle + np.cos(angle))
    bent = drive * (np.sin(2 * angle) / 4 - np.sin(4 * angle) / 8) + np.cos(3 * angle) / 3
    return np.asarray(first), np.asarray(4.0 / np.pi * bent)


def ceiling_distortion(*, over: Real) -> FloatArray:
    """Total distortion over the fundamental [1] of a sine driven over a hard ceiling.

    Args:
        over: as for `ceiling_harmonics` [dB].

    Raises:
        OutOfRangeError: `over` below zero.

    Source: closed form, mean square of a clipped sine less that of its fundamental.
    """
    first, _ = ceiling_harmonics(over=over)
    ceiling = 10.0 ** (-np.asarray(over, dtype=np.float64) / 20.0)
    angle = np.arcsin(ceiling)
    bent = (angle / 2 - np.sin(2 * angle) / 4) / ceiling**2
    square = 2.0 / np.pi * (bent + np.pi / 2 - angle)
    return np.asarray(np.sqrt(np.maximum(square / (first**2 / 2) - 1.0, 0.0)))


def overdrive(*, h3: float) -> float:
    """How far over a hard ceiling a sine is driven [dB], from its third harmonic.

    Args:
        h3: third harmonic [dB re fundamental], from -100 to -10.

    Raises:
        OutOfRangeError: h3 outside that range; a square wave has -9.5.
    """
    if not -100.0 <= h3 <= -10.0:
        raise OutOfRangeError(f"h3 is {h3:g} dB; from -100 to -10 is allowed")
    from scipy.optimize import brentq

    def off(over: float) -> float:
        first, third = ceiling_harmonics(over=over)
        return float(amplitude_decibel(np.abs(third / first))) - h3

    return float(brentq(off, 1e-6, 40.0, xtol=1e-9))


# --- Steps ------------------------------------------------------------------------------------


def ladder_steps(
    samples: FloatArray, *, rate: float, clock: Clock, begin: float, frequency: float
) -> Ladder:
    """Fundamental and harmonics of each of 31 steps from -30 to 0 dB.

    Args:
        samples: of one channel or `between_legs`, shape (N,).
        rate: samples a second.
        clock: of the recorder, from the marks.
        begin: player time of the first step [s].
        frequency: of the tone [Hz].

    Raises:
        BadInputError: a recording without all of the steps.

    Source: least squares for the tone and its harmonics over whole periods in the middle of each
    step, at player times.
    """
    played = clock.played(samples.size, rate=rate)
    if played[0] > begin or played[-1] < begin + LEVELS.size * STEP_SECONDS:
        raise BadInputError("recording: found only some of the steps; all 31 are wanted")
    rows = []
    for step in range(LEVELS.size):
        middle = begin + (step + 0.5) * STEP_SECONDS
        first, last = (
            clock.index(middle + side * USED_SECONDS / 2, rate=rate) for side in (-1.0, 1.0)
        )
        rows.append(_harmonics(samples[first:last], played[first:last], rate, frequency))
    volts, h2, h3, h5, noise = np.array(rows).T
    return Ladder(LEVELS.copy(), volts, h2, h3, h5, noise)


def in_volts(ladder: Ladder, *, step: int, metered: float) -> Ladder:
    """The ladder with its volts from one meter reading.

    Args:
        ladder: as it was recorded.
        step: that was metered, counted from 0.
        metered: rms volts there [V]; at 100 Hz and below clipping every meter reads them.

    Raises:
        OutOfRangeError: metered not above zero; no such step.
    """
    require_positive(metered=metered)
    if not 0 <= step < ladder.level.size:
        raise OutOfRangeError(f"step is {step}; 0 to {ladder.level.size - 1} is allowed")
    return replace(ladder, volts=ladder.volts * (metered / ladder.volts[step]))


def clip_mark(ladder: Ladder) -> ClipMark | None:
    """Where a channel clips; none if it does not up to full scale.

    Source: on the first step whose third harmonic is over -40 dB, the overdrive of a hard ceiling
    is taken off and that of -40 dB (0.381 dB) put on. A stage whose second or third harmonic is
    over -50 dB three steps lower is soft: there the third harmonic is interpolated in decibels.
    """
    over = np.flatnonzero(ladder.h3 > CLIP_H3)
    if over.size == 0:
        return None
    step = int(over[0])
    before = max(step - STEPS_BELOW, 0)
    hard = max(ladder.h2[before], ladder.h3[before]) <= SOFT and step > 0
    third = float(ladder.h3[step])
    # Noise beside a harmonic moves its level by so much [dB].
    shaken = 8.686 * 10.0 ** ((float(ladder.noise[step]) - third) / 20.0)
    if hard:
        high, low = (overdrive(h3=min(third + side, -10.0)) for side in (shaken, -shaken))
        level = float(ladder.level[step]) - overdrive(h3=min(third, -10.0)) + overdrive(h3=CLIP_H3)
        spread = float(np.hypot(MARK_SPREAD, (high - low) / 2))
    elif step == 0:
        level, spread = float(ladder.level[0]), float("inf")
    else:
        pair = slice(step - 1, step + 1)
        level = float(np.interp(CLIP_H3, ladder.h3[pair], ladder.level[pair]))
        slope = max(float(np.diff(ladder.h3[pair])[0]), 0.1)
        spread = float(np.hypot(0.1, shaken / slope))
    at = np.interp(level, ladder.level, amplitude_decibel(ladder.volts))
    return ClipMark(level, spread, float(10.0 ** (at / 20.0)), bool(hard))


def resistance_from_volts(*, unloaded: Real, loaded: Real, load: Real) -> FloatArray:
    """Output resistance [ohm] from volts without and with a load, RL (V/VL - 1).

    Args:
        unloaded: volts without the load [V].
        loaded: volts with it [V].
        load: its resistance [ohm].

    Raises:
        OutOfRangeError: a value not above zero.
    """
    require_positive(unloaded=unloaded, loaded=loaded, load=load)
    return np.asarray(np.asarray(load) * (np.asarray(unloaded) / np.asarray(loaded) - 1.0))


def output_resistance(
    *, unloaded: Ladder, loaded: Ladder, load: float, tolerance: float = 0.01
) -> OutputResistance:
    """Output resistance from two ladders, without and with a load, on one setting of all.

    Args:
        unloaded: the ladder without the load.
        loaded: that with it, by the same recorder at the same gain.
        load: its resistance [ohm].
        tolerance: of the load, standard deviation over value.

    Raises:
        BadInputError: less than five steps below where the loaded or the other one clips.
        OutOfRangeError: load not above zero.

    Source: five steps below the clip mark; the spread of the steps is the error of each.
    """
    marks = (clip_mark(unloaded), clip_mark(loaded))
    ceiling = min((mark.level for mark in marks if mark is not None), default=1.0)
    # Half a decibel below the mark a hard ceiling is not reached.
    below = np.flatnonzero(unloaded.level < ceiling - 0.5)[-LOADED_STEPS:]
    if below.size < LOADED_STEPS:
        raise BadInputError(
            f"ladder: found {below.size} steps below clipping; five are wanted: turn the radio down"
        )
    each = resistance_from_volts(
        unloaded=unloaded.volts[below], loaded=loaded.volts[below], load=load
    )
    value = float(np.mean(each))
    spread = float(np.hypot(np.std(each, ddof=1), tolerance * value))
    return OutputResistance(value, spread, each)


def knob_steps(
    samples: FloatArray, *, rate: float, clock: Clock, begin: float, seconds: float
) -> Knob:
    """Steps of the volume knob while a tone of 100 Hz at full scale plays.

    Args:
        samples: of one channel or `between_legs`, shape (N,).
        rate: samples a second.
        clock: of the recorder, from the mark.
        begin: player time at which the tone begins [s].
        seconds: how long it plays [s].

    Raises:
        BadInputError: the recorder's own clipping; less than 1 s of the tone.

    Source: this project's own: blocks of five periods, a change where the level three blocks on
    differs by more than 0.18 dB, at least 0.6 s apart; the median of what lies between.
    """
    refuse_own_clipping(samples, where="recording")
    played = clock.played(samples.size, rate=rate)
    block = BLOCK_PERIODS / KNOB_FREQUENCY
    inside = np.arange(begin + 0.02, min(begin + seconds, played[-1]) - block - 0.02, block)
    if inside.size * block < 1.0 or played[0] > begin:
        raise BadInputError("recording: found less than 1 s of the tone; all of it is wanted")
    rows = []
    for at in inside:
        first = clock.index(float(at), rate=rate)
        last = clock.index(float(at) + block, rate=rate)
        rows.append(_harmonics(samples[first:last], played[first:last], rate, KNOB_FREQUENCY))
    volts, _, third, _, _ = np.array(rows).T
    edges = [0, *_changes(amplitude_decibel(volts), apart=round(KNOB_APART / block)), volts.size]
    spans = [slice(a + 1, max(b - 1, a + 2)) for a, b in pairwise(edges)]
    level = np.array([float(np.median(volts[span])) for span in spans])
    h3 = np.array([float(np.median(third[span])) for span in spans])
    clipping = np.flatnonzero(h3 > CLIP_H3)
    clips = int(clipping[0]) if clipping.size else None
    return Knob(
        seconds=np.array([inside[edge] for edge in edges[:-1]]),
        volts=level,
        rise=np.diff(amplitude_decibel(level)),
        h3=h3,
        clips=clips,
        clean=None if clips is None else _clean_step(level, clips),
    )


def _clean_step(volts: FloatArray, clips: int) -> int | None:
    quiet = np.flatnonzero(amplitude_decibel(volts / volts[clips]) <= -CLEAN_BELOW)
    return int(quiet[np.argmax(volts[quiet])]) if quiet.size else None


def _changes(level: FloatArray, *, apart: int) -> list[int]:
    """First blocks after a change, the clearest of those that lie too near each other."""
    jump = np.abs(level[3:] - level[:-3])
    found: list[int] = []
    for place in np.argsort(-jump, kind="stable").tolist():
        if jump[place] <= KNOB_CHANGE:
            break
        if all(abs(place - other) >= apart for other in found):
            found.append(place)
    # A clean change shows in three differences alike: the middle one of them.
    centred = [round(float(np.mean(_alike(jump, place)))) + 2 for place in found]
    return sorted(each for each in centred if 1 < each < level.size - 1)


def _alike(jump: FloatArray, place: int) -> FloatArray:
    near = np.arange(max(place - 2, 0), min(place + 3, jump.size))
    return np.asarray(near[jump[near] > 0.8 * jump[place]])


def _harmonics(
    samples: FloatArray, played: FloatArray, rate: float, frequency: float
) -> tuple[float, float, float, float, float]:
    """Fundamental rms; second, third, fifth and noise [dB re fundamental]."""
    orders = [k for k in HARMONICS if k * frequency < 0.45 * rate]
    angle = 2 * np.pi * frequency * np.outer(played, orders)
    columns = np.hstack([np.ones((played.size, 1)), np.cos(angle), np.sin(angle)])
    # Over whole periods the columns stand all but upright on one another: the squares keep digits.
    weights = np.linalg.solve(columns.T @ columns, columns.T @ samples)
    size = dict(zip(orders, np.hypot(*weights[1:].reshape(2, -1)).tolist(), strict=True))
    rest = samples - columns @ weights
    noise = float(np.sqrt(2.0 * np.mean(rest**2) / samples.size))
    first = max(size[1], 1e-12)

    def below(value: float) -> float:
        return float(amplitude_decibel(max(value, 1e-12) / first))

    second, third, fifth = (below(size.get(order, 0.0)) for order in (2, 3, 5))
    return first / 2**0.5, second, third, fifth, below(noise)
