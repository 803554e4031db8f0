"""A quantity as a repairer writes it: a number with its unit and, if known, its spread.

The grammar is strict: the whole text must match, the unit must be known and of the demanded
dimension. What could be read in two ways is refused with what is allowed, never guessed.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import inf, isfinite, nextafter, sqrt
from typing import Literal

from conewright.errors import QuantityError
from conewright.job.quantity.numerals import BLANKS, read_numeral, rounded, short, shortest
from conewright.job.quantity.units import (
    Unit,
    dimension_of,
    find_unit,
    nearest_units,
    unit_named,
    units_of,
)
from conewright.physics.electrics.conductor import LARGEST_AREA, awg_area

__all__ = [
    "LONGEST",
    "Quantity",
    "display",
    "format_quantity",
    "parse_quantity",
    "times",
    "with_unit",
]

Spread = Literal["none", "plus-minus", "range", "range-typical"]

# A longer text is no quantity. Nothing in a vehicle is outside these sizes in SI units.
LONGEST = 120
SMALLEST, LARGEST = 1e-30, 1e30
COLDEST = 1e-3
_GAUGES = {"4/0": -3, "3/0": -2, "2/0": -1, "1/0": 0} | {str(size): size for size in range(41)}
_GAUGES |= {"00": -1, "000": -2, "0000": -3}
AWG_ALONE = "an AWG size is one of 4/0 to 40, without a spread"
_PLUS_MINUS = re.compile(r"±|\+/[-\u2212]")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity with its spread.

    value, low, high: [SI unit of the dimension] central value and the ends of the spread. For
    "plus-minus" the ends hold 95 % between them; for a range they are the 5 % and 95 % points.
    unit: the unit it is written in. Raises QuantityError for values that no text could give.
    """

    value: float
    dimension: str
    unit: str
    low: float | None = None
    high: float | None = None
    spread: Spread = "none"

    def __post_init__(self) -> None:
        unit = unit_named(self.unit, dimension=self.dimension)
        # Whatever the spelling, the usual symbol is kept; a percentage is kept as a plain number.
        object.__setattr__(self, "unit", "" if unit.symbol == "%" else unit.symbol)
        ends = [end for end in (self.low, self.high) if end is not None]
        if len(ends) != (0 if self.spread == "none" else 2):
            raise QuantityError(f"the spread {self.spread!r} does not go with {len(ends)} ends")
        if not unit.scale and (ends or _gauge(self.value) is None):
            raise QuantityError(AWG_ALONE)
        for value in (self.value, *ends):
            _hold_representable(value, self.dimension)
        _hold_order(self)

    @classmethod
    def of(
        cls,
        value: float | None,
        dimension: str,
        unit: str | None = None,
        *,
        margin: float | None = None,
        low: float | None = None,
        high: float | None = None,
    ) -> "Quantity":
        """A quantity from SI values.

        Args: value: [SI], None for the middle of a range; unit: to write it in (None: the usual
        one); margin: [SI] 95 % lie within ± this; low, high: [SI] 5 % and 95 % points.
        Raises: QuantityError for values that are not finite or not in order.
        """
        symbol = units_of(dimension)[0].symbol if unit is None else unit
        if low is not None and high is not None and margin is None:
            low, high = float(low), float(high)
            if value is None:
                return cls(_middle(low, high, dimension), dimension, symbol, low, high, "range")
            return cls(float(value), dimension, symbol, low, high, "range-typical")
        if value is None or low is not None or high is not None:
            raise QuantityError("a value, a value and its margin, or both ends are wanted")
        if margin is None:
            return cls(float(value), dimension, symbol)
        return _plus_minus(float(value), float(margin), dimension, symbol)

    def __str__(self) -> str:
        return format_quantity(self)


def _hold_representable(value: float, dimension: str) -> None:
    if not isfinite(value):
        raise QuantityError(f"{value} is no value of {dimension_of(dimension).phrase}")
    if value and not SMALLEST <= abs(value) <= LARGEST:
        raise QuantityError(f"{value:.3g} (in SI units) is out of all proportion")
    if dimension == "temperature" and value < COLDEST:
        raise QuantityError("that is not above absolute zero, -273.15 degC")
    if dimension == "conductor" and value > LARGEST_AREA:
        raise QuantityError(f"the tables of wires end at {1e6 * LARGEST_AREA:.0f} mm2")


