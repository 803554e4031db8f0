"""From a driver's sheet to a complete driver: what is used, and what is filled."""

from dataclasses import dataclass, replace

import numpy as np

from conewright.errors import JobError, OutOfRangeError, Problem
from conewright.job.builds.coils import as_wired, field_of, rating_as_wired, resolve_coil
from conewright.job.builds.draws import quantile
from conewright.job.builds.fills import CALLIPER, Filler, metres_of, screw_holes
from conewright.job.builds.states.drivers import DriverState, FrameState, TweeterState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.builds.typical import (
    ANY,
    Typical,
    driver_typical,
    nearest_area,
    nearest_size,
    rated_resistance,
    scaled,
    typical,
    typical_or_none,
)
from conewright.job.document.document import DriverSheet, Location
from conewright.job.document.places import Tweeter, on_frame
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.values import Quantity
from conewright.physics.drivers.thiele_small import complete, derivable
from conewright.physics.drivers.trust import SHEET_AIR, accepted_names

__all__ = ["AGEING", "central_area", "fitted_driver", "resolve_driver"]

AGEING = "ageing"

Basis = dict[str, Value]

DOME = parse_size("25 mm")
"""What sits on the frame of a coaxial driver where nobody says otherwise; from memory."""

# What is filled while something is missing, in this order.
ORDER_OF_FILLS = ("re", "sd", "fs", "qms", "qes", "mms")

NEEDED = {"re", "fs", "qms", "qes", "qts", "sd", "vas", "mms", "cms", "rms", "bl"}

# The larger the cone the heavier: correlation of ln Mms with ln Sd over a size, from memory.
MASS_WITH_AREA = 0.9

# Coils this near in resistance are the same coil.
SAME_COIL = 1e-6

# The lowest score a draw is expected to reach.
_LOWEST_SCORE = -4.0


@dataclass(frozen=True)
class _Sheet:
    """A sheet beside the rows of the tables that stand for its driver."""

    sheet: DriverSheet
    size: str
    age: str
    filler: Filler

    @property
    def id(self) -> str:
        return self.sheet.id

    def path(self, name: str) -> str:
        return f"{self.id}.{name}"

    def given(self, name: str, quantity: Quantity, *, signed: bool = False) -> Value:
        source = f"sheet of {self.id}"
        return self.filler.given(
            self.path(name), quantity, origin=Origin.SHEET, source=source, signed=signed
        )

    def typical(self, name: str) -> Typical:
        row = driver_typical(self.size, self.age, name)
        return replace(row, source=f"typical {self.size} {self.age}: {row.source}")

    def frame(self, name: str) -> Typical | None:
        row = typical_or_none("frames", self.size, name)
        if row is None or row.source.startswith("assumed"):
            return row
        return replace(row, source=f"typical {self.size}: {row.source}")


def resolve_driver(
    sheet: DriverSheet, filler: Filler, *, frame: FrameState | None = None
) -> DriverState:
    """Return a driver with every gap filled.

    Args: frame: that of another driver which it sits on; its given sensitivity then tells its
    moving mass, where a typical one would.

    Raises: JobError if the sheet contradicts itself, or if it is incomplete and its size has no
    typical values.
    """
    given = _accepted(sheet, filler, level_counts=frame is not None)
    age = _age(sheet, filler)
    found = _Sheet(sheet, _row_size(sheet, set(given), age), age, filler)
    basis = _completed(found, given)
    whole = _central(sheet, basis)
    one_coil = whole["re"] * (1.0 if sheet.coils is None else 2.0)
    rated = _or_none(found, "rated_impedance")
    state = DriverState(
        id=sheet.id,
        name=sheet.name or sheet.id,
        size=str(sheet.size) if sheet.size else "",
        age=age,
        rated_impedance=rated if rated is None else rating_as_wired(rated, sheet.coils),
        basis=tuple(as_wired(basis, whole, sheet.coils).items()),
        coil=resolve_coil(sheet, inductance=_inductance(found, one_coil), filler=filler),
        xmax=_value(found, "xmax"),
        power=_value(found, "power"),
        coil_rise=filler.filled(found.path("coil_rise"), found.typical("coil_rise")),
        frame=frame or _frame(found),
        price=sheet.price,
        sensitivity=_or_none(found, "sensitivity"),
    )
    if sheet.tweeter is None:
        return state
    return replace(state, tweeter=_tweeter(sheet, sheet.tweeter, state, filler))


