"""The nominal size of a loudspeaker: round by its diameter, or oval by its two axes."""

import re
from dataclasses import dataclass

from conewright.errors import QuantityError
from conewright.job.quantity.numerals import BLANKS, read_numeral
from conewright.job.quantity.values import LONGEST, Quantity, format_quantity, parse_quantity

__all__ = ["Size", "parse_size"]

ALLOWED = "a size is written like 165 mm, 6 1/2 in, 6x9 in or 152 x 229 mm"
_CROSS = re.compile("[xX×]")


@dataclass(frozen=True, slots=True)
class Size:
    """A nominal size; both axes are the same for a round driver. Raises QuantityError."""

    short_axis: Quantity
    long_axis: Quantity

    def __post_init__(self) -> None:
        for axis in (self.short_axis, self.long_axis):
            if axis.dimension != "length" or axis.spread != "none":
                raise QuantityError(f"a size is nominal, a length without a spread; {ALLOWED}")
        if not 0.0 < self.minor <= self.major:
            raise QuantityError(
                f"the axes of a size are above zero, the short one first; {ALLOWED}"
            )

    @property
    def minor(self) -> float:
        """The short axis, or the diameter [m]."""
        return self.short_axis.value

    @property
    def major(self) -> float:
        """The long axis, or the diameter [m]."""
        return self.long_axis.value

    @property
    def oval(self) -> bool:
        """Whether the two axes differ."""
        return self.minor != self.major

    def __str__(self) -> str:
        """The size as `parse_size` reads it back: `165 mm`, `6 x 9 in`."""
        long_text = format_quantity(self.long_axis)
        if not self.oval:
            return long_text
        short_text = format_quantity(self.short_axis)
        if self.short_axis.unit == self.long_axis.unit:
            short_text = short_text.removesuffix(f" {self.short_axis.unit}")
        return f"{short_text} x {long_text}"


def parse_size(text: str) -> Size:
    """Read a nominal size; a unit at the end holds for both axes.

    Raises: QuantityError that says what was found and what is allowed; nothing else.
    """
    if not isinstance(text, str):
        raise QuantityError(f"a text with a unit is wanted; {ALLOWED}")
    if len(text) > LONGEST:
        raise QuantityError(f"the text is longer than {LONGEST} characters; {ALLOWED}")
    sides = _CROSS.split(text)
    if len(sides) > 2:
        raise QuantityError(f"a size has one axis or two; {ALLOWED}")
    last = parse_quantity(sides[-1], dimension="length", positive=True)
    first = _first_axis(sides[0], last.unit) if len(sides) == 2 else last
    short_axis, long_axis = sorted((first, last), key=lambda axis: axis.value)
    # Two spellings of one diameter are one round size.
    return Size(long_axis if short_axis.value == long_axis.value else short_axis, long_axis)


def _first_axis(text: str, unit: str) -> Quantity:
    text = text.strip(BLANKS)
    if not read_numeral(text, dimension="length").rest:
        text = f"{text} {unit}"
    return parse_quantity(text, dimension="length", positive=True)
