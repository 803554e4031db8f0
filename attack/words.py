"""Texts for the parsers, made by chance: right ones with what they mean, and spoilt ones.

What a right text means is worked out here from the numbers that were chosen, with decimals and a
table of units of its own, never with the program's.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Context, Decimal
from fractions import Fraction
from math import isclose, sqrt
from typing import Any

from conewright.job.quantity.numerals import Numeral, read_numeral
from conewright.job.quantity.values import Quantity, format_quantity, parse_quantity

__all__ = [
    "SCALES",
    "Said",
    "gap",
    "inches",
    "number",
    "numeral",
    "quantity",
    "same",
    "spoilt",
    "temperature",
    "with_unit",
]

CLOSE = 1e-13
"""Of numbers that were rounded once."""

# NIST SP 811 and the SI Brochure, typed in anew: exact but for a degree Fahrenheit.
SCALES: dict[str, dict[str, str]] = {
    "length": {"m": "1", "cm": "0.01", "mm": "0.001", "um": "0.000001", "in": "0.0254"},
    "area": {"m2": "1", "cm2": "0.0001", "mm²": "0.000001", "in2": "0.00064516"},
    "volume": {"L": "0.001", "m3": "1", "cc": "0.000001", "ft3": "0.028316846592"},
    "mass": {"g": "0.001", "kg": "1", "lb": "0.45359237", "oz": "0.028349523125"},
    "resistance": {"ohm": "1", "Ω": "1", "kohm": "1000", "mohm": "0.001", "MΩ": "1000000"},
    "inductance": {"mH": "0.001", "uH": "0.000001", "µH": "0.000001", "H": "1"},
    "capacitance": {"uF": "0.000001", "µF": "0.000001", "nF": "0.000000001", "mfd": "0.000001"},
    "voltage": {"V": "1", "mV": "0.001", "kV": "1000", "volts": "1"},
    "current": {"A": "1", "mA": "0.001", "uA": "0.000001"},
    "power": {"W": "1", "kW": "1000", "mW": "0.001"},
    "frequency": {"Hz": "1", "kHz": "1000", "MHz": "1000000"},
    "charge": {"Ah": "3600", "mAh": "3.6", "C": "1"},
    "time": {"s": "1", "ms": "0.001", "min": "60", "h": "3600"},
    "pressure": {"Pa": "1", "kPa": "1000", "mbar": "100", "bar": "100000"},
    "force-factor": {"T m": "1", "Tm": "1", "N/A": "1", "T·m": "1"},
    "compliance": {"mm/N": "0.001", "um/N": "0.000001"},
    "number": {"": "1", "%": "0.01"},
}
OFFSETS = {"K": ("1", "0"), "degC": ("1", "273.15"), "°C": ("1", "273.15")}
EXACT = Context(prec=120)

ODD = (
    *"\0\x07\x1b\x7f\u202e\u200b\ufeff\ud800\udcff\u0664²½⅞⁄−±Ω℃µ×·‐…\u00a0\u2009\u2028",
    *"\t\r\n \"'\\#=,.:;{}[]()|+-*?@/%<>&$^~`_",
    *("..", "...", "1e999", "1e-61", "NaN", "inf", "-0", "0x", "1_0", "9" * 400, "+/-", "wire("),
    *("[[reading]]\n", '"""', "'''", "\r\n", "= [", "at", "door-*", "null", "true", " " * 50),
)


@dataclass(frozen=True, slots=True)
class Said:
    """A text, what is to read it, and whether what was read is right; None where nobody knows."""

    text: str
    read: Callable[[str], object]
    right: Callable[[Any], bool] | None


def spoilt(said: Said, chance: random.Random) -> Said:
    """Return a text with something done to it; nobody knows then what it means."""
    text = said.text
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(text) + 1)
        end = min(len(text), at + chance.choice((1, 1, 2, 5)))
        odd = chance.choice(ODD)
        text = chance.choice(
            (
                text[:at] + odd + text[at:],
                text[:at] + odd + text[end:],
                text[:at] + text[end:],
                text[:at] + text[at:end] * chance.choice((2, 3, 40)) + text[end:],
                text[end:] + text[:end],
            )
        )
    return Said(text, said.read, None)


def same(one: float, other: float) -> bool:
    return one == other or isclose(one, other, rel_tol=CLOSE, abs_tol=0.0)


# --- Numbers and quantities -----------------------------------------------------------------------


def number(chance: random.Random, *, signed: bool = False) -> tuple[str, Decimal]:
    """Return a number above zero as somebody may write it, and its value."""
    whole = str(chance.randrange(10 ** chance.randrange(1, 5)))
    part = "".join(chance.choices("0123456789", k=chance.choice((0, 0, 1, 2, 4, 6))))
    if not (whole + part).strip("0"):
        whole = "7"
    # Three digits behind a comma may be thousands.
    mark = "," if part and len(part) != 3 and chance.random() < 0.3 else "."
    text, value = whole, Decimal(f"{whole}.{part or '0'}")
    if part:
        text += mark + part
    if chance.random() < 0.1:
        power = chance.randrange(-6, 7)
        text, value = f"{text}{chance.choice('eE')}{power}", value.scaleb(power, EXACT)
    if signed and chance.random() < 0.3:
        return chance.choice("-\u2212") + text, -value
    return text, value


def gap(chance: random.Random) -> str:
    return chance.choice(("", " ", " ", " ", "\u00a0", "  "))


