"""Picture of all builds side by side: bass and level change per seat, and the lowest load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.job.document.parts import AS_FOUND
from conewright.pictures.axes import (
    BLACK,
    BLUE,
    GREY,
    LEAD,
    PALE,
    VERMILLION,
    halo,
    level_grid,
    new_sheet,
    text_size,
    text_width,
)
from conewright.pictures.curves import (
    NO_CHANGE,
    figure_of,
    name_of,
    said,
    subjects,
    unchanged,
    value_of,
)
from conewright.stages.hear.verdicts import AUDIBLE
from conewright.stages.report.data import Figure as Number
from conewright.stages.report.data import Report, Severity
from conewright.stages.report.words import number
from conewright.views.cells import MARKS
from conewright.views.numbers import say

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Row", "compare_title", "draw_compare"]

CHANGES = {"bass_change": "bass", "overall_change": "level"}
RIGHT, ABOVE, BELOW, APART = 0.12, 0.3, 0.55, 0.35
PANEL_GAP = 0.25
ROOM_FOR_NUMBER = 0.4


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a panel: the heading of a build, or one of its seats; a figure if it has one."""

    place: float
    name: str
    heading: bool
    figure: Number | None


def draw_compare(report: Report, *, width: float, columns: int) -> Figure:
    """Draw bass change, level change and lowest load of every build; one row per seat."""
    panels = [name for name in CHANGES if _seats(report, name)]
    names = [*panels, "minimum_load"]
    # Side by side all panels have the same rows; one above the other each has only its own.
    seats = _seats(report, panels[0]) if panels else ()
    shared = columns > 1
    rows = [rows_of(report, n, seats if shared or n in panels else ()) for n in names]
    columns = len(names) if shared else 1
    deep = [(own[-1].place + 0.5) * text_size() * (LEAD + 0.25) / 72.0 for own in rows]
    cells = [ABOVE + height + BELOW for height in deep]
    left = max(_name_width(row) for row in rows[0]) + 0.2
    sheet = new_sheet(
        width=width,
        body=cells[0] if shared else sum(cells),
        title=compare_title(report),
        note="Bars: 8 in 10 of the cases the spreads allow. " + _key(),
    )
    wide = (width - left - RIGHT - (columns - 1) * PANEL_GAP) / columns
    for place, name in enumerate(names):
        axes = sheet.axes(
            left=left + (place * (wide + PANEL_GAP) if shared else 0.0),
            top=(0.0 if shared else sum(cells[:place])) + ABOVE,
            width=wide,
            height=deep[place],
        )
        _panel(axes, report, name, rows[place])
        if place == 0 or not shared:
            _name_rows(axes, rows[place], left=left)
    return sheet.figure


def compare_title(report: Report) -> str:
    """Say which build brings the most bass, if nothing stops it, and which loads the radio most."""
    parts = []
    gains = [
        f
        for f in report.figures
        if f.name.startswith("bass_change_")
        and f.value is not None
        and _worst(report, f.subject) is not Severity.STOP
    ]
    best = max(gains, key=lambda entry: entry.value or 0.0, default=None)
    if best is not None and (best.value or 0.0) >= AUDIBLE:
        seat = best.name.removeprefix("bass_change_")
        parts.append(f"Most bass: {name_of(best.subject)}, {said(best)} at {seat}")
    loads = [f for build in _builds(report) if (f := figure_of(report, build, "minimum_load"))]
    worst = min(loads, key=lambda entry: entry.value or 0.0, default=None)
    if worst is not None:
        rated = value_of(report, worst.subject, "rated_load")
        end = "" if rated is None else f", the radio is rated for {number(rated)}"
        parts.append(f"{name_of(worst.subject)} falls to {said(worst)}{end}")
    return "; ".join(parts) or report.answer


def rows_of(report: Report, name: str, seats: tuple[str, ...]) -> list[Row]:
    """Return the rows of a panel: each build, and under it the seats it has a change for."""
    rows: list[Row] = []
    place = 0.5
    for build in _builds(report):
        load = figure_of(report, build, "minimum_load") if name == "minimum_load" else None
        rows.append(Row(place, f"{MARKS[_worst(report, build)]} {name_of(build)}", True, load))
        # Against itself nothing changes: the state as found has no rows for seats.
        heard = seats if build != AS_FOUND else ()
        told = [
            f for s in heard for kind in CHANGES if (f := figure_of(report, build, f"{kind}_{s}"))
        ]
        if told and unchanged(told):
            place, heard = place + 1.0, ()
            rows.append(Row(place, NO_CHANGE, False, None))
        for seat in heard:
            if any(figure_of(report, build, f"{kind}_{seat}") for kind in CHANGES):
                place += 1.0
                rows.append(Row(place, seat, False, figure_of(report, build, f"{name}_{seat}")))
        place += 1.0 + APART
    return rows


