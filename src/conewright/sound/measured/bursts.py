"""Rattles under a crawling tone: bursts of treble that are locked to the tone.

A driver's own distortion is smooth: up to the fifth order of 300 Hz it lies below 1.5 kHz, and
above that it has no peaks. What strikes once a cycle has both. Only relative figures: how loud the
crawl was played decides what is heard at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.levels import amplitude_decibel, from_decibel
from conewright.sound.recorded.clock import Clock

__all__ = [
    "Crawl",
    "LikelyPart",
    "Pressed",
    "Rattle",
    "crawl_bursts",
    "free_against_pressed",
    "likely_parts",
    "lock",
]

LOW, HIGH = 30.0, 300.0
"""Where the crawl begins and ends [Hz]."""

BAND: Final = (1500.0, 8000.0)
LOWEST_RATE: Final = 8000.0
HOP: Final = 0.1
WINDOW_HOPS: Final = 3
# Steady noise reaches a lock of 0.12; a part that strikes in a live cabin, whose decay fills the
# gaps between its clicks, no more than 0.2. Two harmonics that beat stay under a peak of 2.
LEAST_EXCESS, LEAST_LOCK, LEAST_PEAK = 2.0, 0.15, 2.4
EDGE_EXCESS: Final = 1.0
"""Where a rattle that was found ends: noise alone stays within half of it [dB]."""

LEAST_WINDOWS, WIDEST_GAP = 4, 2
LEAST_SILENCE: Final = 0.2
OWN_SPREAD: Final = 0.03
"""Error of the three frequencies over the decade in 12 s: rms of 30 simulated crawls."""

PLACE_SPREAD: Final = 0.05
"""How far a part's own frequency lies from where it is loudest: standard deviation, assumed."""

MUCH, LITTLE = 6.0, 3.0
ODDS_OF_TRIM: Final = {"trim": 0.9, "driver-or-inside": 0.2, "not-conclusive": 0.5}

Source = Literal["trim", "driver-or-inside", "not-conclusive"]


@dataclass(frozen=True, slots=True)
class Rattle:
    """One rattle of a crawl.

    low, strongest, high: frequency of the tone [Hz] where it begins, in the middle of its power
    and where it ends. spread: of
    each of the three, standard deviation over value. excess: treble over that of the silence where
    it is loudest [dB]. lock: see `lock`.
    """

    low: float
    strongest: float
    high: float
    spread: float
    excess: float
    lock: float


@dataclass(frozen=True, slots=True)
class Crawl:
    """What the treble did while the tone crawled, in windows of 0.3 s every 0.1 s.

    frequency: of the tone in the middle of each window [Hz], shape (W,), as the other three:
    excess over the silence [dB], lock and peak (99.5 % of the envelope over its median). floor:
    treble of the silence re the tone's own rms [dB]. rattles: in order of frequency; none if
    nothing struck.
    """

    frequency: FloatArray
    excess: FloatArray
    lock: FloatArray
    peak: FloatArray
    floor: float
    rattles: tuple[Rattle, ...]


@dataclass(frozen=True, slots=True)
class LikelyPart:
    """A part that may rattle there, with its odds among those of the table."""

    part: str
    odds: float


@dataclass(frozen=True, slots=True)
class Pressed:
    """What a hand on the trim changed.

    source: what rattles. fall: of the excess [dB], over the range of the strongest free rattle.
    odds: that it is the trim. masked: whether noise in the second recording could hide it.
    """

    source: Source
    fall: float
    odds: float
    masked: bool


