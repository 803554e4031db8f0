"""How a number may be written in a job, read exactly; and the shortest way to write one.

Decimal point or comma, inch fractions (`6 1/2`, `6-1/2`, `1/2`, `6½`), a plain power of ten
(`1e-3`) and, for resistors and capacitors, the marking of IEC 60062 (`4R7`, `4u7`).
Anything else is refused: a text with two possible meanings is never given one of them.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction

from conewright.errors import QuantityError

__all__ = ["BLANKS", "Numeral", "read_numeral", "rounded", "short", "shortest"]

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_DENOMINATORS = (2, 4, 8, 16, 32, 64)

# A number must end where no digit, separator or fraction bar follows.
_END = r"(?![0-9.,/])"
BLANKS = " \t\u00a0\u2009\u202f"
_SPACE = f"[{BLANKS}]"
_FRACTION = re.compile(
    rf"(?P<sign>[-+]?)(?:(?P<whole>[0-9]{{1,6}})(?:{_SPACE}{{1,3}}|-))?"
    rf"(?P<above>[0-9]{{1,2}})/(?P<below>[0-9]{{1,2}}){_END}"
)
_DECIMAL = re.compile(
    r"(?P<sign>[-+]?)(?P<whole>[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]+))?"
    rf"(?:[eE](?P<power>[-+]?[0-9]{{1,3}}))?{_END}"
)
_BIGGEST_POWER = 60

# The letter stands where the decimal point is (IEC 60062).
_MARKS = {
    "resistance": {"R": "ohm", "k": "kohm", "K": "kohm", "M": "Mohm"},
    "capacitance": {"p": "pF", "n": "nF", "u": "uF", "µ": "uF", "\u03bc": "uF"},
}
_MARKED = re.compile(r"(?P<whole>[0-9]*)(?P<letter>[^0-9.,])(?P<part>[0-9]+)")


@dataclass(frozen=True, slots=True)
class Numeral:
    """A number at the start of a text, the text after it, and whether it is an inch fraction."""

    number: Fraction
    rest: str
    fraction: bool = False


def read_numeral(text: str, *, dimension: str) -> Numeral:
    """Read the number at the start of `text` exactly.

    Args: text: without blanks at its ends; dimension: what the number is of.
    Raises: QuantityError where there is no number, or one with two possible meanings.
    """
    text = _plain_fractions(text).replace("\u2212", "-")
    marked = _read_marked(text, _MARKS.get(dimension, {}))
    if marked is not None:
        return marked
    found = _FRACTION.match(text)
    if found is not None:
        return Numeral(_mixed(found), _rest(text, found), fraction=True)
    found = _DECIMAL.match(text)
    if found is not None and (found["whole"] or found["part"]):
        return Numeral(_decimal(found), _rest(text, found))
    if re.match(r"[-+]?[.,]?[0-9]", text):
        raise QuantityError(
            f'the number in "{short(text)}" is unclear: a decimal point or comma, no thousands mark'
        )
    raise QuantityError(f'"{short(text)}" does not start with a number')


def _rest(text: str, found: re.Match[str]) -> str:
    rest = text[found.end() :].strip(BLANKS)
    if re.match(r"[^A-Za-z]*[0-9]", rest):
        raise QuantityError(f'after the number comes "{short(rest)}" instead of a unit')
    return rest


def short(text: str) -> str:
    """A found text as it may stand in a message: cut to 40 signs, without control characters."""
    cut = text if len(text) <= 40 else text[:39] + "…"
    return "".join(sign if sign.isprintable() else "?" for sign in cut)


def _plain_fractions(text: str) -> str:
    for sign, plain in _VULGAR.items():
        text = re.sub(rf"(?<=[0-9]){_SPACE}*{sign}", f" {plain}", text).replace(sign, plain)
    return text.replace("\u2044", "/")


def _read_marked(text: str, units: dict[str, str]) -> Numeral | None:
    """A component marking such as 4R7 or 4u7, or None."""
    found = _MARKED.fullmatch(text)
    if found is None or found["letter"] not in units:
        return None
    number = Fraction(f"{found['whole'] or '0'}.{found['part']}")
    return Numeral(number, units[found["letter"]])


def _mixed(found: re.Match[str]) -> Fraction:
    above, below = int(found["above"]), int(found["below"])
    if below not in _DENOMINATORS or not 0 < above < below:
        raise QuantityError(
            f'"{above}/{below}" is no inch fraction; halves to sixty-fourths are, as in 6 1/2 in'
        )
    size = int(found["whole"] or "0") + Fraction(above, below)
    return -size if found["sign"] == "-" else size


def _decimal(found: re.Match[str]) -> Fraction:
    whole, mark, part, power = found["whole"], found["mark"], found["part"], found["power"]
    if mark == "," and len(part) == 3 and whole not in ("", "0"):
        raise QuantityError(
            f'"{whole},{part}" may mean {whole}.{part} or {whole}{part}; write one of these'
        )
    if power is not None and abs(int(power)) > _BIGGEST_POWER:
        raise QuantityError(f'the power of ten in "{found[0]}" is out of all proportion')
    size = Fraction(f"{whole or '0'}.{part or '0'}") * Fraction(10) ** int(power or "0")
    return -size if found["sign"] == "-" else size


def shortest(exact: Fraction, same: Callable[[Fraction], bool]) -> str:
    """The decimal text with the fewest places near `exact` that still means the same.

    Args: exact: the number to write; same: says whether a number reads back as wanted; it must
    hold for `exact` and for all numbers close enough to it.
    """
    context = Context(prec=90, rounding=ROUND_HALF_EVEN)
    number = context.divide(Decimal(exact.numerator), Decimal(exact.denominator))
    first = min(0, -number.adjusted())
    for places in range(first, first + 60):
        candidate = number.quantize(Decimal(1).scaleb(-places), context=context)
        if same(Fraction(candidate)):
            return _written(candidate)
    raise QuantityError(f"the number {float(exact)!r} cannot be written")


def _written(number: Decimal) -> str:
    number = Context(prec=90).normalize(number)
    if not number:
        return "0"
    if -6 <= number.adjusted() <= 15:
        return f"{number:f}"
    digits = "".join(str(digit) for digit in number.as_tuple().digits)
    mantissa = digits[0] + (f".{digits[1:]}" if digits[1:] else "")
    return f"{'-' if number < 0 else ''}{mantissa}e{number.adjusted()}"


def rounded(exact: Fraction, digits: int) -> str:
    """The number rounded to so many significant digits, trailing zeros dropped, no exponent."""
    context = Context(prec=digits, rounding=ROUND_HALF_EVEN)
    number = context.divide(Decimal(exact.numerator), Decimal(exact.denominator)).normalize(context)
    return f"{number:f}" if number else "0"
