"""From a place in the job to a complete place: mount, cavity and trim with every gap filled."""

from dataclasses import replace
from math import hypot, pi

from conewright.errors import JobError, Problem
from conewright.job.builds.fills import CALLIPER, RULER, Filler, metres_of, screw_holes
from conewright.job.builds.states.drivers import DriverState
from conewright.job.builds.states.location import (
    BoxState,
    CavityState,
    LocationState,
    MountState,
    OpenState,
    TrimState,
)
from conewright.job.builds.states.value import Origin, Value
from conewright.job.builds.typical import ANY, Typical, scaled, typical
from conewright.job.document.document import Cavity, Cover, Location, Trim
from conewright.job.document.parts import Place
from conewright.job.document.places import OPEN_BACKS
from conewright.job.quantity.values import Quantity

__all__ = ["ENCLOSED", "LOADED", "resolve_location", "resolve_place"]

ENCLOSED = ("door", "panel", "shelf", "boot-shelf", "roof")
"""Kinds of place with air behind and a grille in front."""

LOADED = (*ENCLOSED, "box", "open")
"""Kinds of place whose air loads the cone otherwise than its sheet says."""

BOOT_SHELF, BOOT = "boot-shelf", "boot"
NO_FILL = "assumed: no fill is written"
NO_FACING = "assumed: it looks towards the seats"
AHEAD: tuple[float, float, float] = (1.0, 0.0, 0.0)
AXES: dict[str, tuple[float, float, float]] = {
    "front": AHEAD,
    "rear": (-1.0, 0.0, 0.0),
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}
"""The way a cone looks, forward, left and up."""

NO_SPACER = "assumed: no spacer is written"
NO_COVER = "assumed: no cover is written"
CLOSED = "not used: no opening"
NO_EDGE = "assumed: no trim is written, so no gap around it"


def resolve_location(
    location: Location,
    driver: DriverState,
    *,
    as_found_area: float,
    filler: Filler,
    body: str,
    ears: tuple[float, float, float] | None,
) -> LocationState:
    """Return a place with every gap filled.

    Args: location: as written; driver: what is fitted; as_found_area: cone area [m2] of what was
    fitted when the vehicle came in, which the trim was made for; filler: keeps the record; body:
    class of the vehicle, for its boot; ears: middle of all seats' [m], None without a seat.
    """
    enclosed = location.kind in ENCLOSED
    mount = _mount(location, filler, enclosed=enclosed)
    return LocationState(
        id=location.id,
        name=location.name or location.id,
        kind=location.kind,
        at=resolve_place(f"{location.id}.at", location.at, filler),
        driver=driver,
        mount=mount,
        cavity=_cavity(location, mount, filler, body) if enclosed else None,
        trim=_trim(location, mount, as_found_area, filler) if enclosed else None,
        restraint=location.restraint,
        back=_back(location, driver, filler, ears),
    )


def _back(
    location: Location,
    driver: DriverState,
    filler: Filler,
    ears: tuple[float, float, float] | None,
) -> BoxState | OpenState | None:
    if location.kind == "box":
        return _box(location, filler)
    if location.kind in OPEN_BACKS:
        return _open(location, driver, filler, ears)
    return None


def _box(location: Location, filler: Filler) -> BoxState:
    cavity, path = location.cavity, f"{location.id}.cavity"
    assert cavity.volume is not None
    fill = cavity.fill or "none"
    filler.word(f"{path}.fill", cavity.fill, fill, NO_FILL)
    return BoxState(
        volume=filler.given(f"{path}.volume", cavity.volume),
        fill=fill,
        fill_gain=filler.filled(f"{path}.fill_gain", _door(f"box-{fill}", "fill_gain")),
        q=filler.value(f"{path}.q", cavity.q, _door(f"box-{fill}", "q")),
    )


