"""What cannot be, seen only once every gap of a build is filled: said with its path in the job."""

from collections.abc import Iterator, Sequence

from conewright.errors import Problem
from conewright.job.builds.resolve_location import ENCLOSED
from conewright.job.builds.state import (
    DriverState,
    FeedState,
    LocationState,
    SeatState,
    Value,
)
from conewright.job.quantity.values import format_quantity
from conewright.physics.drivers.driver import acoustic_mass_free
from conewright.physics.drivers.trust import SHEET_AIR

__all__ = ["NEAREST_EAR", "impossibilities"]

NEAREST_EAR = 0.1
"""No ear comes nearer to the middle of a cone than this [m]; the sound of a point holds from
there on, by rule of thumb."""


def impossibilities(
    locations: Sequence[LocationState],
    seats: Sequence[SeatState],
    feeds: Sequence[FeedState],
) -> list[Problem]:
    """Return what the physics would refuse of a build, at its central values."""
    return [*_cones(locations), *_ears(locations, seats), *_supplies(feeds)]


def _cones(locations: Sequence[LocationState]) -> Iterator[Problem]:
    """Yield the drivers that weigh no more than the air that moves with their cone."""
    drivers = {place.driver.id: place.driver for place in locations if place.kind in ENCLOSED}
    for driver in drivers.values():
        mass, air = _masses(driver)
        if mass <= air:
            found = f"a moving mass of {1e3 * mass:.3g} g"
            yield Problem(
                f"driver[{driver.id}].mms",
                found,
                f"the air that moves with a cone of that area alone weighs {1e3 * air:.3g} g: "
                "mms or sd is wrong, or what they follow from",
            )


def _supplies(feeds: Sequence[FeedState]) -> Iterator[Problem]:
    """Yield the fuses beyond the end of their cable."""
    for feed in feeds:
        along, length = feed.fuse_distance, feed.length
        if along is not None and length is not None and along.si > length.si:
            yield Problem(
                f"feed[{feed.id}].fuse_distance",
                format_quantity(along.quantity),
                f"the fuse sits on its cable, which is {format_quantity(length.quantity)} long",
            )


def _masses(driver: DriverState) -> tuple[float, float]:
    """Return a driver's moving mass and that of the air on its cone [kg]."""
    whole = driver.figures()
    return whole["mms"], float(acoustic_mass_free(air=SHEET_AIR, sd=whole["sd"]))


def _ears(locations: Sequence[LocationState], seats: Sequence[SeatState]) -> Iterator[Problem]:
    for seat in seats:
        for place in locations:
            if _distance(seat.ear, place.at) < NEAREST_EAR:
                found = ", ".join(format_quantity(value.quantity) for value in seat.ear)
                yield Problem(
                    f"seat[{seat.id}].ear",
                    found,
                    f"that is where {place.id} is; an ear and a cone are at least "
                    f"{1e2 * NEAREST_EAR:.0f} cm apart",
                )


def _distance(one: Sequence[Value], other: Sequence[Value]) -> float:
    return float(sum((a.si - b.si) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5)
