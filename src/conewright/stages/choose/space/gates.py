"""Which drivers of a catalogue may go into a place, and why the others may not."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from conewright.job.builds.draws import draw
from conewright.job.builds.fills import CALLIPER
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.screws import is_measured
from conewright.stages.find.faults.chains import SMALLEST_CONE
from conewright.stages.fit.margins import FRONT, LAND_WANTED, REAR, SEAT_WANTED
from conewright.stages.fit.sandwich import Sandwich, allowances, sandwich_of
from conewright.stages.fit.stage import ODDS_SAMPLES
from conewright.stages.report.words import number, odds

if TYPE_CHECKING:
    from conewright.catalogue.compiled import Compiled
    from conewright.catalogue.driver_columns import DriverColumns
    from conewright.job.builds.states.location import LocationState

__all__ = ["MOST_TOLD", "Allowed", "Gated", "Rejection", "gated"]

MOST_TOLD = 200
"""Rejected parts that are told one by one."""


class Rejection(BaseModel):
    """A part that does not go in at a place, or may not."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    part: str = Field(description="Id of the part.")
    place: str = Field(description="Id of the place or channel.")
    reason: str = Field(description="Id of the gate: fit-behind, hole, stock ...")
    number: float | None = Field(description="What was found, in the unit of the gate.")
    limit: float | None = Field(description="What is allowed.")
    words: str = Field(description="The reason in one line, numbers put in.")


SAME = 1e-6
"""Two sizes within this are the same [m]."""


@dataclass(frozen=True)
class Allowed:
    """What is allowed beyond what simply goes in.

    Attributes:
        cut: whether panels may be cut.
        unmeasured: whether places that nobody measured take what was not there before.
        money: whether a limit of money is set, so that a part needs a price.
        currency: of the job, empty where none is written.
        lead_days: how long a part may be on its way, None for any time.

    """

    cut: bool = False
    unmeasured: bool = False
    money: bool = False
    currency: str = ""
    lead_days: float | None = None


@dataclass
class Gated:
    """Drivers that may go into a place, and those that may not.

    Attributes:
        rows: of the catalogue that may.
        cut: of those, whether the opening must grow.
        counts: of those that may not, by reason.
        rejected: the first of them.

    """

    rows: NDArray[np.intp]
    cut: NDArray[np.bool_]
    counts: dict[str, int] = field(default_factory=dict)
    rejected: list[Rejection] = field(default_factory=list)


def gated(
    places: Sequence[LocationState],
    parts: DriverColumns,
    compiled: Compiled,
    allowed: Allowed,
    *,
    closed: bool,
    treble: bool,
) -> Gated:
    """Return which drivers may go into places that get the same one.

    Args:
        places: as found.
        parts: the drivers of the catalogue.
        compiled: the catalogue.
        allowed: what is.
        closed: whether a restraint part forbids to open one of the places.
        treble: whether what sits there plays treble alone.

    """
    gate = _Gate(parts, compiled, places)
    offered = compiled.offered[gate.rows] == gate.rows
    gate.keep(offered | _alone(compiled, gate.rows))
    gate.reject("incomplete", ~gate.of_parts(parts.whole), lambda _: "its size is not known")
    if closed:
        everywhere = np.ones(len(gate.rows), dtype=bool)
        gate.reject("restraint", everywhere, lambda _: "a restraint part keeps the place shut")
        return gate.found(np.zeros(0, dtype=bool))
    if not treble:
        small = gate.number("sd") < SMALLEST_CONE
        gate.reject("tweeter", small, lambda _: "a tweeter that would play the whole range burns")
    _offers(gate, allowed)
    cut = np.zeros(len(gate.rows), dtype=bool)
    for place in places:
        _sizes(gate, place, allowed)
    cut = reduce(
        np.logical_or, (_must_grow(gate, place) for place in places), cut[: len(gate.rows)]
    )
    for place in places:
        cut = _through(gate, cut, place)
    return gate.found(cut)