def _tweeter(
    sheet: DriverSheet, tweeter: Tweeter, host: DriverState, filler: Filler
) -> TweeterState:
    """Return the tweeter on the frame of a coaxial driver, as old as the driver."""
    own = {name: getattr(tweeter, name) for name in ("rated_impedance", "re", "fs", "power")}
    own |= {"size": tweeter.size or DOME, "sensitivity": tweeter.sensitivity, "age": host.age}
    name = f"tweeter of {host.name}"
    stem = on_frame(sheet.id)
    alone = DriverSheet.model_validate({"id": "tweeter", "name": name, **own})
    alone = alone.model_copy(update={"id": stem})
    return TweeterState(
        driver=resolve_driver(alone, filler, frame=host.frame),
        capacitor=filler.value(
            f"{stem}.capacitor", tweeter.capacitor, typical("tweeter", ANY, "capacitor")
        ),
    )


def fitted_driver(driver: DriverState, location: Location, filler: Filler) -> DriverState:
    """Return a driver of a type as it sits in a place, with what was measured of it there."""
    given = {
        name: filler.given(f"{location.id}.own.{name}", quantity, source=f"own of {location.id}")
        for name, quantity in location.own.given.items()
    }
    le = given.pop("le", None)
    coil = driver.coil if le is None else replace(driver.coil, le=le, k=None)
    return replace(driver, own=tuple(given.items()), coil=coil)


def central_area(driver: DriverState) -> float:
    """Return the central cone area of a driver [m2]."""
    return driver.figures()["sd"]


def _accepted(sheet: DriverSheet, filler: Filler, *, level_counts: bool) -> Basis:
    """Return the figures of the sheet that are used: those that do not follow from others."""
    basis = _small_signal(sheet, filler)
    level = sheet.sensitivity
    if level_counts and level is not None:
        path, source = f"{sheet.id}.sensitivity", f"sheet of {sheet.id}"
        basis["sensitivity"] = filler.given(
            path, level, origin=Origin.SHEET, source=source, signed=True
        )
    return basis


def _small_signal(sheet: DriverSheet, filler: Filler) -> Basis:
    given, source = sheet.figures, f"sheet of {sheet.id}"
    return {
        name: filler.given(
            f"{sheet.id}.{field_of(name, sheet)}", given[name], origin=Origin.SHEET, source=source
        )
        for name in accepted_names(given)
    }


def _age(sheet: DriverSheet, filler: Filler) -> str:
    if sheet.age is None:
        filler.record(f"{sheet.id}.age", AGEING, Origin.ASSUMED, "assumed: no age is given")
    return sheet.age or AGEING


def _row_size(sheet: DriverSheet, given: set[str], age: str) -> str:
    """Return the size of the tables that stands for a driver; raises JobError if none can."""
    known = derivable(given)
    if sheet.size is not None:
        size = nearest_size(minor=sheet.size.minor, major=sheet.size.major)
        if size is not None:
            return size
    if "sd" in known and (sheet.size is None or known >= NEEDED):
        area = sheet.sd.value if sheet.sd else _central_given(sheet, given)["sd"]
        return nearest_area(area, age=age)
    raise JobError([_no_size(sheet, known)])


