"""Wires: resistance from size, temperature and metal, and what it costs.

Resistances are the greatest the standards allow at 20 C, in data/conductors.csv. A wire bought
measures a few per cent less.
"""

from functools import cache
from typing import Final, Literal, TypeAlias

import numpy as np

from conewright.data_files import data_rows
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.levels import amplitude_decibel
from conewright.physics.basics.validity import (
    require_at_most,
    require_not_negative,
    require_positive,
)

__all__ = [
    "CLAD_ALUMINIUM_CONDUCTIVITY",
    "CLAD_CONDUCTIVITY",
    "COPPER_COEFFICIENT",
    "COPPER_RESISTIVITY",
    "LARGEST_AREA",
    "REFERENCE_TEMPERATURE",
    "ConductorKind",
    "awg_area",
    "awg_diameter",
    "clad_aluminium_factor",
    "level_loss",
    "loop_resistance",
    "over_copper",
    "resistance_per_metre",
    "temperature_factor",
]

ConductorKind: TypeAlias = Literal["class-5-plain", "class-5-tinned", "road-vehicle"]


COPPER_RESISTIVITY: Final = 1.7241e-8
"""Annealed copper at 20 C [ohm m] (IEC 60028:1925)."""

COPPER_COEFFICIENT: Final = 3.93e-3
"""Rise of resistance per kelvin over 20 C [1/K] (IEC 60028:1925, constant mass)."""

CLAD_CONDUCTIVITY: Final = 0.633
"""Of copper-clad aluminium over copper, within IEC 60028's 0.62 to 0.68: 1.58 times the ohms."""

CLAD_ALUMINIUM_CONDUCTIVITY: Final = (0.62, 0.65, 0.68)
"""Conductivity of copper-clad aluminium over copper, low, middle, high [1] (IEC 60028)."""

LARGEST_AREA: Final = 120e-6
"""Where the tables of all kinds end [m2]."""

REFERENCE_TEMPERATURE: Final = 293.15


@cache
def _table(kind: ConductorKind) -> tuple[FloatArray, FloatArray]:
    """Areas [m2] and resistances [ohm/m] of a kind, by rising area."""
    rows = [row for row in data_rows("physics", "conductors.csv") if row["kind"] == kind]
    areas = np.array([float(row["area_mm2"]) for row in rows]) * 1e-6
    return areas, np.array([float(row["ohm_per_km"]) for row in rows]) * 1e-3


def resistance_per_metre(
    *,
    area: Real,
    temperature: Real = REFERENCE_TEMPERATURE,
    kind: ConductorKind = "class-5-plain",
) -> FloatArray:
    """Resistance of one stranded copper conductor.

    Args:
        area: cross-section [m2].
        temperature: of the conductor [K].
        kind: table used.

    Returns:
        Resistance [ohm/m]: the table's value at a standard size; between sizes resistance times
        area is interpolated over ln(area), under the thinnest it stays constant.

    Raises:
        OutOfRangeError: area not above zero, or over LARGEST_AREA.

    Source: IEC 60228 class 5 and ISO 6722-1 tables; the interpolation is this project's own.
    """
    require_positive(area=area)
    require_at_most(LARGEST_AREA, area=area)
    areas, resistances = _table(kind)
    product = np.interp(np.log(area), np.log(areas), resistances * areas)
    return np.asarray(product / area * temperature_factor(temperature=temperature))


def awg_diameter(gauge: Real) -> Real:
    """Diameter of a solid wire [m] of an American wire gauge [1]; 00 is -1.

    d = 0.127 mm 92^((36 - n)/39) (ASTM B258).
    """
    return 0.127e-3 * 92.0 ** ((36.0 - gauge) / 39.0)


def awg_area(gauge: Real) -> Real:
    """Cross-section [m2] of an American wire gauge [1] (ASTM B258)."""
    return np.pi / 4.0 * awg_diameter(gauge) ** 2


def temperature_factor(*, temperature: Real) -> Real:
    """Resistance of copper at a temperature [K] over that at 20 C [1].

    1 + 3.93e-3 (T - 20 C), good from -50 to 150 C (IEC 60028:1925).
    """
    require_positive(temperature=temperature)
    return 1.0 + COPPER_COEFFICIENT * (temperature - REFERENCE_TEMPERATURE)


def clad_aluminium_factor(*, conductivity: Real = CLAD_ALUMINIUM_CONDUCTIVITY[1]) -> Real:
    """Resistance of copper-clad aluminium over copper of the same area [1].

    Args:
        conductivity: relative to annealed copper [1], 0.62 to 0.68 (IEC 60028).
    """
    require_positive(conductivity=conductivity)
    return 1.0 / conductivity


def over_copper(metal: Literal["copper", "clad-aluminium"]) -> float:
    """Resistance of a supply cable's metal over copper of the same area [1], as cables are sold."""
    clad = metal == "clad-aluminium"
    return float(clad_aluminium_factor(conductivity=CLAD_CONDUCTIVITY)) if clad else 1.0


def loop_resistance(*, ohm_per_metre: Real, length: Real) -> Real:
    """Resistance out and back [ohm] of a run [ohm/m] of a one-way length [m]: 2 r L."""
    require_not_negative(ohm_per_metre=ohm_per_metre, length=length)
    return 2.0 * ohm_per_metre * length


def level_loss(*, series: Real, load: Real) -> FloatArray:
    """Level lost [dB] in a resistance [ohm] ahead of a load [ohm]: 20 log10((R + r)/R).

    Zero ahead of an open load.
    """
    require_not_negative(series=series)
    require_positive(load=load)
    return amplitude_decibel(1.0 + np.asarray(series) / load)
