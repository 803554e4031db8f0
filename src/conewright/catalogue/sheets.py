"""The small-signal figures of all drivers of a catalogue at once: completed, filled, checked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from math import nan
from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.job.builds.typical import driver_typical, nearest_size, rated_resistance
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.drivers.thiele_small import complete, derivable
from conewright.physics.drivers.trust import ORDER_OF_TRUST, SHEET_AIR, accepted_names

__all__ = ["FIGURES", "Difference", "Sheets", "complete_sheets", "usual"]

FIGURES: Final = (
    "re", "fs", "qms", "qes", "qts", "sd", "vas", "mms", "cms", "rms", "bl", "eta0", "sensitivity",
)  # fmt: skip
AGE: Final = "new"
ORDER_OF_FILLS: Final = ("re", "sd", "fs", "qms", "qes", "mms")
MOST_PERCENT, MOST_DECIBEL = 5.0, 1.0
"""Beyond these a sheet's rounding explains no difference; workshop experience, from memory."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A figure that also follows from those in use: row, what is given and what follows [SI].

    share: of the given above the recomputed one [1]; of a level the difference [dB].
    """

    row: int
    name: str
    given: float
    recomputed: float
    share: float


@dataclass
class Sheets:
    """Completed sheets.

    figures: by name, one for each row, NaN where nothing tells it [SI]. faults: why no driver can
    have the figures of a row. differences: figures that contradict those in use.
    """

    figures: dict[str, FloatArray]
    faults: dict[int, str] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)


def complete_sheets(given: Mapping[str, FloatArray]) -> Sheets:
    """Complete the sheets of many drivers; gaps are filled by what is typical of a new one.

    Args:
        given: one array for each name of a sheet, besides `minor`, `major` (axes of the size) and
            `rated_impedance`; all of one length, NaN where nothing is given [SI].

    Returns:
        The sheets, as a job completes those of its drivers, at the central values.

    """
    count = len(given["re"])
    sheets = Sheets({name: np.full(count, np.nan) for name in FIGURES})
    basis = {name: given[name].copy() for name in ORDER_OF_TRUST if name in given}
    if not count:
        return sheets
    for rows, names in _alike(basis):
        used = accepted_names(names)
        for name in set(basis) - set(used):
            basis[name][rows] = np.nan
        _fill(basis, rows, set(used), given)
    for rows, names in _alike(basis):
        _complete(sheets, basis, rows, names)
    _compare(sheets, given)
    return sheets


@cache
def usual(minor: float, major: float, name: str) -> float:
    """Return what is typical of a new driver of a size [SI], NaN where no table tells it.

    Args: minor, major: the axes of its nominal size [m], 0 where it is unknown.
    """
    size = nearest_size(minor=minor, major=major) if minor > 0.0 else None
    try:
        return nan if size is None else driver_typical(size, AGE, name).quantity.value
    except KeyError:
        return nan


def _alike(arrays: Mapping[str, FloatArray]) -> Iterator[tuple[np.ndarray, tuple[str, ...]]]:
    """Yield the rows that give the same figures, with their names."""
    names = tuple(arrays)
    given = np.array([~np.isnan(arrays[name]) for name in names])
    patterns, which = np.unique(given, axis=1, return_inverse=True)
    which = which.ravel()
    for index, pattern in enumerate(patterns.T):
        told = tuple(name for name, there in zip(names, pattern, strict=True) if there)
        yield np.flatnonzero(which == index), told


def _fill(
    basis: dict[str, FloatArray],
    rows: np.ndarray,
    known: set[str],
    given: Mapping[str, FloatArray],
) -> None:
    """Fill what a job would fill of such drivers, in the same order."""
    for name in ORDER_OF_FILLS:
        if name in derivable(known):
            continue
        for row in rows:
            size = _known(given["minor"][row]), _known(given["major"][row])
            rated, qts = _known(given["rated_impedance"][row]), _known(basis["qts"][row])
            basis[name][row] = _typical(name, size, rated, qts)
        known.add(name)


def _known(value: float) -> float:
    """Return a figure above zero, 0 where it is not known."""
    return 0.0 if np.isnan(value) else float(value)


def _typical(name: str, size: tuple[float, float], rated: float, qts: float) -> float:
    if name == "re" and rated > 0.0:
        return _resistance(rated)
    if name == "qes":
        return 1.0 / (1.0 / usual(*size, "qts") - 1.0 / usual(*size, "qms"))
    if name == "qms" and qts > 0.0:
        return max(usual(*size, "qms"), 2.0 * qts)
    return usual(*size, name)


@cache
def _resistance(rated: float) -> float:
    return rated_resistance(rated).quantity.value


def _complete(
    sheets: Sheets, basis: Mapping[str, FloatArray], rows: np.ndarray, names: tuple[str, ...]
) -> None:
    """Complete rows of which all the same figures are known; those that cannot be go to faults."""
    known = {name: basis[name][rows] for name in names}
    try:
        whole = complete(known, air=SHEET_AIR)
    except OutOfRangeError as error:
        if len(rows) == 1:
            sheets.faults[int(rows[0])] = str(error)
            return
        for half in np.array_split(rows, 2):
            _complete(sheets, basis, half, names)
        return
    for name in FIGURES:
        if name in whole:
            sheets.figures[name][rows] = whole[name]


def _compare(sheets: Sheets, given: Mapping[str, FloatArray]) -> None:
    """Tell figures that differ from what those in use make of them."""
    for name in FIGURES:
        if name not in given:
            continue
        found, again = given[name], sheets.figures[name]
        level = name == "sensitivity"
        share = found - again if level else found / again - 1.0
        most = MOST_DECIBEL if level else MOST_PERCENT / 100.0
        for row in np.flatnonzero(np.abs(share) > most):
            one = float(found[row]), float(again[row]), float(share[row])
            sheets.differences.append(Difference(int(row), name, *one))
