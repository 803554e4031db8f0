"""Numbers in the repairer's sentences: digits follow the band, minus signs are real."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, isfinite, log, log10
from typing import TYPE_CHECKING

from conewright.errors import OutOfRangeError
from conewright.stages.report.data import Kind

if TYPE_CHECKING:
    from conewright.stages.report.data import Figure

__all__ = [
    "MINUS",
    "ROUNDING",
    "digits",
    "number",
    "odds",
    "range_or_band",
    "signed",
    "spoken",
    "with_band",
    "without_band",
]

MINUS = "\N{MINUS SIGN}"
SPOKEN_UNITS = {"degC": "°C", "degF": "°F", "m2": "m²", "m3": "m³", "cm2": "cm²", "mm2": "mm²"}
PLAIN_DIGITS = 3
STEPS_IN_BAND = 3.0
CHANCES = (
    *((1, n) for n in (200, 150, 100, 80, 60, 50, 40, 30, 25, 20, 15, 12, 10, 8, 7, 6, 5, 4, 3)),
    *((2, 5), (1, 2), (3, 5), (2, 3), (3, 4), (4, 5), (5, 6), (9, 10), (19, 20), (49, 50)),
    (99, 100),
)
ROUNDING = 1e-9
"""A spread smaller than this share of the number is rounding, not knowledge."""

FINEST = {"dB": 2, "dB(A)": 1}
"""Decimals of a unit beyond which nobody hears or reads anything."""

FINEST_OF_ALL = 4

LONGEST_NOTHING = 2
"""Nothing is written with fewer decimals than this: 0.000 says no more than 0."""

HARDLY, NEARLY = 0.004, 0.996


def spoken(unit: str) -> str:
    """Return a unit as people write it: `°C` for `degC`."""
    return SPOKEN_UNITS.get(unit, unit)


def number(
    value: float, unit: str = "", *, spread: float | None = None, most: int | None = None
) -> str:
    """Write a number with no more digits than its spread deserves.

    Args:
        value: the number, in `unit`.
        unit: the unit's name as in a figure; empty for a plain number.
        spread: width of its band, in `unit`; None or 0 gives three significant digits, trailing
            zeros dropped.
        most: decimals at most; those that anybody reads of this unit when None.

    Returns:
        For example `3.4 ohm`, `−5.0 mm`, `126 °C`. The last digit is worth between a thirtieth
        and a third of the spread, but no finer than `most`; what is zero at that is `0`.

    """
    written = _digits(value, spread, _finest(unit) if most is None else most)
    return f"{written} {spoken(unit)}".rstrip()


def with_band(figure: Figure) -> str:
    """Write a figure with its 10 to 90 % band, as in `3.4 ohm (3.2 to 3.7)`.

    A change has its sign, as in `+4 dB (+1 to +9)`. A figure without an answer gives its own text,
    or `no answer`; one without spread has no band.
    """
    if figure.value is None:
        return figure.text or "no answer"
    _, *ends = digits(figure)
    said = without_band(figure)
    return f"{said} ({' to '.join(ends)})" if ends else said


def without_band(figure: Figure) -> str:
    """Write the value of a figure that has one as `with_band` does, without its band."""
    return f"{digits(figure)[0]} {spoken(figure.unit)}".rstrip()


def range_or_band(figure: Figure, *, widest: float) -> tuple[str, bool]:
    """Write a figure by its ends alone where they are too far apart for a value between them.

    Args: widest: width of a band beyond which it leads [the figure's unit].
    Returns: `between +2 and +13 dB` and True, or as `with_band` and False.
    """
    ends = _ends(figure)
    if figure.value is None or not ends or ends[1] - ends[0] <= widest:
        return with_band(figure), False
    _, low, high = digits(figure)
    return f"between {low} and {high} {spoken(figure.unit)}", True


def signed(text: str) -> str:
    """Return the digits of a change with their sign; what is printed as zero has none."""
    return text if text.startswith(MINUS) or not text.strip("0.") else f"+{text}"


def digits(figure: Figure, *, scale: float = 1.0, spread: float | None = None) -> Sequence[str]:
    """Return a figure's number and, where it has a band, both ends of that, without the unit.

    Those of a change have their signs. There is no band where it is endless, where rounding alone
    makes it, or where both ends are written alike.

    Args:
        figure: one with a value.
        scale: what all of them are multiplied by.
        spread: what the digits follow, times the scale; the width of the band when None.

    """
    assert figure.value is not None
    value, *ends = (scale * each for each in (figure.value, *_ends(figure)))
    width = ends[1] - ends[0] if ends and spread is None else spread
    first, *others = (_digits(each, width, _finest(figure.unit)) for each in (value, *ends))
    texts = (first, *others) if len(set(others)) > 1 else (first,)
    return tuple(map(signed, texts)) if figure.kind is Kind.CHANGE else texts


def _ends(figure: Figure) -> tuple[float, ...]:
    low, high = figure.low, figure.high
    if low is None or high is None or not isfinite(high - low):
        return ()
    return (low, high) if high - low > ROUNDING * max(abs(low), abs(high)) else ()


def odds(chance: float) -> str:
    """Write a probability as people say it: `about 1 in 5`.

    Args:
        chance: probability, 0 to 1.

    Returns:
        The nearest usual fraction, by ratio of odds; `less than 1 in 200` below 0.4 %, and
        `as good as certain` above 99.6 %.

    Raises:
        OutOfRangeError: the probability lies outside 0 to 1, or is no number.

    """
    if not 0.0 <= chance <= 1.0:
        raise OutOfRangeError(f"a probability lies between 0 and 1, not {chance}")
    if chance < HARDLY:
        return "less than 1 in 200"
    if chance > NEARLY:
        return "as good as certain"
    part, whole = min(CHANCES, key=lambda pair: abs(_logit(chance) - _logit(pair[0] / pair[1])))
    return f"about {part} in {whole}"


def _finest(unit: str) -> int:
    """Return how many decimals a number of this unit is written with at most."""
    return FINEST.get(unit, FINEST_OF_ALL)


def _digits(value: float, spread: float | None, most: int) -> str:
    if spread is None or spread <= abs(value) * ROUNDING:
        text = _trimmed(value, most)
    else:
        decimals = min(-floor(log10(spread / STEPS_IN_BAND)), most)
        text = f"{round(value, decimals):.{max(decimals, 0)}f}"
        if decimals >= min(most, LONGEST_NOTHING) and not text.strip("-0."):
            text = "0"
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def _trimmed(value: float, most: int) -> str:
    if value == 0.0:
        return "0"
    decimals = min(PLAIN_DIGITS - 1 - floor(log10(abs(value))), most)
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _logit(chance: float) -> float:
    return log(chance / (1.0 - chance))
