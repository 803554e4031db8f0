"""Section drawing: driver, steel, glass, trim and grille to scale, with both clearances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Any

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.axes import (
    BLACK,
    BLUE,
    GREY,
    LEAD,
    ORANGE,
    VERMILLION,
    Sheet,
    halo,
    lines,
    new_sheet,
    text_size,
)
from conewright.pictures.curves import caption, figure_of, subjects, unbroken, value_of
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.report.data import Report, Severity
from conewright.stages.report.words import MINUS, number, odds
from conewright.views.numbers import say

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Section", "draw_fit", "fit_title", "section_of"]

NEEDED = (
    "driver_depth", "driver_cutout", "driver_outer", "front_height", "trim_gap", "cutout", "steel",
)  # fmt: skip
SIDES = {"rear": REAR, "front": FRONT}
FLANGE, TRIM, RING = 2.0, 3.0, 8.0
MARGIN = 8.0
CROWDED = 160.0
"""Sections longer than this have a tick each 50 mm [mm]."""

SIDE, LABEL, GAP, TICKS, BELOW = 0.1, 0.45, 0.1, 0.55, 0.25
TALLEST = 3.2


@dataclass(frozen=True, slots=True)
class Section:
    """A place cut through the driver's axis, all in mm; x from the steel's face into the cabin.

    `glass` holds the depth of the glass behind the steel's face at each measured point, `behind`
    its name where it is one, `play` how far it may come towards the driver, and `travel` how far
    the cone may go towards the trim.
    """

    depth: float
    inner: float
    outer: float
    front: float
    gap: float | None
    cutout: float
    steel: float
    spacer: float
    enlarge: float
    ring: bool
    glass: tuple[float, ...]
    travel: float
    play: float
    behind: str = "glass"
    carrier: str = "steel"

    @property
    def back(self) -> float:
        """Where the driver ends behind."""
        return self.spacer - self.depth

    @property
    def face(self) -> float:
        """Where the driver ends in front, its cone at rest."""
        return self.spacer + self.front

    @property
    def half(self) -> float:
        """Half the height of the drawing."""
        return max(self.outer, self.cutout + self.enlarge) / 2.0 + RING + MARGIN

    @property
    def ends(self) -> tuple[float, float]:
        """First and last x of the drawing."""
        behind = min(self.back, *(-depth for depth in self.glass), -self.steel)
        front = self.face + self.travel
        return behind - MARGIN, max(front, front if self.gap is None else self.gap + TRIM) + MARGIN

    def size(self, *, scale: float) -> tuple[float, float]:
        """Return width and height of the drawing [in] at a scale [in/mm]."""
        first, last = self.ends
        return (last - first) * scale, 2.0 * self.half * scale

    @property
    def heights(self) -> FloatArray:
        """Height of each measured point of the glass, spread over the opening."""
        if len(self.glass) == 1:
            return np.zeros(1)
        return np.linspace(0.35, -0.35, len(self.glass)) * self.cutout


@dataclass(frozen=True, slots=True)
class _Cell:
    names: list[str]
    section: Section | None
    clearances: dict[str, str]
    words: list[str]

    def height(self, *, scale: float) -> float:
        drawing = self.section.size(scale=scale)[1] + TICKS if self.section else 0.0
        return (len(self.names) + len(self.words)) * _line() + GAP + drawing + BELOW


def draw_fit(report: Report, *, width: float, columns: int) -> Figure:
    """Draw one section per place; places with the same figures share one."""
    groups = _groups(report)
    columns = min(columns, len(groups))
    wide = width / columns
    cells = [_cell_of(report, group, width=wide) for group in groups]
    scale = min((_scale(c.section, wide) for c in cells if c.section), default=0.0)
    tall = [cell.height(scale=scale) for cell in cells]
    rows = [max(tall[i : i + columns]) for i in range(0, len(tall), columns)]
    sheet = new_sheet(
        width=width,
        body=sum(rows),
        title=fit_title(report),
        note=f"{caption(report, tint=False)} Depths and diameters to scale, basket outline not.",
    )
    for place, cell in enumerate(cells):
        row, column = divmod(place, columns)
        spot = (column * wide, sum(rows[:row]))
        _draw_cell(sheet, cell, spot=spot, scale=scale, width=wide)
    return sheet.figure


def _sits(report: Report, group: Sequence[str]) -> bool:
    """Whether what is drawn has been there all the time, and proves itself that it goes in."""
    said = {verdict.id for verdict in report.verdicts}
    return all(f"{place}.sits" in said for place in group)


def _is_spoken_of(report: Report, group: Sequence[str], side: str) -> bool:
    """Whether a verdict warns of a side: a driver that sits there already is no reason to."""
    return any(
        verdict.id in {f"{place}.{side}" for place in group}
        and verdict.severity in (Severity.WARN, Severity.STOP)
        for verdict in report.verdicts
    )


def fit_title(report: Report) -> str:
    """Say which place is the tightest, and by how much or with what odds."""
    found = [
        (chance / margin.odds, group, side)
        for group in _groups(report)
        for side, margin in SIDES.items()
        if (chance := value_of(report, group[0], f"{side}_odds")) is not None
    ]
    found = [entry for entry in found if not _sits(report, entry[1])]
    if not found:
        return report.answer
    risk, group, side = max(found, key=lambda entry: entry[0])
    clearance = figure_of(report, group[0], f"{side}_clearance")
    behind = _behind_word(report, group[0])
    rear = "the glass" if behind == "glass" else behind
    what = rear if side == "rear" else "the trim"
    where = ", ".join(group)
    spoken = _is_spoken_of(report, group, side)
    if spoken and clearance is not None and (clearance.value or 0.0) < 0.0:
        short = number(-(clearance.value or 0.0), "mm")
        return f"{where}: {short} short of room, the driver meets {what}"
    chance = value_of(report, group[0], f"{side}_odds") or 0.0
    start = "There is room; tightest at" if risk <= 1.0 else "Tightest at"
    if spoken:
        start = "Too tight at"
    return f"{start} {where}: {odds(chance)} for less than {SIDES[side].words} to {what}"


def section_of(report: Report, place: str) -> Section | None:
    """Return the section of a place from the report's figures; None if one it needs is missing."""
    size = {name: value_of(report, place, name) for name in _needed(report, place)}
    known = {name: value for name, value in size.items() if value is not None}
    if len(known) < len(size):
        return None
    spacer, glass = value_of(report, place, "spacer") or 0.0, _glass(report, place)
    gap = value_of(report, place, "trim_gap")
    front = 0.0 if gap is None else gap - spacer - known["front_height"]
    rear = min(glass, default=0.0) + spacer - known["driver_depth"]
    return Section(
        depth=known["driver_depth"],
        inner=known["driver_cutout"],
        outer=known["driver_outer"],
        front=known["front_height"],
        gap=gap,
        cutout=known["cutout"],
        steel=value_of(report, place, "steel") or 0.0,
        spacer=spacer,
        enlarge=value_of(report, place, "enlarge") or 0.0,
        ring=bool(value_of(report, place, "ring")),
        glass=glass,
        travel=_kept_free(report, place, "front", front),
        play=_kept_free(report, place, "rear", rear),
        behind=_behind_word(report, place),
        carrier="steel" if _has_trim(report, place) else "panel",
    )


