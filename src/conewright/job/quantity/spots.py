"""Places on a panel around the middle of a driver's opening, as a repairer writes them down.

Two lengths: how far forward and how far up, in that order, with a comma and a blank between them.
On a roof or a shelf the second is how far outward, to the nearer side of the vehicle. Backward,
down and inward are below zero, so that the same words hold on both sides of a vehicle.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

from conewright.errors import QuantityError
from conewright.job.quantity.values import LONGEST, Quantity, format_quantity, parse_quantity

__all__ = ["Kept", "KeptClear", "PanelHole", "Spot", "parse_hole", "parse_kept", "parse_spot"]

Kept = Literal["drain", "sensor", "bolt", "clip", "cable", "rod"]
"""What a patch leaves alone."""

ALLOWED_SPOT = 'a place is written like "-62 mm, 15 mm": forward, then up, from the middle'
ALLOWED_HOLE = 'an opening is written like "120 x 60 mm at 150 mm, -20 mm" or "80 mm at 0, 95 mm"'
ALLOWED_KEPT = (
    'what stays clear is written like "drain 12 mm at 150 mm, -70 mm"; it begins with one of '
    f"{', '.join(get_args(Kept))}"
)
_COMMA = re.compile(r",\s+|;\s*")
_AT = re.compile(r"\s+at\s+")
_ZERO = re.compile(r"0+(?:[.,]0*)?")


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a panel: forward of, and above the middle of the driver's opening."""

    forward: Quantity
    up: Quantity

    @property
    def metres(self) -> tuple[float, float]:
        """Both lengths in metres."""
        return self.forward.value, self.up.value

    def __str__(self) -> str:
        """The place as `parse_spot` reads it back."""
        return f"{format_quantity(self.forward)}, {format_quantity(self.up)}"


@dataclass(frozen=True, slots=True)
class PanelHole:
    """An opening of a panel: `along` is its extent forward, `high` its extent up."""

    along: Quantity
    high: Quantity
    at: Spot
    round: bool

    def __str__(self) -> str:
        """The opening as `parse_hole` reads it back."""
        along, high = format_quantity(self.along), format_quantity(self.high)
        return f"{along if self.round else f'{along} x {high}'} at {self.at}"


@dataclass(frozen=True, slots=True)
class KeptClear:
    """Something a patch must leave clear: what it is, how wide and where."""

    what: Kept
    width: Quantity
    at: Spot

    def __str__(self) -> str:
        """The thing as `parse_kept` reads it back."""
        return f"{self.what} {format_quantity(self.width)} at {self.at}"


def parse_spot(text: object) -> Spot:
    """Read a place on a panel; raises QuantityError."""
    parts = _COMMA.split(_checked(text, ALLOWED_SPOT))
    if len(parts) != 2:
        raise QuantityError(f"a place has two lengths; {ALLOWED_SPOT}")
    return Spot(_length(parts[0]), _length(parts[1]))


def parse_hole(text: object) -> PanelHole:
    """Read an opening of a panel, round by its diameter or square by two extents."""
    size, at = _halves(text, ALLOWED_HOLE)
    sides = re.split("[xX×]", size)
    if len(sides) == 1:
        across = _extent(sides[0])
        return PanelHole(across, across, parse_spot(at), round=True)
    if len(sides) != 2:
        raise QuantityError(f"an opening has one extent or two; {ALLOWED_HOLE}")
    high = _extent(sides[1])
    first = sides[0].strip()
    along = _extent(first if first[-1:].isalpha() else f"{first} {high.unit}")
    return PanelHole(along, high, parse_spot(at), round=False)


def parse_kept(text: object) -> KeptClear:
    """Read what a patch leaves clear; raises QuantityError."""
    head, at = _halves(text, ALLOWED_KEPT)
    what, _, width = head.partition(" ")
    for kept in get_args(Kept):
        if what == kept:
            return KeptClear(kept, _extent(width), parse_spot(at))
    raise QuantityError(f"found {what!r}; {ALLOWED_KEPT}")


def _checked(text: object, allowed: str) -> str:
    if not isinstance(text, str):
        raise QuantityError(f"a text is wanted; {allowed}")
    if len(text) > LONGEST:
        raise QuantityError(f"the text is longer than {LONGEST} characters; {allowed}")
    return text.strip()


def _halves(text: object, allowed: str) -> tuple[str, str]:
    """Return what stands before and behind the word `at`."""
    parts = _AT.split(_checked(text, allowed))
    if len(parts) != 2:
        raise QuantityError(f"one `at` is wanted, with a place behind it; {allowed}")
    return parts[0], parts[1]


def _length(text: str) -> Quantity:
    """Return a length of either sign; nought needs no unit."""
    plain = text.strip()
    return _exact(parse_quantity("0 mm" if _ZERO.fullmatch(plain) else plain, dimension="length"))


def _extent(text: str) -> Quantity:
    return _exact(parse_quantity(text.strip(), dimension="length", positive=True))


def _exact(quantity: Quantity) -> Quantity:
    if quantity.spread != "none":
        raise QuantityError("a length without a spread is wanted here: it is a place to cut at")
    return quantity
