"""A recorder on the two legs of a radio channel: its dividers, and what a touch tells.

Leg - 10 kohm - node - 1 kohm - the recorder's ground, for each leg; the recorder runs on its own
battery and touches nothing else, for its ground stands at half the supply.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_positive

__all__ = [
    "TouchOffset",
    "between_legs",
    "coupling_left",
    "divider_ratio",
    "earthed_current",
    "refuse_own_clipping",
    "touch_offset",
]

OWN_CLIPPING: Final = 0.98
MOST_OFFSET: Final = 0.3
LEG_MISMATCH: Final = 0.006
"""How far two dividers of 1 % resistors differ, standard deviation, without being compared."""


@dataclass(frozen=True, slots=True)
class TouchOffset:
    """Direct volts of the two legs, seen as both are touched at once.

    left, right [V]; offset: left less right [V], with its standard deviation. It can tell half a
    volt, not 50 mV.
    """

    left: float
    right: float
    offset: float
    spread: float


def divider_ratio(*, top: Real, bottom: Real, input_resistance: Real = np.inf) -> FloatArray:
    """Leg's volts over the recorder's, with the recorder's input across the bottom resistor.

    Args:
        top: from the leg to the node [ohm].
        bottom: from the node to the recorder's ground [ohm].
        input_resistance: of the recorder [ohm]; infinite is allowed.

    Raises:
        OutOfRangeError: a resistance not above zero.
    """
    require_positive(top=top, bottom=bottom, input_resistance=input_resistance)
    below = 1.0 / (1.0 / np.asarray(bottom) + 1.0 / np.asarray(input_resistance))
    return np.asarray(1.0 + np.asarray(top) / below)


def earthed_current(*, leg: Real, top: Real, bottom: Real) -> FloatArray:
    """Current through one divider if the recorder is earthed by mistake [A].

    Args:
        leg: volts of the leg against chassis [V].
        top: from the leg to the node [ohm].
        bottom: from the node to the recorder's ground [ohm].

    Raises:
        OutOfRangeError: a resistance not above zero.
    """
    require_positive(top=top, bottom=bottom)
    return np.asarray(np.asarray(leg) / (np.asarray(top) + np.asarray(bottom)))


def between_legs(samples: FloatArray, *, ratio: float = 1.0) -> FloatArray:
    """Difference of two legs, left less right, shape (N,).

    Args:
        samples: both legs as recorded, shape (2, N), full scale 1.
        ratio: of the dividers.

    Raises:
        BadInputError: not two channels; a peak of 0.98 or more, which is the recorder's own
            clipping; a constant part of more than 0.3, which is an input without a capacitor.
    """
    if samples.ndim != 2 or samples.shape[0] != 2:
        raise BadInputError("recording: found no two channels; one for each leg is wanted")
    for name, leg in zip(("left", "right"), samples, strict=True):
        refuse_own_clipping(leg, where=f"recording, {name} channel")
        offset = float(abs(np.mean(leg)))
        if offset > MOST_OFFSET:
            raise BadInputError(
                f"recording, {name} channel: found a constant {offset:.2f} of full scale; at most "
                "0.3 is allowed: use an input with a capacitor"
            )
    return np.asarray((samples[0] - samples[1]) * ratio)


def refuse_own_clipping(samples: FloatArray, *, where: str) -> None:
    """Refuse samples that the recorder itself cut.

    Args:
        samples: full scale 1.
        where: they come from, for the message.

    Raises:
        BadInputError: a peak of 0.98 or more.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak >= OWN_CLIPPING:
        raise BadInputError(
            f"{where}: found a peak of {peak:.3f}; below 0.98 is wanted, or the recorder itself "
            "clips: use a larger divider"
        )


def coupling_left(*, corner: Real, seconds: Real) -> FloatArray:
    """What is left of a step behind a first-order high-pass, exp(-2 pi fc t).

    Args:
        corner: of the high-pass [Hz].
        seconds: since the step [s].
    """
    return np.asarray(np.exp(-2 * np.pi * np.asarray(corner) * np.asarray(seconds)))


def touch_offset(
    samples: FloatArray, *, rate: float, full_scale: Sequence[float], ratio: float
) -> TouchOffset:
    """Direct volts of two legs from the moment both leads touch them.

    Args:
        samples: both legs as recorded, shape (2, N), full scale 1, nothing playing.
        rate: samples a second.
        full_scale: volts at the recorder's input for each channel's full scale [V].
        ratio: of the dividers.

    Raises:
        BadInputError: not two channels, the recorder's own clipping, or no step in it.

    Source: a step decays by the recorder's coupling as exp(-2 pi fc t): an exponential is fitted
    from 4 to 60 ms after the touch and carried back to it. Two dividers that were not compared
    differ by 0.6 %.
    """
    between_legs(samples)
    onset = _onset(np.sum(np.abs(samples), axis=0), rate=rate)
    found = []
    for leg, scale in zip(samples, full_scale, strict=True):
        before = float(np.mean(leg[max(onset - round(0.1 * rate), 0) : max(onset - 5, 1)]))
        first, last = onset + round(0.004 * rate), onset + round(0.06 * rate)
        step, error = _carried_back(leg[first:last] - before, first - onset, rate=rate)
        found.append((step * scale * ratio, error * scale * ratio))
    (left, left_error), (right, right_error) = found
    mismatch = LEG_MISMATCH * max(abs(left), abs(right))
    spread = float(np.sqrt(left_error**2 + right_error**2 + mismatch**2))
    return TouchOffset(left, right, left - right, spread)


def _onset(size: FloatArray, *, rate: float) -> int:
    """First sample of the largest step that has 60 ms after it."""
    reach = max(round(0.002 * rate), 1)
    summed = np.cumsum(np.concatenate([[0.0], size]))
    usable = size.size - round(0.06 * rate)
    if usable < 2 * reach:
        raise BadInputError("recording: found no touch of both leads; one step is wanted")
    at = np.arange(reach, usable)
    after, before = summed[at + reach] - summed[at], summed[at] - summed[at - reach]
    best = int(at[np.argmax(after - before)])
    step = (summed[best + reach] - summed[best]) / reach
    if step < 10.0 * float(np.median(size[:best])) + 1e-4:
        raise BadInputError("recording: found no touch of both leads; one step is wanted")
    return best


def _carried_back(decay: FloatArray, late: int, *, rate: float) -> tuple[float, float]:
    """Height at the touch of a decay that is seen from `late` samples after it, and its error."""
    from scipy.optimize import curve_fit

    time = (np.arange(decay.size) + late) / rate

    def fading(t: FloatArray, height: float, corner: float) -> FloatArray:
        return np.asarray(height * coupling_left(corner=corner, seconds=t))

    bounds = ([-np.inf, 0.0], [np.inf, 100.0])
    values, covariance = curve_fit(fading, time, decay, p0=(decay[0], 3.0), bounds=bounds)
    return float(values[0]), float(np.sqrt(covariance[0, 0]))
