"""The drivers of a catalogue as columns with every gap filled, as a job fills that of one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from math import nan

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.compiled import Compiled
from conewright.catalogue.sheets import usual
from conewright.job.builds.coils import USUAL_EXPONENT
from conewright.job.builds.typical import nearest_size, rated_resistance, typical_or_none
from conewright.physics.basics.arrays import FloatArray

__all__ = ["DriverColumns", "driver_columns"]

SHEET = ("re", "fs", "qms", "qes", "sd", "mms")
"""A basis from which all other figures of a driver follow."""

OF_SIZE = ("xmax", "power", "coil_rise")
FRAME = ("depth", "cutout", "outer", "front_height")
LONG = ("cutout_long", "outer_long")
COIL = ("le", "n", "k", "l2", "r2")


@dataclass(frozen=True, eq=False)
class DriverColumns:
    """Drivers of a catalogue, one entry of every array each.

    Attributes:
        rows: of the catalogue.
        values: figures of coil, cone and frame [SI], by their names as in a job; NaN where a model
            has none, or nothing is known of a long axis or of screws.
        coil: model of each: 0 a power law of Le, 1 one of K, 2 a shunted coil, 3 an inductor.
        whole: whether everything that is needed is known.
        at: position of a row of the catalogue, -1 for what is no driver.

    """

    rows: NDArray[np.intp]
    values: Mapping[str, FloatArray]
    coil: NDArray[np.intp]
    whole: NDArray[np.bool_]
    at: NDArray[np.intp]

    def of(self, name: str, rows: NDArray[np.intp]) -> FloatArray:
        """Return a figure of some rows of the catalogue [SI]."""
        return self.values[name][self.at[rows]]


def driver_columns(compiled: Compiled) -> DriverColumns:
    """Return the drivers of a catalogue, gaps filled by what is typical of a new one."""
    kinds = np.array(compiled.texts["kind"])
    rows = np.flatnonzero(kinds == "driver")
    values = {name: compiled.figures[name][rows] for name in SHEET}
    sizes = _given(compiled, "size", rows), _given(compiled, "size_long", rows)
    for name in OF_SIZE:
        values[name] = _filled(_given(compiled, name, rows), sizes, _usual(name))
    for name in FRAME:
        values[name] = _filled(_given(compiled, name, rows), sizes, _frame(name))
    for name in LONG:
        values[name] = _long(compiled, name, rows, sizes)
    for name in ("screw_count", "screw_circle"):
        values[name] = _given(compiled, name, rows)
    values |= {name: _given(compiled, name, rows) for name in COIL}
    _fill_coils(values, compiled, rows, sizes)
    whole = np.all([~np.isnan(values[n]) for n in (*SHEET, *OF_SIZE, *FRAME)], axis=0)
    at = np.full(len(compiled), -1)
    at[rows] = np.arange(len(rows))
    return DriverColumns(rows, values, _models(values), whole, at)


def _given(compiled: Compiled, name: str, rows: NDArray[np.intp]) -> FloatArray:
    """Return what the catalogue has of a column, NaN where it has nothing."""
    column = compiled.numbers.get(name)
    return np.full(len(rows), nan) if column is None else column[rows]


def _filled(
    given: FloatArray, sizes: tuple[FloatArray, FloatArray], fill: Callable[[float, float], float]
) -> FloatArray:
    found = given.copy()
    for row in np.flatnonzero(np.isnan(found)):
        minor = float(sizes[0][row])
        if not np.isnan(minor):
            found[row] = fill(minor, float(np.nan_to_num(sizes[1][row], nan=minor)))
    return found


def _usual(name: str) -> Callable[[float, float], float]:
    return lambda minor, major: usual(minor, major, name)


def _frame(name: str) -> Callable[[float, float], float]:
    return lambda minor, major: _of_frame(minor, major, name)


@cache
def _of_frame(minor: float, major: float, name: str) -> float:
    size = nearest_size(minor=minor, major=major)
    row = None if size is None else typical_or_none("frames", size, name)
    return nan if row is None else row.quantity.value


def _long(
    compiled: Compiled, name: str, rows: NDArray[np.intp], sizes: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Return long axes: those given; of an oval of which nothing is given, the usual ones."""
    found = _given(compiled, name, rows)
    short = _given(compiled, name.removesuffix("_long"), rows)
    oval = np.nan_to_num(sizes[1], nan=0.0) > np.nan_to_num(sizes[0], nan=0.0)
    missing = oval & np.isnan(short) & np.isnan(found)
    found[missing] = _filled(found, sizes, _frame(name))[missing]
    return found


def _fill_coils(
    values: dict[str, FloatArray],
    compiled: Compiled,
    rows: NDArray[np.intp],
    sizes: tuple[FloatArray, FloatArray],
) -> None:
    """Fill the inductance of coils without one, in proportion to their resistance, and n."""
    missing = np.isnan(values["le"]) & np.isnan(values["k"])
    told = ~np.isnan(_given(compiled, "re", rows)) | ~np.isnan(
        _given(compiled, "rated_impedance", rows)
    )
    four = rated_resistance(4.0).quantity.value
    typical = _filled(np.full(len(rows), nan), sizes, _usual("le"))
    scale = np.where(told, values["re"] / four, 1.0)
    values["le"] = np.where(missing, typical * scale, values["le"])
    values["n"] = np.where(np.isnan(values["n"]), USUAL_EXPONENT.quantity.value, values["n"])


def _models(values: Mapping[str, FloatArray]) -> NDArray[np.intp]:
    """Return the code of each coil's model, as a job chooses it."""
    of_k = ~np.isnan(values["k"])
    shunted = ~of_k & ~np.isnan(values["l2"]) & ~np.isnan(values["r2"])
    plain = ~of_k & ~shunted & (values["n"] == 1.0)
    return np.select([of_k, shunted, plain], [1, 2, 3], 0)
