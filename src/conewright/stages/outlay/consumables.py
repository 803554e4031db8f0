"""What the work uses up, in closed form from mounts, frames and openings.

The drawings have the exact sizes of what is cut; these amounts are for the price, and near enough
to them. Where something was not measured the note says what is reckoned instead.
"""

from __future__ import annotations

from collections import defaultdict
from functools import cache
from math import dist, hypot, pi, sqrt
from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.job.quantity.units import MM
from conewright.phrases import counted
from conewright.stages.common.changes import Changes
from conewright.stages.common.nets import joints
from conewright.stages.outlay.amounts import Amount, Line, amount_of, line_of, order_quantity
from conewright.stages.outlay.stock import (
    FLANGE,
    OVERLAP,
    Stock,
    made_of,
    patch_stock,
    soft_stacks,
    stacks,
    stock_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.drivers import FrameState
    from conewright.job.builds.states.location import LocationState
    from conewright.job.quantity.spots import PanelHole

__all__ = [
    "BY_TRIMS",
    "RIM",
    "USUAL_SCREWS",
    "consumables",
    "material",
    "patched_area",
    "trims",
]

METRE = 1e-3
CLIPS, CLIP_BREAKS = 10, 0.12
"""Clips of a trim, and the chance that one breaks; workshop experience, from memory."""

SLEEVE_PER_JOINT, FELT_PER_TRIM = 0.04, 0.5
"""[m]; common practice, no source."""

RIM = 10.0
"""How far a ring under a driver reaches over its flange, for its screws [mm]; common practice."""

AS_PLANNED = 0.5
"""A stack of sheets is a spacer as planned within this [mm]."""

MENDED_JOINTS = 2
"""Joints that are made anew where a wire is mended, a joint cleaned or a part renewed."""

JOINED = ("wire-mended", "joint-cleaned", "joint-renewed", "capacitor-renewed", "feed-moved")
FELT_PER_RATTLE = 1.0
"""[m]; common practice, no source."""

USUAL_SCREWS = 4
SPARE = 1


def consumables(build: Build, before: Build, changed: Changes) -> tuple[Line, ...]:
    """Return everything the plan uses up, lines of no amount left out.

    Args:
        build: the plan.
        before: the vehicle as found.
        changed: what it changes.

    """
    places = {place.id: place for place in build.locations}
    then = {place.id: place for place in before.locations}
    gone = len(changed.at("removed"))
    ends = gone + len({*changed.at("carried-out")} - set(places))

    def at(*kinds: str) -> list[LocationState]:
        names = dict.fromkeys(name for kind in kinds for name in changed.at(kind))
        return [places[name] for name in names]

    sheets = stock_of(build.job)
    lines = (
        *_rings(at("ring", "mount-renewed"), sheets),
        *_boards(at("spacer", "adapted"), sheets),
        *_patches(at("patched"), sheets),
        material(
            "film",
            # What is open as found may be whole in the plan.
            sum(
                max(_over_openings(place), _over_openings(then.get(place.id, place)))
                for place in at("filmed")
            ),
            "from the area of the openings",
        ),
        *_fixings(at("new-driver", "used-driver", "mount-renewed")),
        *trims(len(changed.at("trimmed")), rattles=len(changed.at("quieted"))),
        *_joints(_new_joints(build, before) + _mended(build, before, changed)),
        material("surround", len({*changed.at("repaired"), *changed.at("surround-glued")})),
        material("bench", len(changed.at("bench-mended"))),
        material("gap", len(changed.at("gap-cleaned"))),
        material("blade", len(changed.at("amplifier-proved")), "of the amplifier"),
        material("blade", len(changed.at("feed-moved")), "for the switched line"),
        material("radio-leads", len(changed.at("new-radio"))),
        material("bypass", len(changed.at("bypassed"))),
        material("grille", len(changed.at("grilled")), "one for each new place in a trim"),
        material("blank", gone + len(changed.at("closed-up")), "over the opening that is left"),
        material("sleeve", 2 * SLEEVE_PER_JOINT * ends, "both wire ends that are left"),
    )
    return tuple(line for line in lines if line.quantity > 0.0)


def material(
    item: str, quantity: float, note: str = "", *, title: str = "", times: float = 1.0
) -> Line:
    """Return so much of a row of the table of prices.

    Args:
        item: the row.
        quantity: in its unit.
        note: where the amount is from.
        title: in the place of the row's own.
        times: what the price of one is multiplied by, as by the metal in a metre of cable.

    """
    row = _prices()[item]
    price = _price(item) if times == 1.0 else _price(item).times(times)
    return line_of(
        "material",
        item,
        title or row["title"],
        quantity=quantity,
        unit=row["unit"],
        price=price,
        note=note,
        source=row["source"],
    )


@cache
def _prices() -> dict[str, dict[str, str]]:
    return {row["item"]: row for row in data_rows("catalogue", "prices.csv")}


@cache
def _price(item: str) -> Amount:
    return amount_of(_prices()[item])


# --- Under and over the driver ------------------------------------------------------------------


def _rings(places: Iterable[LocationState], sheets: tuple[Stock, ...]) -> Iterator[Line]:
    """Yield metres of soft ring by thickness, each layer counted; one layer for an unknown gap."""
    metres: dict[float, float] = defaultdict(float)
    for place in places:
        for thickness in _layers_of_ring(place, sheets):
            metres[thickness] += _middle_length(place.driver.frame)
    for thickness, length in sorted(metres.items()):
        if thickness:
            title = f"sealing ring, {thickness:g} mm foam"
            yield material("ring", length, "from the frames", title=title)
        else:
            yield material("ring", length, "from the frames: gap or foam for it not known")


def _layers_of_ring(place: LocationState, sheets: tuple[Stock, ...]) -> tuple[float, ...]:
    """Return the thickness of each layer [mm], 0 for one that is not known."""
    gap = place.mount.trim_gap
    if gap is None:
        return (0.0,)
    room = MM * (gap.si - place.mount.spacer.si) - FLANGE
    found = soft_stacks(sheets, gap=room)
    return tuple(layer.thickness for layer in found[0].layers) if found else (0.0,)


def _middle_length(frame: FrameState) -> float:
    """Length of a ring between the rim of a flange and its basket, along its middle [m]."""
    if frame.corners:
        ends = (*frame.corners[1:], frame.corners[0])
        return sum(dist(one, other) for one, other in zip(frame.corners, ends, strict=True))
    outer = frame.outer.si, (frame.outer_long or frame.outer).si
    inner = frame.cutout.si, (frame.cutout_long or frame.cutout).si
    return (_round(*outer) + _round(*inner)) / 2


def _round(minor: float, major: float) -> float:
    """Perimeter of an ellipse by its axes, within 1 % up to 1.5 to 1, exact for a circle."""
    return pi * hypot(minor, major) / sqrt(2.0)


def _boards(places: Iterable[LocationState], sheets: tuple[Stock, ...]) -> Iterator[Line]:
    """Yield the sheet that spacers and adapters are cut from: the rectangle round each piece."""
    squares: dict[str, float] = defaultdict(float)
    rigid = [sheet for sheet in sheets if made_of(sheet.material).adapter_mm is not None]
    over = 2 * RIM * METRE
    for place in places:
        frame, planned = place.driver.frame, MM * place.mount.spacer.si
        axes = (frame.outer.si, (frame.outer_long or frame.outer).si)
        words, layers = _layers_of_board(rigid, planned)
        squares[words] += layers * (axes[0] + over) * (axes[1] + over)
    for words, area in sorted(squares.items()):
        yield material("board", area, "from the frames", title=f"{words} for spacer or adapter")


def _layers_of_board(rigid: Sequence[Stock], planned: float) -> tuple[str, int]:
    """Return what a ring is made of and in how many layers; of one that has no thickness, one."""
    least, most = (planned - AS_PLANNED, planned + AS_PLANNED) if planned else (0.0, 2 * MM)
    found = stacks(rigid, least=least, most=most, stiff=not planned)
    return (found[0].words, len(found[0].layers)) if found else ("sheet", 1)


# --- Over the openings --------------------------------------------------------------------------


def _patches(places: Iterable[LocationState], sheets: tuple[Stock, ...]) -> Iterator[Line]:
    """Yield kilograms of patch over the inner panels' openings."""
    mass = area = 0.0
    note = "from the openings"
    for place in places:
        cavity = place.cavity
        wanted = 0.0 if cavity is None or cavity.cover_mass is None else cavity.cover_mass.si
        piece = patched_area(place)
        if cavity is not None and cavity.openings:
            sheet = patch_stock(sheets, wanted=wanted)
            wanted = wanted if sheet is None else sheet.mass
        else:
            note = "from the area of the openings: none is written"
        area, mass = area + piece, mass + piece * wanted
    yield material("patch", mass, f"{1e4 * area:.0f} cm², {note}")


def patched_area(place: LocationState) -> float:
    """Return the area of the patches of a place, with what they reach over their edges [m2]."""
    cavity = place.cavity
    if cavity is not None and cavity.openings:
        return sum(map(_over, cavity.openings))
    return _over_openings(place)


def _over(opening: PanelHole) -> float:
    """Area of a patch over one opening [m2]."""
    over = METRE * OVERLAP
    along, high = opening.along.value, opening.high.value
    if opening.round:
        return pi * (along / 2 + over) ** 2
    return (along + 2 * over) * (high + 2 * over)


def _over_openings(place: LocationState) -> float:
    """Area of covers over openings taken as round and alike, with their overlap [m2]."""
    cavity = place.cavity
    if cavity is None or cavity.panel_holes.si == 0.0:
        return 0.0
    count = max(cavity.panel_hole_count, 1)
    radius = sqrt(cavity.panel_holes.si / count / pi)
    return count * pi * (radius + METRE * OVERLAP) ** 2


# --- Screws, clips, joints ----------------------------------------------------------------------


def _fixings(places: Sequence[LocationState]) -> Iterator[Line]:
    """Yield screws, nuts and sealing cord of new drivers; one screw to spare for each."""
    counts = [(place.driver.frame.screw_count or USUAL_SCREWS) + SPARE for place in places]
    note = f"{counted(len(places), 'driver')}, one to spare for each"
    yield material("screw", sum(counts), note)
    yield material("nut", sum(counts), note)
    cord = sum(pi * place.driver.frame.outer.si for place in places)
    yield material("cord", cord, "under each frame")


BY_TRIMS = ("clip", "felt")
"""What is used up by trims, however many plans they are taken off for."""


def trims(opened: int, *, rattles: int) -> Iterator[Line]:
    """Yield what taking off so many trims uses up, and quieting so many rattles."""
    clips = order_quantity(count=CLIPS * opened, chance=CLIP_BREAKS)
    trims = "one trim" if opened == 1 else f"{opened} trims"
    note = f"enough in 19 of 20 cases for {trims} of {CLIPS} clips"
    yield material("clip", clips, note)
    felt = FELT_PER_TRIM * opened + FELT_PER_RATTLE * rattles
    more = ", a metre for each rattle" if rattles else ""
    yield material("felt", felt, f"half a metre for each trim{more}")


def _joints(new: int) -> Iterator[Line]:
    yield material("crimp", new, "one for each joint to make")
    yield material("sleeve", SLEEVE_PER_JOINT * new, "40 mm for each joint to make")


def _new_joints(build: Build, before: Build) -> int:
    """Return how many joints of the loads are made anew, as the wiring schedule has them."""
    then = {channel.id: channel for channel in before.channels}
    count = 0
    for channel in build.channels:
        was = then.get(channel.id)
        if was == channel:
            continue
        known = set() if was is None else {joint.text for joint in joints(was)}
        count += sum(joint.text not in known for joint in joints(channel))
    return count


def _mended(build: Build, before: Build, changed: Changes) -> int:
    """Return how many joints are made anew besides those that the loads show."""
    now, then = (
        {place: sign for channel in each.channels for place, sign in channel.polarity}
        for each in (build, before)
    )
    # A driver that is only suspected to be reversed is written no otherwise in the plan.
    unseen = [place for place in changed.at("turned") if now.get(place) == then.get(place)]
    return MENDED_JOINTS * (len(unseen) + sum(len(changed.at(kind)) for kind in JOINED))
