"""What all pictures share: the sheet laid out in inches, colours, line styles, axes and labels.

Every place on the sheet is fixed in inches before anything is drawn, so that labels can be kept
apart by arithmetic and the same report always gives the same picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from conewright.job.document.parts import AS_FOUND
from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.curves import HIGHEST, LOWEST, Curve, name_of
from conewright.stages.report.data import Report
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "BLACK",
    "BLUE",
    "GREY",
    "LEAD",
    "ORANGE",
    "PALE",
    "SOLID",
    "VERMILLION",
    "EndLabel",
    "Sheet",
    "Style",
    "axes_size",
    "draw_curve",
    "drawing_settings",
    "end_label",
    "frequency_axis",
    "halo",
    "label_ends",
    "level_grid",
    "lines",
    "new_sheet",
    "spread_out",
    "style_for",
    "text_size",
    "text_width",
]

# Four of the colours of Okabe and Ito, Color Universal Design, 2008; a picture uses no others.
BLACK, BLUE, ORANGE, VERMILLION = "#000000", "#0072B2", "#E69F00", "#D55E00"
GREY, PALE = "0.35", "0.85"
LEAD = 1.25
"""Height of a line of text in multiples of its size."""
POINTS = 72.0
FONT = "DejaVu Sans"
SOLID, DASHED = "-", (0, (4.0, 2.0))
TICKS = {20: "20", 50: "50", 100: "100", 200: "200", 500: "500"} | {
    1000 * k: f"{k}k" for k in (1, 2, 5, 10, 20)
}
EDGE = 0.08
NARROW_BELOW = 5.5
FEW_POINTS = 12


@dataclass(frozen=True, slots=True)
class Style:
    """How the curves of one build are drawn."""

    colour: str
    dashes: Any
    width: float


@dataclass(frozen=True, slots=True)
class EndLabel:
    """A label for the end of a line, at a point in data units."""

    x: float
    y: float
    text: str
    colour: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """A figure measured in inches from its upper left corner; the body starts below the title."""

    figure: Figure
    body: float
    size: float

    @property
    def width(self) -> float:
        """Width of the sheet in inches."""
        return float(self.figure.get_figwidth())

    def axes(self, *, left: float, top: float, width: float, height: float) -> Axes:
        """Add axes; `top` counts downwards from the start of the body."""
        whole = self.figure.get_figheight()
        bottom = whole - self.body - top - height
        return self.figure.add_axes(
            (left / self.width, bottom / whole, width / self.width, height / whole)
        )

    def text(self, *, left: float, top: float, text: str, **style: Any) -> None:
        """Write text with its upper left corner there; `top` counts from the start of the body."""
        whole = self.figure.get_figheight()
        place = (left / self.width, 1.0 - (self.body + top) / whole)
        self.figure.text(*place, text, ha="left", va="top", linespacing=LEAD, **style)


def new_sheet(*, width: float, body: float, title: str, note: str) -> Sheet:
    """Start a sheet: title and note at the top, then an empty body of the given height.

    Args:
        width: of the sheet [in].
        body: height below title and note [in].
        title: the finding; wrapped to the width.
        note: what is shown and how; wrapped to the width.

    """
    size = text_size()
    titles = lines(title, width=width - 2 * EDGE, size=size + 1.5, weight="bold")
    notes = lines(note, width=width - 2 * EDGE, size=size)
    title_height = len(titles) * (size + 1.5) * LEAD / POINTS
    head = EDGE + title_height + 0.04 + len(notes) * size * LEAD / POINTS + 0.1
    figure = _drawing_class()(figsize=(width, head + body))
    sheet = Sheet(figure=figure, body=head, size=size)
    bold: dict[str, Any] = {"fontsize": size + 1.5, "fontweight": "bold", "gid": "title"}
    sheet.text(left=EDGE, top=EDGE - head, text="\n".join(titles), **bold)
    below = EDGE + title_height + 0.04 - head
    sheet.text(left=EDGE, top=below, text="\n".join(notes), color=GREY, gid="note")
    return sheet


def style_for(report: Report, build: str) -> Style:
    """Return the line style of a build: the one compared against is dashed, as is as-found."""
    if build == report.against or (report.against is None and build == AS_FOUND):
        return Style(BLACK, DASHED, 1.3)
    return Style(BLUE, SOLID, 1.8)


def draw_curve(axes: Axes, curve: Curve, style: Style, *, gid: str, steps: bool = False) -> None:
    """Draw the band as tint and the central values as line; a few points, unless steps, as dots."""
    if np.any(curve.high > curve.low):
        axes.fill_between(
            curve.x, curve.low, curve.high, color=style.colour, alpha=0.18, linewidth=0.0
        )
    few = np.count_nonzero(np.isfinite(curve.y)) <= FEW_POINTS
    axes.plot(
        curve.x,
        curve.y,
        color=style.colour,
        linestyle=style.dashes,
        linewidth=style.width,
        marker="o" if few and not steps else "",
        markersize=3.5,
        gid=gid,
    )


def end_label(curve: Curve, build: str, style: Style) -> EndLabel | None:
    """Return the label for the last point of a curve, or None where nothing is drawn."""
    drawn = np.flatnonzero(np.isfinite(curve.y))
    if drawn.size == 0:
        return None
    last = int(drawn[-1])
    return EndLabel(float(curve.x[last]), float(curve.y[last]), short_name(build), style.colour)


def label_ends(axes: Axes, labels: list[EndLabel], *, size: float) -> None:
    """Write labels to the right of the ends of lines, nudged apart so that none overlap."""
    low, high = axes.get_ylim()
    height = axes_size(axes)[1]
    ends = np.clip([(label.y - low) / (high - low) * height for label in labels], 0.0, height)
    heights = np.array([(label.text.count("\n") + 1) * size * LEAD / POINTS for label in labels])
    places = spread_out(ends, heights, low=-0.1, high=height)
    for label, end, place in zip(labels, ends, places, strict=True):
        axes.annotate(
            label.text,
            xy=(label.x, low + end / height * (high - low)),
            xytext=(6.0, (place - end) * POINTS),
            textcoords="offset points",
            ha="left",
            va="center",
            color=label.colour,
            linespacing=LEAD - 0.15,
            annotation_clip=False,
            # From the middle of the left edge of the words to the end of the line.
            arrowprops={
                "arrowstyle": "-",
                "linewidth": 0.6,
                "color": label.colour,
                "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )


def spread_out(
    centres: FloatArray | list[float], sizes: FloatArray, *, low: float, high: float
) -> FloatArray:
    """Move labels along a line by as little as it takes (least squares) for none to overlap.

    Args:
        centres: where they would be, shape (N,).
        sizes: how much room each takes, shape (N,).
        low: where the room starts; kept as long as the labels have room at all.
        high: where the room ends.

    Returns:
        Centres, shape (N,), in the same order of labels.

    """
    wanted = np.asarray(centres, dtype=np.float64)
    order = np.argsort(wanted, kind="stable")
    packed = np.cumsum(sizes[order]) - sizes[order] / 2.0
    # Without the room the others take, labels must only not pass each other: a rising sequence.
    rising = _rising(wanted[order] - packed)
    room = max(high - float(np.sum(sizes)), low)
    places = np.empty_like(wanted)
    places[order] = np.clip(rising, low, room) + packed
    return places


def frequency_axis(axes: Axes, *, size: float, labelled: bool = True) -> None:
    """Make x a logarithmic frequency axis, 20 Hz to 20 kHz; every second number if room lacks."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    axes.set_xscale("log")
    axes.set_xlim(LOWEST, HIGHEST)
    axes.xaxis.set_major_locator(FixedLocator(list(TICKS)))
    axes.xaxis.set_minor_locator(NullLocator())
    octave = axes_size(axes)[0] * np.log10(2.0) / 3.0
    step = 1 if octave > text_width("200", size=size) + 0.05 else 2
    words = [word if i % step == 0 else "" for i, word in enumerate(TICKS.values())]
    axes.xaxis.set_major_formatter(FixedFormatter(words))
    axes.tick_params(axis="x", labelbottom=labelled)
    axes.grid(visible=True, axis="x", color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)