def crawl_bursts(
    samples: FloatArray, *, rate: float, clock: Clock, begin: float, seconds: float
) -> Crawl:
    """Find the rattles in a recording of a crawl from 30 to 300 Hz.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second.
        clock: of the recorder, from the marks.
        begin: player time at which the crawl begins [s]; before it, 1 s of silence and a mark.
        seconds: how long it crawls [s].

    Raises:
        BadInputError: a rate below 8 kHz; a recording without all of the crawl, or with less than
            0.2 s of the silences about it.

    Source: this project's own: excess over 2 dB, lock over 0.15 and peak over 2.4 in at least four
    windows, gaps of two bridged, then as far out as the excess stays over 1 dB. The limits are
    from simulated crawls, half of them with a rattle. A recorder that compresses to less than
    64 kbit/s, an engine, a fan or a door ajar makes bursts of its own.
    """
    if rate < LOWEST_RATE:
        raise BadInputError(f"recording: found {rate:g} samples a second; at least 8000 wanted")
    first = clock.index(begin, rate=rate)
    last = clock.index(begin + seconds, rate=rate)
    if first < 0 or last > samples.size:
        raise BadInputError("recording: found only a part of the crawl; all of it is wanted")
    played = clock.played(samples.size, rate=rate)
    envelope = _envelope(samples, rate=rate)
    silence = envelope[_silent(played, begin=begin, end=begin + seconds)]
    if silence.size < LEAST_SILENCE * rate:
        raise BadInputError("recording: found no silence about the crawl; at least 0.2 s wanted")
    growth = seconds / np.log(HIGH / LOW)
    time = played[first:last] - begin
    phase = 2 * np.pi * LOW * growth * np.expm1(time / growth)
    quiet = max(float(np.mean(silence)), 1e-9)
    mean, locked, peak = _windows(envelope[first:last], phase, hop=round(HOP * rate))
    middle = (np.arange(mean.size) + WINDOW_HOPS / 2) * round(HOP * rate) / rate
    frequency = LOW * np.exp(middle / (1 + clock.skew) / growth)
    excess = amplitude_decibel(mean / quiet)
    tone = float(np.sqrt(np.mean(samples[first:last] ** 2)))
    struck = (excess > LEAST_EXCESS) & (locked > LEAST_LOCK) & (peak > LEAST_PEAK)
    rattles = tuple(
        _rattle(first, last, frequency=frequency, excess=excess, locked=locked)
        for first, last in _stretches(struck, excess)
    )
    floor = float(amplitude_decibel(quiet / max(tone, 1e-9)))
    return Crawl(frequency, excess, locked, peak, floor, rattles)


def lock(envelope: FloatArray, *, phase: FloatArray) -> float:
    """How much of an envelope goes round with a tone: 0 for steady noise, at most 2.

    Args:
        envelope: not below zero, shape (N,).
        phase: of the tone [rad], shape (N,).

    Returns:
        The larger of 2 |<e exp(-j k phase)>|/<e> for k = 1, 2: for one burst a cycle of duty d it
        is 2 sin(pi d)/(pi d).
    """
    turn = np.exp(-1j * phase)
    mean = float(np.mean(envelope))
    once, twice = (abs(np.mean(envelope * turn**k)) for k in (1, 2))
    return float(2.0 * max(once, twice) / mean) if mean > 0.0 else 0.0


def likely_parts(rattle: Rattle) -> tuple[LikelyPart, ...]:
    """Parts whose usual bands hold a rattle's strongest frequency, the likeliest first.

    Each part of the table had the same odds before; what stays is how much of the frequency's
    spread lies in its band. Empty where no band is near. Never more than a hint where to press
    first.
    """
    spread = math.hypot(rattle.spread, PLACE_SPREAD)
    inside = {}
    for row in data_rows("sound.measured", "rattling_parts.csv"):
        low, high = (
            0.5 * (1 + math.erf(math.log(float(row[edge]) / rattle.strongest) / spread / 2**0.5))
            for edge in ("low", "high")
        )
        inside[row["part"]] = high - low
    total = sum(inside.values())
    if total < 0.05:
        return ()
    found = (LikelyPart(part, share / total) for part, share in inside.items())
    return tuple(sorted((p for p in found if p.odds >= 0.01), key=lambda p: -p.odds))


def free_against_pressed(*, free: Crawl, pressed: Crawl) -> Pressed:
    """Judge two crawls at the same volume, the second with a hand on the trim.

    Args:
        free: with at least one rattle.
        pressed: the same with a hand on the trim.

    Raises:
        BadInputError: nothing rattled in the first.

    Source: the excess falls by more than 6 dB or the rattle is gone: the trim, nine to one; it
    stays within 3 dB: the driver or something inside, four to one (both odds assumed).
    """
    if not free.rattles:
        raise BadInputError("free crawl: found no rattle; one is wanted before the trim is pressed")
    worst = max(free.rattles, key=lambda rattle: rattle.excess)
    fall = worst.excess - _loudest_between(pressed, worst.low, worst.high)
    gone = not any(r.low < worst.high and r.high > worst.low for r in pressed.rattles)
    # What the louder noise of the second recording would cover tells nothing by its absence.
    masked = worst.excess + free.floor - pressed.floor < MUCH
    source: Source = "not-conclusive"
    if not masked and (fall > MUCH or gone):
        source = "trim"
    elif not gone and fall <= LITTLE:
        source = "driver-or-inside"
    return Pressed(source, fall, ODDS_OF_TRIM[source], masked)


