"""The board that an open loudspeaker sits in: its edge, the opening, the screws."""

from __future__ import annotations

from conewright.job.builds.states.location import LocationState, OpenState
from conewright.papers.drawing.facing import marks, on_paper, view_of
from conewright.papers.drawing.geometry import MM, Drawing, cross
from conewright.papers.drawing.kerf import CannotCutError, Cutter, cut
from conewright.papers.drawing.outlines import Cornered, holds, reach
from conewright.papers.drawing.patterns import hole
from conewright.papers.templates.sites import frame_holes, outlines_of_frame
from conewright.papers.templates.undrawn import Undrawn, UndrawnError
from conewright.phrases import capital
from conewright.stages.fit.margins import SCREW

__all__ = ["board_drawing"]

RIM = 15.0
"""Board left beyond the flange on every side [mm]; common practice, no source."""


def board_drawing(place: LocationState, *, cutter: Cutter) -> Drawing:
    """Return the drawing of the board of a place of kind `open`.

    Args:
        place: of the build.
        cutter: for board.

    Raises: UndrawnError where the flange does not fit on it, or no tool can cut it.
    """
    assert isinstance(place.back, OpenState)
    assert place.back.sides is not None
    view, title = view_of(place), capital(place.name)
    wide, high = (0.5 * MM * side for side in place.back.sides)
    edge = Cornered(((-wide, -high), (wide, -high), (wide, high), (-wide, high)))
    needs, flange = outlines_of_frame(place, view)
    left = holds(edge, flange)
    if left < RIM:
        raise _refused(
            place,
            f"{title}: no board is drawn: beside the flange of {place.driver.name} there are "
            f"{left:.1f} mm; {RIM:g} mm carry it.",
            "Write a larger baffle_width and baffle_height.",
        )
    try:
        rim = cut(edge, with_=cutter, waste="outside")
        opening = cut(needs, with_=cutter, waste="inside")
    except CannotCutError as error:
        raise _refused(place, f"{title}: {error.sentence}", error.nearest) from error
    screws = frame_holes(place, view)
    side = f"{view.side}: {place.name}" if view.side else place.name
    entities = (
        *rim.entities,
        *opening.entities,
        *(each for at in screws for each in hole(at, diameter=MM * SCREW)),
        *cross((0.0, 0.0), size=10.0),
        *marks(
            view,
            room=reach(needs, angle=0.0),
            up=reach(needs, angle=90.0),
            words=(side, "board, open behind"),
        ),
    )
    return Drawing(
        name=f"{place.id}-board",
        title=f"{title}: board",
        entities=on_paper(entities, view),
        purpose=f"Carries {place.driver.name}; open behind.",
        notes=(
            rim.note,
            "Nothing may close its back; it is screwed where it does not rattle.",
            *(() if screws else ("Screws: by the holes of the flange, which nobody measured.",)),
        ),
    )


def _refused(place: LocationState, sentence: str, nearest: str) -> UndrawnError:
    return UndrawnError(Undrawn(place.id, "board", sentence, nearest))
