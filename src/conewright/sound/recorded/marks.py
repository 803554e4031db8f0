"""Marks in a recording: which stimulus was played, and when each mark arrived.

Source: matched filter, its envelope by the analytic signal; thresholds are this project's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.played.signals import RATE
from conewright.sound.played.stimuli import STIMULI, Mark, Stimulus, Tone
from conewright.sound.recorded.clock import Clock, tone_amplitudes

__all__ = ["Marks", "arrival", "find_marks"]

LOW, HIGH = 400.0, 3200.0
CHUNK: Final = 60.0
"""Length that is searched at once [s]: memory does not grow with the recording."""
LENGTH: Final = Mark().count / RATE
"""Length of a mark [s]."""
LEAST_SCORE: Final = 0.2
LEAST_ALONE: Final = 0.3
CANDIDATES: Final = 12
NEAREST: Final = 0.1
"""Two marks are further apart than this [s]."""
WITHIN: Final = (0.06, 0.35)
"""Distances are met to this [s]; the second where none is met to the first: much was lost."""
AROUND: Final = 0.45
BEFORE: Final = 0.1
NEAR: Final = 0.01
FURTHEST: Final = 0.005
FINER: Final = 16
TINY: Final = float(np.finfo(float).tiny)


@dataclass(frozen=True, slots=True)
class Marks:
    """What was found of the marks of a stimulus.

    stimulus: what was played; None where the marks do not tell. arrivals: of the marks, in the
    recorder's time [s], none to two. scores: normalised correlation of each, 0 to 1. distance:
    from mark to mark [s]. same: correlation of what the two marks became, corrected for noise: 1
    where the path stood still.
    """

    stimulus: Stimulus | None
    arrivals: tuple[float, ...]
    scores: tuple[float, ...]
    distance: float | None = None
    same: float | None = None


def find_marks(samples: FloatArray, *, rate: float, expected: str | None = None) -> Marks:
    """Find the marks of a stimulus.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        expected: name of the stimulus; it decides where one mark alone is enough for it.

    Returns:
        The best pair whose distance is that of a stimulus, by the product of the scores; without
        a pair, the best mark alone; without one, no mark.

    """
    times, scores = _candidates(samples, rate)
    pair = _best_pair(times, scores)
    if pair is None:
        return _alone(samples, rate, times, scores, expected)
    found, (one, other) = pair
    arrivals = (
        arrival(samples, rate=rate, near=times[one]),
        arrival(samples, rate=rate, near=times[other]),
    )
    distance, same = _distance(samples, rate, arrivals)
    stimulus = _told_apart(samples, rate, arrivals[0], found)
    return Marks(stimulus, arrivals, (float(scores[one]), float(scores[other])), distance, same)


def _alone(
    samples: FloatArray, rate: float, times: FloatArray, scores: FloatArray, expected: str | None
) -> Marks:
    if not scores.size or scores.max() < LEAST_ALONE:
        return Marks(None, (), ())
    best = int(scores.argmax())
    known = STIMULI.get(expected or "")
    single = known if known is not None and len(known.marks) == 1 else None
    return Marks(single, (arrival(samples, rate=rate, near=times[best]),), (float(scores[best]),))


def _best_pair(
    times: FloatArray, scores: FloatArray
) -> tuple[list[Stimulus], tuple[int, int]] | None:
    """Return the stimuli (several where their marks are alike) and the two candidates."""
    for within in WITHIN:
        best, found = 0.0, None
        for one, other in combinations(np.argsort(times), 2):
            apart = times[other] - times[one]
            near = [s for s in STIMULI.values() if s.marks_apart and _near(s, apart) < within]
            product = scores[one] * scores[other]
            if near and product > best:
                nearest = min(_near(s, apart) for s in near)
                alike = [s for s in near if _near(s, apart) == nearest]
                best, found = product, (alike, (int(one), int(other)))
        if found is not None:
            return found
    return None


def _near(stimulus: Stimulus, apart: float) -> float:
    return abs((stimulus.marks_apart or np.inf) - apart)


def _told_apart(samples: FloatArray, rate: float, first: float, found: list[Stimulus]) -> Stimulus:
    """Of stimuli whose marks lie alike, return the one whose last tone is there."""
    if len(found) == 1:
        return found[0]
    size: list[float] = []
    for stimulus in found:
        clock = Clock(first - stimulus.marks[0].seconds[0])
        part = stimulus.tones[-1]
        assert isinstance(part.wave, Tone)
        begin, end = part.seconds
        tones = np.array([part.wave.frequency])
        amplitude = tone_amplitudes(
            samples, rate=rate, clock=clock, begin=begin, seconds=end - begin, frequency=tones
        )
        size.append(float(np.abs(amplitude[0])))
    return found[int(np.argmax(size))]


def _mark(rate: float, skew: float = 0.0) -> FloatArray:
    """Return the mark at the recorder's rate."""
    return Mark().at(np.arange(round(LENGTH * rate)) / rate * RATE / (1.0 + skew))


def _banded(samples: FloatArray, rate: float, count: int, points: int) -> ComplexArray:
    """Spectrum of the band of a mark alone, positive frequencies, on `points` bins of `count`."""
    frequency = np.arange(points) * rate / count
    inside = (frequency >= LOW) & (frequency <= HIGH)
    spectrum = np.zeros(points, dtype=np.complex128)
    whole = np.fft.rfft(samples, count)[:points]
    spectrum[: whole.size] = whole
    return np.where(inside, spectrum, 0.0)


