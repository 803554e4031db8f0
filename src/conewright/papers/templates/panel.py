"""What is cut and drilled in the vehicle's own steel: the opening enlarged, new screw holes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from conewright.papers.drawing.facing import marks, on_paper
from conewright.papers.drawing.geometry import HAIR, MM, Drawing, Point, cross
from conewright.papers.drawing.kerf import CannotCutError, Cut, Cutter, cut
from conewright.papers.drawing.outlines import Outline, Round, drawn, grown, holds, outside, reach
from conewright.papers.drawing.patterns import (
    SAME_HOLE,
    clearest,
    from_edges,
    hole,
    nearest_hole,
)
from conewright.papers.templates.clearance import hold_clear
from conewright.papers.templates.sites import Site, floored
from conewright.stages.fit.margins import EDGE_DIAMETERS, LAND_WANTED, SEAT_WANTED

__all__ = ["PanelCut", "cut_opening", "is_seated", "panel_cut", "panel_drawing"]

WEB = EDGE_DIAMETERS + 0.5
"""Middle of a new hole to the middle of an old one, in diameters; from two to its edge."""


@dataclass(frozen=True, slots=True)
class PanelCut:
    """What is done to the steel of a place.

    Attributes:
        enlarge: by how much the opening grows where it grows most, on one side [mm]; 0 for not.
        land: flat steel left where least is left [mm]; None where nobody measured it.
        holes: where the driver's screws go.
        new: whether these are new holes.

    """

    enlarge: float
    land: float | None
    holes: tuple[Point, ...]
    new: bool


def panel_cut(site: Site, *, same_holes: bool, own_screws: bool) -> PanelCut:
    """Return what has to be cut and drilled.

    Args:
        site: opening and driver.
        same_holes: whether the driver's screws go into the old holes.
        own_screws: whether the driver is screwed to the steel, with no ring between.

    Raises: UndrawnError where too little steel would be left.
    """
    enlarge = max(0.0, -holds(site.opening, site.needs))
    enlarge = enlarge if enlarge > HAIR else 0.0
    land = None if site.land is None else site.land - enlarge
    if enlarge:
        _hold_land(site, enlarge, land)
    if not own_screws:
        return PanelCut(enlarge, land, (), new=False)
    _hold_seat(site)
    holes = site.old_holes if same_holes else _new_holes(site)
    if enlarge or not same_holes:
        _hold_edges(site, holes)
    return PanelCut(enlarge, land, holes, new=not same_holes)


def panel_drawing(site: Site, done: PanelCut, *, cutter: Cutter) -> Drawing:
    """Return the template of what is cut and drilled; raises UndrawnError where no tool can."""
    edge = cut_opening(site, site.needs, cutter) if done.enlarge else None
    if edge is not None:
        site, done = _come_out(site, done, edge.edge)
    hold_clear(
        site,
        "opening",
        edge=site.needs if done.enlarge else None,
        holes=done.holes if done.new else (),
        diameter=site.screw,
        instead="an adapter ring, or a smaller driver",
    )
    opening = site.needs if done.enlarge else site.opening
    entities = (
        *(edge.entities if edge else ()),
        *drawn(site.opening, "mark"),
        *(() if site.land is None else drawn(grown(site.opening, by=site.land), "mark")),
        *(each for at in site.old_holes for each in cross(at, size=6.0)),
        *(
            each
            for at in (done.holes if done.new else ())
            for each in hole(at, diameter=site.screw)
        ),
        *cross((0.0, 0.0), size=10.0),
        *marks(
            site.view,
            room=reach(opening, angle=0.0),
            up=reach(opening, angle=90.0),
            words=(site.words, "opening in the steel"),
        ),
    )
    word = "opening to enlarge" if done.enlarge else "screw holes to drill"
    return Drawing(
        name=f"{site.place.id}-{'opening' if done.enlarge else 'holes'}",
        title=f"{site.title}: {word}",
        entities=on_paper(entities, site.view),
        purpose=f"Fixed to the steel, to cut and drill through, for {site.place.driver.name}.",
        notes=tuple(_notes(site, done, edge)),
    )


def is_seated(site: Site) -> bool:
    """Whether the flange reaches far enough over the edge of the opening to be screwed to it."""
    return _seat(site) >= MM * SEAT_WANTED - HAIR


# --- Underneath ---------------------------------------------------------------------------------


def _come_out(site: Site, done: PanelCut, edge: Outline) -> tuple[Site, PanelCut]:
    """Return what is cut with the edge that the tool leaves: a hole saw has a size of its own.

    Raises: UndrawnError where that leaves too little steel.
    """
    after = replace(site, needs=edge)
    enlarge = max(done.enlarge, -holds(site.opening, edge))
    land = None if site.land is None else site.land - enlarge
    _hold_land(after, enlarge, land)
    if done.holes:
        _hold_edges(after, done.holes)
    return after, replace(done, enlarge=enlarge, land=land)


def _hold_land(site: Site, enlarge: float, land: float | None) -> None:
    wanted = MM * LAND_WANTED
    if land is None:
        raise site.refused(
            "opening",
            f"{site.title}: the opening has to grow by {enlarge:.1f} mm all round, and nobody "
            "measured the flat steel around it.",
            f"Measure location[{site.place.id}].mount.land: {wanted:g} mm have to be left.",
        )
    if land >= wanted - HAIR:
        return
    assert site.land is not None
    spare = max(site.land - wanted, 0.0)
    nearest = f"No opening larger than the one that is there leaves {wanted:g} mm."
    if isinstance(site.opening, Round) and spare:
        most = floored(2 * (site.opening.radius + spare))
        nearest = (
            f"The largest opening that leaves {wanted:g} mm is {most:g} mm: take a driver whose "
            f"basket needs {most:g} mm or less."
        )
    elif spare:
        nearest = f"It may grow by {floored(spare):g} mm all round: take a smaller basket."
    raise site.refused(
        "opening",
        f"{site.title}: {site.place.driver.name} wants the opening {enlarge:.1f} mm wider on each "
        f"side, which would leave {max(land, 0.0):.1f} mm of the {site.land:g} mm of flat steel; "
        f"{wanted:g} mm are wanted.",
        nearest,
    )


def _hold_seat(site: Site) -> None:
    """Raise UndrawnError for a flange that does not reach over the edge of the opening."""
    if not is_seated(site):
        over = _seat(site)
        raise site.refused(
            "opening",
            f"{site.title}: the flange reaches {over:.1f} mm over the edge of the opening, "
            f"{MM * SEAT_WANTED:g} mm are wanted.",
            "An adapter ring closes the opening to the size of the driver.",
        )


def _seat(site: Site) -> float:
    """Return how far the flange reaches over the edge where it reaches least [mm]."""
    return min(holds(site.flange, site.opening), holds(site.flange, site.needs))


def _new_holes(site: Site) -> tuple[Point, ...]:
    holes = clearest(site.holes, avoid=site.old_holes, free=site.free)
    near, wanted = nearest_hole(holes, site.old_holes), WEB * max(site.screw, site.old_screw)
    if SAME_HOLE < near < wanted - HAIR:
        raise site.refused(
            "holes",
            f"{site.title}: new holes would lie {near:.1f} mm from old ones, {wanted:g} mm are "
            "wanted.",
            "An adapter ring carries the driver on the old holes.",
        )
    return holes


def _hold_edges(site: Site, holes: tuple[Point, ...]) -> None:
    near = from_edges(holes, (site.opening, site.needs))
    if near < site.edge - HAIR:
        raise site.refused(
            "holes",
            f"{site.title}: the screws would lie {near:.1f} mm from the edge of the opening; "
            f"{EDGE_DIAMETERS:g} diameters of {site.screw:g} mm are wanted.",
            f"Screws of {floored(near / EDGE_DIAMETERS):g} mm or thinner keep it: write "
            f"driver[{site.place.driver.id}].frame.screws.diameter.",
        )
    if site.land is None:
        return
    room = site.land - max(outside(site.opening, holes))
    if room < site.screw / 2 - HAIR:
        raise site.refused(
            "holes",
            f"{site.title}: the screws would lie {site.land - room:.1f} mm from the opening, and "
            f"the flat steel is {site.land:g} mm wide.",
            "Take a driver with a smaller screw circle.",
        )


def cut_opening(site: Site, outline: Outline, cutter: Cutter) -> Cut:
    """Return an opening as a tool cuts it; raises UndrawnError where none can."""
    try:
        return cut(outline, with_=cutter, waste="inside")
    except CannotCutError as error:
        sentence = f"{site.title}: the opening is not drawn: {error.sentence}"
        raise site.refused("opening", sentence, error.nearest) from error


def _notes(site: Site, done: PanelCut, edge: Cut | None) -> list[str]:
    notes = ["Grey: the opening as it is, the old screw holes, and the end of the flat steel."]
    if edge:
        notes = [edge.note, *notes]
    if done.land is not None:
        notes.append(f"Flat steel left: {done.land:.1f} mm; {MM * LAND_WANTED:g} mm are wanted.")
    if done.new:
        notes.append(
            f"{len(done.holes)} new holes for screws of {site.screw:g} mm, at least "
            f"{from_edges(done.holes, (site.opening, site.needs)):.1f} mm from the edge."
        )
    notes.append("Deburr, wash off the swarf and paint the bare steel before anything goes on.")
    return [*notes, *site.assumed]
