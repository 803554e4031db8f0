"""Recordings written down directly: a stimulus at a recorder's own instants, by a few paths."""

from collections.abc import Sequence

import numpy as np
from scipy.signal import sosfilt

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played.stimuli import STIMULI
from conewright.sound.recorded.recording import Recording

Paths = Sequence[tuple[float, float]]
"""Delay [s] and gain of each way from loudspeaker to recorder."""

CABIN: Paths = ((0.0, 0.6), (0.0031, 0.3), (0.0083, -0.2), (0.02, 0.1))


def recorded(
    name: str,
    *,
    rate: float = 48_000.0,
    start: float = 1.3,
    skew: float = 0.0,
    paths: Paths = CABIN,
    right: Paths | None = None,
    noise: float = 0.0,
    seed: int = 0,
    sections: FloatArray | None = None,
) -> FloatArray:
    """Samples, shape (N,): what both channels became by their paths, a filter and white noise.

    Exact at every rate: nothing is interpolated. Where both sides play, each comes by half.
    """
    stimulus = STIMULI[name]
    count = round((start + stimulus.length / 48_000 * (1 + skew) + 0.5) * rate)
    u, out = np.arange(count) / rate, np.zeros(count)
    for part in stimulus.parts:
        begin, end = part.seconds
        share = 0.5 if part.left and part.right else 1.0
        ways = [(part.left, paths), (part.right, paths if right is None else right)]
        for gain, way in ways:
            for delay, size in way if gain else ():
                first = round((start + begin * (1 + skew) + delay) * rate) - 2
                last = round((start + end * (1 + skew) + delay) * rate) + 2
                t = (u[first:last] - delay - start) / (1 + skew)
                out[first:last] += share * gain * size * part.at(t)
    if sections is not None:
        out = np.asarray(sosfilt(sections, out))
    return np.asarray(out + noise * np.random.default_rng(seed).standard_normal(count))


def held(samples: FloatArray, *, rate: float = 48_000.0, lossy: bool = False) -> Recording:
    """A recording of one channel, shape (N,), or several, (C, N)."""
    return Recording("take.wav", np.atleast_2d(samples), rate, "0" * 64, lossy)
