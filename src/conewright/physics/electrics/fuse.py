"""Fuses: the ratings there are, their colours, and how long they take to open."""

from dataclasses import dataclass
from functools import cache
from math import inf
from typing import Final

import numpy as np

from conewright.data_files import data_rows
from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_positive

__all__ = [
    "BREAKING_CURRENT",
    "TRIPPING_RATIO",
    "Fuse",
    "fuses",
    "next_fuse",
    "slowest_opening",
]

TRIPPING_RATIO: Final = 1.35
"""Current over rating at which a blade fuse opens in conventional time (ISO 8820-3)."""

BREAKING_CURRENT: Final = 1000.0
"""Largest current that a blade fuse breaks at 32 V d.c. [A] (data sheets to ISO 8820-3)."""


@dataclass(frozen=True, slots=True)
class Fuse:
    """A rating that is sold: current [A], body colour and cold resistance [ohm] where known."""

    kind: str
    rating: float
    colour: str
    resistance: float | None


@cache
def fuses() -> tuple[Fuse, ...]:
    """Return every rating by rising current: blades up to 40 A, bolted ones above."""
    return tuple(
        Fuse(
            row["kind"],
            float(row["rating_a"]),
            row["colour"],
            float(row["cold_mohm"]) * 1e-3 if row["cold_mohm"] else None,
        )
        for row in data_rows("physics", "fuses.csv")
    )


def next_fuse(*, least: float) -> Fuse:
    """Return the smallest rating that is no less than a current [A].

    Raises:
        OutOfRangeError: none is that large.
    """
    require_positive(least=least)
    for fuse in fuses():
        if fuse.rating >= least:
            return fuse
    raise OutOfRangeError(f"no fuse of the table holds {least:g} A; up to {fuses()[-1].rating:g} A")


@cache
def _times() -> tuple[FloatArray, FloatArray]:
    """Current over rating [1] and longest opening time there [s]."""
    rows = data_rows("physics", "fuse_times.csv")
    ratio, most = ([float(row[name]) for row in rows] for name in ("ratio", "max_s"))
    return np.array(ratio), np.array(most)


def slowest_opening(*, ratio: Real) -> FloatArray:
    """Longest time a blade fuse may take to open [s]; inf below `TRIPPING_RATIO`: it may hold.

    Between the limits the standard gives, straight over both logarithms; beyond the last limit of
    the table the time there stands, which is on the safe side.
    """
    require_positive(ratio=ratio)
    ratios, times = _times()
    wanted = np.asarray(ratio, dtype=np.float64)
    log_time = np.interp(np.log(wanted), np.log(ratios), np.log(times))
    return np.asarray(np.where(wanted < ratios[0], inf, np.exp(log_time)))
