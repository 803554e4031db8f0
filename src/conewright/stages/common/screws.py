"""Whether a driver's screws lie on those of its mount."""

from __future__ import annotations

from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value

__all__ = ["is_measured", "screws_agree"]

SCREW_CIRCLES_AGREE = 1e-3
"""Two screw circles are the same within this [m]; common practice, no source."""


def screws_agree(place: LocationState) -> bool | None:
    """Whether the frame's screw holes lie on those of the mount; None where either is unknown."""
    mount, frame = place.mount, place.driver.frame
    if mount.screw_circle is None or frame.screw_circle is None:
        return None
    if mount.screw_count is None or frame.screw_count is None:
        return None
    if not is_measured(frame.screw_circle):
        return None
    apart = abs(mount.screw_circle.si - frame.screw_circle.si)
    return mount.screw_count == frame.screw_count and apart <= SCREW_CIRCLES_AGREE * (1 + 1e-9)


def is_measured(value: Value | None) -> bool:
    """Whether somebody gave this value; a typical one that fills a gap is no measurement."""
    return value is not None and value.origin is not Origin.TYPICAL