def level_grid(axes: Axes, *, axis: str, major: float = 6.0) -> None:
    """Put numbers every `major` dB and a grid every 3 dB on an axis."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    one = axes.xaxis if axis == "x" else axes.yaxis
    one.set_major_locator(MultipleLocator(major))
    one.set_minor_locator(MultipleLocator(3.0))
    one.set_major_formatter(FuncFormatter(lambda v, _: number(v)))
    one.grid(visible=True, which="major", color=PALE, linewidth=0.8)
    one.grid(visible=True, which="minor", color=PALE, linewidth=0.4)
    axes.tick_params(axis="both", which="minor", length=0)
    axes.set_axisbelow(True)


def halo() -> list[Any]:
    """Return the white edge that keeps text readable on top of lines."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=2.5, foreground="white")]


def short_name(build: str, *, longest: int = 10) -> str:
    """Return a build's name in at most three short lines, broken at its hyphens."""
    parts = wrap(name_of(build), longest, break_on_hyphens=True)
    if len(parts) > 3:
        parts = [*parts[:2], parts[2][: longest - 1] + "…"]
    return "\n".join(parts)


def text_size() -> float:
    """Return the size of plain text [pt] under the settings in force."""
    from matplotlib import rcParams

    return float(rcParams["font.size"])


def text_width(text: str, *, size: float, weight: str = "normal") -> float:
    """Return the width of a line of text in inches."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family=FONT, size=size, weight=weight)
    return float(text_to_path.get_text_width_height_descent(text, font, False)[0]) / POINTS


def lines(text: str, *, width: float, size: float, weight: str = "normal") -> list[str]:
    """Break text into lines no wider than `width` inches, at its plain spaces only."""
    found = [""]
    for word in text.split(" "):
        longer = f"{found[-1]} {word}".strip()
        # Letters set on a coarse grid of pixels come out a little wider than measured.
        if found[-1] and 1.04 * text_width(longer, size=size, weight=weight) > width:
            found.append(word)
        else:
            found[-1] = longer
    return found


def _settings(width: float) -> dict[Any, Any]:
    return {
        "font.family": [FONT],
        "font.size": 9.0 if width < NARROW_BELOW else 10.0,
        "axes.labelsize": "medium",
        "axes.titlesize": "medium",
        "xtick.labelsize": "medium",
        "ytick.labelsize": "medium",
        "axes.edgecolor": GREY,
        "axes.linewidth": 0.8,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "hatch.linewidth": 0.7,
        "text.usetex": False,
        "text.parse_math": False,
        "path.sketch": None,
        "figure.facecolor": "white",
        "axes.facecolor": "white",
        "savefig.facecolor": "white",
        "savefig.bbox": None,
        "svg.hashsalt": "conewright",
        "svg.fonttype": "path",
        "pdf.fonttype": 42,
    }


@contextmanager
def drawing_settings(*, width: float) -> Iterator[None]:
    """Put the settings for a sheet of that width [in] in force, whatever the user's own are."""
    from matplotlib import rc_context, rcdefaults, rcParams

    with rc_context():
        rcdefaults()
        rcParams.update(_settings(width))
        yield


@cache
def _drawing_class() -> type[Figure]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    class Drawing(Figure):
        """A figure that a notebook shows by itself."""

        def __init__(self, figsize: tuple[float, float]) -> None:
            super().__init__(figsize=figsize, dpi=100.0)
            FigureCanvasAgg(self)

        def _repr_png_(self) -> bytes:
            buffer = BytesIO()
            self.savefig(buffer, format="png", dpi=150.0)
            return buffer.getvalue()

    return Drawing


def axes_size(axes: Axes) -> tuple[float, float]:
    """Return width and height of axes in inches."""
    figure = axes.get_figure(root=True)
    if figure is None:
        raise LookupError("the axes belong to no figure")
    box = axes.get_position()
    return box.width * figure.get_figwidth(), box.height * figure.get_figheight()


def _rising(values: FloatArray) -> FloatArray:
    """Return the rising sequence nearest to the values (least squares), by pooling neighbours."""
    pools: list[tuple[float, int]] = []
    for value in values:
        pools.append((float(value), 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (b, m), (a, n) = pools.pop(), pools.pop()
            pools.append(((a * n + b * m) / (n + m), n + m))
    return np.array([mean for mean, count in pools for _ in range(count)])