def _open(
    location: Location,
    driver: DriverState,
    filler: Filler,
    ears: tuple[float, float, float] | None,
) -> OpenState:
    """Return an open back; one that looks nobody knows where may look past the ear."""
    path, mount = f"{location.id}.mount", location.mount
    bare = location.kind == "free"
    area = Quantity.of(_board(location, driver), "area", "cm2")
    told = "told" if mount.facing else "towards"
    width, height = mount.baffle_width, mount.baffle_height
    filler.word(f"{path}.facing", mount.facing, "towards the seats", NO_FACING)
    return OpenState(
        baffle=filler.given(
            f"{path}.baffle",
            area,
            origin=driver.frame.outer.origin if bare else Origin.MEASURED,
            source="its frame" if bare else "its width times its height",
        ),
        apart=filler.filled(f"{path}.apart", _door(f"open-{told}", "apart")),
        axis=AXES[mount.facing] if mount.facing else _towards(location, ears),
        bare=bare,
        sides=None if width is None or height is None else (width.value, height.value),
    )


def _board(location: Location, driver: DriverState) -> float:
    """Return the area of the board, or of the frame of a bare driver [m2]."""
    mount, frame = location.mount, driver.frame
    if location.kind == "free":
        outer = frame.outer.si
        return 0.25 * pi * outer * (outer if frame.outer_long is None else frame.outer_long.si)
    assert mount.baffle_width is not None
    assert mount.baffle_height is not None
    area, cone = mount.baffle_width.value * mount.baffle_height.value, driver.figures()["sd"]
    if area < cone:
        path = f"location[{location.id}].mount.baffle_width"
        found = f"a board of {1e4 * area:.0f} cm2"
        raise JobError(
            [Problem(path, found, f"it holds a cone of {1e4 * cone:.0f} cm2, so it is larger")]
        )
    return area


def _towards(
    location: Location, ears: tuple[float, float, float] | None
) -> tuple[float, float, float]:
    """Return the way from a place to the seats; forward where there is none or it is there."""
    if ears is None:
        return AHEAD
    x, y, z = (there - here.value for there, here in zip(ears, location.at, strict=True))
    far = hypot(x, y, z)
    return AHEAD if far == 0.0 else (x / far, y / far, z / far)


def resolve_place(path: str, at: Place, filler: Filler) -> tuple[Value, Value, Value]:
    """Return the three coordinates of a place: forward, left, up."""
    x, y, z = (
        filler.given(f"{path}.{axis}", quantity, signed=True)
        for axis, quantity in zip("xyz", at, strict=True)
    )
    return x, y, z


def _door(key: str, name: str) -> Typical:
    return typical("door", key, name)


def _mount(location: Location, filler: Filler, *, enclosed: bool) -> MountState:
    mount, path = location.mount, f"{location.id}.mount"
    ring, ring_origin = _ring(location, filler, enclosed=enclosed)
    return MountState(
        ring=ring,
        ring_origin=ring_origin,
        steel=_mount_value(location, "steel", mount.steel, filler, enclosed=enclosed),
        cutout=_read(f"{path}.cutout", mount.cutout, RULER, filler),
        land=_read(f"{path}.land", mount.land, RULER, filler),
        glass_depths=_glass_depths(location, filler),
        trim_gap=_mount_value(
            location, "trim_gap", mount.trim_gap, filler, enclosed=enclosed, reading=RULER
        ),
        spacer=_spacer(location, filler),
        screw_count=mount.screws.count,
        screw_circle=filler.optional(f"{path}.screws.circle", mount.screws.circle),
        cutout_long=_read(f"{path}.cutout_long", mount.cutout_long, RULER, filler),
        corners=metres_of(mount.corners),
        turn=0.0 if mount.turn is None else mount.turn.value,
        holes=screw_holes(f"{path}.screws", mount.screws, filler),
        opening=mount.opening,
    )


