"""One concrete state of the vehicle: every gap filled, every value with its origin.

All classes are frozen and hashable, so that what depends on a part of a build (the acoustics of
one location, say) can be cached on that part. Lengths, areas and so on are `Value`s: a quantity
that knows where it came from and which random axis it is drawn on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from conewright.job.document.parts import AS_FOUND
from conewright.physics.drivers.thiele_small import complete, remeasured
from conewright.physics.drivers.trust import SHEET_AIR
from conewright.shown import Shown

if TYPE_CHECKING:
    from conewright.job.document.document import Document
    from conewright.job.quantity.spots import KeptClear, PanelHole
    from conewright.job.quantity.values import Quantity
    from conewright.physics.basics.air import Air
    from conewright.physics.basics.arrays import Real
    from conewright.physics.electrics.wiring import Tree

__all__ = [
    "BatteryState",
    "BoxState",
    "Build",
    "CableState",
    "CavityState",
    "ChannelState",
    "CoilState",
    "Corners",
    "DriverState",
    "FaultState",
    "FeedState",
    "Fill",
    "FrameState",
    "HeadUnitState",
    "LocationState",
    "MountState",
    "OpenState",
    "OpeningState",
    "Origin",
    "PartState",
    "ScrewHoles",
    "SeatState",
    "TrimState",
    "UnknownChannelState",
    "Value",
    "VehicleState",
]


class Origin(StrEnum):
    """Where a value comes from, from the best known to the least."""

    MEASURED = "measured"
    SHEET = "sheet"
    TYPICAL = "typical"
    ASSUMED = "assumed"


@dataclass(frozen=True, slots=True)
class Value:
    """A quantity of the build with its place in the job, its origin and its random axis.

    `path` is also the name of the random axis. A value with `follows` is drawn with the given
    correlation to the score of that other path; a correlation of 1 means it has no axis of its own.
    `signed` values (a coordinate, a level) may be drawn below zero; draws are held `within` two
    limits where a model ends there.
    """

    path: str
    quantity: Quantity
    origin: Origin
    source: str
    follows: str = ""
    correlation: float = 0.0
    signed: bool = False
    within: tuple[float, float] | None = None

    @property
    def si(self) -> float:
        """Central value [SI unit of the dimension]."""
        return self.quantity.value

    @property
    def spreads(self) -> bool:
        """Whether the value is uncertain, and so is drawn."""
        return self.quantity.spread != "none"

    @property
    def axes(self) -> tuple[str, ...]:
        """Paths of the random axes this value is drawn on, none for a value without spread."""
        if not self.spreads:
            return ()
        own = () if self.correlation == 1.0 else (self.path,)
        return (*own, self.follows) if self.follows else own


@dataclass(frozen=True, slots=True)
class Fill:
    """One value that the job did not give: the path, what was put there, and why."""

    path: str
    text: str
    origin: Origin
    source: str


Corners = tuple[tuple[float, float], ...]
"""Corners of an outline, or places, forward and up from the middle [m]."""


@dataclass(frozen=True, slots=True)
class CoilState:
    """Voice-coil reactance.

    power-law: `n` with either `k` [ohm s^n] or `le` (then |K (jw)^n| = 2 pi 1000 Le at 1 kHz);
    inductor: `le`; shunted: `le` in series with `l2` parallel to `r2`.
    """

    model: Literal["power-law", "inductor", "shunted"]
    le: Value | None = None
    k: Value | None = None
    n: Value | None = None
    l2: Value | None = None
    r2: Value | None = None


@dataclass(frozen=True, slots=True)
class ScrewHoles:
    """What else is known of screws: direction of the first on its circle, from the front turning
    up [rad], or the place of each, forward and up from the middle [m]; and their diameter.
    """

    angle: float | None = None
    places: Corners = ()
    diameter: Value | None = None


@dataclass(frozen=True, slots=True)
class FrameState:
    """Outline of a driver's basket; diameters for round ones, the short axis for oval ones, which
    have the long one beside it. `corners` are those of a flange that is neither.
    """

    depth: Value
    cutout: Value
    outer: Value
    front_height: Value
    screw_count: int | None
    screw_circle: Value | None
    cutout_long: Value | None = None
    outer_long: Value | None = None
    corners: Corners = ()
    holes: ScrewHoles = ScrewHoles()


@dataclass(frozen=True, slots=True)
class DriverState:
    """One type of driver. `basis` is the independent set of parameters that is used and drawn;
    its names are those of `physics.drivers.thiele_small`, and every other parameter follows. `own`
    is what was measured of the one in its place, over all that.
    """

    id: str
    name: str
    size: str
    age: str
    rated_impedance: Value | None
    basis: tuple[tuple[str, Value], ...]
    coil: CoilState
    xmax: Value
    power: Value
    coil_rise: Value
    frame: FrameState
    price: float | None
    sensitivity: Value | None
    own: tuple[tuple[str, Value], ...] = ()

    @property
    def written(self) -> dict[str, Value]:
        """What is known of the one in its place, by name: its own over that of its type."""
        return dict(self.basis) | dict(self.own)

    def parameters(self, drawn: Callable[[Value], Real], air: Air) -> dict[str, Real]:
        """Return every parameter [SI] by name.

        Args: drawn: gives what a value is; air: air the sheet was measured in.
        """
        whole = complete({name: drawn(value) for name, value in self.basis}, air=air)
        if not self.own:
            return whole
        own = {name: drawn(value) for name, value in self.own}
        return remeasured(whole, own=own, air=air)

    def figures(self) -> dict[str, float]:
        """Return every parameter that follows from the basis, central values [SI], by name."""
        whole = self.parameters(lambda value: value.si, SHEET_AIR)
        return {name: float(value) for name, value in whole.items()}


@dataclass(frozen=True, slots=True)
class MountState:
    """Where a driver is screwed on. What nobody measured and nothing needs is None.

    `cutout` is the short axis of an oval opening. `turn` is the direction of the long axis of
    opening or driver, from the front turning up [rad].
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
    holes: ScrewHoles = ScrewHoles()


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
class FaultState:
    """A fault that is there, and the sizes of what it does, by name."""

    fault: str
    at: str
    sizes: tuple[tuple[str, Value], ...] = ()

    @property
    def id(self) -> str:
        """`fault@place`."""
        return f"{self.fault}@{self.at}"

    def size(self, name: str) -> Value:
        """Return one size; raise KeyError if the fault has none of that name."""
        return dict(self.sizes)[name]


