"""A list of frequencies as written: `20,50,100`, in hertz, `1k` for a thousand."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from conewright.errors import BadInputError

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["parse_frequencies", "require_in_range"]

MOST = 2000
LOWEST, HIGHEST = 10.0, 25_000.0
"""What is answered for [Hz]: what is heard, and some on either side. Below, air leaks through what
is not drawn; above, no cone is a piston, no coil its law, no cabin what is told here."""

FREQUENCY = re.compile(r"(?P<number>\d{1,9}(?:\.\d{1,9})?)(?P<thousand>k?)", re.ASCII)
ALLOWED = (
    f"up to {MOST} frequencies from {LOWEST:.0f} Hz to {HIGHEST / 1e3:.0f}k, joined by commas, "
    "as in 20,50,1.2k"
)
RANGE = f"answers reach from {LOWEST:.0f} Hz to {HIGHEST / 1e3:.0f} kHz"


def parse_frequencies(text: str, *, name: str = "--at") -> FloatArray:
    """Return the frequencies that a text lists, in its order, shape (F,) [Hz].

    Args:
        text: what was written.
        name: what the list is called in an error.

    Raises:
        BadInputError: anything else than such a list; names what was found and what is allowed.

    """
    import numpy as np

    words = [word.strip() for word in text.split(",")]
    if len(words) > MOST:
        raise BadInputError(f"{name}: found {len(words)} frequencies; allowed are {ALLOWED}")
    return np.array([_hertz(word, name) for word in words])


def _hertz(word: str, name: str) -> float:
    found = FREQUENCY.fullmatch(word)
    if found is None:
        raise BadInputError(f'{name}: found "{word[:40]}"; allowed are {ALLOWED}')
    hertz = float(found["number"]) * (1000.0 if found["thousand"] else 1.0)
    if not LOWEST <= hertz <= HIGHEST:
        raise BadInputError(f'{name}: found "{word[:40]}", beyond the range: {RANGE}')
    return hertz


def require_in_range(at: FloatArray | None) -> None:
    """Refuse frequencies beyond the range that is answered for; None, for the usual ones, is let
    through.

    Raises:
        BadInputError: one of them is not from LOWEST to HIGHEST; names the first, and the range.

    """
    for hertz in () if at is None else at:
        if not LOWEST <= hertz <= HIGHEST:
            raise BadInputError(f"at: found {hertz:g} Hz, beyond the range: {RANGE}")
