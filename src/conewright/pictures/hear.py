"""Picture of what a seat hears: level, which limit binds, and where a change comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from conewright.phrases import capital, listed
from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.axes import (
    GREY,
    EndLabel,
    Sheet,
    axes_size,
    draw_curve,
    end_label,
    frequency_axis,
    halo,
    label_ends,
    level_grid,
    new_sheet,
    spread_out,
    style_for,
    text_width,
)
from conewright.pictures.curves import (
    HIGHEST,
    LOWEST,
    NO_CHANGE,
    Curve,
    by_odds,
    caption,
    curve,
    curves,
    figure_of,
    has_band,
    left_out,
    said,
    subjects,
    unchanged,
)
from conewright.pictures.waterfall import bars_height, draw_bars
from conewright.stages.report.data import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["CURVE_ENDS", "TREND_FROM", "draw_hear", "hear_title", "octave_levels"]

TREND_FROM, CURVE_ENDS = 200.0, 500.0
"""A cabin curve is only a trend above the first; above the second, octave means [Hz]."""
OCTAVES = (1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
OCTAVE_NOTE = "Above 500\N{NO-BREAK SPACE}Hz: octave means."
FEWEST_IN_OCTAVE = 3
PATTERNS = {"volts": "", "amps": "////", "travel": "....", "heat": "xxxx"}
LEFT, RIGHT, ABOVE, PLOT, GAP, STRIP, BELOW = 0.62, 0.86, 0.28, 2.0, 0.24, 0.26, 0.62
DEEPEST_DB = 54.0


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of frequency over which one limit binds."""

    word: str
    start: float
    end: float


