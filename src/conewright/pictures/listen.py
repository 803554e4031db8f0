"""Picture of what recordings hold: levels, distortion, rattles, steps, impedance."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.axes import (
    BLACK,
    BLUE,
    GREY,
    PALE,
    SOLID,
    VERMILLION,
    EndLabel,
    Style,
    draw_curve,
    end_label,
    frequency_axis,
    label_ends,
    new_sheet,
)
from conewright.pictures.curves import HIGHEST, LOWEST, Curve
from conewright.stages.report.data import Report, Series

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_listen"]

LEFT, RIGHT, ABOVE, PLOT, BELOW, LAST = 0.6, 0.88, 0.28, 1.8, 0.42, 0.22
COLOURS = (BLUE, VERMILLION, BLACK, GREY)
SMALLEST_SPAN = 12.0
"""Least range of an axis in decibels."""
TINT = "Tint: 80 % of what the takes and the noise allow."


def draw_listen(report: Report, *, width: float, columns: int) -> Figure:
    """Draw one panel for each kind of curve, those of one kind together."""
    groups = _groups(report)
    columns = min(columns, len(groups))
    cell = ABOVE + PLOT + BELOW
    banded = any(each.y.low is not None for group in groups for each in group)
    sheet = new_sheet(
        width=width,
        body=-(-len(groups) // columns) * cell + LAST,
        title=report.answer,
        note=f"Recordings: {report.build}. {TINT if banded else ''}".strip(),
    )
    for place, group in enumerate(groups):
        row, column = divmod(place, columns)
        axes = sheet.axes(
            left=column * width / columns + LEFT,
            top=row * cell + ABOVE,
            width=width / columns - LEFT - RIGHT,
            height=PLOT,
        )
        _panel(axes, group, size=sheet.size)
    return sheet.figure


def _groups(report: Report) -> list[list[Series]]:
    """Return curves in groups of one place, quantity and axis; those without any value are left."""
    drawn = [each for each in report.series if np.any(np.isfinite(_real(each)))]
    return [
        list(group)
        for _, group in groupby(
            drawn, key=lambda each: (each.subject, each.x.name, each.y.unit, _kind(each))
        )
    ]


def _kind(each: Series) -> str:
    """Return what several curves of a place have in common: all harmonics are one panel."""
    name = each.id.partition(".")[2]
    return "distortion" if name.startswith("distortion") else each.y.name


def _panel(axes: Axes, group: list[Series], *, size: float) -> None:
    first = group[0]
    labels: list[EndLabel] = []
    for series, colour in zip(group, COLOURS, strict=False):
        curve = _curve(series)
        style = Style(colour, SOLID, 1.5)
        draw_curve(axes, curve, style, gid=series.id)
        name = series.id.partition(".")[2].replace("_", "-").removesuffix("-level")
        label = end_label(curve, name, style)
        if label is not None:
            labels.append(label)
    if first.x.unit == "Hz":
        _frequencies(axes, first, size=size)
    else:
        axes.grid(visible=True, axis="x", color=PALE, linewidth=0.6)
    if first.y.unit == "dB":
        _at_least(axes, SMALLEST_SPAN)
    unit = f", {first.x.unit}" if first.x.unit else ""
    axes.set_xlabel(f"{first.x.name}{unit}")
    axes.set_ylabel(first.y.unit)
    axes.grid(visible=True, axis="y", color=PALE, linewidth=0.6)
    axes.set_title(f"{first.subject}: {_title(first)}", loc="left")
    if len(labels) > 1:
        label_ends(axes, labels, size=size)


def _at_least(axes: Axes, span: float) -> None:
    """Make an axis no finer than anybody hears: noise is not drawn as mountains."""
    low, high = axes.get_ylim()
    if high - low < span:
        middle = (low + high) / 2.0
        axes.set_ylim(middle - span / 2.0, middle + span / 2.0)


def _title(first: Series) -> str:
    return "harmonics over the tone" if _kind(first) == "distortion" else first.y.name


def _frequencies(axes: Axes, series: Series, *, size: float) -> None:
    """Take the whole range of hearing, or that of a crawl alone."""
    frequency = series.frequency
    frequency_axis(axes, size=size)
    if frequency[-1] < 0.1 * HIGHEST:
        axes.set_xlim(max(frequency[0], LOWEST), frequency[-1])


def _curve(series: Series) -> Curve:
    y = _real(series)
    low = y if series.y.low is None else series.low
    high = y if series.y.high is None else series.high
    return Curve(series.frequency, y, low, high)


def _real(series: Series) -> FloatArray:
    return np.asarray(series.value, dtype=float)
