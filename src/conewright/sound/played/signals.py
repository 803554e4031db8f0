"""Test sounds as samples: what a phone or a stick plays through the radio while somebody listens.

48 kHz, two channels (left, right), full scale 1. Every sound fades in and out so that no click
reaches a tweeter, begins with beeps that tell how it is to be heard, and ends by itself.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = [
    "LOUDEST",
    "RATE",
    "beeps",
    "call_script",
    "chirp",
    "corner_caller",
    "exponential_sweep",
    "faded",
    "hiss",
    "level_ladder",
    "measuring_sweep",
    "mono_bass",
    "pink_burst",
    "pulse_train",
    "rattle_crawl",
    "sine",
    "treble_burst",
]

RATE: Final = 48_000
"""Samples a second."""

LOUDEST: Final = -12.0
"""Highest peak of a sound [dB of full scale]."""

FADE: Final = 0.02
"""Length of a fade [s]."""

BEEP: Final = 1000.0
"""Pitch of the announcing beeps [Hz]."""


def sine(*, frequency: float, seconds: float, level: float) -> FloatArray:
    """Sine with faded ends.

    Args:
        frequency: above zero and below half the rate [Hz].
        seconds: length [s].
        level: peak [dB of full scale], at most -12.

    Returns:
        Samples, shape (N,), |x| <= 10^(level/20).

    Raises:
        OutOfRangeError: frequency, length or level outside these limits.

    """
    _hold(frequency, seconds, level)
    time = np.arange(round(seconds * RATE)) / RATE
    return faded(_peak(level) * np.sin(2 * np.pi * frequency * time))


def pink_burst(*, low: float, high: float, seconds: float, level: float, seed: int) -> FloatArray:
    """Burst of pink noise between two frequencies, the same for the same seed.

    Args:
        low, high: edges of the band [Hz].
        seconds: length [s].
        level: peak [dB of full scale], at most -12.
        seed: of the phases.

    Returns:
        Samples, shape (N,): equal power per octave in the band, none outside, peak at `level`.

    Raises:
        OutOfRangeError: as `sine`.

    """
    _hold(high, seconds, level)
    size, turns = _pink(low=low, high=high, seconds=seconds, seed=seed)
    noise = faded(np.fft.irfft(size * turns, round(seconds * RATE)))
    return np.asarray(noise * _peak(level) / np.abs(noise).max())


def hiss() -> FloatArray:
    """Pink noise from 100 Hz to 5 kHz for 30 s at -20 dB rms, to set a level by; shape (2, N).

    No peak stands over -12 dB: peaks are cut and the spectrum set right again, in turns, which
    moves the phases alone (van der Ouderaa, Schoukens, Renneboog, IEEE Trans. Instrum. Meas.
    37(1) 1988).
    """
    count = round(30.0 * RATE)
    size, turns = _pink(low=100.0, high=5000.0, seconds=30.0, seed=30)
    for _ in range(12):
        noise = np.fft.irfft(size * turns, count)
        limit = np.std(noise) * 10 ** (7.0 / 20)
        cut = np.fft.rfft(np.clip(noise, -limit, limit))
        turns = cut / np.maximum(np.abs(cut), np.finfo(float).tiny)
    noise = faded(np.fft.irfft(size * turns, count))
    return _both(noise * _peak(-20.0) / np.std(noise))


def _pink(*, low: float, high: float, seconds: float, seed: int) -> tuple[FloatArray, ComplexArray]:
    """Sizes and turns of the spectrum of pink noise between two frequencies [Hz]."""
    frequency = np.fft.rfftfreq(round(seconds * RATE), 1 / RATE)
    inside = (frequency >= low) & (frequency <= high)
    if not inside.any():
        raise OutOfRangeError(f"no frequency of {seconds} s lies between {low} and {high} Hz")
    # Power falls as 1/f, so amplitude as 1/sqrt(f).
    size = np.where(inside, 1 / np.sqrt(np.maximum(frequency, 1.0)), 0.0)
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi, frequency.size)
    return size, np.exp(1j * phase)


def beeps(count: int) -> FloatArray:
    """Short beeps that announce a sound, shape (N,); as many as the number of its part."""
    beep = sine(frequency=BEEP, seconds=0.12, level=-24.0)
    gap = np.zeros(round(0.12 * RATE))
    return np.concatenate([part for _ in range(count) for part in (beep, gap)] or [np.zeros(0)])


def corner_caller() -> FloatArray:
    """Four pink bursts from 200 Hz to 2 kHz of 2 s each, announced by one to four beeps.

    The fader sends each to its corner; both channels carry all. Shape (2, N).
    """
    parts: list[FloatArray] = []
    for number in range(1, 5):
        burst = pink_burst(low=200.0, high=2000.0, seconds=2.0, level=LOUDEST, seed=number)
        parts += [beeps(number), _pause(0.4), burst, _pause(0.8)]
    return _both(np.concatenate(parts))


def treble_burst() -> FloatArray:
    """Pink noise from 8 to 12 kHz at -20 dB for 3 s, shape (2, N)."""
    burst = pink_burst(low=8000.0, high=12_000.0, seconds=3.0, level=-20.0, seed=8)
    return _both(np.concatenate([beeps(1), _pause(0.4), burst, _pause(0.2)]))


def mono_bass() -> FloatArray:
    """50, 63 and 80 Hz, each left, right, both, and both with the right reversed; 3 s each.

    Shape (2, N); one to four beeps tell which of the four is next. Left and right alone are as
    loud as each of the two in the sums.
    """
    parts: list[FloatArray] = []
    for frequency in (50.0, 63.0, 80.0):
        tone = sine(frequency=frequency, seconds=3.0, level=LOUDEST)
        for number, (left, right) in enumerate(((1, 0), (0, 1), (1, 1), (1, -1)), start=1):
            parts += [_both(beeps(number)), _both(_pause(0.3))]
            parts += [np.stack([left * tone, right * tone]), _both(_pause(0.5))]
    return np.concatenate(parts, axis=1)


def rattle_crawl() -> FloatArray:
    """Sine that crawls from 30 to 300 Hz in 90 s at -18 dB, evenly in octaves; shape (2, N)."""
    crawl = exponential_sweep(first=30.0, last=300.0, seconds=90.0, level=-18.0)
    return _both(np.concatenate([beeps(2), _pause(0.4), crawl]))


def exponential_sweep(*, first: float, last: float, seconds: float, level: float) -> FloatArray:
    """Sine whose pitch grows by the same ratio each second, with faded ends.

    Args:
        first, last: frequencies at its ends [Hz].
        seconds: length [s].
        level: peak [dB of full scale], at most -12.

    Returns:
        Samples, shape (N,): phase 2 pi f1 L (e^(t/L) - 1) with L = T/ln(f2/f1): the exponential
        sweep (Farina, AES 108th convention, 2000).

    Raises:
        OutOfRangeError: as `sine`.

    """
    _hold(first, seconds, level)
    _hold(last, seconds, level)
    time = np.arange(round(seconds * RATE)) / RATE
    rate = seconds / np.log(last / first)
    phase = 2 * np.pi * first * rate * np.expm1(time / rate)
    return faded(_peak(level) * np.sin(phase))


def chirp() -> FloatArray:
    """Mark from 1 to 5 kHz in 0.1 s at -18 dB, evenly in hertz, shape (N,).

    Its place in a recording is found by correlation, to a part of a sample.
    """
    first, last, seconds = 1000.0, 5000.0, 0.1
    time = np.arange(round(seconds * RATE)) / RATE
    phase = 2 * np.pi * (first * time + (last - first) * time**2 / (2 * seconds))
    return faded(_peak(-18.0) * np.sin(phase))


def measuring_sweep() -> FloatArray:
    """Exponential sweep from 20 Hz to 20 kHz in 10 s at -12 dB between two chirps, shape (2, N).

    The second chirp begins 12 s after the first: player and recorder have clocks of their own, and
    what lies between the two in a recording tells how far they drift. The sweep begins 1 s after
    the first chirp does.
    """
    sweep = exponential_sweep(first=20.0, last=20_000.0, seconds=10.0, level=LOUDEST)
    mark = chirp()
    rest = _pause(1.0)[mark.size :]
    parts = [beeps(3), _pause(0.4), mark, rest, sweep, _pause(1.0), mark, _pause(0.2)]
    return _both(np.concatenate(parts))


def pulse_train() -> FloatArray:
    """Ten pulses at -12 dB, half a cosine of 5 ms each, all to the plus side; shape (2, N).

    One begins each half second. A cone that is wired right jumps outward at each, one that is
    turned round inward: the first swing in a recording tells which.
    """
    length = round(0.005 * RATE)
    pulse = np.zeros(round(0.5 * RATE))
    pulse[: length + 1] = _peak(LOUDEST) * np.sin(np.pi * np.arange(length + 1) / length)
    return _both(np.concatenate([beeps(4), _pause(0.4), np.tile(pulse, 10)]))


def level_ladder(*, frequency: float) -> FloatArray:
    """Tone in 31 steps of 1.5 s, from -30 dB to full scale by 1 dB, shape (2, N).

    It is for a meter on unplugged outputs and for no loudspeaker: the only sound that reaches full
    scale. A gap of 0.1 s parts the steps.

    Args: frequency: of the tone [Hz].
    Raises: OutOfRangeError: as `sine`.
    """
    _hold(frequency, 1.5, LOUDEST)
    time = np.arange(round(1.5 * RATE)) / RATE
    tone = np.sin(2 * np.pi * frequency * time)
    steps = [part for level in range(-30, 1) for part in (_peak(level) * faded(tone), _pause(0.1))]
    return _both(np.concatenate([beeps(5), _pause(0.4), *steps]))


def call_script() -> FloatArray:
    """One beep, 20 s of silence in which the owner speaks, two beeps; shape (2, N)."""
    return _both(np.concatenate([beeps(1), _pause(20.0), beeps(2)]))


def faded(samples: FloatArray) -> FloatArray:
    """Samples with half a cosine of fade at both ends, 20 ms or half their length."""
    count = min(round(FADE * RATE), samples.shape[-1] // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count, 1))
    shape = np.ones(samples.shape[-1])
    shape[:count] = ramp
    shape[samples.shape[-1] - count :] = ramp[::-1]
    return np.asarray(samples * shape)


def _hold(frequency: float, seconds: float, level: float) -> None:
    if not 0.0 < frequency < RATE / 2:
        raise OutOfRangeError(f"frequency must be above 0 and below {RATE / 2:.0f} Hz")
    if not 0.0 < seconds <= 120.0:
        raise OutOfRangeError("a sound lasts above 0 and at most 120 s")
    if not level <= LOUDEST:
        raise OutOfRangeError(f"a peak is at most {LOUDEST} dB of full scale")


def _peak(level: float) -> float:
    return float(10 ** (level / 20))


def _pause(seconds: float) -> FloatArray:
    return np.zeros(round(seconds * RATE))


def _both(samples: FloatArray) -> FloatArray:
    return np.stack([samples, samples])
