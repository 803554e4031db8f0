"""Hands-free calls as the far end recorded them: speech over noise, and what comes back.

The far end hears whatever the network made of a call, so only differences of two recordings with
the same words at the same speed say something of the microphone's place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import ComplexArray, FloatArray, Real
from conewright.physics.basics.levels import amplitude_decibel, decibel, from_decibel
from conewright.physics.basics.validity import require_positive

__all__ = [
    "CallGain",
    "CallLevel",
    "Echo",
    "call_gain",
    "call_level",
    "echo",
    "expected_gain",
    "signal_to_noise",
]

BAND: Final = (300.0, 3400.0)
FRAME: Final = 0.032
LEAST_SECONDS: Final = 2.0
ROUNDS: Final = 20
NOISE_WITHIN, SPEECH_OVER = 3.0, 4.0
SILENT: Final = -65.0
SILENT_SHARE: Final = 0.05
# With recorded speech in noise shaped as in a car; taken as 80 %.
LEVEL_BAND, GAIN_BAND = 2.5, 1.5
WEAK: Final = 2.0
"""Speech over noise of the passage under which a gain is told with twice the band [dB]."""

LONGEST_ECHO: Final = 0.6
ECHO_FRAME: Final = 0.256
DELAY_BAND: Final = 0.001
LEVEL_FLOOR: Final = 0.1
COMPLAINT_LEVEL, COMPLAINT_DELAY = -30.0, 0.03


@dataclass(frozen=True, slots=True)
class CallLevel:
    """Speech and noise of one call, 300 to 3400 Hz.

    speech, noise [dB of full scale]; snr: speech over noise [dB] while somebody speaks, within
    `snr_band` either way, too large where noise covers the softer half. passage: the same from the
    first word to the last with the pauses in it [dB], for which no border between speech and noise
    is drawn: the one to compare.
    suppressed: whether the pauses are silent because a network or a telephone makes them so: then
    the ratio says nothing of the microphone, and the call is judged by ear.
    """

    speech: float
    noise: float
    snr: float
    snr_band: float
    passage: float
    suppressed: bool


@dataclass(frozen=True, slots=True)
class CallGain:
    """What a change did to the speech over the noise [dB], within `band` either way.

    trusted: whether neither call was cleaned on its way.
    """

    before: CallLevel
    after: CallLevel
    gain: float
    band: float
    trusted: bool


@dataclass(frozen=True, slots=True)
class Echo:
    """What comes back of speech that was sent.

    delay [s] within `delay_band`; level re what was sent [dB] within `level_band`. complaint:
    whether a far end is likely to complain, over -30 dB and later than 30 ms.
    """

    delay: float
    delay_band: float
    level: float
    level_band: float
    complaint: bool


def expected_gain(*, before: Real, after: Real) -> FloatArray:
    """Gain of speech over noise [dB] from moving the microphone, 20 log(before/after).

    Args:
        before: its distance from the mouth [m].
        after: the same later [m].

    Raises:
        OutOfRangeError: a distance not above zero.

    Source: pressure goes with one over distance; the noise is taken as the same everywhere.
    """
    require_positive(before=before, after=after)
    return amplitude_decibel(np.asarray(before) / np.asarray(after))


def signal_to_noise(*, active: Real, pause: Real) -> FloatArray:
    """Speech over noise [dB] from the level while somebody speaks, and that of the pauses.

    Args:
        active: level of speech with the noise in it [dB].
        pause: level of the noise [dB].

    Returns:
        The ratio of powers; minus infinity where the pauses are as loud.
    """
    speech = np.maximum(from_decibel(active) - from_decibel(pause), 0.0)
    return np.asarray(decibel(speech) - np.asarray(pause))


def call_level(samples: FloatArray, *, rate: float) -> CallLevel:
    """Speech over noise of a call, as the far end recorded it.

    Args:
        samples: of one channel, shape (N,), full scale 1.
        rate: samples a second, at least 8000.

    Raises:
        BadInputError: a rate below 8 kHz, less than 2 s, no sound, or nothing that stands out as
            speech.

    Source: this project's own, a simple stand-in for the active speech level of ITU-T P.56: frames
    of 32 ms; noise is the mean of the frames within 3 dB of itself, begun at the median of the
    lowest quarter; speech are the frames 4 dB over it, with one frame after each.
    """
    _require_call(samples, rate=rate)
    power = _frames(_telephone_band(samples, rate=rate), size=round(FRAME * rate))
    levels = decibel(np.maximum(power, 1e-20))
    noise = float(np.quantile(levels, 0.125))
    for _ in range(ROUNDS):
        near = np.abs(levels - noise) <= NOISE_WITHIN
        if not near.any():
            break
        noise = float(decibel(float(np.mean(power[near]))))
    spoken = levels > noise + SPEECH_OVER
    spoken[1:] |= spoken[:-1]
    if not spoken.any():
        raise BadInputError("call: found nothing 4 dB over its noise; speech with pauses is wanted")
    active = float(decibel(float(np.mean(power[spoken]))))
    first, last = np.flatnonzero(spoken)[[0, -1]]
    whole = float(decibel(float(np.mean(power[first : last + 1]))))
    snr = float(signal_to_noise(active=active, pause=noise))
    passage = float(signal_to_noise(active=max(whole, noise + 0.01), pause=noise))
    silent = float(np.mean(levels < active + SILENT))
    return CallLevel(snr + noise, noise, snr, LEVEL_BAND, passage, silent > SILENT_SHARE)


def call_gain(*, before: CallLevel, after: CallLevel) -> CallGain:
    """What a change did to a call: the same words at the same pace, speed and road in both."""
    trusted = not (before.suppressed or after.suppressed)
    weak = min(before.passage, after.passage) < WEAK
    band = 2 * GAIN_BAND if weak else GAIN_BAND
    return CallGain(before, after, after.passage - before.passage, band, trusted)


def echo(sent: FloatArray, *, returned: FloatArray, rate: float) -> Echo:
    """Find what comes back of speech that was sent, both on one clock.

    Args:
        sent: speech as it was sent, shape (N,).
        returned: what came back over the same time, shape (N,).
        rate: samples a second, at least 8000.

    Raises:
        BadInputError: a rate below 8 kHz, less than 2 s, no sound, or unequal lengths.

    Source: delay at the peak of the inverse transform of the cross spectrum over power plus 1 %,
    within 0.6 s; level by sum |Pxy|^2/Pxx over sum Pxx, 300 to 3400 Hz, delay taken out, less
    what noise alone would make of it.
    """
    if sent.shape != returned.shape:
        raise BadInputError(
            f"echo: found {returned.size} samples for {sent.size} sent; as many are wanted"
        )
    _require_call(sent, rate=rate)
    delay = _delay(sent, returned, rate=rate)
    late = round(delay * rate)
    level, band = _echo_level(sent[: sent.size - late], returned[late:], rate=rate)
    complaint = level > COMPLAINT_LEVEL and delay > COMPLAINT_DELAY
    return Echo(delay, DELAY_BAND, level, band, complaint)


def _require_call(samples: FloatArray, *, rate: float) -> None:
    if rate < 8000.0:
        raise BadInputError(f"call: found {rate:g} samples a second; at least 8000 are wanted")
    if samples.size < LEAST_SECONDS * rate:
        raise BadInputError(f"call: found {samples.size / rate:.1f} s; at least 2 s are wanted")
    if not np.any(samples):
        raise BadInputError("call: found no sound; speech is wanted")


def _telephone_band(samples: FloatArray, *, rate: float) -> FloatArray:
    from scipy import signal

    sections = signal.butter(4, BAND, btype="bandpass", fs=rate, output="sos")
    return np.asarray(signal.sosfilt(sections, samples), dtype=np.float64)


def _frames(samples: FloatArray, *, size: int) -> FloatArray:
    """Mean square of each frame."""
    count = samples.size // size
    framed = samples[: count * size].reshape(count, size)
    return np.asarray(np.mean(framed**2, axis=-1))


def _delay(sent: FloatArray, returned: FloatArray, *, rate: float) -> float:
    from scipy import fft

    reach = round(LONGEST_ECHO * rate)
    size = fft.next_fast_len(sent.size + reach, real=True)
    frequency = fft.rfftfreq(size, 1 / rate)
    inside = (frequency >= BAND[0]) & (frequency <= BAND[1])
    from_sent: ComplexArray = fft.rfft(sent, size)
    power = np.abs(from_sent) ** 2
    cross = fft.rfft(returned, size) * from_sent.conj()
    response = np.where(inside, cross / (power + 0.01 * np.mean(power[inside])), 0.0)
    impulse = np.abs(fft.irfft(response, size)[: reach + 1])
    return float(np.argmax(impulse)) / rate


def _echo_level(sent: FloatArray, returned: FloatArray, *, rate: float) -> tuple[float, float]:
    """Level of the part of `returned` that follows `sent` [dB], and its 80 % band."""
    from scipy import signal

    size = round(ECHO_FRAME * rate)
    frequency, cross = signal.csd(sent, returned, fs=rate, nperseg=size)
    _, power = signal.welch(sent, fs=rate, nperseg=size)
    _, back = signal.welch(returned, fs=rate, nperseg=size)
    inside = (frequency >= BAND[0]) & (frequency <= BAND[1]) & (power > 0.0)
    cross, power, back = cross[inside], power[inside], back[inside]
    # Half-overlapping Hann frames are worth about 0.95 of their number (Welch 1967).
    frames = max(0.95 * (2 * sent.size / size - 1), 2.0)
    followed = np.abs(cross) ** 2 / power
    own = np.maximum(back - followed, 0.0) / (frames - 1)
    heard, total = float(np.sum(np.maximum(followed - own, 0.0))), float(np.sum(power))
    if heard <= 0.0:
        return -np.inf, np.inf
    error = float(np.sqrt(2.0 * np.sum(own * followed))) / heard
    band = 1.2816 * 4.343 * error
    return float(decibel(heard / total)), float(np.hypot(LEVEL_FLOOR, band))
