"""The soft ring that seals a driver's front to the trim's grille."""

from __future__ import annotations

from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin
from conewright.papers.drawing.facing import marks, on_paper, view_of
from conewright.papers.drawing.geometry import MM, Drawing, cross
from conewright.papers.drawing.kerf import CannotCutError, Cutter, cut
from conewright.papers.drawing.outlines import area, holds, length, reach
from conewright.papers.templates.sites import outlines_of_frame
from conewright.papers.templates.undrawn import Undrawn, UndrawnError
from conewright.phrases import capital
from conewright.stages.outlay.stock import (
    FLANGE,
    PRESSED,
    Stack,
    Stock,
    made_of,
    soft_stacks,
)

__all__ = ["soft_ring"]

NARROWEST = 5.0
"""A soft ring narrower than this tears [mm]; common practice, no source."""


def soft_ring(
    place: LocationState, *, spacer_mm: float, sheets: tuple[Stock, ...], cutter: Cutter
) -> Drawing:
    """Return the drawing of the soft ring of a place.

    Args:
        place: of the build.
        spacer_mm: what lies under the driver [mm].
        sheets: at hand.
        cutter: for foam.

    Raises: UndrawnError where it cannot be made.
    """
    view = view_of(place)
    inner, outer = outlines_of_frame(place, view)
    title = capital(place.name)
    width = holds(outer, inner)
    if width < NARROWEST:
        raise _refused(
            place,
            f"{title}: between the basket and the rim of {place.driver.name} there are "
            f"{width:.1f} mm; a soft ring wants {NARROWEST:g} mm.",
            "Lay a strip of foam on the back of the trim, around the grille.",
        )
    stack, gap = _stack(place, title, spacer_mm, sheets)
    try:
        rim = cut(outer, with_=cutter, waste="outside")
        hole = cut(inner, with_=cutter, waste="inside")
    except CannotCutError as error:
        raise _refused(place, f"{title}: {error.sentence}", error.nearest) from error
    room, up = (reach(inner, angle=angle) for angle in (0.0, 90.0))
    side = f"{view.side}: {place.name}" if view.side else place.name
    words = (side, f"sealing ring, {stack.words}")
    entities = (
        *rim.entities,
        *hole.entities,
        *cross((0.0, 0.0), size=8.0),
        *marks(view, room=room, up=up, words=words),
    )
    return Drawing(
        name=f"{place.id}-sealing-ring",
        title=f"{title}: sealing ring",
        entities=on_paper(entities, view),
        purpose="Seals the front of the driver to the grille of the trim.",
        material=stack.words,
        thickness_mm=stack.thickness,
        cut_from=tuple((layer.material, layer.thickness) for layer in stack.layers),
        area_mm2=area(outer) - area(inner),
        length_mm=(length(outer) + length(inner)) / 2,
        kerf=cutter.lines,
        notes=_notes(place, stack, gap, rim.note),
    )


# --- Underneath ---------------------------------------------------------------------------------


def _refused(place: LocationState, sentence: str, nearest: str) -> UndrawnError:
    return UndrawnError(Undrawn(place.id, "sealing ring", sentence, nearest))


def _stack(
    place: LocationState, title: str, spacer_mm: float, sheets: tuple[Stock, ...]
) -> tuple[Stack, float]:
    """Return the sheets of the ring, and the gap they fill [mm]."""
    trim_gap = place.mount.trim_gap
    if trim_gap is None:
        raise _refused(
            place,
            f"{title}: no sealing ring is drawn: nobody measured the gap to the trim.",
            f"Measure location[{place.id}].mount.trim_gap.",
        )
    gap = MM * trim_gap.si - spacer_mm - FLANGE
    soft = [sheet for sheet in sheets if made_of(sheet.material).ring]
    least, most = (gap * share for share in PRESSED)
    found = soft_stacks(sheets, gap=gap)
    if not found:
        listed = ", ".join(f"{sheet.thickness:g}" for sheet in soft) or "no"
        raise _refused(
            place,
            f"{title}: no sealing ring is drawn: the gap is {gap:.1f} mm, which wants "
            f"{max(least, 0.0):.1f} to {max(most, 0.0):.1f} mm of foam, and {listed} mm sheets do "
            "not stack to that.",
            f"Get foam of {max(1.5 * gap, 3.0):.0f} mm.",
        )
    return found[0], gap


def _notes(place: LocationState, stack: Stack, gap: float, rim: str) -> tuple[str, ...]:
    notes = [
        f"{stack.order}; pressed to {gap:.1f} mm it seals.",
        rim,
        "Glue it to the front of the flange, clear of the cone's surround, before the trim goes "
        "on. Leave every drain open.",
    ]
    frame = place.driver.frame
    if Origin.TYPICAL in (frame.outer.origin, frame.cutout.origin):
        notes.append(
            f"Drawn for the typical flange of its size: lay the paper on {place.driver.name} "
            "before cutting."
        )
    assert place.mount.trim_gap is not None
    if place.mount.trim_gap.origin is Origin.TYPICAL:
        notes.append("The gap to the trim is a typical one: measure it before cutting.")
    return tuple(notes)
