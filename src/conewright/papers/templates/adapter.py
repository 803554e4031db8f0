"""An adapter ring or spacer between a driver's flange and an opening."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, hypot, pi

from conewright.papers.drawing.facing import marks, on_paper
from conewright.papers.drawing.geometry import HAIR, MM, Drawing, Entity, Point, cross
from conewright.papers.drawing.kerf import CannotCutError, Cut, Cutter, cut
from conewright.papers.drawing.outlines import (
    Outline,
    area,
    drawn,
    grown,
    holds,
    outside,
    points_on,
    reach,
)
from conewright.papers.drawing.patterns import clearest, from_edges, hole, nearest_hole, on_rays
from conewright.papers.templates.clearance import hold_clear
from conewright.papers.templates.sites import Site, floored
from conewright.papers.templates.undrawn import UndrawnError
from conewright.stages.fit.margins import EDGE_DIAMETERS, SEAT_WANTED
from conewright.stages.outlay.stock import Stack

__all__ = ["HOLE_WEB", "Ring", "adapter", "ring_of"]

WHOLE = 0.5
"""The rim comes out in steps of this [mm], so that it can be measured after cutting."""

PASSING = 0.5
"""How much wider than a screw the hole is that it passes through [mm]; common practice."""

THINNEST = 2.2
"""No thinner screw carries a driver [mm]: ST2.2 of ISO 1478."""

DUST = (
    "Dust of board and plastic: goggles, filtering half mask (P3 for fibreboard) and extraction, "
    "outside the vehicle."
)

TURNS = 8
"""How many turns of a pattern of new holes in the steel are tried."""

HOLE_WEB = 0.5
"""From the edge of a hole to its middle, in diameters of the screw in it."""


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring before it is drawn: its edges and its holes, on the paper for the left [mm].

    Attributes:
        outer: rim.
        inner: opening for the basket.
        fixing: holes by which it is screwed to the steel.
        driver: holes for the driver's screws; none where these pass through `fixing`.
        new: whether the fixing holes are new ones in the steel.
        passing: diameter of the fixing holes [mm].

    """

    outer: Outline
    inner: Outline
    fixing: tuple[Point, ...]
    driver: tuple[Point, ...]
    new: bool
    passing: float

    def area(self, site: Site) -> float:
        """Return the area of the finished ring, holes taken out [mm2]."""
        pilots = len(self.driver) * site.pilot**2
        passing = len(self.fixing) * self.passing**2
        return area(self.outer) - area(self.inner) - pi / 4 * (pilots + passing)


def ring_of(site: Site, *, through: bool) -> Ring:
    """Return the ring of a place.

    Args:
        site: opening and driver.
        through: whether the driver's screws go on through the ring into the old holes.

    Raises: UndrawnError where a hole would lie too near to an edge or off the flat steel.
    """
    if through:
        return _ring(site, site.holes, (), passing=site.screw + PASSING)
    clear = EDGE_DIAMETERS * site.old_screw
    in_ring = site.edge_diameters * site.old_screw
    if from_edges(site.old_holes, (site.needs,)) >= in_ring - HAIR:
        try:
            return _ring(site, site.old_holes, _driver_holes(site, site.old_holes))
        except UndrawnError as refused:
            return _on_new_holes(site, clear, because=refused)
    return _on_new_holes(site, clear)


def adapter(site: Site, ring: Ring, *, stack: Stack, cutter: Cutter) -> Drawing:
    """Return the drawing of an adapter ring or spacer; raises UndrawnError where no tool can."""
    word = "adapter ring" if ring.driver else "spacer"
    outer, inner = _cuts(site, ring, cutter, word)
    hold_clear(
        site,
        word,
        edge=outer.edge,
        holes=ring.fixing if ring.new else (),
        diameter=ring.passing,
        instead="a smaller driver, or one that the steel carries without a ring",
    )
    entities = (
        *outer.entities,
        *inner.entities,
        *_hole_entities(site, ring),
        *_flat(site),
        *cross((0.0, 0.0), size=8.0),
        *marks(
            site.view,
            room=reach(ring.inner, angle=0.0),
            up=reach(ring.inner, angle=90.0),
            words=(site.words, f"{word}, {stack.words}"),
        ),
    )
    return Drawing(
        name=f"{site.place.id}-{word.split()[0]}",
        title=f"{site.title}: {word}",
        entities=on_paper(entities, site.view),
        purpose=f"Carries {site.place.driver.name}, {stack.thickness:g} mm thick in all.",
        material=stack.words,
        thickness_mm=stack.thickness,
        cut_from=tuple((layer.material, layer.thickness) for layer in stack.layers),
        area_mm2=ring.area(site),
        kerf=cutter.lines,
        notes=tuple(_notes(site, ring, stack, outer, inner)),
    )


