"""What figures of one row must be to each other, asked of all rows of a catalogue at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final, TypeAlias

import numpy as np

from conewright.catalogue.lists.part_cells import Done
from conewright.catalogue.sheets import usual
from conewright.job.quantity.units import MM
from conewright.physics.basics.arrays import FloatArray

__all__ = ["CHECKS"]

Values: TypeAlias = Mapping[str, FloatArray]
Doubt: TypeAlias = tuple[int, str, str, Done]
"""Row, column, what is allowed, and what is done about it."""

# A coil is wound for 0.8 of its printed ohms as a rule; beyond these it is another figure.
LEAST_SHARE, MOST_SHARE = 0.6, 1.0
# Every driver of a size is nearer to the usual than this; workshop experience, no source.
LEAST_OF_USUAL, MOST_OF_USUAL = 0.3, 3.0
LEAST_DEPTH, MOST_DEPTH = 0.005, 0.200


def _resistance(values: Values) -> Iterator[Doubt]:
    share = values["re"] / values["rated_impedance"]
    for row in _rows((share < LEAST_SHARE) | (share > MOST_SHARE)):
        allowed = f"a coil has {LEAST_SHARE:g} to {MOST_SHARE:g} of the printed ohms"
        yield row, "re", allowed, "left out"


def _cone(values: Values) -> Iterator[Doubt]:
    """Hold the cone against the frame, else against the nominal size."""
    axes = (values["outer"], values["size"]), (values["outer_long"], values["size_long"])
    short, long = (np.where(np.isnan(frame), size, frame) for frame, size in axes)
    long = np.fmax(long, short)
    for row in _rows(values["sd"] > np.pi / 4.0 * short * long):
        yield row, "sd", "a cone is smaller than its frame", "left out"


def _beside_usual(values: Values) -> Iterator[Doubt]:
    """Hold resonance and quality against what is usual of the size."""
    for row in _rows((values["is_driver"] > 0.0) & (values["size"] > 0.0)):
        axes = float(values["size"][row]), float(values["size_long"][row])
        for name in ("fs", "qts"):
            share = float(values[name][row]) / usual(*axes, name)
            if share < LEAST_OF_USUAL or share > MOST_OF_USUAL:
                allowed = (
                    f"{LEAST_OF_USUAL:g} to {MOST_OF_USUAL:g} times the usual of its size is "
                    "allowed"
                )
                yield row, name, allowed, "left out"


def _cutout(values: Values) -> Iterator[Doubt]:
    for cutout, outer in (("cutout", "outer"), ("cutout_long", "outer_long")):
        for row in _rows(values[cutout] >= values[outer]):
            allowed = "a cut-out is smaller than the frame that covers it"
            yield row, cutout, allowed, "left out"
            yield row, outer, allowed, "left out"


def _depth(values: Values) -> Iterator[Doubt]:
    depth = np.where(values["is_driver"] > 0.0, values["depth"], np.nan)
    for row in _rows((depth < LEAST_DEPTH) | (depth > MOST_DEPTH)):
        allowed = f"{MM * LEAST_DEPTH:.0f} to {MM * MOST_DEPTH:.0f} mm is allowed"
        yield row, "depth", allowed, "left out"


def _prices(values: Values) -> Iterator[Doubt]:
    price = values["price"]
    for name, wrong in (
        ("price_low", values["price_low"] > price),
        ("price_high", values["price_high"] < price),
    ):
        for row in _rows(wrong):
            yield row, name, "low, typical and high price go upward", "left out"


def _rows(wrong: np.ndarray) -> list[int]:
    return [int(row) for row in np.flatnonzero(wrong)]


CHECKS: Final[tuple[Callable[[Values], Iterator[Doubt]], ...]] = (
    _resistance,
    _beside_usual,
    _cutout,
    # After the frame itself.
    _cone,
    _depth,
    _prices,
)
