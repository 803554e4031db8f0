"""Parts of a stimulus in a recording: single tones by lock-in, pulses by their mean, silences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.played.signals import RATE
from conewright.sound.played.stimuli import Part, Pulse, Stimulus, Tone
from conewright.sound.recorded.clock import Clock, tone_amplitudes
from conewright.sound.recorded.deconvolution import HIGHEST_SHARE

__all__ = ["LockedTones", "locked_tones", "mean_pulse", "silences"]

SETTLED: Final = 0.25
"""What is left out at the start of a tone, where driver and cabin still swing in [1 of it]."""
FADED: Final = 0.08
"""What is left out at its end, which is faded [1 of it]."""
FEWEST_PERIODS: Final = 5

BESIDE: Final = (-4.0, -3.0, 3.0, 4.0)
"""Where noise is looked at, beside a tone: lines of the window, which holds nothing of the tone
there [1/length of the window]."""

RINGS: Final = 0.2
"""How long after a part it may still ring [s]."""
SHORTEST: Final = 0.1
"""Shorter silences are left aside [s]."""


@dataclass(frozen=True, slots=True, eq=False)
class LockedTones:
    """What a recording holds of some tones.

    frequency: of the tones [Hz], shape (T,). amplitude: peak, with the phase against the sine that
    was played, in units of full scale, shape (channels, T). error: standard deviation of each of
    its two parts, from the noise beside the tone, same shape.
    """

    frequency: FloatArray
    amplitude: ComplexArray
    error: FloatArray


def locked_tones(
    samples: FloatArray, *, rate: float, clock: Clock, parts: Sequence[Part]
) -> LockedTones:
    """Complex amplitudes of tones, over whole periods of each.

    Args:
        samples: full scale 1, shape (channels, N), mains taken out (`without_mains`).
        rate: samples a second of the recorder [1/s].
        clock: of this recording.
        parts: tones in their places, of the stimulus that was played.

    Raises:
        BadInputError: no parts, one that is no tone, or one that the recording does not hold.
        OutOfRangeError: a tone of less than five steady periods, or above 0.46 of the rate.

    """
    if not parts:
        raise BadInputError("parts: found none; tones of a stimulus are wanted")
    found = [_one(samples, rate, clock, part) for part in parts]
    return LockedTones(
        np.array([frequency for frequency, _, _ in found]),
        np.stack([amplitude for _, amplitude, _ in found], axis=-1),
        np.stack([error for _, _, error in found], axis=-1),
    )


def _one(
    samples: FloatArray, rate: float, clock: Clock, part: Part
) -> tuple[float, ComplexArray, FloatArray]:
    if not isinstance(part.wave, Tone):
        raise BadInputError(f"parts: found {type(part.wave).__name__}; tones are wanted")
    f = part.wave.frequency
    begin, end = part.seconds
    if f > HIGHEST_SHARE * rate:
        raise OutOfRangeError(f"the tone of {f:g} Hz is too high for a rate of {rate:g} Hz")
    length = end - begin
    periods = int(length * (1.0 - SETTLED - FADED) * f)
    if periods < FEWEST_PERIODS:
        raise OutOfRangeError(
            f"the tone of {f:g} Hz is too short: {periods} periods of it are steady"
        )
    held = periods / f
    first = end - FADED * length - held
    if clock.index(first, rate=rate) < 0 or clock.index(first + held, rate=rate) > len(samples.T):
        raise BadInputError(f"samples: the tone of {f:g} Hz is not within the recording")
    lines = f + np.array([0.0, *BESIDE]) / held
    # Lines that meet the constant or mirror the tone itself hold more than noise.
    lines = lines[(lines > 1.5 / held) & (lines < 0.49 * rate)]
    read = np.array(
        [
            tone_amplitudes(
                each, rate=rate, clock=clock, begin=first, seconds=held, frequency=lines
            )
            for each in samples
        ]
    )
    back = np.exp(-2j * np.pi * f * (first - begin))
    noise = np.sqrt(np.mean(np.abs(read[:, 1:]) ** 2, axis=1) / 2.0)
    return f, np.asarray(read[:, 0] * back), noise


def mean_pulse(samples: FloatArray, *, rate: float, clock: Clock, stimulus: Stimulus) -> FloatArray:
    """Mean of the pulses of a recording: what one pulse became.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [1/s].
        clock: of this recording.
        stimulus: `pulses`.

    Returns:
        From 50 ms before each pulse is played to 200 ms after, shape (M,).

    Raises:
        BadInputError: a stimulus without pulses, or a recording that does not hold them all.

    """
    starts = [part.seconds[0] for part in stimulus.parts if isinstance(part.wave, Pulse)]
    if not starts:
        raise BadInputError(f"stimulus: found {stimulus.name}; pulses are wanted")
    size = round(0.25 * rate)
    firsts = [clock.index(start - 0.05, rate=rate) for start in starts]
    if firsts[0] < 0 or firsts[-1] + size > samples.size:
        raise BadInputError("samples: not all pulses are within the recording")
    return np.asarray(np.mean([samples[first : first + size] for first in firsts], axis=0))


def silences(stimulus: Stimulus, *, rate: float, clock: Clock, count: int) -> list[tuple[int, int]]:
    """Stretches of a recording in which the stimulus is silent and nothing rings any more.

    Args:
        stimulus: what was played.
        rate: samples a second [1/s].
        clock: of this recording.
        count: its length [samples].

    Returns:
        First sample and the one after the last of each.

    """
    spans = sorted(part.seconds for part in stimulus.parts)
    begins = [0.0, *(end + RINGS for _, end in spans)]
    ends = [*(begin for begin, _ in spans), stimulus.length / RATE]
    found = []
    for begin, end in zip(begins, ends, strict=True):
        first = max(clock.index(begin, rate=rate), 0)
        last = min(clock.index(end - 0.02, rate=rate), count)
        if last - first > SHORTEST * rate:
            found.append((first, last))
    return found
