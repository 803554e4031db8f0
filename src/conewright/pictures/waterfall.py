"""Bars that show where a change comes from: each cause starts where the one before it ended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.pictures.axes import BLACK, BLUE, GREY, LEAD, ORANGE, Sheet, level_grid, text_size
from conewright.pictures.curves import SMALLEST_DB, figure_of, subjects, unchanged
from conewright.stages.report.data import Figure, Report
from conewright.stages.report.shares import CAUSES
from conewright.views.numbers import summing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["BANDS", "Group", "bars_height", "change_groups", "draw_bars"]

BANDS = ("deep_bass", "bass", "upper_bass", "voice", "treble")
LEFT, RIGHT, HEAD, BELOW, APART = 1.1, 0.62, 0.3, 0.62, 0.4


@dataclass(frozen=True, slots=True)
class Group:
    """The change in one band and the shares [dB] that add up to it."""

    band: str
    total: Figure
    shares: dict[str, float]


def change_groups(report: Report, seat: str) -> list[Group]:
    """Return the bands of a seat with their shares; small shares are put together.

    A share below 0.05 dB has no row of its own; where such shares together reach that, they make
    the row `small shares`. A seat at which nothing changes has no bands.
    """
    groups = []
    for band in BANDS:
        total = figure_of(report, seat, f"change_{band}")
        if total is None or total.value is None:
            continue
        found = {cause: figure_of(report, seat, f"change_{band}_from_{cause}") for cause in CAUSES}
        shares = {cause: f.value or 0.0 for cause, f in found.items() if f is not None}
        large = {cause: dB for cause, dB in shares.items() if abs(dB) >= SMALLEST_DB}
        rest = sum(shares.values()) - sum(large.values())
        if abs(rest) >= SMALLEST_DB:
            large["small shares"] = rest
        groups.append(Group(band, total, large))
    if unchanged(group.total for group in groups) and not any(group.shares for group in groups):
        return []
    return groups


def bars_height(report: Report, seat: str) -> float:
    """Return the height in inches the bars of a seat need; 0 without a change to show."""
    groups = change_groups(report, seat)
    return HEAD + _rows(groups) * _row() + BELOW if groups else 0.0


def draw_bars(
    sheet: Sheet, report: Report, seat: str, *, left: float, top: float, cell: float
) -> None:
    """Draw the bars of a seat: per band its total, then the causes that lead up to it."""
    groups = change_groups(report, seat)
    rows = _rows(groups)
    sheet.text(left=left + 0.08, top=top, text="where the change comes from", fontweight="bold")
    axes = sheet.axes(
        left=left + LEFT, top=top + HEAD, width=cell - LEFT - RIGHT, height=rows * _row()
    )
    axes.set_ylim(rows, 0.0)
    seats = subjects(report, f"change_{BANDS[0]}")
    # The same reach for all seats, so that bars compare.
    axes.set_xlim(*_reach([group for s in (*seats, seat) for group in change_groups(report, s)]))
    low, high = axes.get_xlim()
    level_grid(
        axes, axis="x", major=3.0 if high - low <= 18.0 else 6.0 if high - low < 45 else 12.0
    )
    axes.set_xlabel("change, dB")
    axes.axvline(0.0, color=GREY, linewidth=0.8)
    axes.spines["left"].set_visible(False)
    axes.set_yticks([])
    row = 0.5
    for group in groups:
        _draw_group(axes, group, row=row)
        row += 1.0 + len(group.shares) + APART


def _draw_group(axes: Axes, group: Group, *, row: float) -> None:
    total = group.total.value or 0.0
    numbers, whole = summing(list(group.shares.values()), total)
    _total(axes, group, row=row)
    _write(axes, group.band.replace("_", " "), whole, row=row, weight="bold")
    last = row + len(group.shares)
    axes.plot([total, total], [row, last + 0.4], color=BLACK, linewidth=0.7)
    reached = 0.0
    for place, (cause, share) in enumerate(group.shares.items(), start=1):
        axes.barh(
            row + place,
            share,
            left=reached,
            height=0.62,
            color=BLUE if share > 0 else "white",
            edgecolor=BLUE if share > 0 else ORANGE,
            hatch="" if share > 0 else "////",
            linewidth=0.8,
            gid=f"{group.total.id}_from_{cause}",
        )
        reached += share
        if place < len(group.shares):
            axes.plot([reached] * 2, [row + place - 0.31, row + place + 1.31], color=GREY, lw=0.6)
        _write(axes, cause, numbers[place - 1], row=row + place)


def _total(axes: Axes, group: Group, *, row: float) -> None:
    total, low, high = group.total.value or 0.0, group.total.low, group.total.high
    if low is not None and high is not None and high > low:
        axes.plot([low, high], [row, row], color=BLACK, linewidth=1.2, marker="|", markersize=6)
    axes.plot([total], [row], color=BLACK, marker="D", markersize=5.5, gid=group.total.id)


def _write(axes: Axes, left: str, right: str, *, row: float, weight: str = "normal") -> None:
    """Write a row's name left of the axes and its number in a column on the right."""
    spot = axes.get_yaxis_transform()
    axes.annotate(
        left, (0.0, row), (-5.0, 0.0), xycoords=spot, textcoords="offset points",
        ha="right", va="center", fontweight=weight,
    )  # fmt: skip
    axes.annotate(
        right, (1.0, row), (40.0, 0.0), xycoords=spot, textcoords="offset points",
        ha="right", va="center", fontweight=weight,
    )  # fmt: skip


def _reach(groups: list[Group]) -> tuple[float, float]:
    """Return the ends of the axis: zero and everything drawn, in whole steps of 3 dB."""
    spots = [0.0]
    for group in groups:
        reached = 0.0
        for share in group.shares.values():
            reached += share
            spots.append(reached)
        edges = (group.total.low, group.total.value, group.total.high)
        spots += [edge for edge in edges if edge is not None]
    low, high = 3.0 * (min(spots) // 3.0), -3.0 * (-max(spots) // 3.0)
    return low, max(high, low + 3.0)


def _rows(groups: list[Group]) -> float:
    return sum(1.0 + len(group.shares) + APART for group in groups)


def _row() -> float:
    return text_size() * (LEAD + 0.2) / 72.0