def _hold_order(quantity: Quantity) -> None:
    value, low, high = quantity.value, quantity.low, quantity.high
    if low is None or high is None:
        return
    if quantity.spread == "plus-minus":
        margin = _margin(value, low, high)
        if margin < 0 or not _spans(value, margin, low, high):
            raise QuantityError("a margin after ± is not negative, and the same on both sides")
    elif not low < high or not low <= value <= high:
        raise QuantityError("a range goes from low to high, as in 60..80 or 60..70..90")
    elif quantity.spread == "range" and value != _middle(low, high, quantity.dimension):
        raise QuantityError("a range without a typical value has its value in the middle")


def _middle(low: float, high: float, dimension: str) -> float:
    """The centre of a range: geometric where ratios mean something and all is positive."""
    if min(low, high) > 0 and dimension_of(dimension).ratio:
        return min(max(sqrt(low * high), low), high)
    return low + (high - low) / 2


def _plus_minus(value: float, margin: float, dimension: str, unit: str) -> Quantity:
    if not 0 <= margin <= LARGEST:
        raise QuantityError("the margin after ± is negative or out of all proportion")
    return Quantity(value, dimension, unit, value - margin, value + margin, "plus-minus")


def _spans(value: float, margin: float, low: float, high: float) -> bool:
    return value - margin == low and value + margin == high


def _margin(value: float, low: float, high: float) -> float:
    """The margin that gives exactly these ends after rounding, where there is one."""
    exact = Fraction(value)
    (low_from, low_to), (high_from, high_to) = _edges(low), _edges(high)
    least = max(Fraction(0), exact - low_to, high_from - exact)
    # The middle of all such margins: it rounds to one of them, were it the only one.
    return float((least + min(exact - low_from, high_to - exact)) / 2)


def _edges(number: float) -> tuple[Fraction, Fraction]:
    """The ends of the interval of reals that round to this float."""
    exact = Fraction(number)
    below, above = nextafter(number, -inf), nextafter(number, inf)
    return (exact + Fraction(below)) / 2, (exact + Fraction(above)) / 2


def _gauge(area: float) -> str | None:
    return next((text for text, size in _GAUGES.items() if awg_area(size) == area), None)


def times(quantity: Quantity, factor: float, *, dimension: str | None = None) -> Quantity:
    """A quantity with its whole spread multiplied.

    Args: factor: [SI unit of the new dimension per SI unit of the old], above 0; dimension: of the
    result, in its usual unit; None keeps dimension and unit.
    """
    new = quantity.dimension if dimension is None else dimension
    unit = quantity.unit if dimension is None else None
    value = quantity.value * factor
    if quantity.low is None or quantity.high is None:
        return Quantity.of(value, new, unit)
    if quantity.spread == "plus-minus":
        return Quantity.of(value, new, unit, margin=(quantity.high - quantity.value) * factor)
    middle = None if quantity.spread == "range" else value
    return Quantity.of(middle, new, unit, low=quantity.low * factor, high=quantity.high * factor)


# Reading


def parse_quantity(
    text: str, *, dimension: str, positive: bool = False, nonnegative: bool = False
) -> Quantity:
    """Read a quantity of the demanded dimension.

    Args: text: `4.7 uF`, `62 mm ± 1 mm`, `60..80 Hz`, `60..70..90 Hz`, `6 1/2 in`, `18 AWG`;
    positive: refuse zero and less (of a range: its low end too); nonnegative: refuse less than 0.
    Raises: QuantityError that says what was found and what is allowed; nothing else.
    """
    kind = dimension_of(dimension)
    try:
        quantity = _read(text, dimension)
        _hold_sign(quantity, positive=positive, nonnegative=nonnegative)
    except QuantityError as error:
        raise QuantityError(f"{error}; {kind.phrase} is written like {kind.examples}") from None
    return quantity


