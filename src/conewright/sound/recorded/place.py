"""Whether two recordings were made at one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.recorded.deconvolution import Impulse
from conewright.sound.recorded.spoils import Flag

__all__ = ["PlaceChange", "place_change", "place_flag"]

BAND: Final = np.arange(1000.0, 4000.0, 10.0)
EARLY: Final = 0.035
AHEAD: Final = 0.002
FURTHEST: Final = 0.003
STEP: Final = 2e-6
LIKE: Final = 0.6
SHIFT: Final = 0.15e-3
SPEED: Final = 343.0


@dataclass(frozen=True, slots=True)
class PlaceChange:
    """How two recordings differ in place.

    likeness: correlation of each side's first 35 ms, 1 to 4 kHz, either sign, 0 to 1. shift: of
    the difference of the arrivals right - left [s]; None of one side.
    """

    likeness: tuple[float, ...]
    shift: float | None


def place_change(before: Sequence[Impulse], after: Sequence[Impulse]) -> PlaceChange:
    """Compare the places of two recordings.

    Args:
        before, after: responses of the same sides, left first; of any rates.

    Raises:
        BadInputError: not as many sides in one as in the other, or none.

    """
    if len(before) != len(after) or not before:
        raise BadInputError(
            f"sides: found {len(before)} before, {len(after)} after; allowed: as many, one or two"
        )
    found = [_lag(_early(one), _early(other)) for one, other in zip(before, after, strict=True)]
    likeness = tuple(like for like, _ in found)
    shift = found[1][1] - found[0][1] if len(found) == 2 else None
    return PlaceChange(likeness, shift)


def place_flag(change: PlaceChange) -> Flag | None:
    """Flag of a phone that lay elsewhere, or None: likeness below 0.6, or a shift over 0.15 ms."""
    shift = abs(change.shift or 0.0)
    if min(change.likeness) >= LIKE and shift <= SHIFT:
        return None
    how = f" (by {shift * SPEED * 1000:.0f} mm or more)" if shift > SHIFT else ""
    return Flag("other-place", f"the phone lay elsewhere{how}: put it back where it was")


def _early(impulse: Impulse) -> ComplexArray:
    """Spectrum of the beginning on a grid of its own: rates may differ."""
    cut = impulse.early(before=AHEAD, after=EARLY)
    time = np.arange(cut.size) / impulse.rate - AHEAD
    ends = np.clip((EARLY - time) / 0.005, 0.0, 1.0) * np.clip((time + AHEAD) / 0.001, 0.0, 1.0)
    return np.asarray(np.exp(-2j * np.pi * np.outer(BAND, time)) @ (cut * ends))


def _lag(one: ComplexArray, other: ComplexArray) -> tuple[float, float]:
    """Return the highest correlation of either sign, and the lag at which it stands [s]."""
    lags = np.arange(-FURTHEST, FURTHEST, STEP)
    cross = other * np.conj(one)
    curve: FloatArray = np.abs((np.exp(2j * np.pi * np.outer(lags, BAND)) @ cross).real)
    scale = float(np.sqrt(np.sum(np.abs(one) ** 2) * np.sum(np.abs(other) ** 2)))
    best = int(curve.argmax())
    return float(curve[best]) / scale if scale else 0.0, float(lags[best])
