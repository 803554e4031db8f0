"""How a figure is said, by its kind: the one place of it for text, page, picture and paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite
from typing import Any

from conewright.stages.report.data import Axis, Figure, Kind
from conewright.stages.report.words import digits, number, odds, signed, spoken

__all__ = [
    "DASH",
    "TENTHS",
    "WHOLE",
    "Said",
    "brief_odds",
    "many",
    "minutes",
    "money",
    "percent",
    "points",
    "relief",
    "say",
    "summing",
]

DASH = "–"
"""What stands where there is nothing to say."""
WHOLE, TENTHS = 3.0, 0.3
"""Spread of a number that is written without decimals, or with one."""
SMALL_SUM = 10.0
"""Money below this is written to a tenth, so that small parts do not vanish; nothing is 0."""
POINTS = {"dB": TENTHS, "dB(A)": TENTHS}
"""Spread of a curve's points, by unit; others have three digits."""
LARGE = ((1e12, "trillion"), (1e9, "billion"), (1e6, "million"))
"""Numbers of which nobody reads the digits."""
BRIEF_ODDS = (("about ", ""), ("less than ", "<"), ("as good as ", ""))


@dataclass(frozen=True, slots=True)
class Said:
    """A figure as it is said.

    Attributes:
        number: its number, odds or word; what it says of itself where it has no value.
        unit: as people write it; empty where words stand for the number.
        band: from 10 to 90 %, as in `2.1 to 2.4`; empty where it is not wider than rounding.

    """

    number: str
    unit: str = ""
    band: str = ""

    @property
    def short(self) -> str:
        """Number and unit."""
        return f"{self.number} {self.unit}".rstrip()

    @property
    def full(self) -> str:
        """Number, unit and band."""
        return f"{self.short} ({self.band})" if self.band else self.short


def say(figure: Figure, *, spread: float | None = None) -> Said:
    """Return a figure as it is said.

    Args:
        figure: of any kind.
        spread: what its digits follow, in its unit; its kind or band when None.

    """
    value = figure.value
    if value is None or not isfinite(value):
        return Said(figure.text or "no answer")
    if figure.kind is Kind.ODDS:
        return Said(brief_odds(value))
    if figure.kind is Kind.YES:
        return Said("yes" if value else "no")
    share = figure.kind is Kind.SHARE
    texts = digits(figure, scale=100.0 if share else 1.0, spread=spread or _step(figure))
    first, *ends = texts
    return Said(first, "%" if share else spoken(figure.unit), " to ".join(ends))


def _step(figure: Figure) -> float | None:
    """Return the spread that the digits of a kind always follow; None where the band decides."""
    if figure.kind is Kind.COUNT:
        return WHOLE
    if figure.kind is Kind.TIME and figure.unit == "h" and figure.value:
        return TENTHS
    return _sum_step(figure.high or figure.value or 0.0) if figure.kind is Kind.MONEY else None


def _sum_step(highest: float) -> float:
    return TENTHS if 0.0 < highest < SMALL_SUM else WHOLE


def brief_odds(chance: float) -> str:
    """Write a probability with as few words as possible: `1 in 5`, `<1 in 200`, `certain`."""
    text = odds(chance)
    for long, short in BRIEF_ODDS:
        text = text.replace(long, short)
    return text


def percent(chance: float) -> str:
    """Write a probability as a percentage, never as nothing or all: `<1 %`, `34 %`, `>99 %`."""
    rounded = round(100.0 * chance)
    return "<1 %" if rounded < 1 else ">99 %" if rounded > 99 else f"{rounded} %"


def relief(share: float) -> str:
    """Write the share of a spread that a measurement takes away; nobody knows it to a percent."""
    return f"{number(100.0 * share, spread=10.0)} %"


def minutes(time: float) -> str:
    """Write how long a piece of work takes, in whole minutes."""
    return number(time, "min", spread=WHOLE)


def money(amount: float, *, highest: float | None = None) -> str:
    """Write a sum of money as finely as the highest of those it stands beside."""
    return number(amount, spread=_sum_step(amount if highest is None else highest))


def many(count: float) -> str:
    """Write how many there are: `1,321`, `440 billion`."""
    size, name = next(((s, n) for s, n in LARGE if count >= s), (1.0, ""))
    if count >= 1000.0 * LARGE[0][0]:
        return f"more than 1000 {LARGE[0][1]}"
    return f"{number(count / size)} {name}" if name else f"{count:,.0f}"


def points(axis: Axis) -> list[str]:
    """Write the points of a curve: words, sizes of what is complex, dashes for what is missing."""
    return [_point(axis, value) for value in axis.values]


def _point(axis: Axis, value: Any) -> str:
    if isinstance(value, str):
        return value
    parts = value if isinstance(value, list | tuple) else (value,)
    if any(part is None or not isfinite(part) for part in parts):
        return DASH
    size = hypot(*parts) if len(parts) > 1 else parts[0]
    if axis.kind is Kind.ODDS:
        return percent(size)
    text = number(size, spread=WHOLE if axis.kind is Kind.COUNT else POINTS.get(axis.unit))
    return signed(text) if axis.kind is Kind.CHANGE else text


def summing(
    parts: Sequence[float], total: float, *, decimals: int = 1, signs: bool = True
) -> tuple[list[str], str]:
    """Write changes, or amounts without signs, and their total so that what is printed adds up.

    Where rounding alone would break the sum, the parts that are rounded hardest give way.
    """
    unit = 10.0**-decimals
    whole = round(total / unit)
    steps = [round(part / unit) for part in parts]
    while steps and sum(steps) != whole:
        way = 1 if sum(steps) < whole else -1
        errors = [way * (part / unit - step) for part, step in zip(parts, steps, strict=True)]
        steps[errors.index(max(errors))] += way
    texts = [number(unit * step, spread=3.0 * unit) for step in (whole, *steps)]
    first, *others = map(signed, texts) if signs else texts
    return others, first