def _has_trim(report: Report, place: str) -> bool:
    """Whether a trim or grille belongs in front of a place; a box or a board has none."""
    return value_of(report, place, "trim") != 0.0


def _needed(report: Report, place: str) -> list[str]:
    """Return the figures without which a section is not drawn."""
    bare = () if _has_trim(report, place) else ("trim_gap", "steel")
    return [name for name in NEEDED if name not in bare]


def _behind_word(report: Report, place: str) -> str:
    """Return what the room behind ends at: a window only where there is one."""
    return "what is behind" if value_of(report, place, "window") == 0.0 else "glass"


def _kept_free(report: Report, place: str, side: str, room: float) -> float:
    """Return what a clearance keeps for things that move, beyond the parts at rest [mm]."""
    clearance = value_of(report, place, f"{side}_clearance")
    return 0.0 if clearance is None else max(round(room - clearance, 6), 0.0)


def _glass(report: Report, place: str) -> tuple[float, ...]:
    depths = []
    for point in count(1):
        depth = value_of(report, place, f"glass_depth_{point}")
        if depth is None:
            break
        depths.append(depth)
    least = value_of(report, place, "glass_depth")
    return tuple(depths) or (() if least is None else (least,))


def _groups(report: Report) -> list[tuple[str, ...]]:
    """Return the places; those with the same section, clearances and odds together."""
    groups: dict[Any, list[str]] = {}
    for place in dict.fromkeys((*subjects(report, "rear_odds"), *subjects(report, "front_odds"))):
        chances = (value_of(report, place, f"{side}_odds") for side in SIDES)
        said_as = tuple(None if chance is None else odds(chance) for chance in chances)
        clearances = tuple(value_of(report, place, f"{side}_clearance") for side in SIDES)
        key = (section_of(report, place), clearances, said_as)
        groups.setdefault(key, []).append(place)
    return [tuple(group) for group in groups.values()]


