"""A list of frequencies as written: `20,50,100`, in hertz, `1k` for a thousand."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from conewright.errors import BadInputError

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["parse_frequencies"]

MOST = 2000
LOWEST, HIGHEST = 0.1, 1e6
FREQUENCY = re.compile(r"(?P<number>\d{1,9}(?:\.\d{1,9})?)(?P<thousand>k?)", re.ASCII)
ALLOWED = (
    f"up to {MOST} frequencies between {LOWEST} Hz and 1000k, joined by commas, as in 20,50,1.2k"
)


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
    hertz = float(found["number"]) * (1000.0 if found["thousand"] else 1.0) if found else 0.0
    if not LOWEST <= hertz <= HIGHEST:
        raise BadInputError(f'{name}: found "{word[:40]}"; allowed are {ALLOWED}')
    return hertz
