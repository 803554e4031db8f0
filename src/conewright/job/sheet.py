"""What a driver's sheet says twice: which figures are used, and how far the others are off.

A sheet with more than a sufficient set of figures can contradict itself. The figures are believed
in one order; one that already follows from those before it is only checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from conewright.errors import OutOfRangeError
from conewright.job.quantity import Quantity, display
from conewright.physics.air import Air
from conewright.physics.thiele_small import complete, derivable, derivation

if TYPE_CHECKING:
    from conewright.job.document import DriverSheet

__all__ = [
    "ORDER_OF_TRUST",
    "SheetFinding",
    "accepted_names",
    "contradiction",
    "sheet_findings",
]

# Measured figures come first, figures usually computed from them last; from memory.
ORDER_OF_TRUST = (
    "re", "fs", "qms", "qes", "qts", "sd", "diameter", "vas", "mms", "cms", "rms", "bl",
)  # fmt: skip
CHECKED_ONLY = ("sensitivity",)

# Beyond these a sheet's rounding explains no difference; workshop experience, from memory.
MOST_PERCENT = 5.0
MOST_DECIBEL = 1.0

# Sheets are written for this air.
SHEET_AIR = Air()


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


def accepted_names(given: Iterable[str]) -> tuple[str, ...]:
    """Return the figures of a sheet that are used: none of them follows from those before it."""
    names = set(given)
    accepted: list[str] = []
    for name in ORDER_OF_TRUST:
        if name in names and name not in derivable(accepted):
            accepted.append(name)
    return tuple(accepted)


def contradiction(given: Mapping[str, float]) -> str | None:
    """Return why no driver can have the figures in use [SI]; None where one can."""
    return _contradiction(tuple((name, given[name]) for name in accepted_names(given)))


@lru_cache(maxsize=1024)
def _contradiction(basis: tuple[tuple[str, float], ...]) -> str | None:
    try:
        complete(dict(basis), air=SHEET_AIR)
    except OutOfRangeError as error:
        return str(error)
    return None


def sheet_findings(sheet: DriverSheet) -> list[SheetFinding]:
    """Return every figure of a sheet that also follows from those in use, in order of trust."""
    values = {name: getattr(sheet, name) for name in (*ORDER_OF_TRUST, *CHECKED_ONLY)}
    given: dict[str, Quantity] = {name: each for name, each in values.items() if each is not None}
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
    names = [_symbol(step) for step in used]
    listed = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
    return (
        f"{driver}: the sheet's {_symbol(name)} of {given} is {abs(difference):.1f} {unit} {side} "
        f"the {again} that follows from {listed}, which are used"
    )


def _symbol(name: str) -> str:
    """Return a figure's name as it is printed: Qes, Vas, fs."""
    return name if name in ("fs", "diameter", *CHECKED_ONLY) else name.capitalize()
