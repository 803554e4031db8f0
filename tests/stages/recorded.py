"""Recordings made directly: a stimulus through filters of closed form, with noise of its own."""

from hashlib import sha256

import numpy as np
from scipy import signal

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played.stimuli import GAINS, STIMULI
from conewright.sound.recorded.recording import Recording

RATE = 48_000
AHEAD, BEHIND = 24_000, 30_000


def high_pass(frequency: float) -> FloatArray:
    """Second order, Butterworth, as second-order sections."""
    return np.asarray(signal.butter(2, frequency, "high", fs=RATE, output="sos"))


def recording(
    name: str,
    *,
    side: str = "both",
    left: FloatArray | float = 1.0,
    right: FloatArray | float = 1.0,
    noise: float = 1e-4,
    seed: int = 1,
    file: str = "",
) -> Recording:
    """Record a stimulus with each channel through a filter, or times a gain, both added up."""
    samples = STIMULI[name].samples() * np.array(GAINS[side])[:, None]
    heard = _through(samples[0], left) + _through(samples[1], right)
    return plain(heard, noise=noise, seed=seed, file=file or f"{name}.wav")


def plain(heard: FloatArray, *, noise: float = 1e-4, seed: int = 1, file: str) -> Recording:
    """Put silence round samples of any number of channels, and noise over all."""
    sounding = np.atleast_2d(heard)
    whole = 0.5 * np.pad(sounding, ((0, 0), (AHEAD, BEHIND)))
    whole += np.random.default_rng(seed).normal(0.0, noise, whole.shape)
    return Recording(file, whole, float(RATE), sha256(whole.tobytes()).hexdigest())


def _through(samples: FloatArray, way: FloatArray | float) -> FloatArray:
    if isinstance(way, float | int):
        return np.asarray(samples * way)
    return np.asarray(signal.sosfilt(way, samples))
