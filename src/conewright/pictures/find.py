"""Picture of the search for faults: odds after each reading, and the odds as they stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from conewright.phrases import capital, listed
from conewright.pictures.axes import (
    BLACK,
    BLUE,
    GREY,
    LEAD,
    ORANGE,
    PALE,
    VERMILLION,
    EndLabel,
    Sheet,
    axes_size,
    halo,
    label_ends,
    lines,
    new_sheet,
    text_size,
    text_width,
)
from conewright.pictures.curves import unbroken
from conewright.stages.find.talk.planning import CERTAIN
from conewright.stages.report.data import Figure as Number
from conewright.stages.report.data import Report, Series
from conewright.views.numbers import percent
from conewright.views.search import cause_name, split_cause

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Row", "draw_find", "find_title", "rows_of"]

STYLES: tuple[tuple[str, Any], ...] = (
    (BLUE, "-"),
    (VERMILLION, (0, (5.0, 2.0))),
    (BLACK, (0, (1.2, 1.2))),
    (ORANGE, (0, (6.0, 1.5, 1.2, 1.5))),
)
"""Colour and dashes of each cause whose odds are drawn after each reading."""

MOST_ROWS, LEAST_SHOWN = 8, 0.01
LEFT, RIGHT, BELOW, APART = 0.62, 0.12, 0.55, 0.3
LOWEST_COURSE = 2.2
"""Height of the odds after each reading, more where their names need it [in]."""


@dataclass(frozen=True, slots=True)
class Row:
    """A cause, or what may hang on a channel, with its odds; a heading has none."""

    name: str
    figure: Number | None


def draw_find(report: Report, *, width: float, columns: int) -> Figure:
    """Draw the odds after each reading where readings were taken, and below the odds now."""
    courses = [curve for curve in report.series if len(curve.x.values) > 1][: len(STYLES)]
    names = (width - LEFT - RIGHT) * (0.36 if columns > 1 else 0.42)
    labels = [_folded(_course_name(report, curve), names) for curve in courses]
    height = max(LOWEST_COURSE, sum(map(_height, labels)) + 0.1)
    top = height + BELOW + APART if courses else 0.0
    rows = rows_of(report)
    left = width * (0.45 if columns > 1 else 0.48)
    sheet = new_sheet(
        width=width,
        body=top + _rows_height(rows, left) + BELOW,
        title=find_title(report),
        note=_note(courses),
    )
    if courses:
        wide = width - LEFT - RIGHT - names
        axes = sheet.axes(left=LEFT, top=0.05, width=wide, height=height)
        _draw_courses(axes, courses, labels)
    _draw_rows(sheet, rows, left=left, top=top)
    return sheet.figure


def find_title(report: Report) -> str:
    """Say what is found, or what is most likely so far."""
    causes = _causes(report)
    found = [figure for figure in causes if (figure.value or 0.0) >= CERTAIN]
    if found:
        return f"Found: {listed([figure.label for figure in found])}"
    if not causes:
        return report.answer
    best = causes[0]
    return f"Nothing is certain yet; most likely: {best.label}, {unbroken(_said(best))}"


def rows_of(report: Report) -> list[Row]:
    """Return what is most likely: causes, then what hangs on each channel nobody knows."""
    rows = [Row(" at ".join(split_cause(figure)), figure) for figure in _leading(_causes(report))]
    wiring = [figure for figure in report.figures if figure.subject == "wiring"]
    for channel in dict.fromkeys(figure.name.partition(".")[0] for figure in wiring):
        own = [figure for figure in wiring if figure.name.startswith(f"{channel}.")]
        rows.append(Row(f"what {channel} drives", None))
        rows += [Row(figure.label, figure) for figure in _leading(own)]
    return rows


def _causes(report: Report) -> list[Number]:
    return [figure for figure in report.figures if figure.subject == "cause"]


def _leading(figures: list[Number]) -> list[Number]:
    likely = [figure for figure in figures if (figure.value or 0.0) >= LEAST_SHOWN]
    return (likely or figures[:1])[:MOST_ROWS]


def _said(figure: Number) -> str:
    return percent(figure.value or 0.0)


def _course_name(report: Report, curve: Series) -> str:
    return cause_name(report, curve.id.removeprefix("cause.").removesuffix(".odds"))


def _note(courses: list[Series]) -> str:
    bars = f"bars: odds now; filled from {percent(CERTAIN)} on, where a cause counts as found."
    above = "Lines: odds after each reading, in the order of the job; "
    return f"{above}{bars}" if courses else capital(bars)


def _folded(text: str, width: float) -> str:
    return "\n".join(lines(text, width=width - 0.15, size=text_size()))


def _height(text: str) -> float:
    return (text.count("\n") + 1) * text_size() * LEAD / 72.0


# --- Odds after each reading ------------------------------------------------------------------


def _draw_courses(axes: Axes, courses: list[Series], labels: list[str]) -> None:
    last = max(float(curve.x.values[-1]) for curve in courses)
    axes.set_xlim(0.0, last)
    axes.set_ylim(0.0, 100.0)
    axes.set_yticks([0.0, 25.0, 50.0, 75.0, 100.0])
    axes.set_ylabel("odds, %")
    axes.set_xlabel("readings taken")
    axes.grid(visible=True, color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    _number_readings(axes, round(last))
    axes.axhline(100.0 * CERTAIN, color=GREY, linewidth=1.0, linestyle=(0, (2.0, 2.0)), gid="found")
    ends = []
    for curve, label, (colour, dashes) in zip(courses, labels, STYLES, strict=False):
        y = 100.0 * np.asarray(curve.y.values, dtype=np.float64)
        style: dict[str, Any] = {"color": colour, "linestyle": dashes, "clip_on": False}
        axes.plot(curve.x.values, y, marker="o", markersize=4.0, gid=curve.id, **style)
        ends.append(EndLabel(float(curve.x.values[-1]), float(y[-1]), label, colour))
    label_ends(axes, ends, size=text_size())
    axes.annotate(
        f"found: {percent(CERTAIN)}",
        (0.0, 100.0 * CERTAIN),
        (4.0, -3.0),
        textcoords="offset points",
        ha="left",
        va="top",
        color=GREY,
        path_effects=halo(),
    )


def _number_readings(axes: Axes, last: int) -> None:
    """Number the readings, as many of them as there is room for."""
    room = axes_size(axes)[0] / (last + 1)
    step = int(np.ceil((text_width("00", size=text_size()) + 0.08) / room))
    axes.set_xticks(range(0, last + 1, step))


# --- Odds now ---------------------------------------------------------------------------------


def _rows_height(rows: list[Row], left: float) -> float:
    return sum(_height(_folded(row.name, left)) + 0.06 for row in rows)


def _draw_rows(sheet: Sheet, rows: list[Row], *, left: float, top: float) -> None:
    height = _rows_height(rows, left)
    room = text_width("100 %", size=sheet.size) + 0.1
    axes = sheet.axes(left=left, top=top, width=sheet.width - left - RIGHT - room, height=height)
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(height, 0.0)
    axes.set_xticks([0.0, 50.0, 100.0 * CERTAIN])
    axes.set_yticks([])
    axes.set_xlabel("odds now, %")
    axes.axvline(100.0 * CERTAIN, color=GREY, linewidth=1.0, linestyle=(0, (2.0, 2.0)))
    place = 0.0
    for row in rows:
        name = _folded(row.name, left)
        deep = _height(name) + 0.06
        _draw_row(axes, row, name, place + deep / 2.0)
        place += deep


def _draw_row(axes: Axes, row: Row, name: str, place: float) -> None:
    axes.annotate(
        name,
        (0.0, place),
        (-6.0, 0.0),
        textcoords="offset points",
        ha="right",
        va="center",
        linespacing=LEAD - 0.1,
        fontweight="normal" if row.figure else "bold",
    )
    if row.figure is None:
        return
    value = row.figure.value or 0.0
    found = value >= CERTAIN
    axes.barh(
        place,
        100.0 * value,
        height=0.11,
        color=BLUE if found else "white",
        edgecolor=BLUE,
        hatch="" if found else "////",
        linewidth=0.8,
        gid=row.figure.id,
    )
    axes.annotate(
        _said(row.figure),
        (100.0 * value, place),
        (4.0, 0.0),
        textcoords="offset points",
        ha="left",
        va="center",
        path_effects=halo(),
    )
