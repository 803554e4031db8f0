"""What adds up over the branches of a channel, and rules out a plan where there is too much of it.

Loads: the admittance of the whole is at least the sum of the parts of the branches' along any
direction. Lacks: the more a channel draws the less its output leaves a cone, since volts are lost,
the supply sags and amps are shared. So a cone that would travel too far asks for some admittance of
the whole, at every frequency; what its own branch lacks its neighbours must bring. |Y| of a whole
is no more than the sum of the branches', so that need - |Y1| - |Y2| ... <= 0 for every plan within
limits.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import ComplexArray, FloatArray

if TYPE_CHECKING:
    from conewright.stages.choose.mounted.output import Output

__all__ = [
    "COLUMNS",
    "LOADED_AT",
    "MOVED_AT",
    "TRAVELLERS",
    "Source",
    "columns_of",
    "loads_of",
    "need_of",
]

LOADED_AT = (
    *((180.0, 0.0), (250.0, 0.0), (350.0, 0.0), (2500.0, 0.0)),
    *((5000.0, 0.0), (5000.0, -0.4), (10_000.0, 0.0), (10_000.0, -0.4)),
)
"""Where the admittances of the branches of a channel are added up to rule out a load [Hz], and the
angle at which [rad]: |Y| >= Re(Y exp(-i angle)) for any."""

MOVED_AT = (40.0, 50.0, 63.0, 80.0, 100.0, 125.0)
"""Where lacks are added up [Hz]: below most high-passes and above."""

TRAVELLERS = 2
"""Units of a channel of which lacks are added up; cones of further ones are not bounded so."""

COLUMNS = len(LOADED_AT) + TRAVELLERS * len(MOVED_AT)
"""Loads, then the lacks of each traveller: sums over the units of a channel."""

ROUNDED = 1e-6
"""Share of the most travel within which figures are rounded."""


@dataclass(frozen=True, eq=False)
class Source:
    """What drives a channel, at `MOVED_AT`.

    Attributes:
        output: of the radio.
        flat: peak per volt at the knob without any filter [V/V].
        impedance: before the branches, its magnitude [ohm].
        alike: channels that are alike.
        beside: what all others draw at most [A/V].

    """

    output: Output
    flat: FloatArray
    impedance: FloatArray
    alike: int
    beside: FloatArray


def columns_of(hertz: Iterable[float], frequency: FloatArray) -> NDArray[np.intp]:
    """Return the columns nearest to some frequencies."""
    return np.array([np.argmin(np.abs(frequency - each)) for each in hertz], dtype=np.intp)


def loads_of(admittance: ComplexArray) -> FloatArray:
    """Return the admittance of branches as in `LOADED_AT`, of that at its frequencies [S]."""
    turned = np.exp(-1j * np.array([angle for _, angle in LOADED_AT]))
    return np.asarray((admittance * turned).real)


def need_of(source: Source, speed: FloatArray, *, most: float) -> FloatArray:
    """Return the least |Y| of all that hangs on a channel with which cones travel no further.

    Whichever of volts, amps and feed gives way first lets a cone be. With y = |Y|, Zs before the
    branches, p the peak of the source for a volt at the knob, and E the peak volts across a branch
    with which its cone travels as far as it may, volts end below E where
    (1 + |Zs| y) (p/swing + sag i) + (lost/swing + n sag) p y >= V/E: i is what all others draw, n
    the channels that are alike, and |1 + Zs Y| <= 1 + |Zs| y. Amps end below where p y >= I/E,
    the feed where (1 + |Zs| y) i + n p y >= F/E.

    Args:
        source: what drives it.
        speed: peak travel over Xmax of cones per volt across their branch [1/V], (rows, F).
        most: travel over Xmax that is borne.

    Returns:
        [S], of the shape of `speed`; below nothing for a cone that needs none.

    """
    output, flat = source.output, source.flat
    once = speed / (most * (1.0 + ROUNDED))
    idle = flat / output.swing + output.sagging * source.beside
    taken = max(output.clip - output.own, 0.0) / output.swing + source.alike * output.sagging
    by_volts = (output.supply * once - idle) / (source.impedance * idle + taken * flat)
    need = np.minimum(by_volts, output.peak * once / flat)
    fed = max(output.limit - output.quiet, 0.0) / (2.0 / np.pi * output.swing)
    if np.isfinite(fed):
        drawn = source.impedance * source.beside + source.alike * flat
        need = np.minimum(need, (fed * once - source.beside) / drawn)
    return np.asarray(need)
