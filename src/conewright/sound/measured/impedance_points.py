"""Points of a measured impedance, as a jig gives them, and what can be read off them by eye."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.peaks import highest
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = [
    "ImpedancePoints",
    "LevelPoints",
    "ModulusPoints",
    "Outline",
    "Points",
    "outline",
    "points_up_to",
]

RESISTOR: Final = 0.01
"""Limits of a resistor of 1 % [1]."""
LEAD: Final = 0.02
"""What is left of the leads once they were taken off [ohm], 95 %, by rule of thumb."""

PEAK_BELOW: Final = 1000.0
FEWEST: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class ImpedancePoints:
    """An impedance with its phase: two channels of one recording, or an analyser.

    Attributes:
        frequency: rising [Hz], shape (F,).
        impedance: [ohm], shape (F,).
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of the resistor it was measured against [1], which scale all of it.
        lead: limits of what the leads may still add [ohm].

    """

    frequency: FloatArray
    impedance: ComplexArray
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD

    def __post_init__(self) -> None:
        _require_points(self.frequency, np.abs(self.impedance), self.error)
        require_not_negative(resistor=self.resistor, lead=self.lead)


@dataclass(frozen=True, slots=True, eq=False)
class LevelPoints:
    """What one channel knows: |Z/(Z + Rs)|, without a phase.

    Attributes:
        frequency: rising [Hz], shape (F,).
        level: |Z/(Z + Rs)| [1], shape (F,).
        series: Rs, found with a known resistor [ohm].
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of Rs [1], which scale the impedance.
        lead: limits of what the leads may still add [ohm].
        drift: how far the volume may have moved between the recordings [1], 95 %.

    """

    frequency: FloatArray
    level: FloatArray
    series: float
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD
    drift: float = 0.0

    def __post_init__(self) -> None:
        _require_points(self.frequency, self.level, self.error)
        require_positive(series=self.series)
        require_not_negative(resistor=self.resistor, lead=self.lead, drift=self.drift)


@dataclass(frozen=True, slots=True, eq=False)
class ModulusPoints:
    """An impedance without its phase, as many curves from elsewhere are.

    Attributes:
        frequency: rising [Hz], shape (F,).
        modulus: |Z| [ohm], shape (F,).
        error: relative standard error of each point [1], shape (F,).
        resistor: limits of the scale of all of it [1].
        lead: limits of what the leads may still add [ohm].

    """

    frequency: FloatArray
    modulus: FloatArray
    error: FloatArray
    resistor: float = RESISTOR
    lead: float = LEAD

    def __post_init__(self) -> None:
        _require_points(self.frequency, self.modulus, self.error)
        require_not_negative(resistor=self.resistor, lead=self.lead)


@dataclass(frozen=True, slots=True)
class Outline:
    """What can be read off a curve without any model.

    resonance: where the modulus is highest [Hz]. peak: modulus there [ohm]. resistance: lowest
    modulus below or above the peak, up to 1 kHz [ohm]: the coil's and a little of the inductance.
    qms: as the width of the peak says [1].
    """

    resonance: float
    peak: float
    resistance: float
    qms: float


Points: TypeAlias = ImpedancePoints | LevelPoints | ModulusPoints


def outline(*, frequency: FloatArray, modulus: FloatArray) -> Outline:
    """Read resonance, peak and lowest resistance off a curve: what twins are compared by.

    Args:
        frequency: rising, even in its logarithm [Hz], shape (F,).
        modulus: |Z| [ohm], shape (F,).

    Raises:
        OutOfRangeError: the highest point below 1 kHz lies at an end: the curve shows no resonance.

    Source: R. H. Small, JAES 20(5), 1972: Qms = fs sqrt(r0)/(f2 - f1) where |Z| = sqrt(Zmax Re).
    """
    _require_points(frequency, modulus, np.zeros_like(frequency))
    low = frequency <= PEAK_BELOW
    f, z = frequency[low], modulus[low]
    top = int(z.argmax()) if z.size else 0
    if not 0 < top < z.size - 1:
        raise OutOfRangeError(
            f"no resonance within {frequency[0]:g} to {min(frequency[-1], PEAK_BELOW):g} Hz: the "
            "impedance is highest at an end"
        )
    at, height = highest(x=np.log(f), y=np.log(z)[None, :])
    # The lowest point of either side: the one toward the inductance is nearer to Re.
    resistance = float(min(z.min(), modulus[top:].min()))
    peak = float(np.exp(height[0]))
    half = np.sqrt(peak * resistance)
    below, above = np.flatnonzero(z[:top] <= half), np.flatnonzero(z[top:] <= half)
    first = f[below[-1]] if below.size else f[0]
    last = f[top + above[0]] if above.size else f[-1]
    resonance = float(np.exp(at[0]))
    return Outline(
        resonance, peak, resistance, resonance * np.sqrt(peak / resistance) / (last - first)
    )


def points_up_to(points: Points, *, top: float) -> Points:
    """The points up to a frequency [Hz], as long as there are enough of them."""
    count = max(int(np.count_nonzero(points.frequency <= top)), FEWEST)
    frequency, error = points.frequency[:count], points.error[:count]
    if isinstance(points, LevelPoints):
        return replace(points, frequency=frequency, error=error, level=points.level[:count])
    if isinstance(points, ModulusPoints):
        return replace(points, frequency=frequency, error=error, modulus=points.modulus[:count])
    return replace(points, frequency=frequency, error=error, impedance=points.impedance[:count])


def _require_points(frequency: FloatArray, modulus: FloatArray, error: FloatArray) -> None:
    if not np.shape(frequency) == np.shape(modulus) == np.shape(error):
        raise OutOfRangeError("frequency, modulus and error must be of one length")
    if np.size(frequency) < FEWEST:
        raise OutOfRangeError(
            f"{np.size(frequency)} points of impedance; at least {FEWEST} are wanted"
        )
    if not np.all(np.isfinite(modulus)):
        raise OutOfRangeError("every point of impedance must be finite")
    require_positive(frequency=frequency, modulus=modulus)
    require_not_negative(error=error)
    if not np.all(np.diff(frequency) > 0.0):
        raise OutOfRangeError("frequency must rise")