def _alone(compiled: Compiled, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether a row stands for itself: what is offered in its place is none of the rows here."""
    return ~np.isin(compiled.offered[rows], rows)


class _Gate:
    """The drivers that are still in, and the reasons of those that are not."""

    def __init__(
        self, parts: DriverColumns, compiled: Compiled, places: Sequence[LocationState]
    ) -> None:
        self.parts, self.compiled, self.places = parts, compiled, places
        self.rows = parts.rows
        self.counts: dict[str, int] = {}
        self.rejected: list[Rejection] = []

    def keep(self, which: NDArray[np.bool_]) -> None:
        """Go on with some without a reason: another stands for the rest."""
        self.rows = self.rows[which]

    def of_parts(self, values: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return values of all drivers for those that are in."""
        return values[self.parts.at[self.rows]]

    def number(self, name: str) -> FloatArray:
        """Return a figure of those that are in."""
        return self.parts.of(name, self.rows)

    def reject(
        self,
        reason: str,
        out: NDArray[np.bool_],
        words: Callable[[int], str],
        numbers: FloatArray | None = None,
        limit: float | None = None,
    ) -> None:
        """Take some out.

        Args:
            reason: the gate.
            out: which of those that are in.
            words: why, by position among those that are in.
            numbers: what was found of each.
            limit: what is allowed.

        """
        found = np.flatnonzero(out)
        if not found.size:
            return
        self.counts[reason] = self.counts.get(reason, 0) + found.size
        room = MOST_TOLD - len(self.rejected)
        for index in found[: max(room, 0)]:
            value = None if numbers is None else float(numbers[index])
            self.rejected.append(
                Rejection(
                    part=self.compiled.text("id", int(self.rows[index])),
                    place=self.places[0].id,
                    reason=reason,
                    number=value,
                    limit=limit,
                    words=words(int(index)),
                )
            )
        self.rows = self.rows[~out]

    def found(self, cut: NDArray[np.bool_]) -> Gated:
        """Return what is left."""
        return Gated(self.rows, cut, self.counts, self.rejected)


def _offers(gate: _Gate, allowed: Allowed) -> None:
    """Take out what cannot be had, or not for money that is counted."""
    compiled, count = gate.compiled, len(gate.places)
    nothing = np.full(len(compiled), np.nan)
    price, stock, lead = (
        compiled.numbers.get(name, nothing) for name in ("price", "stock", "lead_days")
    )
    if allowed.money:
        gate.reject("price", np.isnan(price[gate.rows]), lambda _: "it has no price")
    if allowed.currency and "currency" in compiled.texts:
        told = np.array([compiled.text("currency", int(row)) for row in gate.rows])
        other = (told != "") & (told != allowed.currency)
        gate.reject("currency", other, lambda i: f"its price is in {told[i]}")
    short = stock[gate.rows] < count
    if allowed.lead_days is not None:
        short &= ~(lead[gate.rows] <= allowed.lead_days)
    else:
        short &= np.isnan(lead[gate.rows]) | (stock[gate.rows] == 0.0)
    held = stock[gate.rows]
    gate.reject(
        "stock", short, lambda i: f"{held[i]:.0f} in stock, {count} are wanted", held, count
    )


# --- Sizes ----------------------------------------------------------------------------------------


def _sizes(gate: _Gate, place: LocationState, allowed: Allowed) -> None:
    """Take out what is too large or too small for the opening, or for what was there."""
    mount, old = place.mount, place.driver.frame
    if mount.axes is None or not is_measured(mount.cutout):
        if not allowed.unmeasured:
            _no_larger(gate, old.cutout.si, "cutout", "wider than what was there")
            _no_larger(gate, old.outer.si, "outer", "wider in front than what was there")
    else:
        hole, hole_long = (axis.si for axis in mount.axes)
        needs, needs_long = _axes(gate, "cutout")
        grown = np.maximum(needs - hole, needs_long - hole_long)
        if not allowed.cut:
            gate.reject(
                "hole",
                grown > SAME,
                lambda i: (
                    f"its cut-out is {number(1e3 * needs[i], 'mm')}, the hole has "
                    f"{number(1e3 * hole, 'mm')}"
                ),
                1e3 * needs,
                1e3 * hole,
            )
        elif mount.land is not None and is_measured(mount.land):
            left = 1e3 * (mount.land.si - np.maximum(grown, 0.0) / 2.0)
            gate.reject(
                "hole",
                (grown > SAME) & (left < 1e3 * LAND_WANTED),
                lambda i: f"{number(left[i], 'mm')} of flat steel would be left round it",
                left,
                1e3 * LAND_WANTED,
            )
        flange, flange_long = _axes(gate, "outer")
        reach = np.minimum(flange - hole, flange_long - hole_long) / 2.0
        gate.reject(
            "hole",
            reach < SEAT_WANTED,
            lambda i: (
                f"its flange of {number(1e3 * flange[i], 'mm')} does not cover the hole of "
                f"{number(1e3 * hole, 'mm')}"
            ),
            1e3 * reach,
            1e3 * SEAT_WANTED,
        )
    if not any(map(is_measured, mount.glass_depths)) and not allowed.unmeasured:
        _no_larger(gate, old.depth.si, "depth", "deeper than what was there")
    gap = mount.trim_gap
    if (gap is None or not is_measured(gap)) and not allowed.unmeasured:
        _no_larger(gate, old.front_height.si, "front_height", "higher than what was there")


def _axes(gate: _Gate, name: str) -> tuple[FloatArray, FloatArray]:
    short, long = gate.number(name), gate.number(f"{name}_long")
    return short, np.where(np.isnan(long), short, long)


def _no_larger(gate: _Gate, old: float, name: str, words: str) -> None:
    has = gate.number(name)
    gate.reject(
        "unmeasured",
        has > old + SAME,
        lambda i: (
            f"nobody measured the place, and it is {words}: {number(1e3 * has[i], 'mm')} "
            f"for {number(1e3 * old, 'mm')}"
        ),
        1e3 * has,
        1e3 * old,
    )


def _must_grow(gate: _Gate, place: LocationState) -> NDArray[np.bool_]:
    mount = place.mount
    if mount.axes is None or not is_measured(mount.cutout):
        return np.zeros(len(gate.rows), dtype=bool)
    hole, hole_long = (axis.si for axis in mount.axes)
    needs, needs_long = _axes(gate, "cutout")
    return np.asarray((needs > hole + SAME) | (needs_long > hole_long + SAME))


# --- Room -----------------------------------------------------------------------------------------


def _through(gate: _Gate, cut: NDArray[np.bool_], place: LocationState) -> NDArray[np.bool_]:
    """Take out what is likely to touch what is behind or the trim; return `cut` of what is left."""
    for reason, chances, limit, words in _odds(gate, place):
        out = chances >= limit
        gate.reject(reason, out, _worded(chances, words), chances, limit)
        cut = cut[~out]
    return cut


def _worded(chances: FloatArray, words: str) -> Callable[[int], str]:
    return lambda i: f"{words}: {odds(float(chances[i]))}"


def _odds(gate: _Gate, place: LocationState) -> Iterator[tuple[str, FloatArray, float, str]]:
    """Yield the chance of too little room, behind and then in front, of those that are in."""
    yield (
        "fit-behind",
        _rear_odds(gate, place),
        REAR.odds,
        f"chance of less than {REAR.words} behind it",
    )
    yield (
        "fit-front",
        _front_odds(gate, place),
        FRONT.odds,
        f"chance of less than {FRONT.words} in front of it",
    )


def _spread_of(gate: _Gate, name: str) -> FloatArray:
    """Return within what 95 % of a dimension lie: as written, else as a calliper reads it [m]."""
    high = gate.compiled.high.get(name)
    if high is None:
        return np.full(len(gate.rows), CALLIPER[0])
    width = high[gate.rows] - gate.number(name)
    return np.where(np.isnan(width) | (width <= 0.0), CALLIPER[0], width)


def _rear_odds(gate: _Gate, place: LocationState) -> FloatArray:
    """Return the chance of too little room behind, as fit counts it: the room there is without the
    driver is drawn once, and sorted for each width that depths are known with.
    """
    bare, score = _bare(place, "depth")
    if not bare.rear or not len(gate.rows):
        return np.zeros(len(gate.rows))
    assert bare.worst is not None
    room = bare.worst[1:, 0]
    depth, spread = gate.number("depth"), _spread_of(gate, "depth")
    chances = np.empty(len(depth))
    for width in np.unique(spread):
        here = spread == width
        drawn = np.sort(room - width / 1.96 * score)
        below = np.searchsorted(drawn, depth[here] + REAR.room, side="left")
        chances[here] = below / drawn.size
    return chances


def _front_odds(gate: _Gate, place: LocationState) -> FloatArray:
    """Return the chance of too little room in front; mechanical travel goes with Xmax."""
    bare, score = _bare(place, "front_height")
    if bare.front is None or not len(gate.rows):
        return np.zeros(len(gate.rows))
    room = bare.front[1:, 0]
    ratio = _drawn_ratio(place)
    height, xmax = gate.number("front_height"), gate.number("xmax")
    spread = _spread_of(gate, "front_height")
    chances = np.empty(len(height))
    for start in range(0, len(height), 128):
        some = slice(start, start + 128)
        out = np.outer(xmax[some], ratio) + np.outer(spread[some] / 1.96, score)
        left = room - height[some, np.newaxis] - out
        chances[some] = np.mean(left < FRONT.room, axis=1)
    return chances


def _bare(place: LocationState, name: str) -> tuple[Sandwich, FloatArray]:
    """Return the room at a place without any driver, drawn, and scores for the driver's own."""
    none = Value("nothing", Quantity.of(0.0, "length"), Origin.MEASURED, "no driver")
    frame = replace(place.driver.frame, depth=none, front_height=none)
    driver = replace(place.driver, frame=frame, xmax=none)
    empty = replace(place, driver=driver)
    mount = place.mount
    values = (*mount.glass_depths, mount.spacer, *allowances(place))
    if mount.trim_gap is not None:
        values = (*values, mount.trim_gap)
    axes = {axis for value in values for axis in value.axes}
    own = f"{place.id}.candidate.{name}"
    draws = draw((*sorted(axes), own), samples=ODDS_SAMPLES)
    return sandwich_of(empty, draws), draws.score(own)


def _drawn_ratio(place: LocationState) -> FloatArray:
    """Return mechanical travel over Xmax, drawn."""
    ratio = allowances(place)[1]
    return draw(ratio.axes, samples=ODDS_SAMPLES)(ratio)[1:, 0]
