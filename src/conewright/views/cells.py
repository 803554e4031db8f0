"""Figures as cells of a table: the number with its origin, under it its band."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal

from conewright.job.build.state import Origin
from conewright.stages.report.data import Figure, Severity
from conewright.stages.report.words import ROUNDING, finest, number, odds
from conewright.views.layout import Cell, fold

__all__ = ["MARKS", "NOTHING", "Column", "Kind", "brief_odds", "letter", "number_cell", "summing"]

NOTHING: Cell = ("–",)
MARKS = {
    Severity.NOTE: "\N{WHITE CIRCLE}",
    Severity.GOOD: "\N{BLACK CIRCLE}",
    Severity.WARN: "\N{BLACK UP-POINTING TRIANGLE}",
    Severity.STOP: "\N{BLACK SQUARE}",
}
FEWEST = 6
"""Words in a cell are folded to the width of the heading, but not below this."""

Kind = Literal["number", "bare", "plain", "change", "share", "odds", "yes", "words", "frequency"]
BRIEF_ODDS = (("about ", ""), ("less than ", "<"), ("as good as ", ""))


@dataclass(frozen=True, slots=True)
class Column:
    """One figure of every subject, and how it is shown.

    Attributes:
        name: the figure's name, without its subject.
        head: the heading; its unit stands in brackets.
        kind: a bare number goes without its band, a plain one without its origin too; a change
            carries its sign, a share becomes a percentage, odds and words are spoken; the figure's
            frequency can be shown by itself.
        note: what stands under number and band: the figure's frequency, or its words.

    """

    name: str
    head: str
    kind: Kind = "number"
    note: Literal["", "frequency", "text"] = ""

    @property
    def heading(self) -> Cell:
        """The heading's lines."""
        return tuple(self.head.split("\n"))

    def cell(self, figure: Figure | None) -> Cell:
        """Return the figure as it stands in this column."""
        if figure is None:
            return NOTHING
        if self.kind == "frequency":
            return _frequency(figure) or NOTHING
        if figure.value is None or not isfinite(figure.value) or self.kind == "words":
            return self._words(figure) or ("no answer",)
        return (*self._shown(figure, figure.value), *self._note(figure))

    def _shown(self, figure: Figure, value: float) -> Cell:
        if self.kind == "odds":
            return (brief_odds(value),)
        if self.kind == "plain":
            return (number(value),)
        if self.kind == "yes":
            return ("yes" if value else "no",)
        scale = 100.0 if self.kind == "share" else 1.0
        cell = number_cell(figure, value, scale=scale, signed=self.kind == "change")
        return cell[:1] if self.kind == "bare" else cell

    def _note(self, figure: Figure) -> Cell:
        if self.note == "frequency":
            return tuple(f"at {line} Hz" for line in _frequency(figure))
        return self._words(figure) if self.note == "text" else ()

    def _words(self, figure: Figure) -> Cell:
        """Return a figure's words; what stands behind a colon is said among the verdicts."""
        width = max(FEWEST, *map(len, self.heading))
        return fold((figure.text or "").split(":")[0], width=width)


def brief_odds(chance: float) -> str:
    """Write a probability with as few words as possible: `1 in 5`, `<1 in 200`, `certain`."""
    text = odds(chance)
    for long, short in BRIEF_ODDS:
        text = text.replace(long, short)
    return text


def _frequency(figure: Figure) -> Cell:
    return () if figure.frequency_hz is None else (number(figure.frequency_hz),)


def number_cell(figure: Figure, value: float, *, scale: float = 1.0, signed: bool = False) -> Cell:
    """Return a figure's number with the letter of its origin, and its band on the next line."""
    low = None if figure.low is None else scale * figure.low
    high = None if figure.high is None else scale * figure.high
    spread = None if low is None or high is None else _spread(low, high)
    most = finest(figure.unit)
    said = _signed(scale * value, spread, signed=signed, most=most)
    if signed and said == "0" and not spread:
        return ("0",)
    first = f"{said} {letter(figure.origin)}"
    if not spread or low is None or high is None:
        return (first,)
    edges = [_signed(edge, spread, signed=signed, most=most) for edge in (low, high)]
    return (first,) if edges == ["0", "0"] else (first, " to ".join(edges))


def _spread(low: float, high: float) -> float | None:
    """Return the width of a band; None where it is endless or rounding alone makes it."""
    width = high - low
    return width if isfinite(width) and width > ROUNDING * max(abs(low), abs(high)) else None


def letter(origin: Origin) -> str:
    """Return the letter that stands for an origin: M, S, T or A."""
    return origin.value[0].upper()


def summing(parts: list[float], total: float, *, decimals: int = 1) -> tuple[list[str], str]:
    """Write parts and their total so that what is printed adds up.

    Where rounding alone would break the sum, the parts that are rounded hardest give way.
    """
    unit = 10.0**-decimals
    whole = round(total / unit)
    steps = [round(part / unit) for part in parts]
    while steps and sum(steps) != whole:
        way = 1 if sum(steps) < whole else -1
        errors = [way * (part / unit - step) for part, step in zip(parts, steps, strict=True)]
        steps[errors.index(max(errors))] += way
    texts = [_signed(unit * step, 3.0 * unit, signed=True) for step in steps]
    return texts, _signed(unit * whole, 3.0 * unit, signed=True)


def _signed(value: float, spread: float | None, *, signed: bool, most: int | None = None) -> str:
    text = number(value, spread=spread, most=most)
    return f"+{text}" if signed and value > 0.0 and text.strip("0.") else text
