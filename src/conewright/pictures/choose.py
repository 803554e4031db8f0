"""Picture of a choice: the points that money buys as steps, and of what wishes they are made up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.axes import (
    BLACK,
    BLUE,
    GREY,
    LEAD,
    ORANGE,
    PALE,
    VERMILLION,
    Sheet,
    axes_size,
    halo,
    lines,
    new_sheet,
    text_size,
    text_width,
)
from conewright.pictures.curves import unbroken
from conewright.stages.choose.finals.plan_answers import (
    BEST,
    DO_NOTHING,
    RECOMMENDED,
    Choice,
    FrontStep,
    PlanAnswer,
)
from conewright.stages.report.data import Report
from conewright.stages.report.words import number
from conewright.views.choice import currency_of, led_plans, wish_name
from conewright.views.numbers import WHOLE, money, summing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["choose_title", "draw_choose"]

LEFT, RIGHT, ABOVE, PLOT, BELOW = 0.62, 0.15, 0.3, 2.3, 0.62
EDGE, SWATCH, APART, VALUE = 0.08, 0.24, 0.2, 0.4
"""Inches: the edge, a pattern of the key, the gap to the next, room for the number by a bar."""
NEAR = 0.11
"""Gap between a point and its name; further away a line leads there [in]."""
NAMES = 0.32
"""Part of the width that the names of plans take."""
NO_MONEY = 100.0
"""How far the axis of money goes where nothing costs anything."""
STEP = 10.0
"""Points between two lines of the grid, and the fewest on either side of what is drawn."""
PATTERNS: tuple[dict[str, Any], ...] = (
    {"facecolor": BLUE, "edgecolor": BLUE},
    {"facecolor": "white", "edgecolor": BLUE, "hatch": "////"},
    {"facecolor": ORANGE, "edgecolor": ORANGE},
    {"facecolor": "white", "edgecolor": ORANGE, "hatch": "...."},
    {"facecolor": GREY, "edgecolor": GREY},
    {"facecolor": "white", "edgecolor": GREY, "hatch": "xxxx"},
)
"""How each wish is drawn, in the order of the wishes."""
MARKERS = {BEST: "o", RECOMMENDED: "D", DO_NOTHING: "v"}
SQUARE = "s"
LEADER = {"arrowstyle": "-", "linewidth": 0.6, "color": GREY, "shrinkB": 5.0}
NOTE = (
    "Steps: the most points that a sum buys. Tint: money between the ends of a quote, points down "
    "to the careful ends of all bands."
)


def draw_choose(report: Report, *, width: float, columns: int) -> Figure:
    """Draw what money buys, and below it the points of the plans that lead, wish by wish."""
    del columns  # one panel below the other reads best at any width
    assert isinstance(report, Choice)
    plans = {name: each for name, each in led_plans(report).items() if each.value is not None}
    bars = {name: each for name, each in plans.items() if _has_bar(each)}
    key = _Key.of(bars.values(), width=width - 2.0 * EDGE)
    names = {name: _folded(name, width) for name in plans}
    tall = max((name.count("\n") for name in names.values()), default=0)
    deep = (len(bars) + 0.4) * _row(tall)
    below = ABOVE + key.height + deep + BELOW if bars else 0.0
    sheet = new_sheet(
        width=width, body=ABOVE + PLOT + BELOW + below, title=choose_title(report), note=NOTE
    )
    sheet.text(left=EDGE, top=0.0, text="what money buys", fontweight="bold")
    axes = sheet.axes(left=LEFT, top=ABOVE, width=width - LEFT - RIGHT, height=PLOT)
    _what_money_buys(axes, report, {names[name]: plan for name, plan in plans.items()})
    if bars:
        _points_per_wish(sheet, {names[name]: p for name, p in bars.items()}, key, deep=deep)
    return sheet.figure


def choose_title(report: Choice) -> str:
    """Say what the best plan costs and is worth, and nothing done, and the recommended one."""
    plans, unit = led_plans(report), currency_of(report)
    of = {role: each for each in plans.values() for role in (each.id, *each.roles)}
    best, nothing, taken = (of.get(role) for role in (BEST, DO_NOTHING, RECOMMENDED))
    if best is None or best.value is None or best is nothing:
        return report.answer
    said = f"Best: {_told(best, unit)}"
    if nothing is not None and nothing.value is not None:
        said += f", where nothing done has {number(nothing.value, spread=WHOLE)}"
    if taken is not None and taken is not best and taken.value is not None:
        said += f"; recommended: {_told(taken, unit)}"
    return said


def _told(plan: PlanAnswer, unit: str) -> str:
    price = unbroken(f"{money(plan.money)} {unit}".rstrip())
    return f"{unbroken(f'{number(plan.value or 0.0, spread=WHOLE)} points')} for {price}"


def _has_bar(plan: PlanAnswer) -> bool:
    return bool({BEST, RECOMMENDED, DO_NOTHING} & {plan.id, *plan.roles})


def _folded(name: str, width: float) -> str:
    """Return what a plan is called in lines that leave room for its bar."""
    size = text_size()
    return "\n".join(lines(name, width=NAMES * width, size=size, weight="bold"))


def _row(further: int) -> float:
    """Return the height of a row whose name takes so many further lines [in]."""
    return text_size() * (LEAD * (1.0 + further) + 0.75) / 72.0


# --- What money buys ------------------------------------------------------------------------------


def _what_money_buys(axes: Axes, report: Choice, plans: Mapping[str, PlanAnswer]) -> None:
    steps = sorted(report.front, key=lambda step: step.money)
    _money_axis(axes, currency_of(report), [*_amounts(steps, plans)])
    _points_axis(axes, [*_values(steps, plans)])
    walls = _Walls(axes)
    corners = _corners(steps)
    if len(corners):
        axes.plot(corners[:, 0], corners[:, 1], color=BLUE, linewidth=1.8, gid="front")
        axes.plot(
            [step.money for step in steps], [step.value for step in steps],
            "o", color=BLUE, markersize=3.5, gid="front steps",
        )  # fmt: skip
        walls.add_line(corners)
    for plan in plans.values():
        for tint in _tints(plan):
            axes.plot(*tint.T, color=BLUE, linewidth=4.0, alpha=0.25)
            walls.add_line(tint)
        _point(axes, plan)
        walls.add_point(plan.money, plan.value or 0.0)
    for name, plan in plans.items():
        _name_point(axes, walls, name, plan)


def _amounts(steps: Sequence[FrontStep], plans: Mapping[str, PlanAnswer]) -> Iterator[float]:
    yield from (step.money for step in steps)
    yield from (plan.money_high for plan in plans.values())


def _values(steps: Sequence[FrontStep], plans: Mapping[str, PlanAnswer]) -> Iterator[float]:
    yield from (step.value for step in steps)
    for plan in plans.values():
        yield from (each for each in (plan.value, plan.careful_value) if each is not None)


def _money_axis(axes: Axes, unit: str, amounts: Sequence[float]) -> None:
    most = max(amounts) or NO_MONEY
    axes.set_xlim(-0.04 * most, 1.08 * most)
    axes.set_xlabel(f"money, {unit}" if unit else "money")


def _points_axis(axes: Axes, values: Sequence[float]) -> None:
    from matplotlib.ticker import MultipleLocator

    low = STEP * np.floor((min(values) - 0.4 * STEP) / STEP)
    high = STEP * np.ceil((max(values) + 0.4 * STEP) / STEP)
    axes.set_ylim(max(float(low), -0.4 * STEP), float(high))
    axes.yaxis.set_major_locator(MultipleLocator(STEP if high - low < 70.0 else 2.0 * STEP))
    axes.set_ylabel("points of 100")
    axes.grid(visible=True, axis="y", color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)


def _corners(steps: Sequence[FrontStep]) -> FloatArray:
    """Return the corners of the steps, shape (N, 2): flat until more money buys more."""
    spots = [(step.money, step.value) for step in steps]
    corners = [spot for (_, v), (m, w) in pairwise(spots) for spot in ((m, v), (m, w))]
    return np.array([*spots[:1], *corners], dtype=np.float64).reshape(-1, 2)


def _tints(plan: PlanAnswer) -> Iterator[FloatArray]:
    """Yield the ends of what is drawn as tint at a plan that leads: its money, its points."""
    value, careful = plan.value or 0.0, plan.careful_value
    if not {BEST, RECOMMENDED} & {plan.id, *plan.roles}:
        return
    if plan.money_high > plan.money_low:
        yield np.array([[plan.money_low, value], [plan.money_high, value]])
    if careful is not None and careful < value:
        yield np.array([[plan.money, careful], [plan.money, value]])


def _point(axes: Axes, plan: PlanAnswer) -> None:
    """Draw a plan where its money and its points are; what breaks a limit stands out."""
    roles = {plan.id, *plan.roles}
    edge = VERMILLION if plan.breaks else BLACK
    axes.plot(
        [plan.money], [plan.value or 0.0],
        marker=next((MARKERS[role] for role in MARKERS if role in roles), SQUARE),
        markersize=7.0, color=edge, markeredgewidth=1.4, clip_on=False, gid=f"{plan.id}.point",
        markerfacecolor=edge if roles & {BEST, RECOMMENDED} else "white",
    )  # fmt: skip


def _name_point(axes: Axes, walls: _Walls, name: str, plan: PlanAnswer) -> None:
    words = f"{name},\nbreaks a limit" if plan.breaks else name
    size = text_size()
    rows = words.split("\n")
    wide = max(text_width(row, size=size, weight="bold") for row in rows)
    box = (1.04 * wide, len(rows) * size * LEAD / 72.0)
    x, y = walls.free_spot(plan.money, plan.value or 0.0, box)
    far = abs(x) > box[0] / 2.0 + NEAR or abs(y) > box[1] / 2.0 + NEAR
    axes.annotate(
        words, (plan.money, plan.value or 0.0), (72.0 * x, 72.0 * y),
        textcoords="offset points", ha="center", va="center", fontweight="bold", linespacing=1.1,
        color=VERMILLION if plan.breaks else BLACK, path_effects=halo(), gid="name",
        arrowprops=LEADER if far else None,
    )  # fmt: skip


@dataclass
class _Walls:
    """What names keep clear of, as boxes (left, low, right, high) in inches of the axes."""

    axes: Axes

    def __post_init__(self) -> None:
        self._boxes: list[tuple[float, float, float, float]] = []
        self._taken: list[tuple[float, float, float, float]] = []

    def add_line(self, corners: FloatArray) -> None:
        """Keep clear of a line whose pieces go along or upwards."""
        spots = [self._inches(*corner) for corner in corners]
        self._boxes += [(*start, *end) for start, end in pairwise(spots)]

    def add_point(self, x: float, y: float) -> None:
        """Keep clear of a marker."""
        left, low = self._inches(x, y)
        self._taken.append((left - 0.05, low - 0.05, left + 0.05, low + 0.05))

    def free_spot(self, x: float, y: float, box: tuple[float, float]) -> tuple[float, float]:
        """Return where the middle of a name goes, from its point [in], and keep that clear."""
        here = self._inches(x, y)
        offsets = [*_around(box)]
        frames = [_frame(here, offset, box) for offset in offsets]
        best = min(range(len(offsets)), key=lambda place: (self._cost(frames[place]), place))
        self._taken.append(frames[best])
        return offsets[best]

    def _cost(self, frame: tuple[float, float, float, float]) -> float:
        """Return how bad a place is: over other words, beyond the edge, over a line."""
        wide, high = axes_size(self.axes)
        beyond = frame[0] < 0.02 or frame[2] > wide + RIGHT - 0.02
        beyond = beyond or frame[1] < 0.03 or frame[3] > high + 0.02
        over = sum(_overlap(frame, each) for each in self._taken)
        return 100.0 * over + 50.0 * beyond + sum(_overlap(frame, each) for each in self._boxes)

    def _inches(self, x: float, y: float) -> tuple[float, float]:
        wide, high = axes_size(self.axes)
        (left, right), (low, top) = self.axes.get_xlim(), self.axes.get_ylim()
        return (x - left) / (right - left) * wide, (y - low) / (top - low) * high


def _around(box: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """Yield places for the middle of a name around its point, the best first, near then far."""
    for gap in (NEAR, 0.3, 0.5):
        x, y = box[0] / 2.0 + gap, box[1] / 2.0 + gap
        yield from ((0.0, y), (-x, 0.0), (x, 0.0), (0.0, -y))
        yield from ((x, y), (-x, y), (x, -y), (-x, -y))


def _frame(
    here: tuple[float, float], offset: tuple[float, float], box: tuple[float, float]
) -> tuple[float, float, float, float]:
    x, y = here[0] + offset[0], here[1] + offset[1]
    return x - box[0] / 2.0, y - box[1] / 2.0, x + box[0] / 2.0, y + box[1] / 2.0


def _overlap(
    one: tuple[float, float, float, float], two: tuple[float, float, float, float]
) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


# --- Points per wish ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Key:
    """The wishes with their patterns, in lines that fit: each with where it starts [in]."""

    lines: tuple[tuple[tuple[str, float], ...], ...]

    @classmethod
    def of(cls, plans: Iterable[PlanAnswer], *, width: float) -> _Key:
        """Return the key of all wishes that plans have points of."""
        wishes = dict.fromkeys(w for plan in plans for w, points in plan.points.items() if points)
        found: list[list[tuple[str, float]]] = [[]]
        start = 0.0
        for wish in wishes:
            needed = SWATCH + 0.06 + 1.04 * text_width(wish_name(wish), size=text_size())
            if found[-1] and start + needed > width:
                found.append([])
                start = 0.0
            found[-1].append((wish, start))
            start += needed + APART
        return cls(tuple(tuple(line) for line in found if line))

    @property
    def height(self) -> float:
        """How much room it takes [in]."""
        return len(self.lines) * text_size() * (LEAD + 0.35) / 72.0

    @property
    def styles(self) -> dict[str, dict[str, Any]]:
        """The pattern of each wish."""
        wishes = [wish for line in self.lines for wish, _ in line]
        return {wish: PATTERNS[row % len(PATTERNS)] for row, wish in enumerate(wishes)}


def _points_per_wish(
    sheet: Sheet, plans: Mapping[str, PlanAnswer], key: _Key, *, deep: float
) -> None:
    top = ABOVE + PLOT + BELOW
    sheet.text(left=EDGE, top=top, text="points per wish", fontweight="bold")
    top += ABOVE
    _draw_key(sheet, key, top=top)
    size = text_size()
    names = [line for name in plans for line in name.split("\n")]
    left = max(text_width(name, size=size, weight="bold") for name in names) + 0.2
    axes = sheet.axes(
        left=left, top=top + key.height, width=sheet.width - left - VALUE, height=deep
    )
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(len(plans), -0.4)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(visible=True, axis="x", color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_xlabel("points of 100")
    for row, (name, plan) in enumerate(plans.items()):
        _bar(axes, name, plan, key.styles, row=row + 0.5)


def _draw_key(sheet: Sheet, key: _Key, *, top: float) -> None:
    from matplotlib.patches import Rectangle

    if not key.lines:
        return
    wide, line = sheet.width - EDGE, key.height / len(key.lines)
    axes = sheet.axes(left=EDGE, top=top, width=wide, height=key.height)
    axes.set_xlim(0.0, wide)
    axes.set_ylim(key.height, 0.0)
    axes.axis("off")
    for row, entries in enumerate(key.lines):
        for wish, start in entries:
            middle = (row + 0.4) * line
            swatch = Rectangle((start, middle - 0.06), SWATCH, 0.12, lw=0.8, **key.styles[wish])
            axes.add_patch(swatch)
            axes.text(start + SWATCH + 0.06, middle, wish_name(wish), ha="left", va="center")


def _bar(
    axes: Axes, name: str, plan: PlanAnswer, styles: Mapping[str, dict[str, Any]], *, row: float
) -> None:
    """Draw the points of each wish one after another, up to the value."""
    wide, high = axes_size(axes)
    reached, scale = 0.0, wide / 100.0
    low, top = axes.get_ylim()
    thick = 0.62 * _row(0) * (low - top) / high
    texts, whole = summing(list(plan.points.values()), plan.value or 0.0, decimals=0, signs=False)
    for (wish, points), text in zip(plan.points.items(), texts, strict=True):
        if points <= 0.0:
            continue
        axes.barh(
            row, points, left=reached, height=thick, linewidth=0.8, gid=f"{plan.id}.points_{wish}",
            **styles[wish],
        )  # fmt: skip
        if points * scale >= text_width(text, size=text_size()) + 0.12:
            box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
            middle = reached + points / 2.0
            axes.text(middle, row, text, ha="center", va="center", bbox=box, gid="points")
        reached += points
    spot = axes.get_yaxis_transform()
    style: dict[str, Any] = {"textcoords": "offset points", "va": "center", "fontweight": "bold"}
    style["linespacing"] = 1.1
    axes.annotate(name, (0.0, row), (-6.0, 0.0), xycoords=spot, ha="right", **style)
    axes.annotate(whole, (plan.value or 0.0, row), (5.0, 0.0), ha="left", **style)
