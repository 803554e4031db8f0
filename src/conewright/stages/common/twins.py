"""Mirrored places: the same kind of place on the other side of the vehicle."""

from __future__ import annotations

from conewright.job.builds.state import Build, LocationState

__all__ = ["mirrored", "opposed_twins"]

NEAR = 0.05
"""Places this close to each other's mirror image are twins [m]."""


def opposed_twins(build: Build) -> tuple[tuple[str, str], ...]:
    """Return the pairs of mirrored places whose drivers are connected opposite ways round.

    The one that is connected reversed stands second.
    """
    signs = {name: sign for channel in build.channels for name, sign in channel.polarity}
    pairs = []
    for k, one in enumerate(build.locations):
        for other in build.locations[k + 1 :]:
            if mirrored(one, other) and signs.get(one.id, 0) * signs.get(other.id, 0) < 0:
                pair = (one.id, other.id)
                pairs.append(pair if signs[one.id] > 0 else pair[::-1])
    return tuple(pairs)


def mirrored(one: LocationState, other: LocationState) -> bool:
    """Whether two places are the same kind of place on opposite sides of the vehicle."""
    (x1, y1, z1), (x2, y2, z2) = (tuple(c.si for c in place.at) for place in (one, other))
    return (
        one.kind == other.kind
        and y1 * y2 < 0
        and max(abs(x1 - x2), abs(y1 + y2), abs(z1 - z2)) < NEAR
    )
