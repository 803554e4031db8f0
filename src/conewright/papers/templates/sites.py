"""One place of a build in millimetres: its opening, its holes, and the driver that is to go in.

Everything is as on the paper for the left of the vehicle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import cos, floor, sin, tau

from conewright.job.builds.states.drivers import DriverState, FrameState, ScrewHoles
from conewright.job.builds.states.location import LocationState, MountState
from conewright.job.builds.states.value import Corners, Origin, Value
from conewright.job.quantity.size import parse_size
from conewright.papers.drawing.facing import View, view_of
from conewright.papers.drawing.geometry import MM, Point
from conewright.papers.drawing.outlines import Cornered, Outline, Oval, Round, fit, holds, outside
from conewright.papers.templates.undrawn import Undrawn, UndrawnError
from conewright.phrases import capital
from conewright.stages.fit.margins import EDGE_DIAMETERS, SCREW

__all__ = [
    "Site",
    "floored",
    "frame_holes",
    "opening_of",
    "outlines_of_frame",
    "site_of",
]

PILOT = 0.75
"""Pilot hole over diameter of the screw; common practice, no source."""

THINNER = (3.5, 2.9)
"""Diameters of thinner screws, that are taken where none are written [mm]: ST3.5 and ST2.9 of
ISO 1478."""

RECKONED = "Screws of"

FIRST_HOLE = {3: 90.0, 4: 45.0}
"""Direction of the first screw where none is written [deg]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Site:
    """A place and its driver.

    Attributes:
        place: of the build.
        view: how it lies on paper.
        opening: edge of the opening as it is.
        land: flat steel around it [mm]; None where it was not measured.
        old_holes: middles of the screw holes as they are, none where they are not known.
        old_screw: diameter of their screws [mm].
        needs: the opening that the basket needs.
        flange: edge of the driver's flange.
        holes: middles of the flange's holes, none where they are not known.
        free: whether the driver may be turned as one likes.
        screw: diameter of the driver's screws [mm].
        assumed: what is drawn by convention, in words.
        edge_diameters: from the middle of a screw of the driver to an edge of what it holds in, in
            diameters of the screw; of steel unless said otherwise.
        drawn_screw: whether nobody wrote the diameter of the driver's screws down.

    """

    place: LocationState
    view: View
    opening: Outline
    land: float | None
    old_holes: tuple[Point, ...]
    old_screw: float
    needs: Outline
    flange: Outline
    holes: tuple[Point, ...]
    free: bool
    screw: float
    assumed: tuple[str, ...]
    edge_diameters: float = EDGE_DIAMETERS
    drawn_screw: bool = False

    @property
    def pilot(self) -> float:
        """Diameter of the pilot hole of a driver's screw, as drills come [mm]."""
        return round(PILOT * self.screw, 1)

    @property
    def screws(self) -> tuple[Site, ...]:
        """The place with each screw that may be taken: what is written, else the usual one first
        and then thinner ones.
        """
        thinner = (size for size in THINNER if size < self.screw and self.drawn_screw)
        return (self, *(self._with_screw(size) for size in thinner))

    def in_(self, *, edge_diameters: float) -> Site:
        """Return the place for screws that hold in another material than steel."""
        return replace(self, edge_diameters=edge_diameters)

    def _with_screw(self, size: float) -> Site:
        said = tuple(text for text in self.assumed if not text.startswith(RECKONED))
        thin = (
            f"{RECKONED} {size:g} mm are reckoned with: none are written at the driver, and "
            "thicker ones would come too near to an edge."
        )
        return replace(self, screw=size, assumed=(*said, thin))

    @property
    def edge(self) -> float:
        """Distance a screw of the driver keeps from an edge [mm]."""
        return self.edge_diameters * self.screw

    @property
    def title(self) -> str:
        """What the place is called, beginning with a capital letter."""
        return capital(self.place.name)

    @property
    def words(self) -> str:
        """Side and name, as they stand on the part."""
        return f"{self.view.side}: {self.place.name}" if self.view.side else self.place.name

    def refused(self, part: str, sentence: str, nearest: str) -> UndrawnError:
        """Return the error that says what of this place cannot be made."""
        return UndrawnError(Undrawn(self.place.id, part, sentence, nearest))