def _no_size(sheet: DriverSheet, known: set[str]) -> Problem:
    missing = ", ".join(name for name in ORDER_OF_FILLS if name not in known)
    path = f"driver[{sheet.id}].size"
    if sheet.size is None:
        return Problem(path, "nothing", "give the size, or sd, to fill what the sheet leaves out")
    allowed = f"no typical values for that size: the sheet has to give {missing}"
    return Problem(path, f'"{sheet.size}"', allowed)


def _central_given(sheet: DriverSheet, names: set[str]) -> dict[str, float]:
    known = {name: sheet.figures[name].value for name in names}
    return {name: float(value) for name, value in complete(known, air=SHEET_AIR).items()}


def _completed(found: _Sheet, given: Basis) -> Basis:
    """Return a basis from which every parameter follows, gaps filled in order."""
    basis = dict(given)
    for name in ORDER_OF_FILLS:
        if name not in derivable(basis):
            path = found.path(field_of(name, found.sheet))
            basis[name] = found.filler.filled(path, _row(found, name, basis))
    if "mms" in basis and "sd" in basis and not {"mms", "sd"} & set(given):
        basis["mms"] = replace(basis["mms"], follows=basis["sd"].path, correlation=MASS_WITH_AREA)
    return _with_safe_q(found, basis)


def _row(found: _Sheet, name: str, basis: Basis) -> Typical:
    """Return the typical value that fills a parameter."""
    if name == "re":
        return _resistance(found)
    if name == "qes":
        return _electrical_q(found)
    if name == "qms" and "qts" in basis:
        return _mechanical_q_above(found, basis["qts"])
    return found.typical(name)


def _resistance(found: _Sheet) -> Typical:
    """Return the typical Re: of the printed impedance where there is one, else of the size; of two
    coils that of both in parallel.
    """
    rated = found.sheet.rated_impedance
    row = found.typical("re") if rated is None else rated_resistance(rated.value)
    if rated is not None:
        row = replace(row, source=f"typical coil rated {rated}: {row.source}")
    return row if found.sheet.coils is None else scaled(row, 0.5, source=row.source)


def _electrical_q(found: _Sheet) -> Typical:
    """Return the typical Qes: 1/Qes = 1/Qts - 1/Qms at the typical Qms of the same driver."""
    qts, qms = found.typical("qts"), found.typical("qms").quantity.value
    low, middle, high = (
        None if q is None else 1.0 / (1.0 / q - 1.0 / qms)
        for q in (qts.quantity.low, qts.quantity.value, qts.quantity.high)
    )
    return Typical(Quantity.of(middle, "number", low=low, high=high), qts.source)


def _mechanical_q_above(found: _Sheet, qts: Value) -> Typical:
    """Return a Qms for a given Qts: the typical one, or twice the Qts where that is more."""
    row = found.typical("qms")
    highest = qts.si if qts.quantity.high is None else qts.quantity.high
    if row.quantity.value >= 2.0 * highest:
        return row
    return Typical(Quantity.of(2.0 * highest, "number"), "assumed: twice the given Qts")


def _with_safe_q(found: _Sheet, basis: Basis) -> Basis:
    """Keep the draws of a given Qts below those of the Q it is taken from.

    Raises: JobError if their spreads cross even near the centre.
    """
    other = basis.get("qms") or basis.get("qes")
    if "qts" not in basis or other is None:
        return basis
    ceiling = 0.99 * _least(other)
    if basis["qts"].si >= ceiling:
        raise JobError([_crossing(found, basis["qts"], other)])
    return {**basis, "qts": replace(basis["qts"], within=(0.0, ceiling))}


def _least(value: Value) -> float:
    """Return the smallest value that a draw is expected to give."""
    if not value.spreads:
        return value.si
    return float(quantile(value.quantity, np.array(_LOWEST_SCORE)))


def _crossing(found: _Sheet, qts: Value, other: Value) -> Problem:
    name = other.path.rsplit(".", maxsplit=1)[-1]
    return Problem(
        f"driver[{found.id}].qts",
        f"{qts.quantity} with {name} {other.quantity}",
        f"qts is below {name} by nature, the spread of {name} included",
    )


