"""Tones of known frequency and time in a recording: their complex amplitudes, by least squares.

A sine, a cosine and a constant are fitted to whole periods of each tone at the recorder's own
instants; over whole periods that is a lock-in amplifier, and it needs no resampling.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.validity import require_positive
from conewright.sound.recorded.clock import Clock

__all__ = ["LockedTones", "TimedTone", "locked_tones"]

SETTLED: Final = 0.25
"""What is left out at the start of a tone, where driver and cabin still swing in [1 of it]."""
FADED: Final = 0.08
"""What is left out at its end, which is faded [1 of it]."""


@dataclass(frozen=True, slots=True)
class TimedTone:
    """One tone of a test sound, in the player's time.

    frequency: [Hz]. start: [s]. seconds: how long it lasts [s]. A tone is sin(2 pi f (t - start)).
    """

    frequency: float
    start: float
    seconds: float

    def __post_init__(self) -> None:
        require_positive(frequency=self.frequency, seconds=self.seconds)


@dataclass(frozen=True, slots=True, eq=False)
class LockedTones:
    """What a recording holds of some tones.

    amplitude: peak, with the phase against the sine that was played, in units of full scale, shape
    (channels, tones). error: standard error of each from what the fit leaves, same shape.
    """

    amplitude: ComplexArray
    error: FloatArray


def locked_tones(
    samples: FloatArray, *, rate: float, clock: Clock, tones: Sequence[TimedTone]
) -> LockedTones:
    """Complex amplitudes of tones.

    Args:
        samples: full scale 1, shape (channels, N), mains taken out (`without_mains`).
        rate: samples a second of the recorder [1/s].
        clock: of this recording.
        tones: of the sound that was played.

    Raises:
        OutOfRangeError: no tones, a tone that the recording does not hold, one of less than two
            periods, or one above half the rate.

    """
    require_positive(rate=rate)
    if not tones:
        raise OutOfRangeError("no tones are asked for")
    found = [_one(samples, rate, clock, tone) for tone in tones]
    amplitude = np.stack([each for each, _ in found], axis=-1)
    return LockedTones(amplitude, np.stack([error for _, error in found], axis=-1))


def _one(
    samples: FloatArray, rate: float, clock: Clock, tone: TimedTone
) -> tuple[ComplexArray, FloatArray]:
    name = f"the tone of {tone.frequency:g} Hz"
    if tone.frequency >= rate / 2.0:
        raise OutOfRangeError(f"{name} lies above half the rate of {rate:g} Hz")
    kept = tone.seconds * (1.0 - SETTLED - FADED)
    periods = int(kept * tone.frequency)
    if periods < 2:
        raise OutOfRangeError(
            f"{name} is too short: {kept * tone.frequency:.1f} periods are steady"
        )
    begin = tone.start + tone.seconds * (1.0 - FADED) - periods / tone.frequency
    first = clock.index(begin, rate=rate)
    last = clock.index(begin + periods / tone.frequency, rate=rate)
    if first < 0 or last > samples.shape[-1]:
        raise OutOfRangeError(f"{name} is not within the recording")
    played = clock.played(last, rate=rate)[first:] - tone.start
    angle = 2.0 * np.pi * tone.frequency * played
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones_like(angle)], axis=-1)
    part = samples[:, first:last].T
    fitted, *_ = np.linalg.lstsq(basis, part, rcond=None)
    left = np.sqrt(np.mean((part - basis @ fitted) ** 2, axis=0))
    # Of white noise with deviation s, N samples leave s sqrt(2/N) on each part of the amplitude.
    return fitted[0] + 1j * fitted[1], 2.0 * left / np.sqrt(len(part))
