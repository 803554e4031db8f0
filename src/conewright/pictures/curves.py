"""What the pictures read from a report: curves as arrays, figures that may be missing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from conewright.job.document.parts import AS_FOUND
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report.data import Figure, Report
from conewright.views.numbers import say

__all__ = [
    "HIGHEST",
    "LOWEST",
    "NO_CHANGE",
    "SMALLEST_DB",
    "Curve",
    "by_odds",
    "caption",
    "curve",
    "curves",
    "figure_of",
    "has_band",
    "left_out",
    "name_of",
    "said",
    "subjects",
    "unbroken",
    "unchanged",
    "value_of",
]


LOWEST, HIGHEST = 20.0, 20000.0
"""Ends of every frequency axis [Hz]."""


SMALLEST_DB = 0.05
"""A change below it is none: it is written as 0.0."""

NO_CHANGE = "no change of level"


@dataclass(frozen=True, slots=True)
class Curve:
    """A real curve with its band; `low` and `high` equal `y` where there is no band.

    A point the stage did not trust enough to give is NaN, and leaves a gap in the line.
    """

    x: FloatArray
    y: FloatArray
    low: FloatArray
    high: FloatArray


def curve(report: Report, id: str) -> Curve | None:
    """Return the series of that id from 20 Hz to 20 kHz, or None if the report has none there.

    Where it goes beyond, it is cut at exactly these, on a straight line between its points.
    A complex series (pairs of real and imaginary part) gives its modulus. A series without one
    finite value counts as missing.
    """
    found = next((entry for entry in report.series if entry.id == id), None)
    if found is None or not found.x.values:
        return None
    y = np.abs(found.value) if np.iscomplexobj(found.value) else found.value
    if not np.any(np.isfinite(y)):
        return None
    low = y if found.y.low is None else found.low
    high = y if found.y.high is None else found.high
    return _cut(Curve(x=found.frequency, y=y, low=low, high=high))


def curves(report: Report, ids: Iterable[str]) -> list[Curve]:
    """Return those of the named curves that are there."""
    return [found for id in ids if (found := curve(report, id)) is not None]


def has_band(curves: Iterable[Curve]) -> bool:
    """Return whether any of the curves has a band of some width."""
    return any(bool(np.any(found.high > found.low)) for found in curves)


def left_out(report: Report) -> tuple[str, ...]:
    """Return the channels that a report leaves out, since nobody knows what they drive."""
    return tuple(each.subject for each in report.verdicts if each.id == f"{each.subject}.unknown")


def by_odds(report: Report) -> tuple[str, ...]:
    """Return the channels that a report plays as what usually hangs there, by the odds."""
    return tuple(
        each.subject for each in report.verdicts if each.id == f"{each.subject}.likely-wiring"
    )


def subjects(report: Report, name: str) -> tuple[str, ...]:
    """Return the subjects that have a figure or a series of that name, in the report's order."""
    ids = [*(entry.id for entry in report.figures), *(entry.id for entry in report.series)]
    found = [id.removesuffix(f".{name}") for id in ids if id.endswith(f".{name}")]
    return tuple(dict.fromkeys(found))


def figure_of(report: Report, subject: str, name: str) -> Figure | None:
    """Return the figure `<subject>.<name>` if it is there and has a value."""
    id = f"{subject}.{name}"
    return next((f for f in report.figures if f.id == id and f.value is not None), None)


def value_of(report: Report, subject: str, name: str) -> float | None:
    """Return the central value of `<subject>.<name>`, or None."""
    found = figure_of(report, subject, name)
    return None if found is None else found.value


def said(figure: Figure) -> str:
    """Write a figure with its unit and without its band, on one line."""
    return unbroken(say(figure).short)


def caption(report: Report, *, tint: bool) -> str:
    """Say which builds the picture shows and how, for the line under its title."""
    if report.against is None:
        text = f"Shown: {name_of(report.build)}."
    else:
        text = f"Solid: {name_of(report.build)}. Dashed: {name_of(report.against)}."
    return f"{text} Tint: 8 in 10 of the cases the spreads allow." if tint else text


def name_of(build: str) -> str:
    """Name a build as people say it."""
    return "as found" if build == AS_FOUND else build


def unbroken(text: str) -> str:
    """Return the text with hard spaces, so that it stays on one line."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def _cut(found: Curve) -> Curve | None:
    x = found.x
    edges = [edge for edge in (LOWEST, HIGHEST) if x[0] < edge < x[-1]]
    inside = np.union1d(x[(x >= LOWEST) & (x <= HIGHEST)], edges)
    if inside.size == 0:
        return None
    rows = (np.interp(np.log(inside), np.log(x), row) for row in (found.y, found.low, found.high))
    return Curve(inside, *rows)


def unchanged(figures: Iterable[Figure]) -> bool:
    """Whether none of some changes of level is one, at neither end of its band [dB]."""
    spots = (spot for f in figures for spot in (f.low, f.value, f.high) if spot is not None)
    return all(abs(spot) < SMALLEST_DB for spot in spots)
