"""From the shapes of a job to those of a build: corners, and where screws are."""

from collections.abc import Sequence

from conewright.job.document import Screws
from conewright.job.fills import Filler
from conewright.job.spots import Spot
from conewright.job.state import Corners, ScrewHoles

__all__ = ["metres_of", "screw_holes"]


def metres_of(spots: Sequence[Spot] | None) -> Corners:
    """Return places as pairs of metres, none where none are written."""
    return tuple(spot.metres for spot in spots or ())


def screw_holes(path: str, screws: Screws, filler: Filler) -> ScrewHoles:
    """Return what is known of screws besides their number and their circle."""
    return ScrewHoles(
        angle=None if screws.angle is None else screws.angle.value,
        places=metres_of(screws.places),
        diameter=filler.optional(f"{path}.diameter", screws.diameter),
    )
