"""Which figures of a driver's sheet are used, and whether any driver can have them.

A sheet with more than a sufficient set of figures can contradict itself. The figures are believed
in one order; one that already follows from those before it is only checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from conewright.errors import OutOfRangeError
from conewright.physics.basics.air import Air
from conewright.physics.drivers.thiele_small import complete, derivable

__all__ = ["ORDER_OF_TRUST", "SHEET_AIR", "accepted_names", "contradiction"]

# Measured figures come first, figures usually computed from them last; from memory.
ORDER_OF_TRUST = (
    "re", "fs", "qms", "qes", "qts", "sd", "diameter", "vas", "mms", "cms", "rms", "bl",
)  # fmt: skip

# Sheets are written for this air.
SHEET_AIR = Air()


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