def _loudest_between(crawl: Crawl, low: float, high: float) -> float:
    inside = (crawl.frequency >= 0.97 * low) & (crawl.frequency <= 1.03 * high)
    return float(np.max(crawl.excess[inside]))


def _envelope(samples: FloatArray, *, rate: float) -> FloatArray:
    """Size of the analytic signal of 1.5 to 8 kHz, shape (N,)."""
    from scipy import fft, signal

    edges = (BAND[0], min(BAND[1], 0.45 * rate))
    sections = signal.butter(4, edges, btype="bandpass", fs=rate, output="sos")
    treble = signal.sosfiltfilt(sections, samples)
    size = fft.next_fast_len(treble.size)
    return np.asarray(np.abs(signal.hilbert(treble, size))[: treble.size], dtype=np.float64)


def _silent(played: FloatArray, *, begin: float, end: float) -> FloatArray:
    """Whether each sample lies in the silence before the mark, or in that after the crawl."""
    before = (played > 0.05) & (played < min(0.95, begin - 0.05))
    after = (played > end + 0.25) & (played < end + 0.48)
    return np.asarray(before | after)


def _windows(
    envelope: FloatArray, phase: FloatArray, *, hop: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, lock and peak of windows of three hops, each shape (W,)."""
    hops = envelope.size // hop
    kept = envelope[: hops * hop]
    turn = np.exp(-1j * phase[: kept.size])

    def summed(values: FloatArray | ComplexArray) -> FloatArray:
        of_hops = np.add.reduceat(values, np.arange(0, kept.size, hop))
        windows = np.lib.stride_tricks.sliding_window_view(of_hops, WINDOW_HOPS).sum(axis=-1)
        return np.asarray(np.abs(windows), dtype=np.float64)

    whole = np.maximum(summed(kept), 1e-12)
    once = kept * turn
    locked = 2.0 * np.maximum(summed(once), summed(once * turn)) / whole
    spans = np.lib.stride_tricks.sliding_window_view(kept, WINDOW_HOPS * hop)[::hop]
    rank = round(0.995 * (WINDOW_HOPS * hop - 1))
    half = (WINDOW_HOPS * hop) // 2
    ordered = np.stack([np.partition(span, (half, rank))[[half, rank]] for span in spans])
    peak = ordered[:, 1] / np.maximum(ordered[:, 0], 1e-12)
    return whole / (WINDOW_HOPS * hop), locked, np.asarray(peak)


def _stretches(struck: NDArray[np.bool_], excess: FloatArray) -> list[tuple[int, int]]:
    """First and last window of each rattle."""
    runs: list[list[int]] = []
    for place in np.flatnonzero(struck).tolist():
        if runs and place - runs[-1][-1] <= WIDEST_GAP + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    found: list[tuple[int, int]] = []
    for run in (run for run in runs if len(run) >= LEAST_WINDOWS):
        first, last = run[0], run[-1]
        while first > 0 and excess[first - 1] > EDGE_EXCESS:
            first -= 1
        while last < excess.size - 1 and excess[last + 1] > EDGE_EXCESS:
            last += 1
        if found and first <= found[-1][1]:
            first = found.pop()[0]
        found.append((first, last))
    return found


def _rattle(
    first: int, last: int, *, frequency: FloatArray, excess: FloatArray, locked: FloatArray
) -> Rattle:
    within = slice(first, last + 1)
    weight = np.maximum(from_decibel(excess[within]) - 1.0, 0.0) ** 2
    strongest = np.exp(np.average(np.log(frequency[within]), weights=weight))
    return Rattle(
        low=float(frequency[first]),
        strongest=float(strongest),
        high=float(frequency[last]),
        spread=OWN_SPREAD,
        excess=float(np.max(excess[within])),
        lock=float(np.max(locked[within])),
    )