def _ring(location: Location, filler: Filler, *, enclosed: bool) -> tuple[bool, Origin]:
    """Return whether a ring is fitted: as written, else only where no trim is written."""
    path, written = f"{location.id}.mount.ring", location.mount.ring
    if location.kind == BOOT_SHELF:
        return bool(written), Origin.ASSUMED  # a shelf has no panel before it to be sealed from
    if written is not None:
        return written, Origin.ASSUMED if path in filler.planned else Origin.MEASURED
    fitted = enclosed and location.trim is None
    if enclosed:
        because = "no trim is written" if fitted else "a trim is written and no ring"
        filler.record(
            path, "fitted" if fitted else "not fitted", Origin.ASSUMED, f"assumed: {because}"
        )
    return fitted, Origin.ASSUMED


def _mount_value(
    location: Location,
    name: str,
    quantity: Quantity | None,
    filler: Filler,
    *,
    enclosed: bool,
    reading: tuple[float, str] | None = None,
) -> Value | None:
    """Return a dimension that the air behind or in front needs: typical there, else optional."""
    path = f"{location.id}.mount.{name}"
    if quantity is None:
        return filler.filled(path, _door(ANY, name)) if enclosed else None
    value = filler.given(path, quantity)
    return value if reading is None else filler.read_with(value, *reading)


def _read(
    path: str, quantity: Quantity | None, reading: tuple[float, str], filler: Filler
) -> Value | None:
    """Return a dimension with the spread of its reading, None if it was not taken."""
    return None if quantity is None else filler.read_with(filler.given(path, quantity), *reading)


def _glass_depths(location: Location, filler: Filler) -> tuple[Value, ...]:
    """Return the depth at every point read; a door nobody measured has one typical point."""
    path, written = f"{location.id}.mount.glass_depth", location.mount.glass_depth
    if written is None:
        usual = location.kind == "door"
        return (filler.filled(f"{path}.1", _door("door", "glass_depth")),) if usual else ()
    return tuple(
        filler.read_with(filler.given(f"{path}.{point}", quantity), *RULER)
        for point, quantity in enumerate(written, start=1)
    )


def _spacer(location: Location, filler: Filler) -> Value:
    path, written = f"{location.id}.mount.spacer", location.mount.spacer
    if written is None:
        return filler.filled(path, Typical(Quantity.of(0.0, "length", "mm"), NO_SPACER))
    value = filler.given(path, written)
    return value if value.si == 0.0 else filler.read_with(value, *CALLIPER)


def _cavity(location: Location, mount: MountState, filler: Filler, body: str) -> CavityState:
    cavity, path = location.cavity, f"{location.id}.cavity"
    key = BOOT if location.kind == BOOT_SHELF else ANY
    drains = filler.value(f"{path}.drains", cavity.drains, _door(key, "drains"))
    holes = filler.value(f"{path}.panel_holes", cavity.panel_holes, _door(key, "panel_holes"))
    drain_count, drain_q = _group(path, "drain", drains, cavity.drain_count, filler, key)
    hole_count, hole_q = _group(path, "panel_hole", holes, cavity.panel_hole_count, filler, key)
    cover, cover_mass = _cover(location, holes, filler)
    assert mount.steel is not None
    return CavityState(
        volume=filler.value(f"{path}.volume", cavity.volume, _usual_volume(location, body)),
        q=filler.value(f"{path}.q", cavity.q, _door(key, "q")),
        steel=mount.steel,
        drains=drains,
        drain_count=drain_count,
        drain_q=drain_q,
        panel_holes=holes,
        panel_hole_count=hole_count,
        panel_q=hole_q,
        cover=cover,
        cover_mass=cover_mass,
        openings=cavity.panel_openings or (),
        keep_clear=cavity.keep_clear or (),
        into_cabin=location.kind == BOOT_SHELF,
    )


def _group(
    path: str, name: str, area: Value, count: int | None, filler: Filler, key: str
) -> tuple[int, Value]:
    """Return the number and the quality of a group of openings; a closed group needs neither."""
    count_row, q_row = _door(key, f"{name}_count"), _door(key, f"{name}_q")
    q_path = f"{path}.{name}_q"
    if _closed(area):
        q = Value(q_path, Quantity.of(q_row.quantity.value, "number"), Origin.ASSUMED, CLOSED)
        return count or round(count_row.quantity.value), q
    if count is None:
        count = round(filler.filled(f"{path}.{name}_count", count_row).si)
    return count, filler.filled(q_path, q_row)


