"""Patches for the openings of an inner panel: drain, sensor and whatever else moves kept clear."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import dist

from conewright.job.builds.states.location import CavityState, LocationState
from conewright.job.quantity.spots import PanelHole
from conewright.papers.drawing.facing import View, marks, on_paper, view_of
from conewright.papers.drawing.geometry import (
    HAIR,
    MM,
    Circle,
    Drawing,
    Entity,
    Label,
    Point,
    cross,
    moved,
)
from conewright.papers.drawing.kerf import CannotCutError, Cutter, cut
from conewright.papers.drawing.outlines import Outline, Round, Slab, area, drawn, length, reach
from conewright.papers.templates.clearance import AROUND, Zone, loudspeaker, zones
from conewright.papers.templates.undrawn import Undrawn, UndrawnError
from conewright.phrases import capital
from conewright.stages.outlay.stock import OVERLAP, Stock, made_of, patch_stock

__all__ = ["Patch", "patch_drawing", "patch_of", "patch_sheet", "patches_apart"]

LEAST_OVERLAP = 8.0
"""Where something beside it must stay clear, at least so far [mm]; common practice, no source."""

CORNER = 10.0
"""Round corners of a patch, which do not peel [mm]; common practice, no source."""

LETTERS = 2.4
"""Height of the name of what must stay clear [mm]."""

SHOWN = 40.0
"""What must stay clear is drawn where it is as near as this to a patch [mm]."""

LARGEST = 1000.0
"""No opening that is larger is patched: it is a slip of the unit [mm]."""


@dataclass(frozen=True, slots=True)
class Patch:
    """A patch before it is drawn.

    Attributes:
        number: of the opening, from 1.
        outline: of the patch, around its own middle.
        middle: of the patch, from the middle of the driver's opening [mm].
        opening: what it closes, around the opening's own middle.
        opening_at: middle of that [mm].
        least: overlap where it is narrowest [mm].

    """

    number: int
    outline: Outline
    middle: Point
    opening: Outline
    opening_at: Point
    least: float


def patch_of(place: LocationState, number: int, *, rim: float = 0.0) -> Patch:
    """Return the patch of one opening of a place, counted from 1.

    Args:
        place: as it is to be.
        number: of the opening.
        rim: how far a ring under the driver reaches from its middle [mm].

    Raises: UndrawnError where something that must stay clear, or the driver, is too near.
    """
    cavity, view = _cavity(place), view_of(place)
    clear = (loudspeaker(place, view, rim=rim), *zones(place, view))
    opening = cavity.openings[number - 1]
    if MM * max(opening.along.value, opening.high.value) > LARGEST:
        raise UndrawnError(
            Undrawn(
                place.id,
                "patch",
                f"{capital(place.name)}: opening {number} is larger than the {LARGEST:g} mm that "
                "are drawn.",
                "Look at its unit.",
            )
        )
    if opening.round:
        return _round_patch(place, number, opening, view, clear)
    return _square_patch(place, number, opening, view, clear)


def patches_apart(place: LocationState, patches: Iterable[Patch]) -> None:
    """Raise UndrawnError for two patches that lie on each other."""
    known: list[Patch] = []
    for patch in patches:
        for other in known:
            if _overlap(patch, other):
                raise UndrawnError(
                    Undrawn(
                        place.id,
                        "patch",
                        f"{capital(place.name)}: the patches of openings {other.number} and "
                        f"{patch.number} would lie on each other.",
                        "Write both as one opening, with the web between them in it.",
                    )
                )
        known.append(patch)


def patch_sheet(place: LocationState, sheets: tuple[Stock, ...]) -> Stock:
    """Return the thinnest sheet that is heavy enough for a patch; raises UndrawnError."""
    cavity = _cavity(place)
    wanted = cavity.cover_mass.si if cavity.cover_mass is not None else 0.0
    found = patch_stock(sheets, wanted=wanted)
    if found is not None:
        return found
    usable = [sheet for sheet in sheets if made_of(sheet.material).patch]
    heaviest = max(usable, key=lambda each: each.mass).words if usable else "none"
    raise UndrawnError(
        Undrawn(
            place.id,
            "patch",
            f"{capital(place.name)}: no sheet at hand has the {wanted:g} kg/m² that the plan "
            f"reckons with; the heaviest is {heaviest}.",
            f"Steel of {MM * wanted / made_of('steel').density:.1f} mm has it.",
        )
    )


def patch_drawing(place: LocationState, patch: Patch, *, sheet: Stock, cutter: Cutter) -> Drawing:
    """Return the drawing of a patch; raises UndrawnError where the tool cannot cut it."""
    view = view_of(place)
    try:
        rim = cut(patch.outline, with_=cutter, waste="outside")
    except CannotCutError as error:
        sentence = f"{capital(place.name)}: patch {patch.number} is not drawn: {error.sentence}"
        raise UndrawnError(Undrawn(place.id, "patch", sentence, error.nearest)) from error
    away = (patch.opening_at[0] - patch.middle[0], patch.opening_at[1] - patch.middle[1])
    entities = (
        *rim.entities,
        *moved(drawn(patch.opening, "mark"), by=away),
        *moved(_clear_marks(place, patch, view), by=(-patch.middle[0], -patch.middle[1])),
        *cross((0.0, 0.0), size=6.0),
        *marks(
            view,
            room=reach(patch.outline, angle=0.0) - OVERLAP,
            up=reach(patch.outline, angle=90.0) - OVERLAP,
            words=(_words(place, view), f"patch {patch.number}, {sheet.words}"),
        ),
    )
    return Drawing(
        name=f"{place.id}-patch-{patch.number}",
        title=f"{capital(place.name)}: patch {patch.number}",
        entities=on_paper(entities, view),
        purpose="Closes an opening of the inner panel; bonded, and heavy enough.",
        material=sheet.words,
        thickness_mm=sheet.thickness,
        cut_from=((sheet.material, sheet.thickness),),
        area_mm2=area(patch.outline),
        length_mm=length(patch.outline),
        kerf=cutter.lines,
        notes=tuple(_notes(place, patch, sheet, rim.note)),
    )


# --- Underneath ---------------------------------------------------------------------------------


def _cavity(place: LocationState) -> CavityState:
    assert place.cavity is not None
    return place.cavity


def _words(place: LocationState, view: View) -> str:
    return f"{view.side}: {place.name}" if view.side else place.name


def _too_near(place: LocationState, number: int, zone: Zone, room: float) -> UndrawnError:
    why = "is too near to it."
    if room > 0.0:
        why = f"beside it leaves {room:.1f} mm to bond on, {LEAST_OVERLAP:g} mm are wanted."
    sentence = f"{capital(place.name)}: opening {number} gets no patch: the {zone.what} {why}"
    return UndrawnError(
        Undrawn(place.id, "patch", sentence, "Leave that opening open, or close it in two parts.")
    )


def _round_patch(
    place: LocationState, number: int, opening: PanelHole, view: View, clear: Iterable[Zone]
) -> Patch:
    middle, radius, overlap = view.point(opening.at.metres), MM * opening.along.value / 2, OVERLAP
    for zone in clear:
        room = dist(zone.middle, middle) - radius - zone.radius
        if room < LEAST_OVERLAP - HAIR:
            raise _too_near(place, number, zone, room)
        overlap = min(overlap, room)
    return Patch(number, Round(radius + overlap), middle, Round(radius), middle, overlap)


def _square_patch(
    place: LocationState, number: int, opening: PanelHole, view: View, clear: Iterable[Zone]
) -> Patch:
    """Return a patch that is drawn back on the sides where something must stay clear."""
    x, y = view.point(opening.at.metres)
    along, high = MM * opening.along.value / 2, MM * opening.high.value / 2
    a, b = (high, along) if view.lying else (along, high)
    left = right = low = up = OVERLAP
    for zone in clear:
        kx, ky = zone.middle
        dx, dy = abs(kx - x) - a - zone.radius, abs(ky - y) - b - zone.radius
        if max(dx, dy) >= OVERLAP:
            continue
        if max(dx, dy) < LEAST_OVERLAP - HAIR:
            raise _too_near(place, number, zone, max(dx, dy))
        if dx >= dy:
            left, right = (min(left, dx), right) if kx < x else (left, min(right, dx))
        else:
            low, up = (min(low, dy), up) if ky < y else (low, min(up, dy))
    middle = (x + (right - left) / 2, y + (up - low) / 2)
    half = (a + (left + right) / 2, b + (low + up) / 2)
    least = min(left, right, low, up)
    return Patch(number, Slab(half, CORNER), middle, Slab((a, b), 0.0), (x, y), least)


def _overlap(one: Patch, other: Patch) -> bool:
    """Whether two patches, by the rectangles around them, lie on each other."""
    sides = (
        (reach(one.outline, angle=angle) + reach(other.outline, angle=angle), axis)
        for axis, angle in enumerate((0.0, 90.0))
    )
    return all(abs(one.middle[axis] - other.middle[axis]) < both for both, axis in sides)


def _clear_marks(place: LocationState, patch: Patch, view: View) -> Iterator[Entity]:
    """Yield what must stay clear near a patch, as it lies around the driver's opening."""
    far = max(reach(patch.outline, angle=angle) for angle in (0.0, 90.0)) + SHOWN
    for zone in zones(place, view):
        (x, y), radius = zone.middle, zone.radius - AROUND
        if dist(zone.middle, patch.middle) - zone.radius <= far:
            yield Circle("mark", (x, y), radius)
            # On the side away from the patch, whose edge may be near.
            above = y > patch.middle[1]
            foot = y + radius + 1.5 if above else y - radius - 1.5 - LETTERS
            yield Label((x, foot), zone.what, LETTERS)


def _notes(place: LocationState, patch: Patch, sheet: Stock, rim: str) -> Iterator[str]:
    mass = area(patch.outline) * 1e-6 * sheet.mass
    yield f"Cut one from {sheet.words}: {area(patch.outline) / 100:.0f} cm², {mass:.2f} kg."
    yield rim
    yield (
        f"Bonded all round, {patch.least:.0f} mm at least over the edge of the opening (grey). "
        "Degrease, bond with body sealant, no screws near wiring."
    )
    kept = {each.what for each in _cavity(place).keep_clear}
    if kept:
        yield f"Stays clear: {', '.join(sorted(kept))}, {AROUND:g} mm around each."
    else:
        yield "Nothing to keep clear is written: look for drains, sensor, bolts and rods first."
