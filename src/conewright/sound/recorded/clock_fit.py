"""The clock of a recorder from the marks and stairs of what was played."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.played.signals import RATE
from conewright.sound.played.stimuli import STAIR, STEP, Part, Stimulus
from conewright.sound.recorded.clock import Clock, tone_amplitudes
from conewright.sound.recorded.marks import Marks, arrival

__all__ = ["ClockFit", "fit_clock", "stair_amplitudes"]

MIDDLE: Final = 0.28
"""Part of a step that is looked at [s]: what is before it is still changing."""
LOST: Final = 2e-3
"""Samples were lost or added from this on [s]."""
LARGEST_SKEW: Final = 400e-6
"""No two clocks differ by more."""


@dataclass(frozen=True, slots=True)
class ClockFit:
    """A recorder's clock, and whether it ran through.

    by_marks: e0, the skew by the marks alone. local: the skew inside the stairs; None without
    stairs. missing: what the recording lacks (below zero: has too much) between its marks [s];
    0 where nothing was lost.
    """

    clock: Clock
    by_marks: float
    local: float | None
    missing: float


def fit_clock(samples: FloatArray, *, rate: float, marks: Marks) -> ClockFit:
    """Fit the clock of a recorder.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        marks: as found in it.

    Returns:
        e0 = distance/known - 1, refined by how far the tones of the second stair are turned
        against the first: e = e0 - phase/(2 pi f T), weights |z|^2 f. With one mark there is no
        skew. Where more than 2 ms are missing, or e0 is over 400 ppm, the clock is that of the
        first mark and stair.

    Raises:
        BadInputError: there is no mark, or the marks do not tell what was played.

    Source: derived; Gamper, HSCMA 2017: the drift can be read off the recorded response itself.
    """
    stimulus = marks.stimulus
    if stimulus is None:
        raise BadInputError("marks: found none of a stimulus; allowed: one or two")
    first = stimulus.marks[0].seconds[0]
    if marks.distance is None or stimulus.marks_apart is None:
        return ClockFit(Clock(marks.arrivals[0] - first), 0.0, None, 0.0)
    apart = stimulus.marks_apart
    by_marks = marks.distance / apart - 1.0
    local, spread = _local(samples, rate, marks, stimulus)
    expected = 0.0 if local is None else local
    missing = (expected - by_marks) * apart
    # Noise on the stairs is not taken for a loss.
    lost = local is not None and abs(missing) > max(LOST, 4.0 * spread * apart)
    if lost or abs(by_marks) > LARGEST_SKEW:
        skew = expected if abs(expected) <= LARGEST_SKEW else 0.0
        clock = Clock(marks.arrivals[0] - first * (1.0 + skew), skew)
        return ClockFit(clock, by_marks, local, missing)
    skew = _refined(samples, rate, marks, by_marks)
    heard = arrival(samples, rate=rate, near=marks.arrivals[0], skew=skew)
    return ClockFit(Clock(heard - first * (1.0 + skew), skew), by_marks, local, 0.0)


def stair_amplitudes(
    samples: FloatArray,
    *,
    rate: float,
    clock: Clock,
    stair: Part,
    frequency: FloatArray,
) -> ComplexArray:
    """Complex amplitudes in the middle 0.28 s of each step of a stair.

    Args:
        samples: of one channel, shape (N,).
        rate: samples a second [Hz].
        clock: of the recorder.
        stair: in its place.
        frequency: of the tones [Hz], shape (F,).

    Returns:
        Shape (3, F); phases count from the start of each step.

    """
    edge = (STEP / RATE - MIDDLE) / 2
    begins = stair.seconds[0] + STEP / RATE * np.arange(3) + edge
    back = np.exp(-2j * np.pi * frequency * edge)
    return np.array(
        [
            back
            * tone_amplitudes(
                samples, rate=rate, clock=clock, begin=begin, seconds=MIDDLE, frequency=frequency
            )
            for begin in begins
        ]
    )


def _refined(samples: FloatArray, rate: float, marks: Marks, by_marks: float) -> float:
    """Return the skew by the phases of the stairs' tones, or by the marks where there is none."""
    stimulus = marks.stimulus
    if stimulus is None or len(stimulus.stairs) != 2:
        return by_marks
    start = marks.arrivals[0] - stimulus.marks[0].seconds[0] * (1.0 + by_marks)
    clock, tones = Clock(start, by_marks), np.array(STAIR)
    one, other = (
        stair_amplitudes(samples, rate=rate, clock=clock, stair=stair, frequency=tones)
        for stair in stimulus.stairs
    )
    turned = np.sum(other * np.conj(one), axis=0)
    between = stimulus.stairs[1].seconds[0] - stimulus.stairs[0].seconds[0]
    weight = np.abs(turned) * tones
    if not weight.any():
        return by_marks
    return by_marks - float(
        np.average(np.angle(turned) / (2 * np.pi * tones * between), weights=weight)
    )


def _local(
    samples: FloatArray, rate: float, marks: Marks, stimulus: Stimulus
) -> tuple[float | None, float]:
    """Return the skew inside each stair alone, mean and spread of the mean; None without stairs."""
    tones, found, weights = np.array(STAIR), [], []
    for heard, mark, stair in zip(marks.arrivals, stimulus.marks, stimulus.stairs, strict=False):
        # Each stair by the mark beside it: what was lost between the stairs is not in it.
        clock = Clock(heard - mark.seconds[0])
        steps = stair_amplitudes(samples, rate=rate, clock=clock, stair=stair, frequency=tones)
        turn = np.angle(steps[1:] * np.conj(steps[:-1]))
        phase = np.concatenate([np.zeros((1, tones.size)), np.cumsum(turn, axis=0)])
        weight = np.abs(steps) ** 2 + np.finfo(float).tiny
        time = np.arange(3)[:, None] * STEP / RATE
        middle = np.sum(weight * time, axis=0) / np.sum(weight, axis=0)
        lever = weight * (time - middle)
        slope = np.sum(lever * phase, axis=0) / np.sum(lever * time, axis=0)
        found.append(-slope / (2 * np.pi * tones))
        weights.append(np.sum(weight, axis=0) * tones**2)
    if not found:
        return None, 0.0
    values, sizes = np.concatenate(found), np.concatenate(weights)
    mean = float(np.average(values, weights=sizes))
    spread = float(np.sqrt(np.average((values - mean) ** 2, weights=sizes) / (values.size - 1)))
    return mean, spread
