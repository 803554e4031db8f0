"""Several takes of one place: their mean, their spread, and the one that is left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_centres

__all__ = ["Takes", "mean_of_takes", "student_factor"]

FURTHEST: Final = 3.0
"""A take that differs by more from the others is left out [dB rms]."""
LOW, HIGH = 195.0, 4050.0
"""The bands from 200 Hz to 4 kHz."""
SHARE: Final = 0.8


@dataclass(frozen=True, slots=True)
class Takes:
    """What takes of one place say together.

    level: mean [dB], shape (31,). spread: standard deviation from take to take [dB], shape (31,);
    NaN of one take. half_width: of the 80 % interval of the mean [dB], shape (31,), by Student's
    t. used, left_out: names.
    """

    level: FloatArray
    spread: FloatArray
    half_width: FloatArray
    used: tuple[str, ...]
    left_out: tuple[str, ...]


def mean_of_takes(levels: Mapping[str, FloatArray]) -> Takes:
    """Mean in decibels of takes of one place.

    Args:
        levels: third-octave levels by the name of the take [dB], shape (31,) each.

    Returns:
        Mean, spread and Student's interval of those that agree. Of three takes or more, one that
        differs from the median of the others by more than 3 dB rms from 200 Hz to 4 kHz is left
        out, the furthest first; of two nobody can tell which is the odd one.

    Raises:
        BadInputError: there is no take.

    """
    if not levels:
        raise BadInputError("levels: found no take; allowed: one or more")
    used, left_out = dict(levels), []
    while len(used) > 2:
        far = {name: _difference(used, name) for name in used}
        name = max(far, key=lambda each: far[each])
        if far[name] <= FURTHEST:
            break
        left_out.append(name)
        del used[name]
    taken = np.stack(list(used.values()))
    count = len(taken)
    if count == 1:
        unknown = np.full(taken.shape[1:], np.nan)
        return Takes(taken[0], unknown, unknown, tuple(used), tuple(left_out))
    spread = np.std(taken, axis=0, ddof=1)
    half = student_factor(count) * spread / np.sqrt(count)
    return Takes(taken.mean(axis=0), spread, half, tuple(used), tuple(left_out))


def student_factor(*takes: int, share: float = SHARE) -> float:
    """Two-sided factor of Student's t.

    Args:
        takes: how many, of each place whose spreads are pooled.
        share: that lies inside.

    Returns:
        t at takes less one (of each place) degrees of freedom: the half width of a mean is
        t s/sqrt(n), of a difference t s sqrt(1/n + 1/m).

    Raises:
        BadInputError: no place has two takes.

    """
    from scipy.special import stdtrit

    freedom = sum(count - 1 for count in takes)
    if freedom < 1:
        raise BadInputError(f"takes: found {list(takes)}; allowed: two or more of one place")
    return float(stdtrit(freedom, 0.5 + share / 2))


def _difference(levels: Mapping[str, FloatArray], name: str) -> float:
    """Return how far a take is from the median of the others [dB rms]."""
    centres = band_centres()
    inside = (centres > LOW) & (centres < HIGH)
    others = np.median([each for other, each in levels.items() if other != name], axis=0)
    square = (levels[name] - others)[inside] ** 2
    known = square[np.isfinite(square)]
    return float(np.sqrt(known.mean())) if known.size else 0.0
