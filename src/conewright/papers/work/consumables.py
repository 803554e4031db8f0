"""What the work uses up, computed from the drawings and the wiring schedule.

Where something could not be drawn its amount follows from the mount instead, and the line says so.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.papers.templates.patch import OVERLAP
from conewright.papers.templates.stock import mass_per_area
from conewright.papers.work.money import Amount, amount_of, order_quantity
from conewright.stages.common.changes import Changes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from conewright.job.builds.state import Build, LocationState
    from conewright.papers.drawing.geometry import Drawing
    from conewright.papers.press.supply_plan import SupplyPlan
    from conewright.papers.templates.drawings import Templates
    from conewright.papers.wiring.schedule import Schedule

__all__ = ["Consumable", "consumables"]

METRE = 1e-3
CLIPS, CLIP_BREAKS = 10, 0.12
"""Clips of a trim, and the chance that one breaks; workshop experience, from memory."""

SLEEVE_PER_JOINT, FELT_PER_TRIM = 0.04, 0.5
"""[m]; common practice, no source."""

GROMMETS = 2
USUAL_SCREWS = 4
SPARE = 1


@dataclass(frozen=True, slots=True)
class Consumable:
    """One line: how much of what, its price for one unit, and where the amount is from."""

    item: str
    title: str
    quantity: float
    unit: str
    price: Amount
    note: str
    source: str


def consumables(
    build: Build, changed: Changes, drawn: Templates, plan: Schedule, feeds: SupplyPlan
) -> tuple[Consumable, ...]:
    """Return everything the plan uses up, lines of no amount left out.

    Args:
        build: the plan.
        changed: what it changes.
        drawn: its drawings.
        plan: its wiring schedule.
        feeds: its supply cables.

    """
    places = {place.id: place for place in build.locations}
    lines = (
        *_rings(drawn.drawings, [places[name] for name in changed.by_kind["ring"]]),
        *_boards(drawn.drawings),
        *_covers(drawn.drawings, changed, places),
        *_fixings([places[name] for name in changed.by_kind["new-driver"]]),
        *_trims(len(changed.opened)),
        *_joints(sum(splice.new for splice in plan.splices)),
        *_cables(feeds),
    )
    return tuple(line for line in lines if line.quantity > 0.0)


def _line(item: str, quantity: float, note: str = "", title: str = "") -> Consumable:
    row = next(row for row in data_rows("papers", "prices.csv") if row["item"] == item)
    return Consumable(
        item=item,
        title=title or row["title"],
        quantity=quantity,
        unit=row["unit"],
        price=amount_of(row),
        note=note,
        source=row["source"],
    )


def _rings(drawings: Iterable[Drawing], places: Iterable[LocationState]) -> Iterator[Consumable]:
    """Yield metres of ring by thickness; from the frame where no ring could be drawn."""
    metres: dict[float, float] = defaultdict(float)
    drawn = set()
    for drawing in drawings:
        if drawing.name.endswith("-sealing-ring") and drawing.length_mm is not None:
            drawn.add(drawing.name.removesuffix("-sealing-ring"))
            for _, thickness in drawing.cut_from:
                metres[thickness] += METRE * drawing.length_mm
    for thickness, length in sorted(metres.items()):
        yield _line("ring", length, "from the drawings", f"sealing ring, {thickness:g} mm foam")
    bare = [pi * place.driver.frame.outer.si for place in places if place.id not in drawn]
    yield _line("ring", sum(bare), "from the frames: not drawn")


def _boards(drawings: Iterable[Drawing]) -> Iterator[Consumable]:
    """Yield the sheet that spacers and adapters are cut from: the rectangle round each piece."""
    squares: dict[str, float] = defaultdict(float)
    for drawing in drawings:
        rigid = [layer for layer in drawing.cut_from if layer[0] not in ("foam", "steel")]
        width, height = drawing.size if rigid else (0.0, 0.0)
        if rigid and drawing.area_mm2 is not None and "patch" not in drawing.name:
            squares[drawing.material or ""] += len(rigid) * width * height * METRE**2
    for material, area in sorted(squares.items()):
        yield _line("board", area, "from the drawings", f"{material} for spacer or adapter")


def _covers(
    drawings: Iterable[Drawing], changed: Changes, places: dict[str, LocationState]
) -> Iterator[Consumable]:
    """Yield kilograms of patch and square metres of film over the inner panels' openings."""
    mass = area = 0.0
    note = "from the drawings"
    drawn: dict[str, list[Drawing]] = defaultdict(list)
    for drawing in drawings:
        name, found, _ = drawing.name.partition("-patch")
        if found and drawing.area_mm2 is not None:
            drawn[name].append(drawing)
    for name in changed.by_kind["patched"]:
        if name in drawn:
            area += METRE**2 * sum(each.area_mm2 or 0.0 for each in drawn[name])
            mass += sum(map(_mass, drawn[name]))
        else:
            note = "from the area of the openings: not drawn"
            piece = _over_openings(places[name])
            area, mass = area + piece, mass + piece * _density(places[name])
    yield _line("patch", mass, f"{1e4 * area:.0f} cm², {note}")
    film = sum(_over_openings(places[name]) for name in changed.by_kind["filmed"])
    yield _line("film", film, "from the area of the openings")