def _scale(section: Section, width: float) -> float:
    """Return inches per mm: the section fills the width of its cell or the height allowed."""
    across, height = section.size(scale=1.0)
    return min((width - 2.0 * SIDE - LABEL) / across, TALLEST / height)


def _cell_of(report: Report, group: tuple[str, ...], *, width: float) -> _Cell:
    room, size = width - 2.0 * SIDE, text_size()
    names = lines(", ".join(group), width=room, size=size, weight="bold")
    words = [line for text in _words(report, group) for line in lines(text, width=room, size=size)]
    clearances = {
        side: say(clearance).number
        for side in SIDES
        if (clearance := figure_of(report, group[0], f"{side}_clearance"))
    }
    return _Cell(
        names=names, section=section_of(report, group[0]), clearances=clearances, words=words
    )


def _words(report: Report, group: tuple[str, ...]) -> list[str]:
    """Return what is said under a section: both clearances with bands and odds."""
    found: list[str] = []
    for side, word in (("rear", "behind"), ("front", "in front")):
        clearance = figure_of(report, group[0], f"{side}_clearance")
        chance = value_of(report, group[0], f"{side}_odds")
        if clearance is None or chance is None:
            found.append(f"{word}: not known")
            continue
        risk = f"{unbroken(f'under {SIDES[side].words}:')} {unbroken(odds(chance))}"
        found.append(f"{word}: {unbroken(say(clearance).full)}; {risk}")
    wider = value_of(report, group[0], "enlarge")
    if wider:
        found.append(f"cut the hole {number(wider)} mm wider")
    needed = _needed(report, group[0])
    missing = [name.replace("_", " ") for name in needed if not figure_of(report, group[0], name)]
    return [*found, f"not drawn, missing: {', '.join(missing)}"] if missing else found


def _draw_cell(
    sheet: Sheet, cell: _Cell, *, spot: tuple[float, float], scale: float, width: float
) -> None:
    left, top = spot
    sheet.text(left=left + SIDE, top=top, text="\n".join(cell.names), fontweight="bold")
    top += len(cell.names) * _line() + GAP
    if cell.section is not None:
        across, height = cell.section.size(scale=scale)
        side = (width - across - LABEL) / 2.0
        axes = sheet.axes(left=left + side, top=top, width=across, height=height)
        _section(axes, cell.section, cell.clearances)
        top += height + TICKS
    sheet.text(left=left + SIDE, top=top, text="\n".join(cell.words))