def site_of(place: LocationState, *, found: MountState | None = None) -> Site:
    """Return a place in millimetres.

    Args:
        place: as it is to be.
        found: the mount as it was found, where the plan changes it; an opening that is planned
            larger than the basket needs is cut as planned.

    Raises: UndrawnError where a dimension is missing.
    """
    planned = place
    place = replace(place, mount=found or place.mount)
    view, driver = view_of(place), place.driver
    _hold_known(place)
    opening, (needs, flange) = opening_of(place, view), outlines_of_frame(place, view)
    wanted = opening_of(planned, view)
    if wanted != opening and holds(wanted, needs) >= 0.0:
        needs = wanted
    mount, frame = place.mount, driver.frame
    old = _holes(mount.screw_count, mount.screw_circle, mount.holes, view)
    new = _holes(frame.screw_count, frame.screw_circle, frame.holes, view, turn=mount.turn)
    return Site(
        place=planned,
        view=view,
        opening=opening,
        land=None if mount.land is None else MM * mount.land.si,
        old_holes=old,
        old_screw=_mm(mount.holes.diameter, MM * SCREW),
        needs=needs,
        flange=flange,
        holes=new,
        free=isinstance(flange, Round) and isinstance(needs, Round),
        screw=_mm(frame.holes.diameter, MM * SCREW),
        assumed=(*_assumed(place), *_ears(flange, new, _mm(frame.holes.diameter, MM * SCREW))),
        drawn_screw=frame.holes.diameter is None,
    )


def outlines_of_frame(place: LocationState, view: View) -> tuple[Outline, Outline]:
    """Return the opening the basket needs, and the flange, as far as they are known or typical."""
    frame, turn = place.driver.frame, place.mount.turn
    _hold_axes(place)
    needs = _round_or_oval(frame.cutout, frame.cutout_long, view, turn)
    if frame.corners:
        points = _placed(frame.corners, view, turn=turn)
        return needs, _cornered(place, f"driver[{place.driver.id}].frame.corners", points)
    return needs, _round_or_oval(frame.outer, frame.outer_long, view, turn)


def frame_holes(place: LocationState, view: View) -> tuple[Point, ...]:
    """Return the middles of the flange's screw holes, none where they are not known."""
    frame = place.driver.frame
    turn = place.mount.turn
    return _holes(frame.screw_count, frame.screw_circle, frame.holes, view, turn=turn)


def opening_of(place: LocationState, view: View) -> Outline:
    """Return the opening of a place; raises UndrawnError where it is not known."""
    mount = place.mount
    if mount.corners:
        points = _placed(mount.corners, view)
        return _cornered(place, f"location[{place.id}].mount.corners", points)
    if mount.cutout is None:
        field = f"location[{place.id}].mount.cutout"
        raise _missing(place, field, "Measure the opening in the steel and write it down.")
    return _round_or_oval(mount.cutout, mount.cutout_long, view, mount.turn)


def floored(value: float) -> float:
    """Return a length down to a whole tenth, a hair of rounding not counted [mm]."""
    return floor(10 * value + 1e-6) / 10


# --- Underneath ---------------------------------------------------------------------------------


def _mm(value: Value | None, default: float) -> float:
    return default if value is None else MM * value.si


def _missing(place: LocationState, field: str, what: str) -> UndrawnError:
    return _refusal(place, f"{place.name} has no template: {field} is not given.", what)


def _refusal(place: LocationState, sentence: str, nearest: str) -> UndrawnError:
    return UndrawnError(Undrawn(place.id, "template", capital(sentence), nearest))


