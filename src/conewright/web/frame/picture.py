"""Pictures of reports for a page: drawn once for each size, then served light and dark.

A page needs no more than a drawing's size and the places of its axes, so that room is kept for it
and a cursor can be laid over it; it is written out when a browser asks for it, without any style
of its own, so that the strictest page may show it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from io import StringIO
from typing import TypeVar

from conewright.pictures import draw
from conewright.pictures.axes import drawing_settings
from conewright.stages.report.data import Report
from conewright.web.desk.cache import Kept

__all__ = ["Outline", "Panel", "in_dark", "outline", "written"]

Drawn = TypeVar("Drawn")

KEPT = 48
"""A drawing takes 0.1 to 0.3 MB; whoever looks at a job asks for seven of them, narrow or wide."""
POINTS_PER_PIXEL = 0.75

# Paper, ink and the colours of a drawing, and what stands for each in the dark.
DARK = {
    "#ffffff": "#1d2024",
    "#000000": "#ece9e2",
    "#0072b2": "#6db6ea",
    "#e69f00": "#f0b94a",
    "#d55e00": "#ff8a55",
}
INK, PAPER = 0xEC, 0x20
"""Greys of ink and paper in the dark, 0 to 255."""

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_STYLE = re.compile(r' style="([^"]*)"')
_SHEET = re.compile(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.DOTALL)
_METADATA = re.compile(r"<metadata>.*?</metadata>", re.DOTALL)
_HEAD = re.compile(r"^.*?<svg ", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Panel:
    """Axes of a drawing: their box as shares of its size, and the frequencies at its ends."""

    left: float
    top: float
    width: float
    height: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Outline:
    """What a page holds of a drawing: its size in pixels, its title and its axes."""

    width: int
    height: int
    title: str
    panels: tuple[Panel, ...]


_outlines: Kept[Outline] = Kept(KEPT)
_texts: Kept[str] = Kept(KEPT)
# In one thread: drawing options are set for the whole process, and every thread that draws keeps
# the files of its letters open.
_drawing = ThreadPoolExecutor(1, thread_name_prefix="drawing")


def outline(report: Report, *, key: Hashable, narrow: bool) -> Outline:
    """Return the outline of a report's drawing.

    Args:
        report: to be drawn.
        key: what tells it from all others: the text of the job and what was asked.
        narrow: for a phone.

    Raises:
        BadInputError: it has no drawing.

    """
    return _outlines.get((key, narrow), lambda: _drawn(_outline, report, narrow))


def written(report: Report, *, key: Hashable, narrow: bool) -> str:
    """Return a report's drawing as SVG; arguments and errors are those of `outline`."""
    return _texts.get((key, narrow), lambda: _drawn(_written, report, narrow))


def in_dark(svg: str) -> str:
    """Return a drawing in the colours for a dark page; greys keep their distance from ink."""
    return _COLOUR.sub(lambda found: _dark(found[0].lower()), svg)


def _dark(colour: str) -> str:
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    if colour in DARK or not red == green == blue:
        return DARK.get(colour, colour)
    grey = round(INK - (INK - PAPER) * int(red, 16) / 255)
    return f"#{grey:02x}{grey:02x}{grey:02x}"


def _drawn(make: Callable[[Report, bool], Drawn], report: Report, narrow: bool) -> Drawn:
    return _drawing.submit(make, report, narrow).result()


def _outline(report: Report, narrow: bool) -> Outline:
    figure = draw(report, narrow=narrow)
    title = next(text.get_text() for text in figure.texts if text.get_gid() == "title")
    width, height = (72.0 * side / POINTS_PER_PIXEL for side in figure.get_size_inches())
    return Outline(
        width=round(width),
        height=round(height),
        title=" ".join(title.split()),
        panels=_panels(figure.axes),
    )


def _written(report: Report, narrow: bool) -> str:
    sheet = StringIO()
    figure = draw(report, narrow=narrow)
    with drawing_settings(width=figure.get_figwidth()):
        figure.savefig(sheet, format="svg", metadata={"Date": None, "Creator": "Conewright"})
    return _plain(sheet.getvalue())


def _panels(axes: Sequence[object]) -> tuple[Panel, ...]:
    """Return the axes that show frequencies."""
    return tuple(
        Panel(
            left=round(box.x0, 4),
            top=round(1.0 - box.y1, 4),
            width=round(box.width, 4),
            height=round(box.height, 4),
            low=round(low, 3),
            high=round(high, 3),
        )
        for each in axes
        if each.get_xscale() == "log"  # type: ignore[attr-defined]
        for box in [each.get_position()]  # type: ignore[attr-defined]
        for low, high in [each.get_xlim()]  # type: ignore[attr-defined]
    )


def _plain(svg: str) -> str:
    """Return a drawing without style sheets, style attributes and idle blanks."""
    text = _METADATA.sub("", _SHEET.sub("", _HEAD.sub("<svg ", svg, count=1)))
    text = text.replace("<svg ", '<svg fill="#000000" stroke-linejoin="round" ', 1)
    text = _STYLE.sub(lambda style: _attributes(style[1]), text)
    return " ".join(line for line in map(str.strip, text.split("\n")) if line)


def _attributes(style: str) -> str:
    pairs = (part.split(":", 1) for part in style.split(";") if ":" in part)
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
