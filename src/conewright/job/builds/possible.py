"""What cannot be, seen only once every gap of a build is filled: said with its path in the job."""

from collections.abc import Iterator, Sequence

from conewright.errors import Problem
from conewright.job.builds.resolve_electrics import USUAL_SYSTEM
from conewright.job.builds.resolve_location import LOADED
from conewright.job.builds.states.drivers import DriverState
from conewright.job.builds.states.electrics import FeedState
from conewright.job.builds.states.location import LocationState, SeatState
from conewright.job.builds.states.value import Value
from conewright.job.builds.typical import typical
from conewright.job.document.document import Document, Vehicle
from conewright.job.quantity.values import Quantity, format_quantity
from conewright.physics.acoustics.box import NEAREST
from conewright.physics.drivers.driver import acoustic_mass_free
from conewright.physics.drivers.trust import SHEET_AIR

__all__ = ["impossibilities"]

BEHIND_TRIM = 0.1
"""So far behind the trim a cone may still be, or a tape be wrong [m]."""

DISAGREEMENT = 0.15
"""Share by which a volume may differ from length x width x height: what seats and dash take."""


def impossibilities(
    job: Document,
    locations: Sequence[LocationState],
    seats: Sequence[SeatState],
    feeds: Sequence[FeedState],
) -> list[Problem]:
    """Return what the physics would refuse of a build, at its central values."""
    return [
        *_cones(locations),
        *_volumes(job.vehicle),
        *_low(job),
        *_outside(job),
        *_ears(locations, seats),
        *_supplies(feeds),
        *_converter(job),
    ]


def _volumes(vehicle: Vehicle) -> Iterator[Problem]:
    """Yield a volume that is not that of the edges that are given with it."""
    length, width, height = vehicle.cabin_length, vehicle.cabin_width, vehicle.cabin_height
    volume = vehicle.cabin_volume
    if volume is None or length is None or width is None or height is None:
        return
    product = length.value * width.value * height.value
    if abs(volume.value / product - 1.0) > DISAGREEMENT:
        yield Problem(
            "vehicle.cabin_volume",
            format_quantity(volume),
            f"length x width x height is {product:.3g} m3, and a volume is within "
            f"{100 * DISAGREEMENT:.0f} % of that; where the cabin is no box, give each edge as it "
            "is in the mean",
        )


def _low(job: Document) -> Iterator[Problem]:
    """Yield a cabin that is lower than its seats."""
    height = job.vehicle.cabin_height
    if height is None or not job.seats:
        return
    highest = max(job.seats, key=lambda seat: seat.ear[2].value)
    up = highest.ear[2]
    if up.value > _most(height):
        yield Problem(
            "vehicle.cabin_height",
            format_quantity(height),
            f"the ear of {highest.id} is {format_quantity(up)} above the floor",
        )


def _outside(job: Document) -> Iterator[Problem]:
    """Yield what lies beyond the edges that are given; a seat too high is another problem."""
    vehicle = job.vehicle
    places = [(f"seat[{seat.id}].ear", seat.ear, 0.0) for seat in job.seats]
    places += [(f"location[{each.id}].at", each.at, BEHIND_TRIM) for each in job.locations]
    for path, at, behind in places:
        for axis, edge, words in (
            (0, vehicle.cabin_length, "half the cabin's length"),
            (1, vehicle.cabin_width, "half the cabin's width"),
            (2, vehicle.cabin_height, "the cabin's height"),
        ):
            if edge is None or (axis == 2 and path.startswith("seat")):
                continue
            share, along = (1.0, at[axis].value) if axis == 2 else (0.5, abs(at[axis].value))
            if along > share * _most(edge) + behind:
                yield Problem(
                    path,
                    ", ".join(format_quantity(each) for each in at),
                    f"{format_quantity(at[axis])} lies outside of the cabin: {words} is "
                    f"{share * edge.value:.3g} m",
                )


def _most(edge: Quantity) -> float:
    """Return the most an edge may be [m], by the spread it is given with."""
    return edge.value if edge.high is None else edge.high


def _cones(locations: Sequence[LocationState]) -> Iterator[Problem]:
    """Yield the drivers that weigh no more than the air that moves with their cone."""
    drivers = {place.driver.id: place.driver for place in locations if place.kind in LOADED}
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


def _converter(job: Document) -> Iterator[Problem]:
    """Yield a converter whose output is on the wrong side of what the vehicle gives it."""
    found, system = job.converter, job.vehicle.system or USUAL_SYSTEM
    if found.output is None or found.kind in ("none", "isolated"):
        return
    charging = typical("system", system, "charging_voltage").quantity
    rest = typical("system", system, "rest_voltage").quantity
    assert charging.high is not None
    if found.kind == "step-up" and found.output.value < rest.value:
        allowed = f"a step-up converter gives more than the {system} that it takes"
    elif found.kind != "step-up" and found.output.value > charging.high:
        allowed = (
            f"a step-down converter gives less than it takes, here {system}: "
            'kind = "step-up" or "isolated" gives more, and vehicle.system says what it takes'
        )
    else:
        return
    yield Problem("converter.output", format_quantity(found.output), allowed)


def _masses(driver: DriverState) -> tuple[float, float]:
    """Return a driver's moving mass and that of the air on its cone [kg]."""
    whole = driver.figures()
    return whole["mms"], float(acoustic_mass_free(air=SHEET_AIR, sd=whole["sd"]))


def _ears(locations: Sequence[LocationState], seats: Sequence[SeatState]) -> Iterator[Problem]:
    for seat in seats:
        for place in locations:
            if _distance(seat.ear, place.at) < NEAREST:
                found = ", ".join(format_quantity(value.quantity) for value in seat.ear)
                yield Problem(
                    f"seat[{seat.id}].ear",
                    found,
                    f"that is where {place.id} is; an ear and a cone are at least "
                    f"{1e2 * NEAREST:.0f} cm apart",
                )


def _distance(one: Sequence[Value], other: Sequence[Value]) -> float:
    return float(sum((a.si - b.si) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5)