def with_unit(text: str, *, dimension: str, like: str = "") -> str:
    """Return a quantity as typed, with the unit that it lacks behind it.

    `122 mm +/- 1` takes the unit it has already, a bare `122` that of another quantity, `like`.
    What cannot be read so stays as it is.
    """
    number = _PLUS_MINUS.split(text)[0]
    for said in (text, *(f"{text.strip()} {_unit_in(each, dimension)}" for each in (number, like))):
        try:
            parse_quantity(said, dimension=dimension)
        except QuantityError:
            continue
        return said
    return text


def _unit_in(text: str, dimension: str) -> str:
    """Return the unit that a quantity is written in; empty where it is none."""
    try:
        return _read(text, dimension).unit
    except QuantityError:
        return ""


def _hold_sign(quantity: Quantity, *, positive: bool, nonnegative: bool) -> None:
    ranged = quantity.low is not None and quantity.spread != "plus-minus"
    least = quantity.low if ranged and quantity.low is not None else quantity.value
    if positive and least <= 0:
        raise QuantityError("it must be above zero")
    if nonnegative and least < 0:
        raise QuantityError("it must not be below zero")


def _read(text: object, dimension: str) -> Quantity:
    if not isinstance(text, str):
        raise QuantityError("a text with a unit is wanted")
    if len(text) > LONGEST:
        raise QuantityError(f"the text is longer than {LONGEST} characters")
    return _quantity_of(text, dimension)


@lru_cache(maxsize=4096)
def _quantity_of(text: str, dimension: str) -> Quantity:
    """Return what a text says; the tables say the same few over and over."""
    sides, ends = _PLUS_MINUS.split(text), text.split("..")
    if len(sides) == 2 and len(ends) == 1:
        return _read_plus_minus(*sides, dimension=dimension)
    if len(ends) in (2, 3) and len(sides) == 1 and "..." not in text:
        return _read_range([_read_side(end, dimension) for end in ends], dimension)
    if len(sides) > 1 or len(ends) > 1:
        raise QuantityError("one spread may be given: a ± b, low..high or low..typical..high")
    side = _read_side(text, dimension, alone=True)
    unit = side.unit or _unit_one(dimension)
    return Quantity(side.si(unit), dimension, unit.symbol)


@dataclass(frozen=True, slots=True)
class _Side:
    """One number and its unit, None where no unit is written beside it."""

    number: Fraction
    unit: Unit | None
    fraction: bool = False

    def si(self, unit: Unit) -> float:
        """The SI value in that unit."""
        if not unit.scale:
            return float(awg_area(int(self.number)))
        return float(unit.si(self._checked(unit)))

    def difference(self, unit: Unit) -> Fraction:
        """The SI value of a difference in that unit: a scale's zero point plays no part."""
        return self._checked(unit) * unit.scale

    def _checked(self, unit: Unit) -> Fraction:
        if self.fraction and unit.symbol not in ("in", "ft"):
            raise QuantityError("a fraction is read only with inches or feet, as in 6 1/2 in")
        return self.number


def _read_side(text: str, dimension: str, *, alone: bool = False) -> _Side:
    text = text.strip(BLANKS)
    if dimension == "conductor" and text.upper().endswith("AWG"):
        if not alone:
            raise QuantityError(AWG_ALONE)
        return _Side(_read_gauge(text), unit_named("AWG", dimension=dimension))
    numeral = read_numeral(text, dimension=dimension)
    unit = _read_unit(numeral.rest, dimension) if numeral.rest else None
    return _Side(numeral.number, unit, numeral.fraction)


def _read_plus_minus(left: str, right: str, *, dimension: str) -> Quantity:
    side, right = _read_side(left, dimension), right.strip(BLANKS)
    if right.startswith(("+", "-", "\u2212")):
        raise QuantityError("after ± comes a number without a sign")
    if right.endswith("%"):
        unit = side.unit or _unit_one(dimension)
        value = side.si(unit)
        _hold_representable(value, dimension)
        margin = float(abs(Fraction(value)) * _read_percentage(right, unit))
        return _plus_minus(value, margin, dimension, unit.symbol)
    margin_side = _read_side(right, dimension)
    if margin_side.unit is None and side.unit is not None:
        raise QuantityError("a unit or % is missing after ±")
    margin_unit = margin_side.unit or _unit_one(dimension)
    unit = side.unit or margin_unit
    margin = float(margin_side.difference(margin_unit))
    return _plus_minus(side.si(unit), margin, dimension, unit.symbol)