def with_unit(digits: str, unit: str, chance: random.Random) -> str:
    return f"{digits}{gap(chance)}{unit}" if unit else digits


@dataclass(frozen=True, slots=True)
class _Wanted:
    value: float
    low: float | None = None
    high: float | None = None

    def __call__(self, read: Quantity) -> bool:
        pairs = ((self.value, read.value), (self.low, read.low), (self.high, read.high))
        for wanted, found in pairs:
            if wanted is None or found is None:
                if wanted is not found:
                    return False
            # Where a margin is as large as the value, an end may come near nought.
            elif not isclose(wanted, found, rel_tol=CLOSE, abs_tol=CLOSE * abs(self.value)):
                return False
        return True


def _quantity(dimension: str) -> Callable[[str], object]:
    def read(text: str) -> Quantity:
        found = parse_quantity(text, dimension=dimension)
        again = parse_quantity(format_quantity(found), dimension=dimension)
        if again != found:
            raise AssertionError(f"{found!r} is written as {format_quantity(found)!r}")
        return found

    return read


def quantity(chance: random.Random) -> Said:
    """Return a quantity with its unit and perhaps a spread."""
    dimension = chance.choice(tuple(SCALES))
    unit = chance.choice(tuple(SCALES[dimension]))
    text, wanted = _spread(chance, unit, Decimal(SCALES[dimension][unit]))
    return Said(text, _quantity(dimension), wanted)


def _spread(chance: random.Random, unit: str, scale: Decimal) -> tuple[str, _Wanted]:
    digits, value = number(chance)
    si = EXACT.multiply(value, scale)
    way = chance.randrange(6)
    if way == 0 and unit != "%":
        margin, size = number(chance)
        both = with_unit(digits, unit, chance) if chance.random() < 0.5 else digits
        text = f"{both} {chance.choice(('±', '+/-'))} {with_unit(margin, unit, chance)}"
        off = float(EXACT.multiply(size, scale))
        return text, _Wanted(float(si), float(si) - off, float(si) + off)
    if way == 1 and unit != "%":
        share = chance.choice((1, 5, 10, 20))
        off = float(EXACT.multiply(si, Decimal(share) / 100))
        text = f"{with_unit(digits, unit, chance)} ± {share} %"
        return text, _Wanted(float(si), float(si) - off, float(si) + off)
    if way in (2, 3):
        return _range(chance, unit, scale)
    return with_unit(digits, unit, chance), _Wanted(float(si))


def _range(chance: random.Random, unit: str, scale: Decimal) -> tuple[str, _Wanted]:
    numbers = sorted((number(chance) for _ in range(chance.choice((2, 3)))), key=lambda n: n[1])
    values = [float(EXACT.multiply(value, scale)) for _, value in numbers]
    if values[0] == values[-1]:
        numbers[-1] = ("99999", Decimal(99999))
        values[-1] = float(EXACT.multiply(Decimal(99999), scale))
    texts = [text for text, _ in numbers]
    each = chance.random() < 0.3
    ends = [with_unit(text, unit, chance) if each else text for text in texts[:-1]]
    text = "..".join([*ends, with_unit(texts[-1], unit, chance)])
    middle = values[1] if len(values) == 3 else sqrt(values[0] * values[1])
    return text, _Wanted(middle, values[0], values[-1])


def temperature(chance: random.Random) -> Said:
    """Return a temperature, whose scales have zeros of their own."""
    digits, value = number(chance, signed=True)
    if value < -200:
        digits, value = "-200", Decimal(-200)
    # A thousandth of a kelvin is as cold as it gets.
    unit = chance.choice(tuple(OFFSETS)) if value > 1 else "degC"
    scale, zero = (Decimal(each) for each in OFFSETS[unit])
    si = float(EXACT.multiply(EXACT.add(value, zero), scale))
    return Said(with_unit(digits, unit, chance), _quantity("temperature"), _Wanted(si))


def inches(chance: random.Random) -> Said:
    """Return an inch fraction."""
    whole, below = chance.randrange(1, 40), chance.choice((2, 4, 8, 16, 32, 64))
    above = chance.randrange(1, below)
    text = f"{whole}{chance.choice((' ', '-'))}{above}/{below}"
    if (above, below) == (1, 2) and chance.random() < 0.5:
        text = f"{whole}½"
    si = (Decimal(whole) + Decimal(above) / Decimal(below)) * Decimal("0.0254")
    unit = chance.choice(("in", '"', "inch", "″"))
    return Said(f"{text} {unit}", _quantity("length"), _Wanted(float(si)))


_MARKS = {"R": ("resistance", "ohm"), "k": ("resistance", "kohm"), "u": ("capacitance", "uF")}


def numeral(chance: random.Random) -> Said:
    """Return a number alone, or the marking of a component (IEC 60062)."""
    if chance.random() < 0.4:
        letter = chance.choice(tuple(_MARKS))
        dimension, unit = _MARKS[letter]
        whole, part = chance.randrange(1000), chance.randrange(1, 100)
        value = Decimal(f"{whole}.{part}")
        return Said(
            f"{whole}{letter}{part}",
            lambda text: read_numeral(text, dimension=dimension),
            lambda found: found == Numeral(Fraction(value), unit),
        )
    text, value = number(chance, signed=True)
    return Said(
        text,
        lambda text: read_numeral(text, dimension="length"),
        lambda found: found.rest == "" and same(float(found.number), float(value)),
    )