def _line() -> float:
    return text_size() * LEAD / 72.0


def _section(axes: Axes, section: Section, clearances: dict[str, str]) -> None:
    from matplotlib.ticker import MultipleLocator

    axes.set_xlim(*section.ends)
    axes.set_ylim(-section.half, section.half)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel(f"mm from the {section.carrier}'s face")
    first, last = section.ends
    axes.xaxis.set_major_locator(MultipleLocator(20.0 if last - first < CROWDED else 50.0))
    axes.xaxis.set_major_formatter(lambda x, _: number(x))
    axes.tick_params(axis="y", labelleft=False, length=0)
    axes.spines["left"].set_visible(False)
    for draw in (_draw_glass, _draw_steel, _draw_spacer, _draw_driver, _draw_trim):
        draw(axes, section)
    if section.glass and "rear" in clearances:
        worst = int(np.argmin(section.glass))
        limit = section.play - section.glass[worst]
        height = float(section.heights[worst])
        _dimension(axes, section.back, limit, height=height, words=clearances["rear"])
    if "front" in clearances and section.gap is not None:
        start = section.face + section.travel
        _dimension(axes, start, section.gap, height=0.0, words=clearances["front"])
    _name_parts(axes, section)


def _draw_glass(axes: Axes, section: Section) -> None:
    if not section.glass:
        return
    heights = np.array([-section.half, *section.heights[::-1], section.half])
    ends = (section.glass[-1], *section.glass[::-1], section.glass[0])
    axes.plot(-np.array(ends), heights, color=BLUE, linewidth=2.5, gid="glass")
    axes.plot(-np.array(section.glass), section.heights, "o", color=BLUE, markersize=4.0)


def _draw_steel(axes: Axes, section: Section) -> None:
    edge = (section.cutout + section.enlarge) / 2.0
    _mirrored(
        axes, -section.steel, 0.0, edge, section.half, facecolor=GREY, edgecolor=GREY, gid="steel"
    )
    if section.enlarge > 0.0:
        cut: dict[str, Any] = {"facecolor": "white", "edgecolor": VERMILLION, "linestyle": ":"}
        _mirrored(axes, -section.steel, 0.0, section.cutout / 2.0, edge, gid="cut", **cut)


def _draw_spacer(axes: Axes, section: Section) -> None:
    if section.spacer > 0.0:
        style: dict[str, Any] = {"facecolor": "white", "edgecolor": ORANGE, "hatch": "////"}
        _mirrored(
            axes,
            0.0,
            section.spacer,
            section.inner / 2.0,
            section.outer / 2.0,
            gid="spacer",
            **style,
        )


def _draw_driver(axes: Axes, section: Section) -> None:
    """Draw flange, basket, magnet, cone, what stands out in front and how far the cone travels."""
    from matplotlib.patches import Polygon

    inner, outer, start, back = (
        section.inner / 2.0,
        section.outer / 2.0,
        section.spacer,
        section.back,
    )
    neck = start - 0.6 * section.depth
    half = [
        (section.face, 0.12 * outer), (start + FLANGE, 0.2 * outer), (start + FLANGE, outer),
        (start, outer), (start, inner), (neck, 0.5 * inner), (neck, 0.55 * inner),
        (back, 0.55 * inner),
    ]  # fmt: skip
    outline = half + [(x, -y) for x, y in reversed(half)]
    style: dict[str, Any] = {"facecolor": "0.92", "edgecolor": BLACK, "linewidth": 1.0}
    axes.add_patch(Polygon(outline, closed=True, gid="driver", **style))
    for sign in (1.0, -1.0):
        cone = [0.88 * inner * sign, 0.25 * inner * sign]
        axes.plot([start, neck + 0.1 * section.depth], cone, color=GREY, linewidth=0.8)
    if section.travel > 0.0:
        reach = section.face + section.travel
        axes.plot([reach] * 2, [-0.5 * outer, 0.5 * outer], color=GREY, ls=(0, (1.0, 1.5)), lw=1.0)