def _closed(area: Value) -> bool:
    return area.si == 0.0 and not area.spreads


def _usual_volume(location: Location, body: str) -> Typical:
    """Return the typical air behind a place; the middle of the cabin parts front from rear."""
    if location.kind == BOOT_SHELF:
        return typical("cabin", body, "boot_volume")
    if location.kind == "door":
        return _door("door-front" if location.at[0].value >= 0.0 else "door-rear", "volume")
    return _door(location.kind, "volume")


def _cover(location: Location, holes: Value, filler: Filler) -> tuple[Cover, Value | None]:
    """Return what closes the panel holes, and its mass."""
    cavity, path = location.cavity, f"{location.id}.cavity"
    # What is open between boot and cabin has no film over it.
    boot = location.kind == BOOT_SHELF
    cover = cavity.cover or ("none" if boot else _unnamed_cover(cavity))
    if cavity.cover is None and not _closed(holes):
        filler.record(f"{path}.cover", cover, Origin.ASSUMED, NO_COVER)
    if cover == "none":
        return cover, None
    mass = filler.value(f"{path}.cover_mass", cavity.cover_mass, _door(cover, "cover_mass"))
    return cover, mass


def _unnamed_cover(cavity: Cavity) -> Cover:
    """Return the cover of a job that names none: who wrote down the holes saw them open."""
    return "film" if cavity.panel_holes is None else "none"


def _trim(location: Location, mount: MountState, as_found_area: float, filler: Filler) -> TrimState:
    """Return the trim; without one in the job the edge is closed."""
    trim, path = location.trim or Trim(), f"{location.id}.trim"
    present = location.trim is not None
    area = filler.value(f"{path}.grille_area", trim.grille_area, _grille(as_found_area))
    assert mount.trim_gap is not None
    return TrimState(
        present=present,
        volume=_trim_volume(location, trim, filler),
        gap=mount.trim_gap,
        front_volume=filler.filled(f"{path}.front_volume", _door(ANY, "front_volume")),
        grille_area=area,
        grille_extent=_extent(location, trim, area, filler),
        grille_resistance=filler.filled(
            f"{path}.grille_resistance", _door(ANY, "grille_resistance")
        ),
        edge_gap=filler.value(f"{path}.edge_gap", trim.edge_gap, _edge(present=present)),
    )


def _trim_volume(location: Location, trim: Trim, filler: Filler) -> Value:
    path, row = f"{location.id}.trim.volume", _door(ANY, "trim_volume")
    if location.kind == BOOT_SHELF:
        size = Quantity.of(row.quantity.value, "volume", "L")
        return Value(path, size, Origin.ASSUMED, "not used: a shelf is no trim before a panel")
    return filler.value(path, trim.volume, row)


def _grille(as_found_area: float) -> Typical:
    """Return the typical open area of a grille: of a 165 mm cone, in proportion to the area."""
    row = _door(ANY, "grille_area")
    reference = typical("drivers", "165 mm/ageing", "sd").quantity.value
    return scaled(row, as_found_area / reference, source=row.source)


def _extent(location: Location, trim: Trim, area: Value, filler: Filler) -> Value:
    """Return the field the openings are spread over; not given, it follows the open area."""
    path = f"{location.id}.trim.grille_extent"
    if area.si <= 0.0:
        path = f"location[{location.id}].trim.grille_area"
        raise JobError([Problem(path, f"{area.quantity}", "a grille with openings is wanted")])
    if trim.grille_extent is not None:
        return filler.given(path, trim.grille_extent)
    share = _door(ANY, "grille_share")
    row = Typical(area.quantity, share.source)
    value = filler.filled(path, scaled(row, 1.0 / share.quantity.value, source=share.source))
    return replace(value, follows=area.path, correlation=1.0)


def _edge(*, present: bool) -> Typical:
    if present:
        return _door(ANY, "edge_gap")
    return Typical(Quantity.of(0.0, "area", "cm2"), NO_EDGE)
