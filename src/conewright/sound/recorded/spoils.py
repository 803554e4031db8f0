"""What spoils a recording: how it is seen, and what is said of it.

The thresholds are this project's own, from simulated and real recordings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import NOMINAL_BANDS, band_centres
from conewright.physics.basics.levels import amplitude_decibel, decibel
from conewright.sound.played.stimuli import Core, Part
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.deconvolution import HIGHEST_SHARE, Impulse
from conewright.sound.recorded.third_octaves import LEAST_SNR, BandLevels

__all__ = [
    "FLAT_SHARE",
    "Flag",
    "Rumble",
    "clipped",
    "edge_of_band",
    "flat_tops",
    "floor_falls",
    "long_decay",
    "noisy",
    "rumble",
    "silent",
]

Severity = Literal["stop", "levels", "note"]

SEVERITY: Final = MappingProxyType[str, Severity](
    {
        "truncated": "stop",
        "no-marks": "stop",
        "wrong-file": "stop",
        "dropout": "stop",
        "gain-control": "stop",
        "noise-suppression": "stop",
        "moved": "stop",
        "silent-side": "stop",
        "clipped": "levels",
        "coarse": "levels",
        "lossy": "note",
        "noisy": "note",
        "engine": "note",
        "hum": "note",
        "other-place": "note",
        "long-decay": "note",
    }
)
"""stop: the take is not used; levels: not for levels and distortion; note: it is told."""

FULL: Final = 0.999
RUN: Final = 3
MOST_RUNS: Final = 3
PERIODS: Final = 3
CREST: Final = 2.5
FLAT_SHARE: Final = 0.03
LOUD_SHARE: Final = 0.4
HIGHEST_CREST: Final = 4000.0
EDGE_BELOW: Final = 32.0
EDGE_LIMIT: Final = 18_500.0
STEEP: Final = 20.0
FLOOR_FALL: Final = 6.0
FLOOR_BAND: Final = (9_000.0, 15_000.0)
FLOOR_SWEEP: Final = (100.0, 1500.0)
FRAME: Final = 2048
ENGINE_LAGS: Final = (0.013, 0.083)
ENGINE_PEAK: Final = 0.3
ENGINE_AGAIN: Final = 0.15
ENGINE_BELOW: Final = 42.0
SHORTER: Final = 0.8
"""What repeats so well within a shorter time than any engine's is a fan or a whistle."""
MAINS: Final = (50.0, 60.0)
MAINS_OFF: Final = np.linspace(-0.15, 0.15, 7)
"""How far mains stray [Hz]; then, how finely the eighth multiple needs them."""
MAINS_FINE: Final = np.linspace(-0.025, 0.025, 11)
HUM_RATE: Final = 1000.0
HUM_TAKEN, HUM_TOLD = 0.2, 0.5
"""Shares of the rumble at multiples of the mains from which they are taken out, and told.

An engine that fires at half the mains' frequency has 0.4 of its power there (own simulation).
"""
RUMBLE: Final = (10.0, 400.0)
LEAST_SILENCE: Final = 0.3
DECAY: Final = 0.2
UNHEARD, HEARD = 6.0, 20.0


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that spoils a recording, by its name, and what is said of it."""

    name: str
    words: str

    @property
    def severity(self) -> Severity:
        """How much it spoils: the take, its levels, or nothing."""
        return SEVERITY[self.name]


def clipped(samples: FloatArray) -> bool:
    """Tell whether a recorder ran into its own full scale.

    Args: samples: of one channel, shape (N,), full scale 1.
    Returns: whether more than three runs of three samples are 0.999 or more.
    """
    full = (np.abs(samples) >= FULL).astype(np.int8)
    runs = np.flatnonzero(np.diff(full, prepend=0, append=0))
    begins, ends = runs[::2], runs[1::2]
    return int(np.count_nonzero(ends - begins >= RUN)) > MOST_RUNS


def flat_tops(samples: FloatArray, *, rate: float, clock: Clock, part: Part) -> float:
    """Share of a sweep whose tops are flat.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        part: a sweep in its place.

    Returns:
        Of the loud stretches of three periods from 20 Hz to 4 kHz (peak over 0.4 of the 99 %
        peak), the share whose crest is below 2.5 dB; a sine has 3.01 dB.

    """
    core = part.wave
    if not isinstance(core, Core):
        return 0.0
    last = core.time_of(min(HIGHEST_CREST, rate / 11))
    cycles = 20.0 * core.growth * np.expm1(last / core.growth)
    edges = core.growth * np.log1p(PERIODS * np.arange(cycles // PERIODS + 1) / 20.0 / core.growth)
    place = np.unique([clock.index(part.seconds[0] + t, rate=rate) for t in edges])
    place = place[(place >= 0) & (place < samples.size)]
    if place.size < 3:
        return 0.0
    stretch = samples[place[0] : place[-1]]
    starts = place[:-1] - place[0]
    lengths = np.diff(place)
    stretch = stretch - np.repeat(np.add.reduceat(stretch, starts) / lengths, lengths)
    peak = np.maximum.reduceat(np.abs(stretch), starts)
    rms = np.sqrt(np.add.reduceat(stretch**2, starts) / lengths)
    loud = (peak > LOUD_SHARE * np.percentile(peak, 99)) & (rms > 0.0)
    if not loud.any():
        return 0.0
    return float(np.mean(amplitude_decibel(peak[loud] / rms[loud]) < CREST))


def edge_of_band(impulse: Impulse) -> float | None:
    """Frequency over which a recorder dropped everything [Hz], or None.

    Returns:
        The edge, below 18.5 kHz, above which the response stays 32 dB under the median of 4 to
        12 kHz, where it falls by 20 dB within a twelfth: no loudspeaker is so steep.

    """
    if impulse.rate < 40_000.0:
        return None
    power = np.cumsum(np.abs(impulse.linear()) ** 2)
    centres = np.geomspace(4000.0, min(20_000.0, HIGHEST_SHARE * impulse.rate), 96)
    step = impulse.rate / impulse.points
    low, high = (np.rint(centres * side / step).astype(int) for side in (0.985, 1.015))
    smooth = decibel((power[high] - power[low]) / (high - low))
    under = smooth < np.median(smooth[centres <= 12_000.0]) - EDGE_BELOW
    first = under.size - int(np.argmin(under[::-1])) if not under.all() else 0
    if first >= under.size or first == 0 or centres[first] >= EDGE_LIMIT:
        return None
    edge = float(centres[first])
    around = np.interp([edge / 1.06, edge * 1.06], centres, smooth)
    return edge if around[0] - around[1] >= STEEP else None


def floor_falls(
    samples: FloatArray, silence: FloatArray, *, rate: float, clock: Clock, part: Part
) -> bool:
    """Tell whether the floor is lower beside a tone than in silence: what a lossy coder does.

    Args:
        samples: of one channel, shape (N,).
        silence: before the first mark, shape (M,).
        rate: samples a second [Hz].
        clock: of the recorder.
        part: a sweep in its place.

    Returns:
        Whether the noise at 9 to 15 kHz while the sweep passes 100 Hz to 1.5 kHz is 6 dB or more
        under that of the silence.

    """
    core = part.wave
    if not isinstance(core, Core) or rate < 2.1 * FLOOR_BAND[1]:
        return False
    times = [part.seconds[0] + core.time_of(f) for f in FLOOR_SWEEP]
    first, last = (clock.index(time, rate=rate) for time in times)
    floors = [_floor(cut, rate) for cut in (silence, samples[max(first, 0) : last])]
    if None in floors:
        return False
    quiet, beside = (float(decibel(each or 0.0)) for each in floors)
    return bool(np.isfinite(quiet)) and quiet - beside >= FLOOR_FALL


def _floor(samples: FloatArray, rate: float) -> float | None:
    """Median power of frames in the band that is looked at; None of less than four frames."""
    count = samples.size // FRAME
    if count < 4:
        return None
    frames = samples[: count * FRAME].reshape(count, FRAME) * np.blackman(FRAME)
    power = np.abs(np.fft.rfft(frames, axis=-1)) ** 2
    frequency = np.fft.rfftfreq(FRAME, 1 / rate)
    inside = (frequency >= FLOOR_BAND[0]) & (frequency <= FLOOR_BAND[1])
    return float(np.median(power[:, inside].mean(axis=-1)))


def noisy(levels: BandLevels) -> tuple[str, ...]:
    """Nominal names of the bands from 63 Hz to 8 kHz whose signal is not 10 dB over noise."""
    centres = band_centres()
    judged = (centres > 60.0) & (centres < 8200.0) & (levels.snr < LEAST_SNR)
    return tuple(np.array(NOMINAL_BANDS)[judged].tolist())


@dataclass(frozen=True, slots=True)
class Rumble:
    """What turns or hums in a silence: firing frequency of an engine, frequency of mains [Hz]."""

    engine: float | None = None
    mains: float | None = None


def rumble(silence: FloatArray, *, rate: float, loudness: float) -> Rumble:
    """Tell an engine and the hum of the mains in the silence before the first mark.

    Args:
        silence: shape (M,), 0.3 s or more.
        rate: samples a second [Hz].
        loudness: rms of the sweep.

    Returns:
        The mains where multiples of 50 or 60 Hz, least squares, are half of what lies from 10 to
        400 Hz. Of the rest, the engine: one over the lag, 13 to 83 ms, at which the autocorrelation
        has a peak over 0.3 and again one at twice the lag, and none nearly as high before 13 ms.
        Neither where that noise is 42 dB under the sweep.

    """
    from scipy.fft import irfft, next_fast_len, rfft

    if silence.size < LEAST_SILENCE * rate:
        return Rumble()
    count = next_fast_len(2 * silence.size, real=True)
    frequency = np.fft.rfftfreq(count, 1 / rate)
    inside = (frequency >= RUMBLE[0]) & (frequency <= RUMBLE[1])
    spectrum = np.where(inside, rfft(silence - silence.mean(), count), 0.0)
    # As many samples a second as the rumble needs.
    few = max(round(count * HUM_RATE / rate / 2) * 2, 16)
    slow = irfft(spectrum[: few // 2 + 1], few) * few / count
    slow = slow[: round(silence.size * few / count)]
    size = float(np.sqrt(np.mean(slow**2)))
    if not size or amplitude_decibel(loudness / size) > ENGINE_BELOW:
        return Rumble()
    slow_rate = rate * few / count
    mains, share, rest = _without_hum(slow, slow_rate)
    told = mains if share > HUM_TOLD else None
    if amplitude_decibel(loudness / np.sqrt(np.mean(rest**2))) > ENGINE_BELOW:
        return Rumble(None, told)
    return Rumble(_firing(rest, slow_rate), told)


def _without_hum(slow: FloatArray, rate: float) -> tuple[float, float, FloatArray]:
    """Mains that explain most, their share of the power, and what is left without them."""
    tried = [_less(slow, rate, near + off) for near in MAINS for off in MAINS_OFF]
    near = max(tried, key=lambda each: each[1])[0]
    best = max((_less(slow, rate, near + off) for off in MAINS_FINE), key=lambda each: each[1])
    return best if best[1] > HUM_TAKEN else (*best[:2], slow)


def _less(slow: FloatArray, rate: float, mains: float) -> tuple[float, float, FloatArray]:
    multiples = np.arange(1, int(RUMBLE[1] / mains) + 1)
    angle = 2 * np.pi * mains * np.outer(multiples, np.arange(slow.size) / rate)
    basis = np.concatenate([np.cos(angle), np.sin(angle)])
    left = slow - np.linalg.solve(basis @ basis.T, basis @ slow) @ basis
    return mains, 1.0 - float(np.sum(left**2) / np.sum(slow**2)), left


def _firing(slow: FloatArray, rate: float) -> float | None:
    """Frequency at which it repeats, by the autocorrelation [Hz]."""
    from scipy.fft import irfft, next_fast_len, rfft

    # Ten times finer, so that lags are told apart.
    count = next_fast_len(2 * slow.size, real=True)
    fine, rate = 10 * count, 10.0 * rate
    power = np.abs(rfft(slow, count)) ** 2
    frequency = np.fft.rfftfreq(count, 10.0 / rate)
    # Weighted with f: the rumble of a road, which falls with it, has no period then.
    weighted = np.zeros(fine // 2 + 1)
    weighted[: power.size] = power * frequency
    whole = irfft(weighted, fine)
    lags = np.arange(round(2.1 * ENGINE_LAGS[1] * rate))
    size = 10 * slow.size
    curve = whole[: lags.size] / whole[0] * size / np.maximum(size - lags, 1)
    first, last = (round(lag * rate) for lag in ENGINE_LAGS)
    rising = (curve[1:-1] > curve[:-2]) & (curve[1:-1] >= curve[2:])
    every = 1 + np.flatnonzero(rising)
    peaks = every[(every >= first) & (every <= last) & (curve[every] > ENGINE_PEAK)]
    if not peaks.size:
        return None
    highest = curve[peaks].max()
    if curve[every[every < first]].max(initial=0.0) > SHORTER * highest:
        return None
    # The shortest of the periods that are nearly as good: its multiples repeat too.
    lag = int(peaks[curve[peaks] >= 0.8 * highest][0])
    again = curve[round(1.95 * lag) : round(2.05 * lag) + 1]
    return rate / lag if again.size and again.max() > ENGINE_AGAIN else None


def silent(levels: Sequence[BandLevels]) -> int | None:
    """Which of two sweeps is not heard though the other one is, or None.

    Returns:
        0 or 1: half of its bands from 63 Hz to 8 kHz are less than 6 dB over noise, and half of
        the other one's more than 20 dB.

    """
    if len(levels) != 2:
        return None
    centres = band_centres()
    judged = (centres > 60.0) & (centres < 8200.0)
    middles = [float(np.nanmedian(each.snr[judged])) for each in levels]
    low = int(np.argmin(middles))
    return low if middles[low] < UNHEARD and middles[1 - low] > HEARD else None


def long_decay(impulse: Impulse) -> float | None:
    """Reverberation time over 0.2 s [s], or None: no cabin rings that long.

    Returns:
        60 dB by the slope from -5 to -25 dB of the backward sum of squares, 300 Hz to 4 kHz; None
        where noise hides it.

    Source: ISO 3382-1, from memory.
    """
    cut = impulse.early(before=0.01, after=0.8)
    spectrum = np.fft.rfft(cut, 2 * cut.size)
    frequency = np.fft.rfftfreq(2 * cut.size, 1 / impulse.rate)
    inside = (frequency >= 300.0) & (frequency <= 4000.0)
    square = np.fft.irfft(np.where(inside, spectrum, 0.0))[: cut.size] ** 2
    square = square[int(square.argmax()) :]
    # The last fifth is noise alone in any cabin.
    noise = float(square[-square.size // 5 :].mean())
    left = np.cumsum((square - noise)[::-1])[::-1]
    if left[0] <= 0.0 or noise * square.size > 10 ** (-2.5) * left[0]:
        return None
    curve = decibel(np.maximum(left, 1e-12 * left[0]) / left[0])
    begin, end = (int(np.argmax(curve <= level)) for level in (-5.0, -25.0))
    time = 3.0 * (end - begin) / impulse.rate
    return time if time > DECAY else None
