"""The sandwich of glass, steel, driver and trim: clearances behind and in front, and their odds.

Everything is drawn: rows are draws, row 0 the central state. Lengths in metres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, reduce
from math import pi, sqrt

import numpy as np

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.screws import is_measured
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.report.having import WINDOW_KINDS

__all__ = [
    "Sandwich",
    "SpacerWindow",
    "allowances",
    "play_of",
    "sandwich_of",
]

GLASS_PLAY = 1e-3
"""Standard deviation of how far a lowered window swings toward the driver [m]; from memory."""

TRIM_GIVE = 1e-3
"""Standard deviation of how far a clipped-on trim sits from where it was measured [m]; from
memory."""

BEYOND_XMAX = 1e-3
"""What the cone may move beyond its mechanical travel before it is safe from the trim [m]."""

TRAVEL = Quantity.of(1.0, "number", low=0.75, high=1.4)
"""Mechanical travel over Xmax; from memory."""


@dataclass(frozen=True, slots=True)
class SpacerWindow:
    """Spacers between which a driver fits [m].

    Attributes:
        low: thinnest that leaves room enough behind, 0 for none; None where that is unknown.
        high: thickest that leaves room enough in front, below 0 where even the bare driver stands
            out too far; None where that is unknown.

    """

    low: float | None
    high: float | None

    @property
    def empty(self) -> bool:
        """Whether no spacer at all will do."""
        return self.high is not None and self.high < (self.low or 0.0)

    def holds(self, *, spacer: float) -> bool:
        """Whether a spacer [m] lies between the two, as far as they are known."""
        return (self.low or 0.0) <= spacer and (self.high is None or spacer <= self.high)


@dataclass(frozen=True)
class Sandwich:
    """One driver in its place, as drawn; shapes (1 + samples, 1).

    Attributes:
        rear: clearance at each measured point, none where no depth was measured [m].
        front: clearance to the trim, None where the gap was not measured [m].
        play: how far what is behind comes forward [m].
        travel: how far the cone comes out, its allowance included [m].
        spacer: what lies under the driver [m].

    """

    place: LocationState
    rear: tuple[FloatArray, ...]
    front: FloatArray | None
    play: FloatArray
    travel: FloatArray
    spacer: FloatArray

    def on(self, *, spacer: float) -> Sandwich:
        """Return the same driver on a spacer of this thickness [m]."""
        more = spacer - self.spacer
        front = None if self.front is None else self.front - more
        rear = tuple(point + more for point in self.rear)
        return replace(self, rear=rear, front=front, spacer=np.full((1, 1), spacer))

    @cached_property
    def worst(self) -> FloatArray | None:
        """Clearance at the tightest point of each draw [m]."""
        return reduce(np.minimum, self.rear) if self.rear else None

    @property
    def tightest(self) -> int:
        """Index of the point that is tightest in the central state."""
        return int(np.argmin([float(point[0, 0]) for point in self.rear]))

    def rear_odds(self, *, margin: float) -> float | None:
        """Chance of less room behind than a margin [m]; None where it was not measured."""
        return None if self.worst is None else _chance_below(self.worst, margin)

    def front_odds(self, *, margin: float) -> float | None:
        """Chance of less room in front than a margin [m]; None where it was not measured."""
        return None if self.front is None else _chance_below(self.front, margin)

    @cached_property
    def window(self) -> SpacerWindow:
        """Spacers that leave room enough on both sides, at the accepted odds."""
        spacer = self.place.mount.spacer.si
        low = high = None
        if self.worst is not None:
            low = max(REAR.room - _quantile(self.worst - spacer, REAR.odds), 0.0)
        if self.front is not None:
            high = _quantile(self.front + spacer, FRONT.odds) - FRONT.room
        return SpacerWindow(low, high)

    @property
    def allowances(self) -> tuple[Value, ...]:
        """The assumptions that carry a clearance here."""
        play, travel, give = allowances(self.place)
        swings = self.rear and self.place.kind in WINDOW_KINDS
        return (*((play,) if swings else ()), *(() if self.front is None else (travel, give)))

    @property
    def rear_inputs(self) -> tuple[Value, ...]:
        """The values of the build that carry the clearance behind, none where it is unknown."""
        mount, frame = self.place.mount, self.place.driver.frame
        if not self.rear:
            return ()
        return (*filter(is_measured, mount.glass_depths), mount.spacer, frame.depth)

    @property
    def front_inputs(self) -> tuple[Value, ...]:
        """The values of the build that carry the clearance in front, none where it is unknown."""
        mount, frame = self.place.mount, self.place.driver.frame
        if self.front is None or mount.trim_gap is None:
            return ()
        return (mount.trim_gap, mount.spacer, frame.front_height, self.place.driver.xmax)


def sandwich_of(place: LocationState, draws: Draws) -> Sandwich:
    """Return the clearances of a driver in its place.

    Args:
        place: mount and driver.
        draws: must hold the axes of the build and those of its `allowances`.

    Returns:
        rear = depth + spacer − frame depth − |play|, play normal; front = gap + give − spacer −
        front height − (mechanical travel + 1 mm), give normal, mechanical travel 0.75 to 1.4 times
        Xmax. Only what was measured is judged: depths and gaps that are merely typical are left
        out.

    """
    mount, frame = place.mount, place.driver.frame
    _, ratio, give = allowances(place)
    play = play_of(place, draws)
    travel = draws(place.driver.xmax) * draws(ratio) + BEYOND_XMAX
    spacer = draws(mount.spacer)
    inward = spacer - draws(frame.depth) - play
    outward = spacer + draws(frame.front_height) + travel
    gap = mount.trim_gap
    return Sandwich(
        place=place,
        rear=tuple(draws(depth) + inward for depth in mount.glass_depths if is_measured(depth)),
        front=draws(gap) + draws(give) - outward if gap is not None and is_measured(gap) else None,
        play=play,
        travel=travel,
        spacer=spacer,
    )


def play_of(place: LocationState, draws: Draws) -> FloatArray:
    """Return how far what is behind a driver comes forward [m]; nothing where there is no window.

    Args:
        place: of any build.
        draws: must hold the axis of its play.

    """
    if place.kind not in WINDOW_KINDS:
        return np.zeros((1, 1))
    return _forward(draws(allowances(place)[0]))


def allowances(place: LocationState) -> tuple[Value, Value, Value]:
    """Return what no job states: play of the glass [m], mechanical travel over Xmax, give of the
    trim [m].
    """
    give = Quantity.of(0.0, "length", "mm", margin=1.96 * TRIM_GIVE)
    play = Quantity.of(0.0, "length", "mm", margin=1.96 * GLASS_PLAY)
    return (
        Value(
            f"{place.id}.glass_play",
            play,
            Origin.ASSUMED,
            "assumed: half normal, sigma 1 mm, from memory",
            signed=True,
        ),
        Value(
            f"{place.id}.mechanical_travel",
            TRAVEL,
            Origin.ASSUMED,
            "assumed: share of Xmax, from memory",
        ),
        Value(
            f"{place.id}.trim_give",
            give,
            Origin.ASSUMED,
            "assumed: normal, sigma 1 mm, from memory",
            signed=True,
        ),
    )


def _forward(swing: FloatArray) -> FloatArray:
    """Size of a swing of the glass, its central value the mean of a half normal."""
    size = np.abs(swing)
    size[0] = sqrt(2.0 / pi) * GLASS_PLAY
    return size


def _chance_below(clearance: FloatArray, margin: float) -> float:
    return float(np.mean(_drawn(clearance) < margin))


def _quantile(clearance: FloatArray, chance: float) -> float:
    """Value that at most this share of the draws lies below."""
    return float(np.quantile(_drawn(clearance), chance, method="lower"))


def _drawn(clearance: FloatArray) -> FloatArray:
    """All rows but the central one; that one where nothing spreads."""
    return clearance[1:] if len(clearance) > 1 else clearance