def _read_percentage(text: str, unit: Unit) -> Fraction:
    if unit.symbol == "%":
        raise QuantityError("a percentage of a percentage may mean two things, 0.5 ± 0.05 does not")
    if not dimension_of(unit.dimension).ratio:
        raise QuantityError(f"a percentage means nothing here, ± 1 {unit.symbol} would")
    share = _read_side(text, "number")
    return share.difference(share.unit or _unit_one("number"))


def _read_range(sides: list[_Side], dimension: str) -> Quantity:
    last = sides[-1].unit
    written = {side.unit.symbol for side in sides if side.unit is not None}
    missing = any(side.unit is None for side in sides)
    if missing and (len(written) > 1 or (written and last is None)):
        raise QuantityError("the unit stands at the end of a range, or after each number")
    unit = last or _unit_one(dimension)
    low, *typical, high = (side.si(side.unit or unit) for side in sides)
    value = typical[0] if typical else None
    return Quantity.of(value, dimension, unit.symbol, low=low, high=high)


def _read_gauge(text: str) -> Fraction:
    size = _GAUGES.get(text[: -len("AWG")].strip(BLANKS))
    if size is None:
        raise QuantityError(AWG_ALONE)
    return Fraction(size)


def _read_unit(text: str, dimension: str) -> Unit:
    unit = find_unit(text, dimension=dimension)
    if unit is None:
        hint = nearest_units(text, dimension=dimension)
        phrase = dimension_of(dimension).phrase
        raise QuantityError(
            f'the unit "{short(text)}" is not known for {phrase}' + (f" ({hint})" if hint else "")
        )
    return unit


def _unit_one(dimension: str) -> Unit:
    """The unit of a plain number; raises QuantityError where a number needs its unit."""
    unit = find_unit("", dimension=dimension)
    if unit is None:
        raise QuantityError("the unit is missing")
    return unit


# Writing


def format_quantity(quantity: Quantity) -> str:
    """Write a quantity so that reading it back gives exactly the same; in its own unit."""
    unit = unit_named(quantity.unit, dimension=quantity.dimension)
    if not unit.scale:
        return f"{_gauge(quantity.value)} AWG"
    texts = [_number(value, unit) for value in _written_values(quantity)]
    text = f"{'..'.join(texts)} {unit.symbol}".rstrip()
    if quantity.spread == "plus-minus":
        text = f"{text} ± {_margin_number(quantity, unit)} {unit.symbol}".rstrip()
    return text


def _written_values(quantity: Quantity) -> list[float]:
    """The values that stand in the text, in order."""
    low, high = quantity.low, quantity.high
    if low is None or high is None or quantity.spread == "plus-minus":
        return [quantity.value]
    return [low, high] if quantity.spread == "range" else [low, quantity.value, high]


def _number(value: float, unit: Unit) -> str:
    return shortest(unit.number(Fraction(value)), lambda number: float(unit.si(number)) == value)


def _margin_number(quantity: Quantity, unit: Unit) -> str:
    value, low, high = quantity.value, quantity.low, quantity.high
    if low is None or high is None:
        raise QuantityError("a margin after ± needs both its ends")
    return shortest(
        Fraction(_margin(value, low, high)) / unit.scale,
        lambda number: _spans(value, float(number * unit.scale), low, high),
    )


def display(value: float, *, dimension: str, unit: str | None = None, digits: int = 3) -> str:
    """A value for the eye: rounded to `digits`, in `unit` (None: the usual one), as in `4.70 µF`.

    Args: value: [SI unit of the dimension]. Raises: QuantityError for an unknown unit.
    """
    found = units_of(dimension)[0] if unit is None else unit_named(unit, dimension=dimension)
    if not found.scale:
        gauge = _gauge(value)
        if gauge is not None:
            return f"{gauge} AWG"
        found = units_of(dimension)[0]
    if not isfinite(value):
        return f"{value} {found.pretty}".rstrip()
    return f"{rounded(found.number(Fraction(value)), digits)} {found.pretty}".rstrip()
