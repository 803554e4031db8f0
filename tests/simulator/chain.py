"""From the player to the recorder: loudspeaker, cabin, phone, and the recorder's own clock.

All but the loudspeaker's harmonics is linear and done on the spectrum of the whole file; the
samples of the recorder are that spectrum summed at the recorder's own instants, by Bluestein's
chirp transform: exact for any clock and rate, nothing is interpolated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from .files import RATE, Samples

Spectrum = NDArray[np.complex128]
SOUND = 343.21
TAIL = 0.7
"""Silence that is added for echoes [s]."""


@dataclass(frozen=True)
class Loudspeaker:
    """Second-order high-pass and harmonics.

    resonance [Hz], quality; second, third: harmonics of a sine of amplitude `full`, as a share of
    it; gain [1], minus turned round.
    """

    resonance: float = 66.0
    quality: float = 0.8
    second: float = 0.0
    third: float = 0.0
    full: float = 0.96 * 10 ** (-12 / 20)
    gain: float = 1.0

    def driven(self, samples: Samples) -> Samples:
        """Samples with the harmonics of y = u + a u^2 + b u^3, at four times the rate.

        What the cube adds to the fundamental of a sine of amplitude `full` is taken off again.
        """
        if not (self.second or self.third):
            return samples
        # closed form: A^2/2 cos 2x and A^3/4 cos 3x
        square, cube = _powers(samples.tobytes())
        a, b = 2 * self.second / self.full, 4 * self.third / self.full**2
        return np.asarray((1.0 - 3 * self.third) * samples + a * square + b * cube)

    def response(self, frequency: Samples) -> Spectrum:
        return self.gain * high_pass(frequency, self.resonance, self.quality)


@lru_cache(maxsize=6)
def _powers(given: bytes) -> tuple[Samples, Samples]:
    """Square and cube of samples (their bytes), made at four times the rate."""
    samples = np.frombuffer(given)
    count = fft.next_fast_len(samples.size, real=True)
    count += count % 2
    fine = fft.irfft(fft.rfft(samples, count), 4 * count) * 4
    bent = [fft.rfft(fine**power)[: count // 2 + 1] / 4 for power in (2, 3)]
    for each in bent:
        each[0] = 0.0
    square, cube = (np.asarray(fft.irfft(each, count)[: samples.size]) for each in bent)
    return square, cube


@dataclass(frozen=True)
class Phone:
    """Second-order high-pass [Hz], tilt [dB/octave] about 1 kHz, gain [1], minus turned round."""

    corner: float = 30.0
    tilt: float = 0.0
    gain: float = 1.0

    def response(self, frequency: Samples) -> Spectrum:
        octaves = np.log2(np.maximum(frequency, 20.0) / 1000.0)
        tilted = self.gain * 10 ** (self.tilt * octaves / 20)
        return np.asarray(tilted * high_pass(frequency, self.corner, 0.7071))


def high_pass(frequency: Samples, corner: float, quality: float) -> Spectrum:
    s = 1j * frequency / corner
    return np.asarray(s**2 / (1 + s / quality + s**2))


def box_impulses(
    size: Sequence[float],
    sources: Sequence[Sequence[float]],
    ear: Sequence[float],
    *,
    absorption: tuple[float, float],
    order: int = 20,
) -> list[Samples]:
    """Pressures of point sources in a box by image sources (Allen and Berkley 1979).

    absorption: share of the energy that its faces take, below and above some 500 Hz. The delay of
    40 samples that pyroomacoustics adds is taken out.
    """
    bass, treble = (_box(size, sources, ear, each, order) for each in absorption)
    joined = []
    for low, high in zip(bass, treble, strict=True):
        count = max(low.size, high.size)
        lower = np.exp(-((np.fft.rfftfreq(count, 1 / RATE) / 500.0) ** 2))
        mixed = lower * np.fft.rfft(low, count) + (1 - lower) * np.fft.rfft(high, count)
        joined.append(np.fft.irfft(mixed, count))
    return joined


def _box(
    size: Sequence[float],
    sources: Sequence[Sequence[float]],
    ear: Sequence[float],
    absorption: float,
    order: int,
) -> list[Samples]:
    import pyroomacoustics as pra

    # Its high-pass, on by default, bends the bands below 100 Hz by up to 8 dB.
    pra.constants.set("rir_hpf_enable", False)
    room = pra.ShoeBox(list(size), fs=RATE, materials=pra.Material(absorption), max_order=order)
    for source in sources:
        room.add_source(list(source))
    room.add_microphone(list(ear))
    room.compute_rir()
    return [np.asarray(each, dtype=np.float64)[40:] for each in room.rir[0]]


def mode_impulse(rng: np.random.Generator, *, decay: float, arrival: float) -> Samples:
    """A first arrival, then random modes, more of them low; decay to -60 dB [s]."""
    count = round(RATE * (arrival + 1.2 * decay))
    time = np.arange(count) / RATE
    heard = np.zeros(count)
    first = round(arrival * RATE)
    heard[first] = 1.0
    frequency = 12_000.0 * rng.random(200) ** 1.5 + 40.0
    run = time[: count - first]
    for each in frequency:
        fading = np.exp(-6.91 * run / (decay * rng.uniform(0.5, 1.0)))
        heard[first:] += 0.02 * rng.normal() * fading * np.sin(2 * np.pi * each * run)
    return heard


def spectrum_at(impulse: Samples, count: int) -> Spectrum:
    return np.asarray(fft.rfft(impulse, count))


def third_octave_levels(response: Spectrum, frequency: Samples) -> dict[int, float]:
    """Mean of |H|^2 over ln f in each third octave [dB], by its band number (0 at 1 kHz).

    Bands in which there is no frequency are left out.
    """
    levels = {}
    for band in range(-16, 13):
        low, high = (1000.0 * 10 ** ((band + side) / 10) for side in (-0.5, 0.5))
        inside = (frequency >= low) & (frequency < high)
        if not inside.any():
            continue
        power = np.abs(response[inside]) ** 2
        weights = 1 / frequency[inside]
        levels[band] = float(10 * np.log10(np.sum(power * weights) / np.sum(weights)))
    return levels


def at_instants(spectrum: Spectrum, size: int, *, start: float, step: float, count: int) -> Samples:
    """Evaluate a periodic signal of `size` samples at player samples start + n step.

    Sum over k of X[k] exp(2 pi i k (start + n step)/size), by k n = (k^2 + n^2 - (k - n)^2)/2.
    """
    k = np.arange(spectrum.size)
    weight = np.full(spectrum.size, 2.0)
    weight[0] = 1.0
    # What the recorder's own filter takes away before it samples.
    weight[k / size > 0.5 / step * 0.985] = 0.0
    weight[-1] = 0.0
    turn = step / size
    reach = max(spectrum.size, count)
    chirp = np.exp(1j * np.pi * _whole_turns(np.arange(reach), turn))
    given = spectrum * weight * np.exp(2j * np.pi * k * start / size) * chirp[: spectrum.size]
    length = fft.next_fast_len(spectrum.size + count - 1)
    kernel = np.zeros(length, dtype=np.complex128)
    kernel[:count] = chirp[:count].conj()
    kernel[length - spectrum.size + 1 :] = chirp[1 : spectrum.size][::-1].conj()
    summed = fft.ifft(fft.fft(given, length) * fft.fft(kernel))[:count]
    return np.asarray((summed * chirp[:count]).real / size)


def _whole_turns(number: NDArray[np.int64], turn: float) -> Samples:
    """n^2 turn modulo 2, so that large angles keep their digits."""
    square = number.astype(np.float64) ** 2
    return np.asarray(np.fmod(square * turn, 2.0))


@dataclass(frozen=True)
class RecorderClock:
    """When the recorder samples: u = start + t (1 + skew), rate [1/s], seconds recorded."""

    start: float = 0.4
    skew: float = 0.0
    rate: float = 48_000.0
    seconds: float | None = None

    def heard(self, spectrum: Spectrum, size: int) -> Samples:
        """Samples of a spectrum on the player's clock, as the recorder takes them."""
        step = RATE / self.rate / (1 + self.skew)
        begin = -self.start * RATE / (1 + self.skew)
        whole = (size / RATE - TAIL / 2) * (1 + self.skew) + self.start
        count = round((whole if self.seconds is None else self.seconds) * self.rate)
        return at_instants(spectrum, size, start=begin, step=step, count=count)


def chain_spectrum(
    sides: Samples, speakers: Sequence[Loudspeaker], paths: Sequence[Samples], phone: Phone
) -> tuple[Spectrum, int]:
    """Spectrum of the pressure at the phone, with its period in samples at the player's rate."""
    size = fft.next_fast_len(sides.shape[-1] + round(2 * TAIL * RATE), real=True)
    size += size % 2
    frequency = fft.rfftfreq(size, 1 / RATE)
    total = np.zeros(frequency.size, dtype=np.complex128)
    for samples, speaker, path in zip(sides, speakers, paths, strict=True):
        if np.any(samples):
            driven = spectrum_at(speaker.driven(samples), size)
            total += driven * speaker.response(frequency) * spectrum_at(path, size)
    return total * phone.response(frequency), size
