"""What must stay clear around a loudspeaker, with room around it; and the loudspeaker itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist, hypot, inf

from conewright.job.builds.states.location import LocationState
from conewright.papers.drawing.facing import View
from conewright.papers.drawing.geometry import HAIR, MM, Point
from conewright.papers.drawing.outlines import Outline, outside, points_on
from conewright.papers.templates.sites import Site, opening_of, outlines_of_frame

__all__ = ["AROUND", "Zone", "hold_clear", "loudspeaker", "zones"]

AROUND = 5.0
"""Room left around what must stay clear [mm]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Zone:
    """Where nothing may be: what is there, its middle, its radius with any room around it [mm]."""

    what: str
    middle: Point
    radius: float


def zones(place: LocationState, view: View) -> tuple[Zone, ...]:
    """Return what the repairer wrote down that must stay clear."""
    kept = () if place.cavity is None else place.cavity.keep_clear
    return tuple(
        Zone(each.what, view.point(each.at.metres), MM * each.width.value / 2 + AROUND)
        for each in kept
    )


def loudspeaker(place: LocationState, view: View, *, rim: float = 0.0) -> Zone:
    """Return the driver with its opening and its ring, up to which a patch may reach.

    Args:
        place: as it is to be.
        view: how it lies on paper.
        rim: how far a ring under the driver reaches from its middle [mm].

    Raises: UndrawnError where an oval or a size cannot be used.
    """
    outlines = [*outlines_of_frame(place, view)]
    if place.mount.corners or place.mount.cutout is not None:
        outlines.append(opening_of(place, view))
    far = max(hypot(x, y) for outline in outlines for x, y in points_on(outline))
    return Zone("loudspeaker", (0.0, 0.0), max(far, rim))


def hold_clear(
    site: Site,
    part: str,
    *,
    edge: Outline | None,
    holes: Sequence[Point] = (),
    diameter: float = 0.0,
    instead: str,
) -> None:
    """Raise UndrawnError where a part would meet what must stay clear.

    Args:
        site: the place.
        part: what is refused.
        edge: of what is cut or covered, as the tool leaves it; None for nothing.
        holes: middles of what is drilled anew [mm].
        diameter: of these [mm].
        instead: what could be done, after a colon.

    """
    for zone in zones(site.place, site.view):
        from_edge = inf if edge is None else outside(edge, [zone.middle])[0]
        from_holes = min((dist(zone.middle, hole) for hole in holes), default=inf) - diameter / 2
        if min(from_edge, from_holes) < zone.radius - HAIR:
            raise site.refused(
                part,
                f"{site.title}: the {part} would come nearer to the {zone.what} than may be.",
                f"Its edge has to stay {zone.radius:.0f} mm from the middle of the {zone.what}: "
                f"{instead}.",
            )