# --- Underneath ---------------------------------------------------------------------------------


def _steel_edges(site: Site) -> tuple[Outline, ...]:
    """Return the edges in the steel that holes keep clear of once the driver is in."""
    cuts = holds(site.opening, site.needs) < -HAIR
    return (site.opening, site.needs) if cuts else (site.opening,)


def _ring(
    site: Site,
    fixing: tuple[Point, ...],
    driver: tuple[Point, ...],
    *,
    new: bool = False,
    passing: float | None = None,
) -> Ring:
    outer = _rim(site, (*fixing, *driver))
    width = site.old_screw + PASSING if passing is None else passing
    return Ring(outer, site.needs, fixing, driver, new, width)


def _on_new_holes(site: Site, clear: float, *, because: UndrawnError | None = None) -> Ring:
    """Return a ring on new holes in the steel.

    Args:
        site: opening and driver.
        clear: how far the new holes keep from every edge [mm].
        because: why the old holes do not do; raised again where new ones do not either.

    """
    try:
        fixing = _new_fixing(site, clear)
        _hold_flat(site, fixing)
        return _ring(site, fixing, _driver_holes(site, fixing), new=True)
    except UndrawnError as refused:
        raise because or refused from None


def _new_fixing(site: Site, clear: float) -> tuple[Point, ...]:
    """Return new holes in the steel, as far from the others as they can be."""
    if site.land is None:
        raise site.refused(
            "adapter",
            f"{site.title}: no adapter is drawn: it needs new holes in the steel, and nobody "
            f"measured how far the flat steel goes.",
            f"Measure location[{site.place.id}].mount.land.",
        )
    others = site.old_holes if site.free else (*site.old_holes, *site.holes)
    found = _clearest_new(site, clear, others)
    near, web = nearest_hole(found, site.old_holes), clear + HOLE_WEB * site.old_screw
    if near < web - HAIR:
        raise site.refused(
            "adapter",
            f"{site.title}: no adapter is drawn: new holes in the steel would lie {near:.1f} mm "
            f"from old ones, {web:g} mm are wanted.",
            f"Take a driver whose basket leaves the old holes {clear:g} mm from the edge, or have "
            "the old ones welded shut.",
        )
    return found


def _clearest_new(site: Site, clear: float, others: Sequence[Point]) -> tuple[Point, ...]:
    """Return the pattern of new holes that keeps furthest from others, of all tried turns."""
    assert site.land is not None
    most = max(hypot(x, y) for x, y in points_on(site.opening)) + site.land
    part = 360.0 / len(site.old_holes)
    tries = [
        on_rays(
            [turn + part * step for step in range(len(site.old_holes))],
            edges=_steel_edges(site),
            clear=clear,
            most=most,
        )
        for turn in (part * share / TURNS for share in range(TURNS))
    ]
    return max(tries, key=lambda points: round(nearest_hole(points, others), 6))


def _driver_holes(site: Site, fixing: Sequence[Point]) -> tuple[Point, ...]:
    """Return the driver's holes, turned clear of the others; raises UndrawnError."""
    near = from_edges(site.holes, (site.needs,))
    if near < site.edge - HAIR:
        raise site.refused(
            "adapter",
            f"{site.title}: the screws of {site.place.driver.name} lie {near:.1f} mm from the edge "
            f"of its opening; {site.edge_diameters:g} diameters of {site.screw:g} mm are wanted.",
            _instead(site, near),
        )
    turned = clearest(site.holes, avoid=fixing, free=site.free)
    web = site.edge + HOLE_WEB * site.old_screw
    if nearest_hole(turned, fixing) < web - HAIR:
        raise site.refused(
            "adapter",
            f"{site.title}: the driver's screws would lie {nearest_hole(turned, fixing):.1f} mm "
            f"from those of the ring, {web:g} mm are wanted.",
            "Screw the driver through the ring into the steel, or use thinner screws.",
        )
    return turned