@dataclass(frozen=True, slots=True)
class LocationState:
    """One place with a driver in it; x forward, y left, z up. No cavity or trim for dash, pillar,
    box, open and free; `back` is what a box or an open back has in their stead. `driver` changes
    with a proposal and nothing else here depends on it.
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


@dataclass(frozen=True, slots=True)
class CableState:
    """Two conductors: either `resistance` (the whole loop) or `length` (one way) and `size`."""

    length: Value | None
    size: Value | None
    resistance: Value | None


@dataclass(frozen=True, slots=True)
class PartState:
    """A part written into a load; `key` is its leaf in the tree. A wire has `wire`, no `value`."""

    key: str
    kind: Literal["capacitor", "inductor", "resistor", "wire"]
    value: Value | None
    wire: CableState | None


@dataclass(frozen=True, slots=True)
class ChannelState:
    """One output of the radio and what hangs on it. `tree` has a leaf for every location and part;
    `polarity` holds (location id, +1 or -1). `faults` are those at it and at what it drives.
    """

    id: str
    load: str
    tree: Tree
    polarity: tuple[tuple[str, int], ...]
    parts: tuple[PartState, ...]
    cable: CableState
    gain: Value
    high_pass: Value | None
    high_pass_slope: int | None
    faults: tuple[FaultState, ...] = ()


@dataclass(frozen=True, slots=True)
class UnknownChannelState:
    """One output of the radio of which nobody knows yet what hangs on it."""

    id: str
    cable: CableState


@dataclass(frozen=True, slots=True)
class HeadUnitState:
    """The radio. `rated` tells whether the job states the smallest load it is made for."""

    name: str
    output: Literal["bridge", "common-ground"]
    supply: Value
    feed_resistance: Value
    output_resistance: Value
    clip_loss: Value
    peak_current: Value
    minimum_load: Value
    rated: bool
    advertised_power: Value | None
    quiescent_current: Value
    junction_to_dash: Value
    dash: Value
    limit: Value
    sleep_current: Value | None


@dataclass(frozen=True, slots=True)
class FeedState:
    """A cable from battery or fuse box to the radio or an added amplifier.

    `length` is one way, `size` that of one conductor, `ambient` the air where it lies. What nobody
    wrote down and nothing usual stands for is None.
    """

    id: str
    to: Literal["radio", "amplifier"]
    current: Value | None
    fuse: Value | None
    fuse_distance: Value | None
    length: Value | None
    size: Value | None
    metal: Literal["copper", "clad-aluminium"]
    metal_origin: Origin
    route: Literal["free", "bundled"]
    ambient: Value
    insulation: Value
    return_by: Literal["chassis", "cable"]


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

    `openings` are those besides the leaks of a closed body. With its top down a vehicle has none
    and `images`: how many equal sources, mirrored in floor and doors, an ear has instead of a room.
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


@dataclass(frozen=True, slots=True)
class SeatState:
    """One listener: where the ear is, x forward, y left, z up."""

    id: str
    ear: tuple[Value, Value, Value]


@dataclass(frozen=True)
class Build(Shown):
    """One concrete state of the vehicle: as found, or with one proposal applied.

    `axes` are the random axes of the whole job (as found and every proposal), so that two builds
    of one job draw the same path on the same axis.
    `unknown` channels drive what nobody knows: find and feed tell what they may drive.
    `faults` are the findings of the job that are there; places and channels carry their own.
    `planned` are the paths of the fields that the proposal changes.
    """

    job: Document = field(repr=False, compare=False)
    proposal: str | None
    title: str
    vehicle: VehicleState
    head_unit: HeadUnitState
    channels: tuple[ChannelState, ...]
    unknown: tuple[UnknownChannelState, ...]
    locations: tuple[LocationState, ...]
    seats: tuple[SeatState, ...]
    feeds: tuple[FeedState, ...]
    faults: tuple[FaultState, ...]
    planned: frozenset[str]
    fills: tuple[Fill, ...]
    axes: tuple[str, ...]

    def __repr__(self) -> str:
        """Return which state it is of, and how much of it."""
        parts = {
            "channel": len(self.channels) + len(self.unknown),
            "location": len(self.locations),
            "seat": len(self.seats),
        }
        told = ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for word, n in parts.items())
        return f"<Build {self.id}: {told}; {len(self.fills)} values filled in>"

    @property
    def id(self) -> str:
        """Id of the proposal, `as-found` for none."""
        return self.proposal or AS_FOUND

    def location(self, location_id: str) -> LocationState:
        """Return the location of this id; raise KeyError if there is none.

        >>> import conewright as cw
        >>> cutout = cw.demo_job().build().location("door-fl").mount.cutout
        >>> cutout.si, cutout.origin.value
        (0.122, 'measured')
        """
        return {location.id: location for location in self.locations}[location_id]

    def channel(self, channel_id: str) -> ChannelState:
        """Return the channel of this id; raise KeyError if there is none."""
        return {channel.id: channel for channel in self.channels}[channel_id]

    def seat(self, seat_id: str) -> SeatState:
        """Return the seat of this id; raise KeyError if there is none."""
        return {seat.id: seat for seat in self.seats}[seat_id]

    def values(self) -> Iterator[Value]:
        """Yield every value of the build once, in the order of the job."""
        return iter(self._values)

    @cached_property
    def _values(self) -> tuple[Value, ...]:
        electrics = (self.head_unit, self.channels, self.unknown)
        places = (self.locations, self.seats, self.feeds)
        parts = (self.vehicle, electrics, *places, self.faults)
        found: dict[str, Value] = {}
        for value in _values_in(parts):
            found.setdefault(value.path, value)
        return tuple(found.values())


def _values_in(node: object) -> Iterator[Value]:
    """Yield every value inside a state, a tuple of states, or anything nested of them."""
    if isinstance(node, Value):
        yield node
    elif isinstance(node, tuple):
        for item in node:
            yield from _values_in(item)
    elif is_dataclass(node):
        for item in fields(node):
            yield from _values_in(getattr(node, item.name))
