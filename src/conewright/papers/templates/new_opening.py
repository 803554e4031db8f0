"""The opening of a place that only a plan has: cut and drilled where there was none."""

from __future__ import annotations

from dataclasses import replace

from conewright.job.builds.states.location import LocationState
from conewright.papers.drawing.facing import marks, on_paper
from conewright.papers.drawing.geometry import HAIR, MM, Drawing, cross
from conewright.papers.drawing.kerf import Cutter
from conewright.papers.drawing.outlines import Outline, drawn, grown, holds, outside, reach
from conewright.papers.drawing.patterns import from_edges, hole
from conewright.papers.templates.clearance import hold_clear
from conewright.papers.templates.panel import cut_opening
from conewright.papers.templates.sites import Site, site_of
from conewright.stages.fit.margins import EDGE_DIAMETERS, SEAT_WANTED

__all__ = ["new_opening"]


def new_opening(place: LocationState, *, cutter: Cutter) -> Drawing:
    """Return the template of a place's opening and screws: as planned, else as the basket needs.

    Raises: UndrawnError where a dimension is missing, or driver and opening do not go together.
    """
    frame, mount = place.driver.frame, place.mount
    if mount.cutout is None and not mount.corners:
        mount = replace(mount, cutout=frame.cutout, cutout_long=frame.cutout_long)
    site = site_of(replace(place, mount=mount))
    _hold(site)
    made = cut_opening(site, site.opening, cutter)
    _hold_steel(site, made.edge)
    hold_clear(
        site,
        "opening",
        edge=made.edge,
        holes=site.holes,
        diameter=site.screw,
        instead="another middle, or a smaller driver",
    )
    entities = (
        *made.entities,
        *drawn(site.flange, "mark"),
        *(() if site.land is None else drawn(grown(site.opening, by=site.land), "mark")),
        *(each for at in site.holes for each in hole(at, diameter=site.screw)),
        *cross((0.0, 0.0), size=10.0),
        *marks(
            site.view,
            room=reach(made.edge, angle=0.0),
            up=reach(made.edge, angle=90.0),
            words=(site.words, "new opening"),
        ),
    )
    return Drawing(
        name=f"{place.id}-new-opening",
        title=f"{site.title}: new opening to cut",
        entities=on_paper(entities, site.view),
        purpose=f"Fixed where nothing was cut yet, to cut and drill, for {place.driver.name}.",
        notes=(
            "Look behind first: no brace, loom, pipe, belt, curtain bag or glass within reach of "
            "saw and screws.",
            made.note,
            "Grey: the flange, and the end of the flat steel where it is known.",
            f"{len(site.holes)} holes for screws of {site.screw:g} mm.",
            "Deburr, wash off the swarf and paint the bare steel before anything goes on.",
            *(note for note in site.assumed if "old" not in note),
        ),
    )


def _hold(site: Site) -> None:
    """Raise UndrawnError where the driver does not go into the opening as planned."""
    driver = site.place.driver
    if not site.holes:
        raise site.refused(
            "template",
            f"{site.title}: driver[{driver.id}].frame.screws is not given.",
            "Count the screws of the flange and measure their circle.",
        )
    if holds(site.opening, site.needs) < -HAIR:
        raise site.refused(
            "opening",
            f"{site.title}: the opening is planned smaller than the basket of {driver.name}.",
            f"Leave location[{site.place.id}].mount.cutout out: the basket's own is cut then.",
        )


def _hold_steel(site: Site, edge: Outline) -> None:
    """Raise UndrawnError where flange or screws find no steel to sit on."""
    over = holds(site.flange, edge)
    if over < MM * SEAT_WANTED - HAIR:
        raise site.refused(
            "opening",
            f"{site.title}: the flange reaches {over:.1f} mm over the edge of the opening, "
            f"{MM * SEAT_WANTED:g} mm are wanted.",
            "A tool that cuts nearer to the basket's size, or a smaller opening.",
        )
    if (near := from_edges(site.holes, (edge,))) < site.edge - HAIR:
        raise site.refused(
            "holes",
            f"{site.title}: the screws would lie {near:.1f} mm from the edge of the opening; "
            f"{EDGE_DIAMETERS:g} diameters of {site.screw:g} mm are wanted.",
            "Thinner screws, or a smaller opening.",
        )
    if site.land is not None and max(outside(site.opening, site.holes)) > site.land:
        raise site.refused(
            "holes",
            f"{site.title}: the screws lie beyond the {site.land:g} mm of flat steel.",
            "Another middle with more flat steel round it, or a smaller driver.",
        )
