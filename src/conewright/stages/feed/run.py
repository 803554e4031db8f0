"""One supply cable against its fuse: drop, warmth, short circuit; SI units, temperatures in kelvin.

Every array has one row a draw, the first of them central. The figures are those of pure metal of
the named area; `at_most` has the ohms that IEC 60228 allows a cable of that size, and whether the
fuse protects the cable is judged by that one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from conewright.job.builds.typical import typical
from conewright.physics.electrics.cable_heat import (
    BUNDLED_TRANSFER,
    FREE_TRANSFER,
    HEAT_CONSTANT_ALUMINIUM,
    HEAT_CONSTANT_COPPER,
    adiabatic_time,
    conductor_temperature,
    insulated_diameter,
    short_circuit_current,
)
from conewright.physics.electrics.conductor import (
    COPPER_RESISTIVITY,
    awg_area,
    over_copper,
    resistance_per_metre,
    temperature_factor,
)
from conewright.physics.electrics.fuse import TRIPPING_RATIO, fuses, slowest_opening
from conewright.stages.common.load import BATTERY_RESISTANCE, CHASSIS_RESISTANCE

if TYPE_CHECKING:
    from conewright.job.builds.draws import Draws
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import FeedState
    from conewright.physics.basics.arrays import FloatArray, Real

__all__ = [
    "SHORT_RATIO",
    "TRANSFER",
    "Protection",
    "Run",
    "central",
    "larger_sizes",
    "largest_fuse",
    "protection",
    "run_of",
    "usual_air",
]

Route = Literal["free", "bundled"]
TRANSFER: dict[Route, float] = {"free": FREE_TRANSFER, "bundled": BUNDLED_TRANSFER}
"""Heat that leaves the surface, by how the cable lies [W/(m2 K)]."""

WALL = 1.2e-3
"""Insulation wall of a supply cable [m]; common practice, no source."""

MELTING = {"copper": 1357.77, "clad-aluminium": 933.473}
"""Of copper and of aluminium [K] (ITS-90): where a cable has no steady warmth it gets this hot."""

OVERLOAD = 25.0
"""What insulation stands above its rating for hours [K] (short-term test of ISO 6722-1, from
memory)."""

SHORT_RATIO = 6.0
"""A dead short must draw this many times the fuse; common practice, no source."""

OF_12_V = 12.6
"""A battery of other volts has as many cells more or less, each with its ohms [V]."""

_GAUGES = (12, 10, 8, 6, 4, 2, 0)
SIZES: tuple[float, ...] = tuple(
    sorted(
        [*(s * 1e-6 for s in (1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0))]
        + [float(awg_area(gauge)) for gauge in _GAUGES]
    )
)
"""Cross-sections that are sold [m2]: metric ones and even gauges."""


@dataclass(frozen=True)
class Run:
    """A cable with its fuse.

    Attributes:
        area [m2], length one way [m], fuse [A], air where it lies [K], limit of the insulation [K],
        volts of what it hangs on, at rest [V], the battery's cells over those of a 12 V one,
        length of the cable up to its fuse [m];
        `standard`: with the ohms that the standard allows.

    """

    area: FloatArray
    length: FloatArray
    fuse: FloatArray
    metal: Literal["copper", "clad-aluminium"]
    route: Route
    ambient: FloatArray
    limit: FloatArray
    by_cable: bool
    supply: FloatArray
    cells: float = 1.0
    unfused: float = 0.0
    standard: bool = False

    @cached_property
    def at_most(self) -> Run:
        """The same run with the most ohms that IEC 60228 allows."""
        return replace(self, standard=True)

    @cached_property
    def ohm_per_metre(self) -> FloatArray:
        """Of one conductor at 20 C [ohm/m]."""
        copper = (
            resistance_per_metre(area=self.area)
            if self.standard
            else np.asarray(COPPER_RESISTIVITY / self.area)
        )
        return self.ohms_over_copper * copper

    @property
    def ohms_over_copper(self) -> float:
        """Of the metal [1]."""
        return over_copper(self.metal)

    @property
    def diameter(self) -> FloatArray:
        """Over the insulation [m]."""
        return insulated_diameter(area=self.area, wall=WALL)

    def temperature(self, current: Real, *, route: Route | None = None) -> FloatArray:
        """Of the conductor [K] at a current [A]; another route has the air usual for it."""
        return np.minimum(
            conductor_temperature(
                current=current,
                ohm_per_metre=self.ohm_per_metre,
                diameter=self.diameter,
                transfer=TRANSFER[route or self.route],
                ambient=self.air(route or self.route),
            ),
            MELTING[self.metal],
        )

    def air(self, route: Route) -> FloatArray:
        """Air round the cable [K]: that of its own route, or what is usual for the other one."""
        return self.ambient if route == self.route else np.full((1, 1), usual_air(route))

    def drop(self, current: Real) -> FloatArray:
        """Volts lost in the cable, warm from that current, alone in air [V]."""
        warm = temperature_factor(temperature=self.temperature(current, route="free"))
        return np.asarray(self.ways * self.length * current * self.ohm_per_metre * warm)

    @property
    def ways(self) -> float:
        """How often the current runs the length: out, or out and back."""
        return 2.0 if self.by_cable else 1.0

    @cached_property
    def short_current(self) -> FloatArray:
        """Of a dead short at the far end, cable cold [A]."""
        back = 0.0 if self.by_cable else CHASSIS_RESISTANCE
        loop = self.ways * self.length * self.ohm_per_metre + back + self.battery_resistance
        return np.asarray(short_circuit_current(voltage=self.supply, resistance=loop))

    @property
    def battery_resistance(self) -> float:
        """Of the battery [ohm]."""
        return BATTERY_RESISTANCE * self.cells

    @property
    def near_short_current(self) -> FloatArray:
        """Of a dead short right behind the fuse [A]."""
        loop = self.unfused * self.ohm_per_metre + self.battery_resistance + CHASSIS_RESISTANCE
        return np.asarray(short_circuit_current(voltage=self.supply, resistance=loop))

    @property
    def withstand(self) -> FloatArray:
        """How long the insulation stands that short [s]."""
        copper = self.metal == "copper"
        constant = HEAT_CONSTANT_COPPER if copper else HEAT_CONSTANT_ALUMINIUM
        time = adiabatic_time(area=self.area, current=self.short_current, constant=constant)
        return np.asarray(time)

    @property
    def opening(self) -> FloatArray:
        """The longest the fuse may take to end the least short [s]; inf where it may hold."""
        return slowest_opening(ratio=self.at_most.short_current / self.fuse)


@dataclass(frozen=True, slots=True)
class Protection:
    """What a fuse does not spare its cable, by central values.

    Attributes:
        too_hot: under a current that the fuse carries for ever.
        too_hot_overloaded: while the fuse takes its time over a small overload.
        short_too_small: a dead short may leave the fuse in doubt.
        short_too_long: the insulation may be spent before the fuse has opened.

    """

    too_hot: bool
    too_hot_overloaded: bool
    short_too_small: bool
    short_too_long: bool

    @property
    def safe(self) -> bool:
        """Whether the fuse protects the cable in every way."""
        return not (
            self.too_hot or self.too_hot_overloaded or self.short_too_small or self.short_too_long
        )


def protection(run: Run) -> Protection:
    """Return how the fuse of a run protects it, with the most ohms its cable may have."""
    fuse, limit, worst = run.fuse, central(run.limit), run.at_most
    warm, overloaded = (central(worst.temperature(x * fuse)) for x in (1.0, TRIPPING_RATIO))
    return Protection(
        too_hot=warm > limit,
        too_hot_overloaded=overloaded > limit + OVERLOAD,
        short_too_small=central(worst.short_current) < SHORT_RATIO * central(fuse),
        short_too_long=central(run.withstand) < central(run.opening),
    )


def central(draws: FloatArray) -> float:
    """Return the central value of draws, which is their first row."""
    return float(np.ravel(draws)[0])


def usual_air(route: Route) -> float:
    """Return the air that is usual round a cable on a hot day [K]."""
    return typical("feed", route, "ambient").quantity.value


def run_of(cable: FeedState, build: Build, draws: Draws) -> Run | None:
    """Return a cable as it was written down; None where length, size or fuse was not."""
    if cable.length is None or cable.size is None or cable.fuse is None:
        return None
    direct = build.converter is None or cable.to != "radio"
    return Run(
        area=draws(cable.size),
        length=draws(cable.length),
        fuse=draws(cable.fuse),
        metal=cable.metal,
        route=cable.route,
        ambient=draws(cable.ambient),
        limit=draws(cable.insulation),
        by_cable=cable.return_by == "cable",
        supply=draws(build.vehicle.rest_voltage if direct else build.head_unit.supply),
        cells=typical("system", build.vehicle.system, "rest_voltage").quantity.value / OF_12_V,
        unfused=0.0 if cable.fuse_distance is None else cable.fuse_distance.si,
    )


def largest_fuse(run: Run) -> float | None:
    """Return the largest rating that protects this cable [A], None where none does."""
    ratings = (each.rating for each in fuses())
    rated = {each: replace(run, fuse=np.full((1, 1), each)) for each in ratings}
    safe = [each for each, of in rated.items() if protection(of).safe]
    return max(safe, default=None)


def larger_sizes(run: Run) -> Iterator[float]:
    """Yield each thicker size that is sold and that the run's fuse protects [m2]."""
    for area in SIZES:
        thicker = replace(run, area=np.full((1, 1), area))
        if area > central(run.area) and protection(thicker).safe:
            yield area