def _builds(report: Report) -> tuple[str, ...]:
    return subjects(report, "minimum_load")


def _seats(report: Report, name: str) -> tuple[str, ...]:
    """Return the seats for which the report gives a change of that name, in its order."""
    found = [f.name for f in report.figures if f.name.startswith(f"{name}_")]
    return tuple(dict.fromkeys(entry.removeprefix(f"{name}_") for entry in found))


def _worst(report: Report, build: str) -> Severity:
    own = [verdict.severity for verdict in report.verdicts if verdict.subject == build]
    return max(own, key=lambda severity: severity.rank, default=Severity.GOOD)


def _key() -> str:
    """Say what the marks mean; hard spaces keep each with its word."""
    return " ".join(f"{mark}\N{NO-BREAK SPACE}{severity}" for severity, mark in MARKS.items())


def _name_width(row: Row) -> float:
    return text_width(row.name, size=text_size(), weight="bold" if row.heading else "normal")


def _panel(axes: Axes, report: Report, name: str, rows: list[Row]) -> None:
    axes.set_ylim(rows[-1].place + 0.5, 0.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    if name == "minimum_load":
        _load_axis(axes, report, rows)
    else:
        _change_axis(axes, name, rows)
    for row in rows:
        if row.figure is not None:
            _dot(axes, row.figure, row.place)


def _change_axis(axes: Axes, name: str, rows: list[Row]) -> None:
    spots = [0.0, *_spots(rows)]
    low, high = 3.0 * (min(spots) // 3.0), max(max(spots), min(spots) + 6.0)
    axes.set_xlim(low - 0.3, high + ROOM_FOR_NUMBER * (high - low))
    level_grid(axes, axis="x", major=3.0 if high - low <= 12.0 else 6.0)
    axes.axvline(0.0, color=GREY, linewidth=0.8)
    axes.set_title(f"{CHANGES[name]} change", loc="left", fontweight="bold", pad=4.0)
    axes.set_xlabel("change, dB")


def _load_axis(axes: Axes, report: Report, rows: list[Row]) -> None:
    axes.set_xlim(0.0, (1.0 + ROOM_FOR_NUMBER) * max(_spots(rows)))
    axes.grid(visible=True, axis="x", color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_title("lowest load", loc="left", fontweight="bold", pad=4.0)
    axes.set_xlabel("impedance, ohm")
    rated = [
        (row.place, figure)
        for row in rows
        if row.figure and (figure := figure_of(report, row.figure.subject, "rated_load"))
    ]
    for place, figure in rated:
        spot = ([figure.value or 0.0] * 2, [place - 0.5, place + 0.5])
        axes.plot(*spot, color=VERMILLION, linewidth=2.0, gid=figure.id)
        axes.set_xlim(0.0, max(axes.get_xlim()[1], 1.1 * (figure.value or 0.0)))
    if rated:
        _say_rated(axes, rated[0][1])


def _say_rated(axes: Axes, figure: Number) -> None:
    axes.annotate(
        f"┃rated {say(figure).number}",
        (1.0, 1.0),
        (0.0, 4.0),
        xycoords="axes fraction",
        textcoords="offset points",
        ha="right",
        va="baseline",
        color=VERMILLION,
    )


def _spots(rows: list[Row]) -> list[float]:
    found = [row.figure for row in rows if row.figure is not None]
    edges = [edge for f in found for edge in (f.low, f.value, f.high)]
    return [edge for edge in edges if edge is not None]


def _dot(axes: Axes, figure: Number, place: float) -> None:
    value = figure.value or 0.0
    low, high = figure.low, figure.high
    if low is not None and high is not None and high > low:
        axes.plot([low, high], [place] * 2, color=BLUE, linewidth=4.0, alpha=0.35)
    axes.plot([value], [place], marker="o", color=BLACK, markersize=5.0, gid=figure.id)
    axes.annotate(
        say(figure).number,
        (value if high is None else high, place),
        (6.0, 0.0),
        textcoords="offset points",
        ha="left",
        va="center",
        path_effects=halo(),
    )


def _name_rows(axes: Axes, rows: list[Row], *, left: float) -> None:
    """Write the names left of the axes: builds from the sheet's edge, seats up to the axes."""
    for row in rows:
        axes.annotate(
            row.name,
            (0.0, row.place),
            (6.0 - 72.0 * left if row.heading else -6.0, 0.0),
            xycoords=axes.get_yaxis_transform(),
            textcoords="offset points",
            ha="left" if row.heading else "right",
            va="center",
            fontweight="bold" if row.heading else "normal",
        )