def _draw_trim(axes: Axes, section: Section) -> None:
    """Draw trim with the grille over the driver, and the ring between steel and trim."""
    opening, gap = section.outer / 2.0, section.gap
    if gap is None:
        return
    _mirrored(axes, gap, gap + TRIM, opening, section.half, facecolor="0.7", gid="trim")
    axes.plot(
        [gap + 0.75] * 2,
        [-opening, opening],
        color=BLACK,
        linewidth=2.0,
        ls=(0, (1.0, 1.0)),
        gid="grille",
    )
    if section.ring:
        style: dict[str, Any] = {"facecolor": "white", "edgecolor": GREY, "hatch": "...."}
        _mirrored(axes, 0.0, gap, opening + 1.0, opening + RING, gid="ring", **style)


def _mirrored(
    axes: Axes, x0: float, x1: float, y0: float, y1: float, *, gid: str, **style: Any
) -> None:
    """Draw a rectangle above the axis of the driver and its mirror image below."""
    from matplotlib.patches import Rectangle

    for low in (y0, -y1):
        axes.add_patch(Rectangle((x0, low), x1 - x0, y1 - y0, linewidth=1.0, gid=gid, **style))


def _dimension(axes: Axes, part: float, limit: float, *, height: float, words: str) -> None:
    """Draw a clearance from a part to its limit, behind or in front; overlaps stand out."""
    colour = VERMILLION if words.startswith(MINUS) else BLACK
    style = "|-|,widthA=0.35,widthB=0.35"
    arrow = {"arrowstyle": style, "color": colour, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (limit, height), (part, height), arrowprops=arrow)
    axes.annotate(
        words,
        ((part + limit) / 2.0, height),
        (0.0, 5.0),
        textcoords="offset points",
        ha="center",
        va="bottom",
        color=colour,
        fontweight="bold",
        path_effects=halo(),
        gid="clearance",
    )


def _name_parts(axes: Axes, section: Section) -> None:
    """Name each part beside it, inside the door to the left, towards the cabin to the right."""
    for word, (x, y), (label_x, label_y) in _parts(section):
        axes.annotate(
            word,
            (x, y),
            (label_x, label_y),
            ha="left" if label_x > x else "right",
            va="center",
            annotation_clip=False,
            gid="part",
            arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.6, "shrinkB": 0},
        )
    middle = (section.back + section.face) / 2.0
    axes.text(middle, 0.0, "driver", ha="center", va="center", gid="part")


def _parts(section: Section) -> list[tuple[str, tuple[float, float], tuple[float, float]]]:
    """Return each part's name, a point of it and the place of its label, in mm."""
    outer, gap = section.outer / 2.0, section.gap
    top, ring = section.half - 5.0, outer + 1.0 + RING / 2.0
    right = section.ends[1] - MARGIN / 2.0
    found = [
        (section.carrier, (-section.steel, top), (-section.steel - 4.0, top)),
    ]
    if gap is not None:
        found.append(("trim", (gap + TRIM, top), (right, top)))
        found.append(("grille", (gap + 1.5, -0.5 * outer), (right, -0.5 * outer)))
    if section.glass:
        behind = -section.glass[0]
        found.append((section.behind, (behind, top), (behind + 3.0, top)))
    if section.spacer > 0.0:
        height = -(section.inner / 2.0 + outer) / 2.0
        word = f"spacer {number(section.spacer)}"
        found.append((word, (section.spacer / 2.0, height), (-section.steel - 4.0, height)))
    if section.ring and gap is not None:
        found.append(("ring", (gap - 2.0, -ring), (right, -ring)))
    if section.travel > 0.0:
        reach = section.face + section.travel
        found.append(("travel", (reach, 0.4 * outer), (right, 0.4 * outer)))
    return found
