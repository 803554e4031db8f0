"""The clock of a recorder against that of the player, and tones by it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = ["Clock", "tone_amplitudes"]


@dataclass(frozen=True, slots=True)
class Clock:
    """How the time of a recorder follows from that of the player.

    Sample 0 of what was played is heard `start` seconds after the recording begins; recorder time
    is u = start + t (1 + skew) at player time t (skew > 0: the recording is longer than what was
    played).
    """

    start: float
    skew: float = 0.0

    def played(self, count: int, *, rate: float, first: int = 0) -> FloatArray:
        """Return player times [s] of `count` samples from `first` on, shape (count,)."""
        u = np.arange(first, first + count) / rate
        return np.asarray((u - self.start) / (1.0 + self.skew))

    def index(self, played: float, *, rate: float) -> int:
        """Return the sample of the recording that is nearest to a player time [s]."""
        return round((self.start + played * (1.0 + self.skew)) * rate)


def tone_amplitudes(
    samples: FloatArray,
    *,
    rate: float,
    clock: Clock,
    begin: float,
    seconds: float,
    frequency: FloatArray,
) -> ComplexArray:
    """Hann-weighted amplitude of tones in a stretch of a recording.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        begin: player time at which the stretch begins, and at which phases are zero [s].
        seconds: its length in the player's time [s].
        frequency: of the tones [Hz], shape (F,).

    Returns:
        Amplitudes, shape (F,): A e^(j phi) for A sin(2 pi f (t - begin) + phi); what lies outside
        the recording counts as zero.

    """
    first, last = clock.index(begin, rate=rate), clock.index(begin + seconds, rate=rate)
    first, last = max(first, 0), min(last, samples.size)
    if last - first < 2:
        return np.zeros(np.shape(frequency), dtype=np.complex128)
    u = np.arange(first, last) / rate
    t = (u - clock.start) / (1.0 + clock.skew) - begin
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.clip(t / seconds, 0.0, 1.0))
    whole = 0.5 * seconds * (1.0 + clock.skew) * rate
    turned = np.exp(-2j * np.pi * np.outer(frequency, t))
    return np.asarray(2j * (turned @ (window * samples[first:last])) / whole)
