"""A driver: its parameters, its coil and its body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from conewright.physics.drivers.thiele_small import complete, remeasured
from conewright.physics.drivers.trust import SHEET_AIR

if TYPE_CHECKING:
    from conewright.job.builds.states.value import Corners, Value
    from conewright.physics.basics.air import Air
    from conewright.physics.basics.arrays import Real

__all__ = [
    "CoilState",
    "DriverState",
    "FrameState",
    "ScrewHoles",
    "TweeterState",
]


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

    @property
    def axes(self) -> tuple[Value, Value]:
        """Short and long axis of the opening it needs, the same where it is round."""
        return self.cutout, self.cutout_long or self.cutout

    @property
    def flange_axes(self) -> tuple[Value, Value]:
        """Short and long axis of the flange, the same where it is round."""
        return self.outer, self.outer_long or self.outer


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
    tweeter: TweeterState | None = None
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
class TweeterState:
    """The tweeter on the frame of a coaxial driver, and the capacitor before it."""

    driver: DriverState
    capacitor: Value
