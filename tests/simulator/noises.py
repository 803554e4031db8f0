"""What else is in a recording: hiss, rumble, engine, fan, mains; music instead of a test sound."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from .files import Samples

Generator = np.random.Generator


def shaped(rng: Generator, count: int, *, rate: float, slope: float) -> Samples:
    """Noise of rms 1 whose power goes as f^slope from 20 Hz (0 white, -1 pink, -2 road)."""
    white = rng.normal(size=count)
    return _unit(_filtered(white, rate, lambda f: np.maximum(f, 20.0) ** (slope / 2)))


def fan(rng: Generator, count: int, *, rate: float) -> Samples:
    """A blower: noise with its most at 200 Hz to 1 kHz and a tone of its blades."""
    air = _unit(_filtered(rng.normal(size=count), rate, _blown))
    blade = np.sin(2 * np.pi * rng.uniform(180.0, 350.0) * np.arange(count) / rate)
    return _unit(air + 0.3 * blade)


def engine(rng: Generator, count: int, *, rate: float, fire: float) -> Samples:
    """Bursts at a firing rate [Hz] that wanders by some tenths of a percent."""
    time = np.arange(count) / rate
    slow = np.interp(time, np.linspace(0, time[-1], 40), rng.normal(size=40))
    phase = 2 * np.pi * (fire * time + 0.02 * slow)
    heard = np.zeros(count)
    for order in (0.5, *range(1, 9)):
        size = (0.2 if order == 0.5 else 1.0) / (1 + 0.4 * order**1.3)
        heard += size * np.sin(order * phase + rng.uniform(0, 2 * np.pi))
    return _unit(_unit(heard) + 0.15 * shaped(rng, count, rate=rate, slope=-1.0))


def hum(rng: Generator, count: int, *, rate: float, mains: float = 50.0) -> Samples:
    """Mains with its multiples."""
    time = np.arange(count) / rate
    mains *= 1 + 1e-3 * rng.uniform(-1, 1)
    parts = (
        rng.uniform(0.2, 1.0) / order * np.sin(2 * np.pi * order * mains * time + rng.uniform(0, 6))
        for order in range(1, 8)
    )
    return _unit(np.sum(list(parts), axis=0))


def music(rng: Generator, count: int, *, rate: float) -> Samples:
    """Notes of a scale with plucked envelopes over a beat: no test sound in it."""
    heard = np.zeros(count)
    beat = round(0.24 * rate)
    for at in range(0, count - beat, beat):
        time = np.arange(min(4 * beat, count - at)) / rate
        note = 110.0 * 2 ** (rng.choice([0, 2, 4, 7, 9, 12, 16, 19, 24]) / 12)
        tones = sum(np.sin(2 * np.pi * k * note * time) / k for k in range(1, 9))
        heard[at : at + time.size] += rng.uniform(0.3, 1.0) * np.exp(-5 * time) * tones
    beats = (np.arange(count) % (2 * beat)) / rate
    return _unit(heard + 0.4 * np.exp(-30 * beats) * rng.normal(size=count))


def like_speech(rng: Generator, count: int, *, rate: float) -> Samples:
    """Syllables: a voice's pulses through three formants, with pauses; a third of it is silent."""
    time = np.arange(count) / rate
    turns = max(int(time[-1] * 3), 2)
    slow = np.interp(time, np.linspace(0, time[-1], turns), rng.normal(size=turns))
    phase = np.cumsum(2 * np.pi * (120.0 + 15.0 * slow) / rate)
    voice = sum(np.cos(k * phase) / (1 + (k * 120 / 500) ** 1.2) for k in range(1, 28))
    voice = voice + 0.5 * rng.normal(size=count)
    voice = _filtered(voice, rate, _formants)
    edges = np.cumsum(rng.uniform(0.08, 0.3, size=int(time[-1] / 0.08) + 2))
    gains = rng.choice([0.0, 0.5, 0.8, 1.0], p=[0.34, 0.2, 0.2, 0.26], size=edges.size)
    gate = gains[np.searchsorted(edges, time)]
    smooth = np.hanning(max(round(0.03 * rate), 3))
    return _unit(voice * np.convolve(gate, smooth / smooth.sum(), mode="same"))


def _blown(f: Samples) -> Samples:
    x = np.maximum(f, 1.0) / 400.0
    return np.asarray(x / (1 + x**2))


def _formants(f: Samples) -> Samples:
    known = ((500, 120), (1500, 200), (2500, 300))
    return np.asarray(sum(1 / (1 + ((f - c) / w) ** 2) for c, w in known) + 0.02)


def _filtered(samples: Samples, rate: float, gain: Callable[[Samples], Samples]) -> Samples:
    """Samples with a gain by frequency [Hz]; some silence behind them makes it quick."""
    size = fft.next_fast_len(samples.size, real=True)
    gains = gain(fft.rfftfreq(size, 1 / rate))
    return np.asarray(fft.irfft(fft.rfft(samples, size) * gains, size)[: samples.size])


def _unit(samples: NDArray[np.float64]) -> Samples:
    return np.asarray(samples / np.sqrt(np.mean(samples**2)), dtype=np.float64)
