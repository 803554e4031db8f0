"""The vehicle and the air in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from conewright.job.builds.states.value import Value
    from conewright.job.document.parts import System

__all__ = [
    "BatteryState",
    "OpeningState",
    "VehicleState",
]


@dataclass(frozen=True, slots=True)
class BatteryState:
    """The vehicle's battery, as far as it is known."""

    capacity: Value | None
    health: Value | None
    rest_voltage: Value | None


@dataclass(frozen=True, slots=True)
class OpeningState:
    """A way out of a cabin as a whole: windows by their area, a cloth top by its mass.

    Either `area` of the opening or acoustic `mass` of what covers it; `q` of it and the cabin.
    """

    area: Value | None
    mass: Value | None
    q: Value


@dataclass(frozen=True, slots=True)
class VehicleState:
    """The vehicle and the air in it; `curtain` and `door_sensor` are "unknown" when not given.

    `rest_voltage` is that of its battery: measured, or usual for its `system`. `openings` are those
    besides the leaks of a closed body. With its top down a vehicle has none and `images`: how many
    equal sources, mirrored in floor and doors, an ear has instead of a room.
    """

    name: str
    vehicle_class: str
    cabin_volume: Value
    cabin_length: Value
    cabin_width: Value
    cabin_height: Value
    cabin_fill: Value
    damping: Value
    likeness: tuple[Value, Value, Value]
    leak_resistance: Value
    leak_mass: Value
    openings: tuple[OpeningState, ...]
    top: Literal["fixed", "up", "down"]
    images: Value | None
    absorption_area: Value
    temperature: Value
    curtain: str
    door_sensor: str
    battery: BatteryState
    system: System
    ground: Literal["negative", "positive"]
    rest_voltage: Value