def _hold_known(place: LocationState) -> None:
    """Raise UndrawnError for a driver of which only typical dimensions are known."""
    driver = place.driver
    path, frame = f"driver[{driver.id}].frame", driver.frame
    typical = [
        f"{path}.{name}"
        for name, value in _outlines(frame).items()
        if value is not None
        and value.origin is Origin.TYPICAL
        and not (name.startswith("outer") and frame.corners)
    ]
    if typical:
        raise _missing(
            place,
            " and ".join(typical),
            f"Measure {driver.name}: nothing is cut to the typical frame of its size.",
        )


def _outlines(frame: FrameState) -> dict[str, Value | None]:
    """Return the axes that a template is drawn from, by their fields."""
    names = ("cutout", "cutout_long", "outer", "outer_long")
    return {name: getattr(frame, name) for name in names}


def _hold_axes(place: LocationState) -> None:
    """Raise UndrawnError for an oval driver of which only the short axes are known."""
    driver, frame, path = place.driver, place.driver.frame, f"driver[{place.driver.id}].frame"
    if _is_oval(driver) and frame.cutout_long is None:
        raise _missing(place, f"{path}.cutout_long", "Measure the long axis of the oval basket.")
    if _is_oval(driver) and frame.outer_long is None and not frame.corners:
        raise _missing(place, f"{path}.outer_long", "Measure the long axis of the oval flange.")


def _is_oval(driver: DriverState) -> bool:
    by_size = bool(driver.size) and parse_size(driver.size).oval
    return by_size or driver.frame.cutout_long is not None


def _round_or_oval(short: Value, long: Value | None, view: View, turn: float) -> Outline:
    if long is None:
        return Round(MM * short.si / 2)
    return Oval((MM * long.si / 2, MM * short.si / 2), view.angle(turn))


def _cornered(place: LocationState, field: str, points: tuple[Point, ...]) -> Cornered:
    """Return an outline through corners; raises UndrawnError for one that is none."""
    outline = Cornered(points)
    if outside(outline, ((0.0, 0.0),))[0] >= 0.0 or not fit(outline).is_valid:
        raise _refusal(
            place,
            f"{place.name} has no template: {field} make no outline around the middle.",
            "Write the corners in turn round it, measured from its middle.",
        )
    return outline


def _placed(metres: Corners, view: View, *, turn: float = 0.0) -> tuple[Point, ...]:
    """Return places of the job, turned about the middle [rad], on paper [mm]."""
    c, s = cos(turn), sin(turn)
    return tuple(view.point((x * c - y * s, x * s + y * c)) for x, y in metres)


def _holes(
    count: int | None, circle: Value | None, holes: ScrewHoles, view: View, *, turn: float = 0.0
) -> tuple[Point, ...]:
    if holes.places:
        return _placed(holes.places, view, turn=turn)
    if count is None or circle is None:
        return ()
    radius = circle.si / 2
    first = tau * FIRST_HOLE.get(count, 90.0) / 360.0 if holes.angle is None else holes.angle
    angles = [first + tau * step / count for step in range(count)]
    spots = tuple((radius * cos(angle), radius * sin(angle)) for angle in angles)
    return _placed(spots, view, turn=turn)


def _ears(flange: Outline, holes: tuple[Point, ...], screw: float) -> Iterator[str]:
    """Yield what to do about screws that lie outside the flange, in ears that nobody draws."""
    over = max(outside(flange, holes), default=-screw) + screw / 2
    if over > 0.0:
        yield (
            f"The driver's screws reach {over:.1f} mm past its flange, in ears that are not drawn: "
            "hold the driver on the template before cutting."
        )


def _assumed(place: LocationState) -> Iterator[str]:
    """Yield what is drawn by convention since nobody wrote it down."""
    mount, frame = place.mount, place.driver.frame
    if mount.screw_circle is not None and mount.screw_count and mount.holes.angle is None:
        angle = FIRST_HOLE.get(mount.screw_count, 90.0)
        yield (
            f"The first old screw hole is drawn at {angle:g}° by convention: turn the template "
            "about its middle until all old holes lie on their crosses."
        )
    if frame.holes.diameter is None:
        yield f"{RECKONED} {MM * SCREW:g} mm are reckoned with: none are written at the driver."
