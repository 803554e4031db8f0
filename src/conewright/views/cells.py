"""Figures as cells of a table: the number with its origin, under it its band."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal

from conewright.job.builds.states.value import Origin
from conewright.stages.report.data import Figure, Kind, Severity
from conewright.stages.report.words import number
from conewright.views.layout import Cell, fold
from conewright.views.numbers import DASH, say

__all__ = ["MARKS", "NOTHING", "Column", "Shown", "letter", "number_cell"]

NOTHING: Cell = (DASH,)
MARKS = {
    Severity.GOOD: "\N{BLACK CIRCLE}",
    Severity.NOTE: "\N{WHITE CIRCLE}",
    Severity.WARN: "\N{BLACK UP-POINTING TRIANGLE}",
    Severity.STOP: "\N{BLACK SQUARE}",
}
"""Shape of each severity, everywhere in the tool."""
FEWEST = 7
"""Words in a cell are folded to the width of the heading, but not below this."""

Shown = Literal["band", "origin", "number", "words", "frequency"]
WITHOUT_ORIGIN = {Kind.ODDS, Kind.YES}
SUMS = {Kind.CHANGE, Kind.MONEY, Kind.TIME}
"""Kinds of which nothing is nothing, wherever it comes from."""


@dataclass(frozen=True, slots=True)
class Column:
    """One figure of every subject, and what of it is shown.

    Attributes:
        name: the figure's name, without its subject.
        head: the heading; its unit stands in brackets.
        shown: the number with its origin and the band below, without the band, or by itself; or
            only the figure's words, or the frequency it belongs to.
        note: what stands under number and band: the figure's frequency, or its words.

    """

    name: str
    head: str
    shown: Shown = "band"
    note: Literal["", "frequency", "text"] = ""

    @property
    def heading(self) -> Cell:
        """The heading's lines."""
        return tuple(self.head.split("\n"))

    def cell(self, figure: Figure | None) -> Cell:
        """Return the figure as it stands in this column."""
        if figure is None:
            return NOTHING
        if self.shown == "frequency":
            return _frequency(figure) or NOTHING
        if figure.value is None or not isfinite(figure.value) or self.shown == "words":
            return self._words(figure) or ("no answer",)
        return (*self._shown(figure), *self._note(figure))

    def _shown(self, figure: Figure) -> Cell:
        if self.shown == "number":
            return (say(figure).number,)
        cell = number_cell(figure)
        return cell[:1] if self.shown == "origin" else cell

    def _note(self, figure: Figure) -> Cell:
        if self.note == "frequency":
            return tuple(f"at {line} Hz" for line in _frequency(figure))
        return self._words(figure) if self.note == "text" else ()

    def _words(self, figure: Figure) -> Cell:
        """Return a figure's words; what stands behind a colon is said among the verdicts."""
        width = max(FEWEST, *map(len, self.heading))
        return fold((figure.text or "").split(":")[0], width=width)


def _frequency(figure: Figure) -> Cell:
    return () if figure.frequency_hz is None else (number(figure.frequency_hz),)


def number_cell(figure: Figure) -> Cell:
    """Return a figure's number with the letter of its origin, and its band on the next line."""
    said = say(figure)
    nothing = figure.kind in SUMS and not said.number.strip("0.") and not said.band
    bare = figure.kind in WITHOUT_ORIGIN or nothing
    first = said.number if bare else f"{said.number} {letter(figure.origin)}"
    return (first, said.band) if said.band else (first,)


def letter(origin: Origin) -> str:
    """Return the letter that stands for an origin: M, S, T or A."""
    return origin.value[0].upper()