def _mass(patch: Drawing) -> float:
    """Mass of a patch of the sheet it is cut from [kg]."""
    area = METRE**2 * (patch.area_mm2 or 0.0)
    return area * sum(mass_per_area(name, thick) for name, thick in patch.cut_from)


def _over_openings(place: LocationState) -> float:
    """Area of covers over openings taken as round and alike, with their overlap [m2]."""
    cavity = place.cavity
    if cavity is None or cavity.panel_holes.si == 0.0:
        return 0.0
    count = max(cavity.panel_hole_count, 1)
    radius = sqrt(cavity.panel_holes.si / count / pi)
    return count * pi * (radius + METRE * OVERLAP) ** 2


def _density(place: LocationState) -> float:
    cavity = place.cavity
    return 0.0 if cavity is None or cavity.cover_mass is None else cavity.cover_mass.si


def _fixings(places: Iterable[LocationState]) -> Iterator[Consumable]:
    """Yield screws, nuts and sealing cord of new drivers; one screw to spare for each."""
    known = list(places)
    counts = [(place.driver.frame.screw_count or USUAL_SCREWS) + SPARE for place in known]
    note = f"{len(known)} drivers, one to spare for each"
    yield _line("screw", sum(counts), note)
    yield _line("nut", sum(counts), note)
    cord = sum(pi * place.driver.frame.outer.si for place in known)
    yield _line("cord", cord, "under each frame")


def _trims(opened: int) -> Iterator[Consumable]:
    clips = order_quantity(count=CLIPS * opened, chance=CLIP_BREAKS)
    note = f"enough in 19 of 20 cases for {opened} trims of {CLIPS} clips"
    yield _line("clip", clips, note)
    yield _line("felt", FELT_PER_TRIM * opened, "half a metre for each trim")


def _joints(new: int) -> Iterator[Consumable]:
    yield _line("crimp", new, "one for each joint to make")
    yield _line("sleeve", SLEEVE_PER_JOINT * new, "40 mm for each joint to make")


def _cables(feeds: SupplyPlan) -> Iterator[Consumable]:
    """Yield cable, fuse and grommets of amplifiers; the radio's own feed is there."""
    for plan in feeds.feeds:
        cable = plan.cable
        if cable.to != "amplifier":
            continue
        assert cable.length is not None
        assert cable.size is not None
        ways = 2.0 if cable.return_by == "cable" else 1.0
        title = f"{plan.size} {plan.metal} cable"
        line = _line("cable", ways * cable.length.si, cable.id, title)
        yield replace(line, price=line.price.times(1e6 * cable.size.si))
        yield _line("fuse", 1, cable.id, f"{plan.rating} fuse with its holder")
        yield _line("grommet", GROMMETS, cable.id)
