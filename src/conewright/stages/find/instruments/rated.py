"""Which impedance is printed on a driver that reads so many ohms: odds, never a label.

The reading is that of a coil at its temperature, with the meter's leads and, at the radio plug,
the wire; all of them spread. A coil lags behind the air around it, so that its temperature is the
less certain the further the air is from that of a room.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import exp, hypot, inf

from conewright.data_files import data_text
from conewright.errors import OutOfRangeError
from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95
from conewright.job.builds.typical import rated_resistance
from conewright.job.quantity.values import Quantity
from conewright.physics.electrics.conductor import COPPER_COEFFICIENT, REFERENCE_TEMPERATURE
from conewright.stages.find.faults.rows import read_rows

__all__ = ["METER_ERROR", "rated_odds"]

FILE = "rated.csv"

COIL_SPREAD = 0.06
"""Standard spread of coils of one rating [1]; workshop experience, from memory."""

METER_ERROR = 0.05
"""Standard error of a zeroed ohm-meter [ohm]; workshop experience, from memory."""

LEAST_DENSITY = 1e-5
"""A reading less likely than this by 1 ohm of any usual coil is none of a sound coil [1/ohm]."""

LAG = 0.6
"""Standard error of a coil's temperature over the distance of the air from 20 C [1]; assumed.

A vehicle is driven in from the cold, or its door has stood in the sun.
"""


def rated_odds(
    reading: float,
    *,
    temperature: float | None = None,
    in_series: Quantity | None = None,
) -> dict[float, float]:
    """Return the odds of every usual printed impedance [ohm].

    Args:
        reading: what the meter shows [ohm].
        temperature: of the air around the driver [K]; None takes 20 C.
        in_series: wire, both ways, and leads that are not zeroed [ohm]; None at the terminals with
            zeroed leads.

    Returns:
        Odds adding up to 1, by printed impedance.

    Raises:
        OutOfRangeError: a reading not above zero, or far from every usual coil.

    Equation: normal density of the reading about Re (1 + a (T - 20 C)) + R; variances of coil,
    temperature, meter and R add up.

    """
    if not 0.0 < reading < inf:
        raise OutOfRangeError(f"a reading is above zero and finite, got {reading}")
    weights = {
        rated: prior * _density(reading, rated, temperature, in_series)
        for rated, prior in _priors().items()
    }
    total = sum(weights.values())
    if not total > LEAST_DENSITY:
        raise OutOfRangeError(f"{reading:g} ohm is far from every usual coil")
    return {rated: weight / total for rated, weight in weights.items()}


def _density(
    reading: float, rated: float, temperature: float | None, in_series: Quantity | None
) -> float:
    away = 0.0 if temperature is None else temperature - REFERENCE_TEMPERATURE
    coil, warm = rated_resistance(rated).quantity.value, 1.0 + COPPER_COEFFICIENT * away
    middle, spread = coil * warm, hypot(COIL_SPREAD * coil * warm, METER_ERROR)
    spread = hypot(spread, LAG * abs(away) * COPPER_COEFFICIENT * coil)
    if in_series is not None:
        middle, spread = middle + in_series.value, hypot(spread, _standard_error(in_series))
    return exp(-0.5 * ((reading - middle) / spread) ** 2) / spread


def _standard_error(quantity: Quantity) -> float:
    if quantity.low is None or quantity.high is None:
        return 0.0
    score = SCORE_WITHIN_95 if quantity.spread == "plus-minus" else SCORE_AT_95
    return (quantity.high - quantity.low) / (2.0 * score)


@cache
def _priors() -> Mapping[float, float]:
    """Odds before any reading by printed impedance [ohm]."""
    text = data_text("stages.find", FILE)
    return {
        float(row.key): row.value("prior", most=1.0)
        for row in read_rows(text, file=FILE, columns=("rated", "prior"))
    }
