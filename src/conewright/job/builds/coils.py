"""Which model of the voice coil a driver's sheet supports, its values, and two coils as wired."""

from collections.abc import Mapping
from dataclasses import replace

from conewright.errors import JobError, Problem
from conewright.job.builds.draws import SCORE_AT_95, SCORE_WITHIN_95
from conewright.job.builds.fills import Filler
from conewright.job.builds.states.drivers import CoilState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.builds.typical import Typical
from conewright.job.document.document import DriverSheet
from conewright.job.quantity.values import Quantity, times
from conewright.physics.drivers.coil import EXPONENT_RANGE, CoilWiring, two_coils

__all__ = ["USUAL_EXPONENT", "as_wired", "field_of", "rating_as_wired", "resolve_coil"]

POINTS_IN_MARGIN = SCORE_AT_95 / SCORE_WITHIN_95

USUAL_EXPONENT = Typical(
    Quantity.of(0.7, "number"),
    "assumed: lossy coil of a usual motor, exponent from memory (law: Leach 2002)",
)


def field_of(name: str, sheet: DriverSheet) -> str:
    """Return the field of a sheet that a figure of its basis is written in."""
    return "coil_re" if name == "re" and sheet.coils is not None else name


def rating_as_wired(rated: Value, wired: CoilWiring | None) -> Value:
    """Return the printed impedance of one coil as that of the driver at its terminals."""
    if wired is None:
        return rated
    return replace(rated, quantity=times(rated.quantity, 0.5 * two_coils(wired).re))


def as_wired(
    basis: Mapping[str, Value], whole: Mapping[str, float], wired: CoilWiring | None
) -> dict[str, Value]:
    """Return a basis, written of both coils in parallel, as it is at the terminals in use.

    Args: whole: every figure of both coils in parallel, central values [SI], by name.
    """
    found = dict(basis)
    if wired is None:
        return found
    if wired == "one" and "qts" in found:
        found = _without_total_q(found, whole)
    factors = two_coils(wired)
    for name in ("re", "bl", "qes"):
        if name in found:
            quantity = times(found[name].quantity, getattr(factors, name))
            found[name] = replace(found[name], quantity=quantity)
    return found


def _without_total_q(basis: Mapping[str, Value], whole: Mapping[str, float]) -> dict[str, Value]:
    """Return a basis with the missing one of Qms and Qes in place of the Qts that gives it."""
    name, beside = ("qes", "qms") if "qms" in basis else ("qms", "qes")
    found = {key: value for key, value in basis.items() if key != "qts"}
    given, other = basis["qts"], whole[beside]

    def left(total: float | None) -> float | None:
        return None if total is None else total * other / (other - total)

    low, high = given.quantity.low, given.quantity.high
    if given.quantity.spread == "plus-minus" and low is not None and high is not None:
        # From what holds 95 % to the 5 % and 95 % points, which a range states.
        low, high = (given.si + (end - given.si) * POINTS_IN_MARGIN for end in (low, high))
    quantity = Quantity.of(whole[name], "number", low=left(low), high=left(high))
    return found | {name: replace(given, quantity=quantity, within=None)}


def resolve_coil(sheet: DriverSheet, *, inductance: Typical, filler: Filler) -> CoilState:
    """Return the coil of a driver.

    Args: sheet: of the driver; inductance: typical one for its size and coil resistance.
    Rules: K is a power law; L2 and R2 a shunted coil; Le alone a power law of the same size at
    1 kHz (n = 1: a plain inductor); nothing given: the typical Le.
    Raises: JobError if n is no exponent of the law.
    """
    if sheet.k is not None:
        k = _given(filler, sheet, "k", sheet.k)
        return CoilState("power-law", k=k, n=_exponent(filler, sheet))
    le = (
        _coupled(filler.filled(f"{sheet.id}.le", inductance), sheet)
        if sheet.le is None
        else _given(filler, sheet, "le", sheet.le)
    )
    if sheet.l2 is not None and sheet.r2 is not None:
        l2, r2 = _given(filler, sheet, "l2", sheet.l2), _given(filler, sheet, "r2", sheet.r2)
        return CoilState("shunted", le=le, l2=l2, r2=r2)
    if sheet.n is not None and sheet.n.value == 1.0 and sheet.n.spread == "none":
        return CoilState("inductor", le=le)
    return CoilState("power-law", le=le, n=_exponent(filler, sheet))


def _given(filler: Filler, sheet: DriverSheet, name: str, quantity: Quantity) -> Value:
    value = filler.given(
        f"{sheet.id}.{name}", quantity, origin=Origin.SHEET, source=f"sheet of {sheet.id}"
    )
    return _coupled(value, sheet)


def _coupled(value: Value, sheet: DriverSheet) -> Value:
    """Return a part of one coil's reactance as that of the coils as they are wired."""
    if sheet.coils is None:
        return value
    return replace(value, quantity=times(value.quantity, two_coils(sheet.coils).le))


def _exponent(filler: Filler, sheet: DriverSheet) -> Value:
    path = f"{sheet.id}.n"
    if sheet.n is None:
        return filler.filled(path, USUAL_EXPONENT)
    low, high = EXPONENT_RANGE
    if not low <= sheet.n.value <= high:
        raise JobError(
            [Problem(f"driver[{sheet.id}].n", f"{sheet.n}", f"{low:g} to {high:g} is possible")]
        )
    return filler.given(
        path, sheet.n, origin=Origin.SHEET, source=f"sheet of {sheet.id}", within=EXPONENT_RANGE
    )