def _candidates(samples: FloatArray, rate: float) -> tuple[FloatArray, FloatArray]:
    """Times [s] and scores of the best places for a mark."""
    found: list[tuple[float, float]] = []
    for begin in range(0, max(samples.size, 1), round(CHUNK * rate)):
        # What begins in this chunk may end in the next.
        part = samples[begin : begin + round((CHUNK + LENGTH + NEAREST) * rate)]
        score, step = _scores(np.ascontiguousarray(part), rate)
        found += [(begin / rate + k * step, float(score[k])) for k in _peaks(score, step)]
    kept: list[tuple[float, float]] = []
    for time, score_there in sorted(found, key=lambda each: -each[1]):
        if len(kept) < CANDIDATES and all(abs(time - other) > NEAREST for other, _ in kept):
            kept.append((time, score_there))
    return np.array([time for time, _ in kept]), np.array([score for _, score in kept])


def _scores(samples: FloatArray, rate: float) -> tuple[FloatArray, float]:
    """Return correlation with the mark over the local rms, and the time from point to point [s].

    Both are band-limited, so a point every eighth of a millisecond is enough.
    """
    from scipy.fft import next_fast_len

    mark = _mark(rate)
    count = next_fast_len(samples.size + mark.size, real=True)
    points = min(int(HIGH * 1.1 * count / rate), count // 2)
    fine = next_fast_len(2 * points + 1)
    band = _banded(samples, rate, count, points)
    matched = band * np.conj(np.fft.rfft(mark, count)[:points])
    step = count / rate / fine
    filtered = np.abs(np.fft.ifft(matched, fine)) * 2 * fine / count / rate
    power = np.abs(np.fft.ifft(band, fine) * 2 * fine / count) ** 2 / 2
    long = round(LENGTH / step)
    total = np.concatenate([[0.0], np.cumsum(power)]) * step
    energy = total[long:] - total[:-long]
    # What is 50 dB under the loudest is no mark, whatever its shape.
    energy = np.maximum(energy, 1e-5 * energy.max() + TINY)
    score = filtered[: energy.size] / np.sqrt(energy * np.sum(mark**2) / rate)
    return score[: max(round(samples.size / rate / step), 1)], step


def _peaks(score: FloatArray, step: float) -> Iterator[int]:
    """Yield the places of maxima over the least score, the best of each stretch of 0.1 s."""
    width = max(round(NEAREST / step), 1)
    for begin in range(0, score.size, width):
        k = begin + int(score[begin : begin + width].argmax())
        if score[k] > LEAST_SCORE:
            yield k


def _segment(samples: FloatArray, begin: int, count: int) -> FloatArray:
    """Samples from `begin`, zero where there are none."""
    cut = np.zeros(count)
    first, last = max(begin, 0), min(begin + count, samples.size)
    if last > first:
        cut[first - begin : last - begin] = samples[first:last]
    return cut


def arrival(samples: FloatArray, *, rate: float, near: float, skew: float = 0.0) -> float:
    """Return when a mark arrives: the highest point of the filter's envelope.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        near: about when, to 10 ms [s].
        skew: of the recorder's clock: a chirp that is drawn out seems to come later.

    Returns:
        Recorder time of its beginning [s], by its strongest path.

    """
    begin = round((near - BEFORE) * rate)
    count = round(AROUND * rate)
    double = 2 * count
    mark = np.fft.rfft(_mark(rate, skew), double)[:count]
    band = _banded(_segment(samples, begin, count), rate, double, count)
    envelope = np.abs(np.fft.ifft(band * np.conj(mark), double * FINER))
    first, last = (round((BEFORE + side) * rate * FINER) for side in (-NEAR, NEAR))
    return float(begin / rate + (first + _top(envelope[first:last])) / (rate * FINER))


def _distance(
    samples: FloatArray, rate: float, arrivals: tuple[float, float]
) -> tuple[float, float]:
    """Distance of two marks [s], and how alike what each became is."""
    count = round(AROUND * rate)
    begins = [round((each - BEFORE) * rate) for each in arrivals]
    first, second = (
        _banded(_segment(samples, begin, count), rate, 2 * count, count) for begin in begins
    )
    cross = np.fft.ifft(second * np.conj(first), 2 * count * FINER).real * FINER
    furthest = round(FURTHEST * rate * FINER)
    near = np.concatenate([cross[-furthest:], cross[: furthest + 1]])
    top = _top(near)
    lag = (top - furthest) / (rate * FINER)
    scale = 2 * count
    energies = [float(np.sum(np.abs(each) ** 2)) / scale for each in (first, second)]
    # Noise lies before the first mark; the correlation of what it adds is nought.
    silence = _banded(_segment(samples, begins[0] - count, count), rate, 2 * count, count)
    noise = float(np.sum(np.abs(silence) ** 2)) / scale
    ratio = max(min(energies) / max(noise, 1e-9 * max(energies), TINY) - 1.0, 0.1)
    same = float(near.max()) / max(float(np.sqrt(np.prod(energies))), TINY)
    return (begins[1] - begins[0]) / rate + lag, same * (1.0 + 1.5 / ratio)


def _top(curve: FloatArray) -> float:
    """Place of the highest point, by a parabola through it and its neighbours."""
    k = int(curve.argmax())
    if not 0 < k < curve.size - 1:
        return float(k)
    before, here, after = curve[k - 1 : k + 2]
    bend = before - 2 * here + after
    return k + (0.5 * float((before - after) / bend) if bend < 0 else 0.0)
