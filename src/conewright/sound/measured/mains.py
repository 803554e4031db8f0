"""Hum of the mains in a recording: found in its silences and taken out of the whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.validity import require_positive

__all__ = ["Hum", "without_mains"]

MAINS: Final = (50.0, 60.0)
OFF: Final = 0.15
"""How far mains stray from their frequency [Hz]."""
MULTIPLES: Final = 9
EXPLAINED: Final = 0.2
"""Hum is taken out when it is more than this of the power of the silences [1]."""
CHUNK: Final = 1 << 16
"""Samples that are worked on at a time."""
SEARCHED_AT: Final = 1500.0
"""Rate at which the frequency is looked for [1/s]: above twice the highest multiple."""


@dataclass(frozen=True, slots=True)
class Hum:
    """What was taken out: frequency [Hz], and its share of the silences' power [1]."""

    frequency: float
    explained: float


def without_mains(
    samples: FloatArray, *, rate: float, silences: Sequence[tuple[int, int]]
) -> tuple[FloatArray, Hum | None]:
    """Take the hum of the mains out of a recording.

    Args:
        samples: shape (channels, N), any unit.
        rate: samples a second [1/s].
        silences: first sample and the one after the last of each stretch in which nothing plays.

    Returns:
        The recording without its hum, and the hum; the recording as it came and None where 50 or
        60 Hz and their multiples up to the ninth explain at most 20 % of the silences.

    Raises:
        OutOfRangeError: silences of less than half a second in all, or outside the recording, or a
            rate below 1.5 kHz.

    One frequency for all channels, least squares over the silences. Without this the point at 50 Hz
    of an impedance was 7 to 13 % off with hum at -62 dB re 1 V (own simulation).

    """
    require_positive(rate=rate)
    if rate < SEARCHED_AT:
        raise OutOfRangeError(f"a rate of {rate:g} Hz is too low to hold the mains' multiples")
    if any(not 0 <= first < last <= samples.shape[-1] for first, last in silences):
        raise OutOfRangeError("a silence lies outside the recording")
    index = np.concatenate([np.arange(*pair) for pair in silences] or [np.zeros(0, dtype=int)])
    if index.size < 0.5 * rate:
        raise OutOfRangeError("less than half a second of silence: the hum cannot be found")
    frequency = _frequency(samples, rate, silences)
    still = samples[:, index]
    fitted = _fitted(still, index / rate, frequency)
    level = still.mean(axis=-1, keepdims=True)
    whole = float(np.sum((still - level) ** 2))
    left = float(np.sum((still - _hum(fitted, index / rate, frequency) - fitted[-1][:, None]) ** 2))
    explained = 1.0 - left / whole if whole > 0.0 else 0.0
    if explained <= EXPLAINED:
        return samples, None
    cleaned = np.empty_like(samples)
    for first in range(0, samples.shape[-1], CHUNK):
        part = samples[:, first : first + CHUNK]
        time = np.arange(first, first + part.shape[-1]) / rate
        cleaned[:, first : first + CHUNK] = part - _hum(fitted, time, frequency)
    return cleaned, Hum(frequency, explained)


def _frequency(samples: FloatArray, rate: float, silences: Sequence[tuple[int, int]]) -> float:
    """The frequency near 50 or 60 Hz that explains most of the silences."""
    block = int(rate / SEARCHED_AT)
    time, still = [], []
    for first, last in silences:
        count = (last - first) // block
        if count == 0:
            continue
        part = samples[:, first : first + count * block]
        still.append(part.reshape(len(samples), count, block).mean(axis=-1))
        time.append((first + (np.arange(count) + 0.5) * block - 0.5) / rate)
    t, y = np.concatenate(time), np.concatenate(still, axis=-1)

    def left(frequency: float) -> float:
        """Minus what the hum explains of the sum of squares."""
        basis = _with_constant(t, frequency)
        shares = basis @ y.T
        return -float(np.sum(shares * np.linalg.solve(basis @ basis.T, shares)))

    # Fine enough that the highest multiple slips by less than a sixth of a period from end to end.
    step = min(1.0 / (6.0 * MULTIPLES * max(t[-1] - t[0], 1.0)), OFF / 10.0)
    tried = np.concatenate([np.arange(near - OFF, near + OFF + step, step) for near in MAINS])
    # What each frequency's multiples hold, near enough to choose by; then to the least squares.
    best = float(tried[int(np.argmax(_held(y, t, tried)))])
    for _ in range(6):
        step /= 2.0
        best = min((best - step, best, best + step), key=left)
    return best


def _held(still: FloatArray, time: FloatArray, tried: FloatArray) -> FloatArray:
    """Power of the silences at the multiples of some frequencies, shape (tried,)."""
    level = still - still.mean(axis=-1, keepdims=True)
    turn = np.exp(-2j * np.pi * tried[:, None] * time)
    power, found = turn.copy(), np.zeros(tried.size)
    for _ in range(MULTIPLES):
        found += np.sum(np.abs(power @ level.T) ** 2, axis=-1)
        power *= turn
    return found


def _basis(time: FloatArray, frequency: float) -> FloatArray:
    """Cosines and sines of all multiples, shape (2 x 9, N), each from the one before it."""
    turn = np.exp(2j * np.pi * frequency * time)
    powers = np.cumprod(np.broadcast_to(turn, (MULTIPLES, time.size)), axis=0)
    return np.concatenate([powers.real, powers.imag])


def _with_constant(time: FloatArray, frequency: float) -> FloatArray:
    return np.concatenate([_basis(time, frequency), np.ones((1, time.size))])


def _fitted(still: FloatArray, time: FloatArray, frequency: float) -> FloatArray:
    """Amplitudes of cosines and sines, and the constant last, shape (2 x 9 + 1, channels)."""
    basis = _with_constant(time, frequency)
    return np.asarray(np.linalg.solve(basis @ basis.T, basis @ still.T))


def _hum(fitted: FloatArray, time: FloatArray, frequency: float) -> FloatArray:
    """Hum without its constant, shape (channels, N)."""
    return np.asarray(fitted[:-1].T @ _basis(time, frequency))
