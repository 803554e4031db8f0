"""Picture of what each channel drives: impedance against what the radio is rated for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conewright.pictures.axes import (
    BLACK,
    GREY,
    VERMILLION,
    EndLabel,
    draw_curve,
    end_label,
    frequency_axis,
    halo,
    label_ends,
    new_sheet,
    style_for,
)
from conewright.pictures.curves import (
    HIGHEST,
    LOWEST,
    Curve,
    caption,
    curve,
    curves,
    figure_of,
    has_band,
    left_out,
    said,
    subjects,
    value_of,
)
from conewright.stages.report.data import Report
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_feed", "feed_title"]

LEFT, RIGHT, ABOVE, PLOT, BELOW, LAST = 0.6, 0.88, 0.28, 1.8, 0.3, 0.22
# A load keeps its rated impedance if it nowhere falls below 80 % of it (IEC 60268-5).
RATED_MAY_FALL_TO = 0.8
# Above this many times the rated load a curve says nothing about the radio: cut, and say so.
TALLEST_IN_RATED = 6.0


def draw_feed(report: Report, *, width: float, columns: int) -> Figure:
    """Draw one panel per channel: impedance in ohms from zero, over frequency."""
    channels = subjects(report, "impedance")
    columns = min(columns, len(channels))
    rows = -(-len(channels) // columns)
    cell = ABOVE + PLOT + BELOW
    sheet = new_sheet(
        width=width,
        body=rows * cell + LAST,
        title=feed_title(report),
        note=caption(report, tint=has_band(_curves(report, channels))),
    )
    top = _highest(report, channels)
    for place, channel in enumerate(channels):
        row, column = divmod(place, columns)
        axes = sheet.axes(
            left=column * width / columns + LEFT,
            top=row * cell + ABOVE,
            width=width / columns - LEFT - RIGHT,
            height=PLOT,
        )
        _panel(axes, report, channel, top=top, size=sheet.size)
        if place + columns >= len(channels):
            axes.set_xlabel("frequency, Hz")
    return sheet.figure


def feed_title(report: Report) -> str:
    """Say in one sentence how low the channels go and what the radio is rated for."""
    channels = subjects(report, "minimum_impedance")
    least = {
        channel: found
        for channel in channels
        if (found := figure_of(report, channel, "minimum_impedance")) is not None
    }
    if not least:
        return report.answer
    ratings = {channel: _rated(report, channel) for channel in least}
    worst = min(least.values(), key=lambda f: (f.value or 0.0) / (ratings[f.subject] or 1.0))
    rated = ratings[worst.subject]
    if rated is None:
        return f"{worst.subject} falls lowest, to {said(worst)}"
    below = [
        channel
        for channel, each in least.items()
        if (each.value or 0.0) < RATED_MAY_FALL_TO * (ratings[channel] or 0.0)
    ]
    by_amplifier = value_of(report, worst.subject, "minimum_load") is not None
    end = f"{'its amplifier' if by_amplifier else 'the radio'} is rated for {number(rated)}"
    if not below:
        return f"No channel falls below {said(worst)}; {end}"
    together = _together(below, list(channels))
    if left_out(report):
        together = together.replace("All channels", "All known channels")
    return f"{together} {said(worst)}; {end}"


def _rated(report: Report, channel: str) -> float | None:
    """Return the load that what drives a channel is rated for: an amplifier, else the radio."""
    own = value_of(report, channel, "minimum_load")
    return value_of(report, "head_unit", "minimum_load") if own is None else own


def _together(below: list[str], channels: list[str]) -> str:
    """Name the channels that fall: `Rear channels fall to` if those are all the rear ones."""
    if len(below) == 1:
        return f"{below[0]} falls to"
    group = below[0].split("-")[0]
    if below == [channel for channel in channels if channel.split("-")[0] == group]:
        return f"{group.capitalize()} channels fall to"
    if len(below) == len(channels):
        return "All channels fall too low, the lowest to"
    return f"{', '.join(below[:-1])} and {below[-1]} fall too low, the lowest to"


def _panel(axes: Axes, report: Report, channel: str, *, top: float, size: float) -> None:
    from matplotlib.ticker import MaxNLocator

    frequency_axis(axes, size=size)
    axes.set_ylim(0.0, top)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=7, integer=True, steps=[1, 2, 5, 10]))
    axes.set_ylabel("impedance, ohm")
    axes.grid(visible=True, axis="y", color="0.85", linewidth=0.6)
    axes.set_title(channel, loc="left", fontweight="bold", pad=4.0)
    labels = _lines(axes, report, channel)
    rated = _rated(report, channel)
    if rated is not None:
        axes.axhline(rated, color=VERMILLION, linewidth=1.2, linestyle=(0, (1.0, 1.5)), gid="rated")
        labels.append(EndLabel(HIGHEST, rated, f"rated {number(rated)}", VERMILLION))
    label_ends(axes, labels, size=size)
    _mark_minimum(axes, report, channel)


def _lines(axes: Axes, report: Report, channel: str) -> list[EndLabel]:
    """Draw the curves of a channel; return labels for their ends if there is more than one."""
    drawn = [("impedance_against", report.against), ("impedance", report.build)]
    labels = []
    for name, build in drawn:
        found = curve(report, f"{channel}.{name}")
        if found is None or build is None:
            continue
        style = style_for(report, build)
        draw_curve(axes, found, style, gid=f"{channel}.{name}")
        label = end_label(found, build, style)
        if label is not None:
            labels.append(label)
        _say_if_cut(axes, found)
    return labels if len(labels) > 1 else []


def _say_if_cut(axes: Axes, found: Curve) -> None:
    top = axes.get_ylim()[1]
    if np.nanmax(found.y) <= top:
        return
    peak = int(np.nanargmax(found.y))
    axes.annotate(
        f"↑ {number(float(f'{found.y[peak]:.2g}'))}",
        xy=(float(np.clip(found.x[peak], 30.0, 12000.0)), top),
        xytext=(0.0, -2.0),
        textcoords="offset points",
        ha="center",
        va="top",
        color=GREY,
        path_effects=halo(),
    )


def _mark_minimum(axes: Axes, report: Report, channel: str) -> None:
    """Mark the lowest point in the plot, and say above it how low and where that is."""
    least = figure_of(report, channel, "minimum_impedance")
    if least is None or least.value is None or least.frequency_hz is None:
        return
    x = float(np.clip(least.frequency_hz, LOWEST, HIGHEST))
    gid = f"{channel}.minimum"
    axes.plot([x], [least.value], "v", color=BLACK, markersize=6.0, clip_on=False, gid=gid)
    axes.annotate(
        f"▼ {said(least)} at {_hertz(least.frequency_hz)}",
        (1.0, 1.0),
        (RIGHT * 72.0 - 12.0, 4.0),
        xycoords="axes fraction",
        textcoords="offset points",
        ha="right",
        va="baseline",
        gid=f"{channel}.minimum_label",
    )


def _hertz(frequency: float) -> str:
    return number(frequency, "Hz") if frequency < 1000.0 else number(frequency / 1000.0, "kHz")


def _highest(report: Report, channels: tuple[str, ...]) -> float:
    """Return the top of the impedance axis, the same for all panels so that they compare."""
    rated = value_of(report, "head_unit", "minimum_load")
    most = max(float(np.nanmax(found.high)) for found in _curves(report, channels))
    if rated is None:
        return 1.05 * most
    return float(np.clip(1.05 * most, 1.5 * rated, TALLEST_IN_RATED * rated))


def _curves(report: Report, channels: tuple[str, ...]) -> list[Curve]:
    names = ("impedance", "impedance_against")
    return curves(report, [f"{channel}.{name}" for channel in channels for name in names])
