"""What a driver's sheet says twice: how far its other figures are off those in use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from conewright.job.document.places import DriverSheet
from conewright.job.quantity.values import Quantity, display
from conewright.phrases import listed
from conewright.physics.drivers.thiele_small import complete, derivation
from conewright.physics.drivers.trust import SHEET_AIR, accepted_names

__all__ = ["SheetFinding", "sheet_findings"]

CHECKED_ONLY = ("sensitivity",)

# Beyond these a sheet's rounding explains no difference; workshop experience, from memory.
MOST_PERCENT = 5.0
MOST_DECIBEL = 1.0


@dataclass(frozen=True, slots=True)
class SheetFinding:
    """One figure of a sheet beside what the figures in use make of it.

    given, recomputed: [SI, sensitivity: dB]; difference: given above recomputed [unit].
    """

    driver: str
    parameter: str
    given: float
    recomputed: float
    difference: float
    unit: Literal["%", "dB"]
    flagged: bool
    used: tuple[str, ...]
    text: str


def sheet_findings(sheet: DriverSheet) -> list[SheetFinding]:
    """Return every figure of a sheet that also follows from those in use, in order of trust."""
    given = sheet.figures
    if sheet.sensitivity is not None:
        given["sensitivity"] = sheet.sensitivity
    used = accepted_names(given)
    again = complete({name: given[name].value for name in used}, air=SHEET_AIR)
    checked = [name for name in given if name not in used and name in again]
    return [
        _finding(sheet.id, name, given[name], float(again[name]), used=_origins(name, used))
        for name in checked
    ]


def _origins(name: str, used: tuple[str, ...]) -> tuple[str, ...]:
    """Return those of the figures in use from which this one follows."""
    steps = derivation(used)
    waiting, origins = [name], set[str]()
    while waiting:
        inputs = steps.get(waiting.pop(), ())
        origins.update(set(inputs) & set(used))
        waiting += [step for step in inputs if step not in used]
    return tuple(step for step in used if step in origins)


def _finding(
    driver: str, name: str, quantity: Quantity, recomputed: float, *, used: tuple[str, ...]
) -> SheetFinding:
    given = quantity.value
    decibel = name in CHECKED_ONLY
    difference = given - recomputed if decibel else 100.0 * (given / recomputed - 1.0)
    return SheetFinding(
        driver=driver,
        parameter=name,
        given=given,
        recomputed=recomputed,
        difference=difference,
        unit="dB" if decibel else "%",
        flagged=abs(difference) > (MOST_DECIBEL if decibel else MOST_PERCENT),
        used=used,
        text=_sentence(driver, name, quantity, recomputed, difference=difference, used=used),
    )


def _sentence(
    driver: str,
    name: str,
    quantity: Quantity,
    recomputed: float,
    *,
    difference: float,
    used: tuple[str, ...],
) -> str:
    """Return a finding in a repairer's words."""
    given, again = (
        display(value, dimension=quantity.dimension, unit=quantity.unit)
        for value in (quantity.value, recomputed)
    )
    unit = "dB" if name in CHECKED_ONLY else "%"
    side = "above" if difference >= 0 else "below"
    names = listed([_symbol(step) for step in used])
    return (
        f"{driver}: the sheet's {_symbol(name)} of {given} is {abs(difference):.1f} {unit} {side} "
        f"the {again} that follows from {names}, which are used"
    )


def _symbol(name: str) -> str:
    """Return a figure's name as it is printed: Qes, Vas, fs."""
    return name if name in ("fs", "diameter", *CHECKED_ONLY) else name.capitalize()