def _instead(site: Site, near: float) -> str:
    """Say what would do for screws so near to an edge [mm]: thinner ones, or another opening."""
    thin = floored(near / site.edge_diameters)
    if thin < THINNEST:
        return "Screw it through the ring into the steel, or take a driver with a wider flange."
    return (
        f"Screws of {thin:g} mm or thinner keep it: write "
        f"driver[{site.place.driver.id}].frame.screws.diameter."
    )


def _rim(site: Site, holes: Sequence[Point]) -> Outline:
    """Return the rim: the flange grown until it holds every hole, and covers the opening.

    Outward there is room, so that a screw keeps as far from the rim as it does in steel.
    """
    clear = EDGE_DIAMETERS * site.screw
    wanted = [
        0.0,
        max(outside(site.flange, points_on(site.opening))) + MM * SEAT_WANTED,
        max(outside(site.flange, points_on(site.needs))) + MM * SEAT_WANTED,
        *(away + clear for away in outside(site.flange, holes)),
    ]
    more = ceil(max(wanted) / WHOLE - HAIR) * WHOLE
    return grown(site.flange, by=more) if more else site.flange


def _hold_flat(site: Site, fixing: Sequence[Point]) -> None:
    """Raise UndrawnError where a new hole in the steel would not lie on flat steel."""
    assert site.land is not None
    room = site.land - max(outside(site.opening, fixing))
    if room < HOLE_WEB * site.old_screw - HAIR:
        short = HOLE_WEB * site.old_screw - room
        raise site.refused(
            "adapter",
            f"{site.title}: no adapter is drawn: the flat steel is {site.land:g} mm wide, and its "
            f"screws would lie {site.land - room:.1f} mm from the opening; "
            f"{ceil(10 * short - HAIR) / 10:g} mm are missing.",
            f"Take a driver whose basket needs an opening {ceil(20 * short - HAIR) / 10:g} mm "
            "smaller.",
        )


def _cuts(site: Site, ring: Ring, cutter: Cutter, word: str) -> tuple[Cut, Cut]:
    try:
        return (
            cut(ring.outer, with_=cutter, waste="outside"),
            cut(ring.inner, with_=cutter, waste="inside"),
        )
    except CannotCutError as error:
        sentence = f"{site.title}: the {word} is not drawn: {error.sentence}"
        raise site.refused("adapter", sentence, error.nearest) from error


def _hole_entities(site: Site, ring: Ring) -> list[Entity]:
    return [
        *(each for at in ring.fixing for each in hole(at, diameter=ring.passing)),
        *(each for at in ring.driver for each in hole(at, diameter=site.pilot)),
    ]


def _flat(site: Site) -> tuple[Entity, ...]:
    """Return the end of the flat steel in grey, where it was measured."""
    if site.land is None:
        return ()
    return drawn(grown(site.opening, by=site.land), "mark")


def _notes(site: Site, ring: Ring, stack: Stack, outer: Cut, inner: Cut) -> list[str]:
    glued = ", all alike, and glue them on each other." if len(stack.layers) > 1 else "."
    notes = [f"{stack.order}{glued}", f"Rim: {outer.note}", f"Opening: {inner.note}"]
    if ring.driver:
        notes.append(
            f"{len(ring.fixing)} holes of {ring.passing:g} mm, countersunk, hold the "
            f"ring to the steel ({'new holes' if ring.new else 'the old holes'}); "
            f"{len(ring.driver)} pilot holes of {site.pilot:g} mm are for the driver."
        )
    else:
        notes.append("The driver's screws pass through the ring into the old holes.")
    if site.land is not None and (over := _over_flat(site, ring)) > HAIR:
        notes.append(
            f"The rim reaches up to {over:.1f} mm past the flat steel (grey line): hold the ring "
            "up before drilling; where the panel rises there, it does not lie flat."
        )
    return [*notes, DUST, *site.assumed]


def _over_flat(site: Site, ring: Ring) -> float:
    assert site.land is not None
    return max(outside(site.opening, points_on(ring.outer))) - site.land
