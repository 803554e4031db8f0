"""The dimensions and units a job may be written in, as tables, and exact conversion to SI.

Scales are exact rational numbers, so that a text is rounded once, when it becomes a float:
SI = (number + offset) * scale. The tables are data/dimensions.csv and data/units.csv.
"""

import difflib
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache

from conewright.data_files import data_rows
from conewright.errors import QuantityError
from conewright.physics.basics.arrays import Real

__all__ = [
    "MM",
    "Dimension",
    "Unit",
    "dimension_of",
    "find_unit",
    "nearest_units",
    "to_unit",
    "unit_named",
    "units_of",
]

MM = 1e3
"""Millimetres in a metre."""

# A longer unknown unit is no slip of the pen, and nothing is suggested for it.
LONGEST_SLIP = 12

# One spelling per sign: both omegas, both micros, degree and masculine ordinal, raised digits.
_SIGNS = str.maketrans(
    {
        "Ω": "ohm",
        "\u2126": "ohm",
        "µ": "u",
        "\u03bc": "u",
        "°": "deg",
        "º": "deg",
        "\u2103": "degC",
        "\u2109": "degF",
        "²": "2",
        "³": "3",
        "⁴": "4",
        "ⁿ": "^n",
        "\u2044": "/",
    }
)


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity.

    `phrase` names it in a sentence ("a length"); `examples` show how it may be written;
    `ratio` says that ratios of its values mean something, so that a percentage is allowed and
    a range of positive values is spread evenly in the logarithm.
    """

    name: str
    phrase: str
    ratio: bool
    examples: str


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of one dimension: SI = (number + offset) * scale, all exact.

    A scale of 0 marks a gauge: its numbers stand for table values (AWG), not for multiples.
    """

    dimension: str
    symbol: str
    pretty: str
    scale: Fraction
    offset: Fraction

    def si(self, number: Fraction) -> Fraction:
        """The SI value of a number written in this unit."""
        return (number + self.offset) * self.scale

    def number(self, si: Fraction) -> Fraction:
        """The number in this unit of an SI value."""
        return si / self.scale - self.offset


def _exact(text: str) -> Fraction:
    above, _, below = text.partition("/")
    return Fraction(above) / Fraction(below or "1")


@cache
def _dimensions() -> dict[str, Dimension]:
    return {
        row["dimension"]: Dimension(
            row["dimension"], row["article"], row["ratio"] == "yes", row["examples"]
        )
        for row in data_rows("job.quantity", "dimensions.csv")
    }


@cache
def _spellings() -> dict[str, dict[str, Unit]]:
    """Every accepted spelling of every unit, by dimension; the symbol itself comes first."""
    table: dict[str, dict[str, Unit]] = {name: {} for name in _dimensions()}
    for row in data_rows("job.quantity", "units.csv"):
        unit = Unit(
            row["dimension"],
            row["unit"],
            row["pretty"],
            _exact(row["scale"]),
            _exact(row["offset"]),
        )
        also = row["also"].split("|") if row["also"] else []
        for spelling in (unit.symbol, *also):
            table[unit.dimension][spelling] = unit
    return table


def dimension_of(name: str) -> Dimension:
    """The dimension of that name; raises QuantityError for a name that is none."""
    try:
        return _dimensions()[name]
    except KeyError:
        raise QuantityError(
            f"there is no dimension {name!r}; there are {', '.join(_dimensions())}"
        ) from None


def units_of(dimension: str) -> tuple[Unit, ...]:
    """The units of a dimension, in the order of the table (the first is the usual one)."""
    dimension_of(dimension)
    return tuple(dict.fromkeys(_spellings()[dimension].values()))


@lru_cache(maxsize=1024)
def _plain(text: str) -> str:
    """One spelling per unit text: signs mapped, single spaces, no space around a slash."""
    text = " ".join(text.translate(_SIGNS).split())
    text = re.sub(r"(?<=[A-Za-z]) ?[·⋅*] ?(?=[A-Za-z])", " ", text)
    text = re.sub(r" ?/ ?", "/", text)
    return re.sub(r"\^([23])(?![0-9])", r"\1", text)


def find_unit(text: str, *, dimension: str) -> Unit | None:
    """The unit of `dimension` written as `text`, or None. Case counts: mm is not MM."""
    return _spellings()[dimension].get(_plain(text))


def unit_named(symbol: str, *, dimension: str) -> Unit:
    """The unit of `dimension` written as `symbol`; raises QuantityError if it has no such unit."""
    phrase = dimension_of(dimension).phrase
    unit = find_unit(symbol, dimension=dimension)
    if unit is None:
        allowed = ", ".join(unit.symbol or "none" for unit in units_of(dimension))
        raise QuantityError(f"{phrase} has no unit {symbol!r}; its units are {allowed}")
    return unit


def nearest_units(text: str, *, dimension: str) -> str:
    """What an unknown unit may have been meant for, as a clause; "" if nothing is near."""
    plain = _plain(text)
    if not plain or len(plain) > LONGEST_SLIP:
        return ""
    hints = [
        f"{plain} is a unit of {dimension_of(other).phrase}"
        for other, spellings in _spellings().items()
        if plain in spellings and other != dimension
    ][:1]
    near = _near(plain, dimension, slips=not hints)
    if near:
        hints.append(f"did you mean {' or '.join(near)}?")
    return ", ".join(hints)


def _near(plain: str, dimension: str, *, slips: bool) -> list[str]:
    """At most two units: of the same letters, else begun or ended so, else slips of the pen."""
    units = {s: unit.symbol for s, unit in _spellings()[dimension].items() if s and s.isascii()}
    folded = plain.casefold().replace(" ", "")
    near = [s for s in units if s.casefold().replace(" ", "") == folded]
    near = near or [s for s in units if s.casefold().startswith(folded) or s.endswith(plain)]
    if slips and not near:
        near = difflib.get_close_matches(plain, units, cutoff=0.5)
    return list(dict.fromkeys(units[s] for s in near))[:2]


def to_unit(si: Real, *, dimension: str, unit: str) -> Real:
    """SI values as numbers in a unit.

    Args: si: [SI unit of the dimension], any shape; unit: a spelling of one of its units.
    Returns: numbers in that unit, same shape. Raises: QuantityError for an unknown unit or a gauge.
    """
    found = unit_named(unit, dimension=dimension)
    if not found.scale:
        raise QuantityError(f"{found.symbol} sizes are no multiples of a unit")
    return si / float(found.scale) - float(found.offset)
