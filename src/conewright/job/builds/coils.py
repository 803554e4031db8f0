"""Which model of the voice coil a driver's sheet supports, and its values."""

from conewright.errors import JobError, Problem
from conewright.job.builds.fills import Filler
from conewright.job.builds.state import CoilState, Origin, Value
from conewright.job.builds.typical import Typical
from conewright.job.document.document import DriverSheet
from conewright.job.quantity.values import Quantity
from conewright.physics.drivers.coil import EXPONENT_RANGE

__all__ = ["resolve_coil"]

USUAL_EXPONENT = Typical(
    Quantity.of(0.7, "number"),
    "assumed: lossy coil of a usual motor, exponent from memory (law: Leach 2002)",
)


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
        filler.filled(f"{sheet.id}.le", inductance)
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
    return filler.given(
        f"{sheet.id}.{name}", quantity, origin=Origin.SHEET, source=f"sheet of {sheet.id}"
    )


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