def _central(sheet: DriverSheet, basis: Basis) -> dict[str, float]:
    """Return all parameters at the central values; raises JobError for an impossible set."""
    try:
        whole = complete({name: value.si for name, value in basis.items()}, air=SHEET_AIR)
    except OutOfRangeError as error:
        problem = Problem(f"driver[{sheet.id}]", str(error), "figures of one driver are wanted")
        raise JobError([problem]) from error
    return {name: float(value) for name, value in whole.items()}


def _inductance(found: _Sheet, re: float) -> Typical:
    """Return the typical Le, in proportion to the coil resistance where that is known.

    A coil wound for another resistance in the same gap has the same Le/Re; the table is for the
    usual coil of a 4 ohm driver.
    """
    row = found.typical("le")
    sheet = found.sheet
    if sheet.re is None and sheet.coil_re is None and sheet.rated_impedance is None:
        return row
    ratio = re / rated_resistance(4.0).quantity.value
    if abs(ratio - 1.0) < SAME_COIL:
        return row
    return scaled(row, ratio, source=f"{row.source}; in proportion to the coil resistance")


def _value(found: _Sheet, name: str) -> Value:
    given: Quantity | None = getattr(found.sheet, name)
    if given is None:
        return found.filler.filled(found.path(name), found.typical(name))
    return found.given(name, given)


def _or_none(found: _Sheet, name: str) -> Value | None:
    given: Quantity | None = getattr(found.sheet, name)
    return None if given is None else found.given(name, given, signed=name == "sensitivity")


def _frame(found: _Sheet) -> FrameState:
    count, circle = _screws(found)
    return FrameState(
        depth=_frame_value(found, "depth"),
        cutout=_frame_value(found, "cutout"),
        outer=_frame_value(found, "outer"),
        front_height=_frame_value(found, "front_height"),
        screw_count=count,
        screw_circle=circle,
        cutout_long=_long_axis(found, "cutout"),
        outer_long=_long_axis(found, "outer"),
        corners=metres_of(found.sheet.frame.corners),
        holes=screw_holes(found.path("frame.screws"), found.sheet.frame.screws, found.filler),
    )


def _long_axis(found: _Sheet, name: str) -> Value | None:
    """Return the long axis of an outline; None where the driver is round, or somebody gave the
    short one alone.
    """
    value = _given_frame(found, f"{name}_long")
    oval = found.sheet.size is not None and found.sheet.size.oval
    if value is not None or not oval or getattr(found.sheet.frame, name) is not None:
        return value
    row = found.frame(f"{name}_long")
    return None if row is None else found.filler.filled(found.path(f"frame.{name}_long"), row)


def _screws(found: _Sheet) -> tuple[int | None, Value | None]:
    """Return the screws of the sheet; the usual ones only where the sheet says nothing of them."""
    given, path = found.sheet.frame.screws, "frame.screws.circle"
    if given.places is not None:
        return len(given.places), None
    if given.count is not None or given.circle is not None:
        return given.count, None if given.circle is None else found.given(path, given.circle)
    count, circle = found.frame("screw_count"), found.frame("screw_circle")
    return (
        None if count is None else round(count.quantity.value),
        None if circle is None else found.filler.filled(found.path(path), circle),
    )


def _given_frame(found: _Sheet, name: str) -> Value | None:
    """Return a dimension of the basket as given, with the spread of a calliper."""
    given: Quantity | None = getattr(found.sheet.frame, name)
    if given is None:
        return None
    value = found.given(f"frame.{name}", given)
    return found.filler.read_with(value, *CALLIPER)


def _frame_value(found: _Sheet, name: str) -> Value:
    value = _given_frame(found, name)
    if value is None:
        row = found.frame(name)
        assert row is not None, f"frames.csv has no {name} for {found.size}"
        return found.filler.filled(found.path(f"frame.{name}"), row)
    return value
