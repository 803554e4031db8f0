"""From a sweep in a recording to the impulse response of what lay between.

Source: Farina, AES 108th convention, preprint 5093 (2000); Novak, Simon, Lotton, JAES 63(10) 2015;
regularisation and windows are this project's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.played.signals import RATE
from conewright.sound.played.stimuli import PILOTS, Core, Part
from conewright.sound.recorded.clock import Clock

__all__ = ["HIGHEST_SHARE", "Impulse", "clear_of_sweep", "deconvolve"]

ROOM: Final = 0.92
"""How long after its end a sweep is listened to [s]."""
EARLY: Final = 0.1
"""How long before its start [s]; the ends are faded over that and over the last stretch."""
LATE: Final = 0.06
LOWEST, HIGHEST = 16.0, 21_000.0
LEAD, TAIL = 0.15, 0.28
"""Window of the linear part [s]. A band that begins at 20 Hz rings before its arrival: a short
lead reads 31.5 to 63 Hz wrong by decibels."""
HARMONIC_LEAD: Final = 0.012
HARMONIC_TAIL, SHORT_HARMONIC_TAIL = 0.28, 0.09
"""End of a harmonic's window [s]; in a short sweep the next order follows sooner."""
NOISE_AT: Final = (0.45, 0.58)
"""How much later than the linear part the noise is looked at [s]: a cabin has died away."""
LEAST_POINTS: Final = 1 << 17
HIGHEST_SHARE: Final = 0.46
"""Highest frequency a recorder holds, over its rate [1]: 20 kHz at 44.1 kHz."""


@dataclass(frozen=True, slots=True)
class Impulse:
    """Impulse response of a sweep's way from file to recording.

    samples: shape (N,), circular; its first is at tau = 0, the arrival by the marks. The harmonic
    of order k lies L ln k before it. rate: [Hz]. core: the sweep.
    """

    samples: FloatArray
    rate: float
    core: Core

    @property
    def points(self) -> int:
        """Length its windows are padded to: a bin of 0.37 Hz or finer."""
        return LEAST_POINTS << max(int(np.ceil(np.log2(self.rate / RATE))), 0)

    @property
    def frequency(self) -> FloatArray:
        """Frequencies of the spectra [Hz], shape (F,)."""
        return np.asarray(np.fft.rfftfreq(self.points, 1 / self.rate))

    def linear(self, *, later: float = 0.0) -> ComplexArray:
        """Spectrum of the linear part, shape (F,): from -0.15 s to +0.28 s, tau = 0 its phase.

        Args:
            later: the same window that much later [s].

        """
        rise, fall = 0.4 * LEAD, 0.25 * TAIL
        return self._spectrum(later - LEAD, later + TAIL, rise, fall, later)

    def noise(self) -> tuple[ComplexArray, ...]:
        """Spectra of the same window where only noise is left, each of shape (F,)."""
        return tuple(self.linear(later=later) for later in NOISE_AT)

    def harmonic(self, order: int) -> ComplexArray:
        """Spectrum of a harmonic's part, shape (F,), tau = -L ln k its phase."""
        at = -self.core.lead(order)
        end = HARMONIC_TAIL if self.core.growth > 1.0 else SHORT_HARMONIC_TAIL
        rise, fall = 0.5 * HARMONIC_LEAD, 0.25 * end
        return self._spectrum(at - HARMONIC_LEAD, at + end, rise, fall, at)

    def early(self, *, before: float, after: float) -> FloatArray:
        """Samples from `before` [s] ahead of the arrival to `after` [s] behind it, shape (M,)."""
        index = np.arange(round(-before * self.rate), round(after * self.rate))
        return np.asarray(self.samples[index % self.samples.size])

    def _spectrum(
        self, begin: float, end: float, rise: float, fall: float, zero: float
    ) -> ComplexArray:
        index = np.arange(round(begin * self.rate), round(end * self.rate))
        tau = index / self.rate
        up = 0.5 - 0.5 * np.cos(np.pi * np.clip((tau - begin) / rise, 0.0, 1.0))
        down = 0.5 - 0.5 * np.cos(np.pi * np.clip((end - tau) / fall, 0.0, 1.0))
        cut = np.zeros(self.points)
        cut[: index.size] = self.samples[index % self.samples.size] * up * down
        turn = np.exp(-2j * np.pi * self.frequency * (tau[0] - zero))
        return np.asarray(np.fft.rfft(cut) * turn)


