"""Where drivers sit and ears are: the hole, the air behind and in front."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from conewright.job.builds.states.drivers import ScrewHoles
from conewright.job.document.places import on_frame

if TYPE_CHECKING:
    from conewright.job.builds.states.drivers import DriverState
    from conewright.job.builds.states.value import Corners, FaultState, Origin, Value
    from conewright.job.quantity.spots import KeptClear, PanelHole

__all__ = [
    "BoxState",
    "CavityState",
    "LocationState",
    "MountState",
    "OpenState",
    "SeatState",
    "TrimState",
]


NO_HOLES = ScrewHoles()


@dataclass(frozen=True, slots=True)
class MountState:
    """Where a driver is screwed on. What nobody measured and nothing needs is None.

    `cutout` is the short axis of an oval opening. `turn` is the direction of the long axis of
    opening or driver, from the front turning up [rad]. `opening` is what was written of it.
    """

    ring: bool
    ring_origin: Origin
    steel: Value | None
    cutout: Value | None
    land: Value | None
    glass_depths: tuple[Value, ...]
    trim_gap: Value | None
    spacer: Value
    screw_count: int | None
    screw_circle: Value | None
    cutout_long: Value | None = None
    corners: Corners = ()
    turn: float = 0.0
    holes: ScrewHoles = NO_HOLES
    opening: Literal["there", "to-cut"] | None = None

    @property
    def axes(self) -> tuple[Value, Value] | None:
        """Short and long axis of the opening, the same where it is round; None where unknown."""
        return None if self.cutout is None else (self.cutout, self.cutout_long or self.cutout)


@dataclass(frozen=True, slots=True)
class CavityState:
    """The space behind the driver with its openings; an area of 0 is closed for good."""

    volume: Value
    q: Value
    steel: Value
    drains: Value
    drain_count: int
    drain_q: Value
    panel_holes: Value
    panel_hole_count: int
    panel_q: Value
    cover: Literal["none", "film", "patch"]
    cover_mass: Value | None
    openings: tuple[PanelHole, ...] = ()
    keep_clear: tuple[KeptClear, ...] = ()
    into_cabin: bool = False
    """Whether its panel holes lead straight into the cabin, as those of a boot do."""


@dataclass(frozen=True, slots=True)
class BoxState:
    """A closed box: its air, how much softer the fill makes it, and the Q of that spring."""

    volume: Value
    fill: Literal["none", "light", "full"]
    fill_gain: Value
    q: Value


@dataclass(frozen=True, slots=True)
class OpenState:
    """A back that is open to the cabin.

    `baffle` is the area of board or frame, the cone included; `apart` the distance at which front
    and back sound, over that of a round board with the cone in its middle; `axis` the way the cone
    looks, forward, left and up, of length 1. A `bare` driver carries the air of its sheet; a board
    has `sides`, its width and height [m].
    """

    baffle: Value
    apart: Value
    axis: tuple[float, float, float]
    bare: bool
    sides: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class TrimState:
    """The trim in front of the driver; without one (`present` false) the edge is closed."""

    present: bool
    volume: Value
    gap: Value
    front_volume: Value
    grille_area: Value
    grille_extent: Value
    grille_resistance: Value
    edge_gap: Value


@dataclass(frozen=True, slots=True)
class LocationState:
    """One place with a driver in it; x forward, y left, z up. No cavity or trim for dash, pillar,
    box, open and free; `back` is what a box or an open back has in their stead. `driver` changes
    with a proposal and nothing else here depends on it. `restraint` is what was found of the
    restraint system at this very place, None where nobody looked. `host` is the place on whose
    frame it sits, empty for one of its own; `tweeter_faults` are those of the one on the frame
    here. `repairs` are how its driver is after a plan's repairs, in the sizes of faults.
    """

    id: str
    name: str
    kind: Literal[
        "door", "panel", "dash", "pillar", "shelf", "boot-shelf", "roof", "box", "open", "free"
    ]
    at: tuple[Value, Value, Value]
    driver: DriverState
    mount: MountState
    cavity: CavityState | None
    trim: TrimState | None
    back: BoxState | OpenState | None = None
    faults: tuple[FaultState, ...] = ()
    repairs: tuple[FaultState, ...] = ()
    restraint: str | None = None
    tweeter_faults: tuple[FaultState, ...] = ()
    host: str = ""

    @property
    def tweeter(self) -> LocationState | None:
        """The tweeter on this driver's frame as a place, None where there is none."""
        tweeter = self.driver.tweeter
        if tweeter is None:
            return None
        return replace(
            self,
            id=on_frame(self.id),
            name=f"{self.name}, tweeter",
            driver=tweeter.driver,
            cavity=None,
            trim=None,
            faults=self.tweeter_faults,
            tweeter_faults=(),
            host=self.id,
        )


@dataclass(frozen=True, slots=True)
class SeatState:
    """One listener: where the ear is, x forward, y left, z up."""

    id: str
    ear: tuple[Value, Value, Value]
