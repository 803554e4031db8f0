"""One supply cable against its fuse: drop, warmth, short circuit; SI units, temperatures in kelvin.

The central figures are those of pure metal of the named area, the greatest those that IEC 60228
allows a cable of that size; verdicts follow the greatest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from conewright.physics.cable_heat import (
    BUNDLED_TRANSFER,
    FREE_TRANSFER,
    HEAT_CONSTANT_ALUMINIUM,
    HEAT_CONSTANT_COPPER,
    adiabatic_time,
    conductor_temperature,
    insulated_diameter,
    short_circuit_current,
)
from conewright.physics.conductor import (
    COPPER_RESISTIVITY,
    awg_area,
    clad_aluminium_factor,
    resistance_per_metre,
    temperature_factor,
)
from conewright.physics.fuse import TRIPPING_RATIO, fuses, slowest_opening

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["ROUTES", "SHORT_RATIO", "SIZES", "Range", "Route", "Run", "larger_sizes"]

Route = Literal["free", "bundled"]
ROUTES: dict[Route, tuple[float, float]] = {
    "free": (FREE_TRANSFER, 273.15 + 40.0),
    "bundled": (BUNDLED_TRANSFER, 273.15 + 60.0),
}
"""Heat that leaves the surface [W/(m2 K)] and air on a hot day [K]; common practice, no source."""

WALL = 1.2e-3
"""Insulation wall of a supply cable [m]; common practice, no source."""

CLAD_CONDUCTIVITY = 0.633
"""Of copper-clad aluminium over copper, within IEC 60028's 0.62 to 0.68: 1.58 times the ohms."""

OVERLOAD = 25.0
"""What insulation stands above its rating for hours [K] (short-term test of ISO 6722-1, from
memory)."""

SHORT_RATIO = 6.0
"""A dead short must draw this many times the fuse; common practice, no source."""

BATTERY_RESISTANCE, CHASSIS_RESISTANCE = 0.010, 0.004
"""Of a starter battery, and of the way back through the body [ohm]; from memory."""

_GAUGES = (12, 10, 8, 6, 4, 2)
SIZES: tuple[float, ...] = tuple(
    sorted(
        [*(s * 1e-6 for s in (1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0))]
        + [float(awg_area(gauge)) for gauge in _GAUGES]
    )
)
"""Cross-sections that are sold [m2]: metric ones and even gauges."""


@dataclass(frozen=True, slots=True)
class Range:
    """A figure: central, and the greatest that the standard for the cable allows."""

    value: float
    most: float


@dataclass(frozen=True)
class Run:
    """A cable with its fuse.

    Attributes:
        area [m2], length one way [m], fuse [A], limit of the insulation [K], ambient [K], supply
        at rest [V].

    """

    area: float
    length: float
    fuse: float
    metal: Literal["copper", "clad-aluminium"]
    route: Route
    ambient: float
    limit: float
    by_cable: bool
    supply: float

    @cached_property
    def ohm_per_metre(self) -> Range:
        """Of one conductor at 20 C [ohm/m]."""
        clad = self.metal == "clad-aluminium"
        metal = float(clad_aluminium_factor(conductivity=CLAD_CONDUCTIVITY)) if clad else 1.0
        return Range(
            metal * COPPER_RESISTIVITY / self.area,
            metal * float(resistance_per_metre(area=self.area)),
        )

    def temperature(self, current: float, *, route: Route | None = None) -> Range:
        """Of the conductor [K] at a current [A]; another route has the air usual for it."""
        transfer, usual = ROUTES[route or self.route]
        ambient = self.ambient if route in (None, self.route) else usual
        return Range(
            *(
                float(
                    conductor_temperature(
                        current=current,
                        ohm_per_metre=each,
                        diameter=insulated_diameter(area=self.area, wall=WALL),
                        transfer=transfer,
                        ambient=ambient,
                    )
                )
                for each in (self.ohm_per_metre.value, self.ohm_per_metre.most)
            )
        )

    def drop(self, current: float) -> Range:
        """Volts lost in the cable, warm from that current, alone in air [V]."""
        warm = self.temperature(current, route="free")
        ways = 2.0 if self.by_cable else 1.0
        pairs = zip(
            (self.ohm_per_metre.value, self.ohm_per_metre.most),
            (warm.value, warm.most),
            strict=True,
        )
        return Range(
            *(
                ways * self.length * current * r * float(temperature_factor(temperature=t))
                for r, t in pairs
            )
        )

    @cached_property
    def short_current(self) -> float:
        """Of a dead short at the far end, cable cold and of pure metal: the greatest [A]."""
        return self._short(self.ohm_per_metre.value)

    @cached_property
    def least_short_current(self) -> float:
        """Of that short with the most ohms that the cable's standard allows [A]."""
        return self._short(self.ohm_per_metre.most)

    def _short(self, ohm_per_metre: float) -> float:
        ways = 2.0 if self.by_cable else 1.0
        back = 0.0 if self.by_cable else CHASSIS_RESISTANCE
        loop = ways * self.length * ohm_per_metre + back + BATTERY_RESISTANCE
        return float(short_circuit_current(voltage=self.supply, resistance=loop))

    @property
    def near_short_current(self) -> float:
        """Of a dead short right behind the fuse [A]."""
        loop = BATTERY_RESISTANCE + CHASSIS_RESISTANCE
        return float(short_circuit_current(voltage=self.supply, resistance=loop))

    @property
    def withstand(self) -> float:
        """How long the insulation stands that short [s]."""
        copper = self.metal == "copper"
        constant = HEAT_CONSTANT_COPPER if copper else HEAT_CONSTANT_ALUMINIUM
        return float(adiabatic_time(area=self.area, current=self.short_current, constant=constant))

    @property
    def opening(self) -> float:
        """The longest the fuse may take to end it [s]."""
        return float(slowest_opening(ratio=self.least_short_current / self.fuse))

    @property
    def too_hot(self) -> bool:
        """Whether the cable gets too warm under a current that its fuse carries for ever."""
        return self.temperature(self.fuse).most > self.limit

    @property
    def too_hot_overloaded(self) -> bool:
        """Whether it does while the fuse takes its time over a small overload."""
        return self.temperature(TRIPPING_RATIO * self.fuse).most > self.limit + OVERLOAD

    @property
    def short_too_small(self) -> bool:
        """Whether a dead short may leave the fuse in doubt."""
        return self.least_short_current < SHORT_RATIO * self.fuse

    @property
    def short_too_long(self) -> bool:
        """Whether the insulation is spent before the fuse has opened."""
        return self.withstand < self.opening

    @property
    def safe(self) -> bool:
        """Whether the fuse protects the cable in every way."""
        return not (
            self.too_hot or self.too_hot_overloaded or self.short_too_small or self.short_too_long
        )

    def largest_fuse(self) -> float | None:
        """Return the largest rating that protects this cable [A], None where none does."""
        safe = [each.rating for each in fuses() if replace(self, fuse=each.rating).safe]
        return max(safe, default=None)


def larger_sizes(run: Run) -> Iterator[Run]:
    """Yield the same run in each thicker size that is sold and that its fuse protects."""
    for area in SIZES:
        thicker = replace(run, area=area)
        if area > run.area and thicker.safe:
            yield thicker