def draw_hear(report: Report, *, width: float, columns: int) -> Figure:
    """Draw per seat the level, the strip of limits and, against another build, the causes."""
    seats = _seats(report)
    columns = min(columns, len(seats))
    cell = width / columns
    bars = max((bars_height(report, seat) for seat in seats), default=0.0)
    whole = ABOVE + PLOT + GAP + STRIP + BELOW + bars
    rows = -(-len(seats) // columns)
    levels = [f"{seat}.level" for seat in seats]
    sheet = new_sheet(
        width=width,
        body=rows * whole,
        title=hear_title(report, seats),
        note=f"{caption(report, tint=has_band(curves(report, levels)))} {OCTAVE_NOTE}",
    )
    limits = _level_limits(report, seats)
    for place, seat in enumerate(seats):
        row, column = divmod(place, columns)
        _seat(sheet, report, seat, left=column * cell, top=row * whole, cell=cell, limits=limits)
    return sheet.figure


def hear_title(report: Report, seats: tuple[str, ...]) -> str:
    """Say in one sentence what changes in the bass, or how deep and how loud it plays cleanly."""
    if report.against is not None:
        changes = [f for seat in seats if (f := figure_of(report, seat, "bass_change"))]
        return f"{_change_title(changes)}{_unwired(report)}" if changes else report.answer
    parts = []
    for seat in seats:
        corner = figure_of(report, seat, "bass_corner")
        loud = figure_of(report, seat, "max_clean_level")
        if corner and loud:
            parts.append(f"{seat}: bass down to {said(corner)}, clean up to {said(loud)}")
    heard = "; ".join(parts)
    return f"{heard}{_unwired(report)}" if heard else report.answer


def _unwired(report: Report) -> str:
    missing, guessed = left_out(report), by_odds(report)
    said = [f"without {listed(missing)}, of unknown load"] if missing else []
    said += [f"{listed(guessed)} by the odds of its wiring"] if guessed else []
    return f" ({'; '.join(said)})" if said else ""


def octave_levels(found: Curve) -> Curve:
    """Return power means per octave as flat steps with gaps between them, above 700 Hz.

    Each octave (1 to 16 kHz) gives its two edges and a NaN; one with fewer than three points of
    the curve is left out. The band's edges are averaged like the curve, which makes the band of a
    mean look wider, never narrower, than it is.
    """
    x: list[float] = []
    levels: list[list[float]] = [[], [], []]
    for centre in OCTAVES:
        edges = centre / np.sqrt(2.0), min(centre * np.sqrt(2.0), HIGHEST)
        inside = (found.x >= edges[0]) & (found.x < edges[1]) & np.isfinite(found.y)
        if np.count_nonzero(inside) < FEWEST_IN_OCTAVE:
            continue
        x += [*edges, edges[1]]
        for rows, values in zip(levels, (found.y, found.low, found.high), strict=True):
            mean = 10.0 * np.log10(np.mean(10.0 ** (values[inside] / 10.0)))
            rows += [mean, mean, np.nan]
    return Curve(np.array(x), *(np.array(rows) for rows in levels))


def _change_title(changes: list[Any]) -> str:
    if unchanged(changes):
        return f"{capital(NO_CHANGE)} in the bass at any seat"
    if len(changes) <= 2:
        return "Bass " + ", ".join(f"{said(f)} at {f.subject}" for f in changes)
    least, most = (pick(changes, key=lambda f: f.value) for pick in (min, max))
    return f"Bass from {said(least)} at {least.subject} to {said(most)} at {most.subject}"


def _seats(report: Report) -> tuple[str, ...]:
    return tuple(seat for seat in subjects(report, "level") if curve(report, f"{seat}.level"))


def _seat(
    sheet: Sheet,
    report: Report,
    seat: str,
    *,
    left: float,
    top: float,
    cell: float,
    limits: tuple[float, float],
) -> None:
    across: dict[str, float] = {"left": left + LEFT, "width": cell - LEFT - RIGHT}
    level = sheet.axes(top=top + ABOVE, height=PLOT, **across)
    _level_panel(level, report, seat, limits=limits, size=sheet.size)
    strip = sheet.axes(top=top + ABOVE + PLOT + GAP, height=STRIP, **across)
    _strip(strip, report, seat, size=sheet.size)
    height = bars_height(report, seat)
    if height:
        below = top + ABOVE + PLOT + GAP + STRIP + BELOW
        draw_bars(sheet, report, seat, left=left, top=below, cell=cell)


def _level_panel(
    axes: Axes, report: Report, seat: str, *, limits: tuple[float, float], size: float
) -> None:
    frequency_axis(axes, size=size, labelled=False)
    axes.set_ylim(*limits)
    level_grid(axes, axis="y", major=6.0)
    axes.set_ylabel("level, dB")
    axes.set_title(seat, loc="left", fontweight="bold", pad=4.0)
    axes.axvspan(
        TREND_FROM, HIGHEST, facecolor="none", edgecolor="0.88", hatch="//", lw=0, gid="trend"
    )
    axes.annotate(
        "trend only",
        xy=(TREND_FROM, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(4.0, -2.0),
        textcoords="offset points",
        va="top",
        color=GREY,
        path_effects=halo(),
    )
    label_ends(axes, _lines(axes, report, seat), size=size)


def _lines(axes: Axes, report: Report, seat: str) -> list[EndLabel]:
    labels = []
    for name, build in (("level_against", report.against), ("level", report.build)):
        found = curve(report, f"{seat}.{name}")
        if found is None or build is None:
            continue
        style = style_for(report, build)
        low, high = _trusted(found), octave_levels(found)
        draw_curve(axes, low, style, gid=f"{seat}.{name}")
        if high.x.size:
            draw_curve(axes, high, style, gid=f"{seat}.{name}_octaves", steps=True)
        label = end_label(high if high.x.size else low, build, style)
        if label is not None:
            labels.append(label)
    return labels if len(labels) > 1 else []


def _trusted(found: Curve) -> Curve:
    """Return the part of a curve that is drawn as a curve."""
    keep = found.x <= CURVE_ENDS * 1.001
    return Curve(found.x[keep], found.y[keep], found.low[keep], found.high[keep])


def limit_runs(frequency: FloatArray, words: tuple[Any, ...]) -> list[Run]:
    """Return the stretches over which the same limit binds, met halfway between two points."""
    middles = np.sqrt(frequency[1:] * frequency[:-1])
    edges = np.clip([frequency[0], *middles, frequency[-1]], LOWEST, HIGHEST)
    starts = [i for i in range(len(words)) if i == 0 or words[i] != words[i - 1]]
    ends = [*starts[1:], len(words)]
    runs = [
        Run(str(words[i]), float(edges[i]), float(edges[j]))
        for i, j in zip(starts, ends, strict=True)
    ]
    return [run for run in runs if run.end > run.start]


def _strip(axes: Axes, report: Report, seat: str, *, size: float) -> None:
    frequency_axis(axes, size=size)
    axes.set_xlabel("frequency, Hz")
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([0.5], ["limit"])
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False)
    found = next((entry for entry in report.series if entry.id == f"{seat}.limit"), None)
    if found is None or not found.x.values:
        return
    runs = limit_runs(np.asarray(found.x.values, dtype=np.float64), found.y.values)
    for run in runs:
        axes.axvspan(
            run.start,
            run.end,
            facecolor="white",
            edgecolor=GREY,
            hatch=PATTERNS.get(run.word, "++"),
            linewidth=0.8,
            gid=f"{seat}.limit.{run.word}",
        )
    _name_runs(axes, runs, size=size)


def _name_runs(axes: Axes, runs: list[Run], *, size: float) -> None:
    """Write each limit's word once: in its longest run if it fits there, else just above it."""
    longest = {word: _longest(runs, word) for word in dict.fromkeys(run.word for run in runs)}
    decade = axes_size(axes)[0] / 3.0
    outside: list[Run] = []
    for word, run in longest.items():
        if decade * np.log10(run.end / run.start) < text_width(word, size=size) + 0.12:
            outside.append(run)
            continue
        box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
        middle = float(np.sqrt(run.start * run.end))
        axes.text(middle, 0.46, word, ha="center", va="center", bbox=box, gid="limit word")
    wanted = [decade * np.log10(np.sqrt(run.start * run.end) / LOWEST) for run in outside]
    widths = np.array([text_width(run.word, size=size) + 0.1 for run in outside])
    places = spread_out(wanted, widths, low=0.0, high=3.0 * decade)
    for run, want, place in zip(outside, wanted, places, strict=True):
        axes.annotate(
            run.word,
            xy=(float(np.sqrt(run.start * run.end)), 1.0),
            xytext=(float(place - want) * 72.0, 3.0),
            textcoords="offset points",
            ha="center",
            va="bottom",
            gid="limit word",
            arrowprops={"arrowstyle": "-", "linewidth": 0.6, "color": GREY, "shrinkB": 0},
        )


def _longest(runs: list[Run], word: str) -> Run:
    return max((run for run in runs if run.word == word), key=lambda run: run.end / run.start)


def _level_limits(report: Report, seats: tuple[str, ...]) -> tuple[float, float]:
    """Return the ends of the level axis, multiples of 6 dB, the same for all seats."""
    found = curves(report, [f"{s}.{n}" for s in seats for n in ("level", "level_against")])
    top = 6.0 * np.ceil((max(float(np.nanmax(c.high)) for c in found) + 3.0) / 6.0)
    bottom = 6.0 * np.floor(min(float(np.nanmin(c.low)) for c in found) / 6.0)
    return max(float(bottom), float(top) - DEEPEST_DB), float(top)