def deconvolve(samples: FloatArray, *, rate: float, clock: Clock, part: Part) -> Impulse:
    """Deconvolve a sweep.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        part: a sweep in its place.

    Returns:
        H = Y conj(X)/(|X|^2 + lambda), as an impulse response: Y the recording from the start of
        the sweep to 0.92 s after it, without the pilots; X the sweep at the recorder's instants;
        lambda = 1e-5 min |X|^2 between 16 Hz and 21 kHz, min |X|^2 outside.

    Raises:
        BadInputError: the part is no sweep, or the recording does not hold it.

    """
    core = part.wave
    if not isinstance(core, Core):
        raise BadInputError("part: found no sweep; allowed: a core of a stimulus")
    begin, end = part.seconds
    first = clock.index(begin - EARLY, rate=rate)
    last = clock.index(end + ROOM, rate=rate)
    if first < 0 or last > samples.size:
        raise BadInputError(
            f"samples: found {samples.size / rate:.2f} s; allowed: the whole sweep and "
            f"{ROOM} s after it, {last / rate:.2f} s"
        )
    t = clock.played(last - first, rate=rate, first=first)
    k = part.own_time(t)
    heard = samples[first:last] * _ends(t, begin - EARLY, end + ROOM)
    heard = heard - _pilots(heard, core, k)
    played = core.sweep(k) * _below(core, k, rate)
    return Impulse(_inverse(heard, played, rate), rate, core)


def _inverse(heard: FloatArray, played: FloatArray, rate: float) -> FloatArray:
    from scipy.fft import irfft, next_fast_len, rfft

    # The harmonics before and the noise after must not meet at the seam.
    count = next_fast_len(heard.size + round(ROOM * rate), real=True)
    y, x = rfft(heard, count), rfft(played, count)
    power = np.abs(x) ** 2
    frequency = np.fft.rfftfreq(count, 1 / rate)
    inside = (frequency >= LOWEST) & (frequency <= min(HIGHEST, 0.45 * rate))
    least = float(power[inside].min())
    inverse = np.conj(x) / (power + np.where(inside, 1e-5 * least, least))
    return np.asarray(irfft(y * inverse, count))


def _ends(t: FloatArray, begin: float, end: float) -> FloatArray:
    up = 0.5 - 0.5 * np.cos(np.pi * np.clip((t - begin) / EARLY, 0.0, 1.0))
    down = 0.5 - 0.5 * np.cos(np.pi * np.clip((end - t) / LATE, 0.0, 1.0))
    return np.asarray(up * down)


def _below(core: Core, k: FloatArray, rate: float) -> FloatArray:
    """One where the sweep is below what the rate can hold, fading out under it."""
    if rate >= 2.2 * 20_000.0:
        return np.ones_like(k)
    stop = core.time_of(HIGHEST_SHARE * rate)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * np.clip((k / RATE - stop) / 0.01 + 1.0, 0.0, 1.0)))


def _pilots(heard: FloatArray, core: Core, k: FloatArray) -> FloatArray:
    """Return the pilots as they arrived: least squares where the sweep is elsewhere."""
    known: list[FloatArray] = []
    use = (k > 0.1 * RATE) & (k < core.count - 0.1 * RATE)
    clear = np.ones_like(use)
    for frequency in PILOTS:
        known += [core.pilot(k, frequency=frequency, turn=turn) for turn in (0.0, np.pi / 2)]
        clear &= clear_of_sweep(core, k / RATE, frequency=frequency)
    matrix = np.stack(known, axis=1)
    size, *_ = np.linalg.lstsq(matrix[use & clear], heard[use & clear], rcond=None)
    return np.asarray(matrix @ size)


def clear_of_sweep(core: Core, t: FloatArray, *, frequency: float) -> NDArray[np.bool_]:
    """Tell where no harmonic up to the fifth of a sweep is near a tone.

    Args:
        core: the sweep.
        t: times after its start [s], any shape.
        frequency: of the tone [Hz].

    Returns:
        True where harmonic k is 0.35/k octave or more away for k = 1..5; shape of `t`.

    """
    octaves = np.log2(core.frequency(np.clip(t, 0.0, core.count / RATE)) / frequency)
    clear = np.ones(np.shape(t), dtype=np.bool_)
    for order in range(1, 6):
        clear &= np.abs(octaves + np.log2(order)) >= 0.35 / order
    return clear
