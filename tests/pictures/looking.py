"""Ways to look into a picture without looking at pixels."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from conewright.physics.basics.arrays import FloatArray


def found(figure: Figure, gid: str) -> list[Artist]:
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def line(figure: Figure, gid: str) -> Line2D:
    (artist,) = found(figure, gid)
    assert isinstance(artist, Line2D)
    return artist


def patches(figure: Figure, gid: str) -> list[Patch]:
    return [artist for artist in found(figure, gid) if isinstance(artist, Patch)]


def ends(artist: Artist) -> FloatArray:
    """The points of a line, wherever its gid came from, shape (N, 2)."""
    assert isinstance(artist, Line2D)
    return np.asarray(artist.get_xydata(), dtype=np.float64)


def corners(patch: Patch) -> FloatArray:
    """The corners of a patch in data units, shape (N, 2)."""
    path = patch.get_path().transformed(patch.get_patch_transform())
    return np.asarray(path.vertices, dtype=np.float64)


def points(figure: Figure, gid: str) -> tuple[FloatArray, FloatArray]:
    data = ends(line(figure, gid))
    return data[:, 0], data[:, 1]


def words(figure: Figure) -> list[str]:
    return [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in texts(figure)]


def title(figure: Figure) -> str:
    (text,) = found(figure, "title")
    assert isinstance(text, Text)
    return " ".join(text.get_text().split())


def panel(figure: Figure, name: str) -> Axes:
    (axes,) = [axes for axes in figure.axes if axes.get_title(loc="left") == name]
    return axes


def texts(figure: Figure) -> list[Text]:
    """All texts that print: those of ticks outside their axis do not."""
    hidden = set(map(id, _hidden_tick_labels(figure)))
    return [
        text
        for text in figure.findobj(Text)
        if isinstance(text, Text)
        and text.get_visible()
        and text.get_text().strip()
        and id(text) not in hidden
    ]


def box(text: Text) -> Bbox:
    """The words alone, without the line from an annotation to its point."""
    return Text.get_window_extent(text)


def overlapping(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts that overlap by more than a pixel."""
    figure.draw_without_rendering()
    boxes = [(text.get_text(), box(text).padded(-0.5)) for text in texts(figure)]
    return [(a, b) for (a, one), (b, two) in combinations(boxes, 2) if one.overlaps(two)]


def cut_off(figure: Figure) -> list[str]:
    """Texts that reach beyond the sheet."""
    figure.draw_without_rendering()
    sheet = figure.bbox
    return [
        text.get_text()
        for text in texts(figure)
        if (b := box(text)).x0 < sheet.x0 - 0.5
        or b.x1 > sheet.x1 + 0.5
        or b.y0 < sheet.y0 - 0.5
        or b.y1 > sheet.y1 + 0.5
    ]


def colours(figure: Figure) -> set[str]:
    """Colours of everything that prints, greys and white left out, black kept."""
    seen: set[str] = set()
    for artist in figure.findobj():
        if not artist.get_visible():
            continue
        for name in ("get_color", "get_edgecolor", "get_facecolor", "get_markerfacecolor"):
            colour = getattr(artist, name, lambda: "none")()
            rows = np.atleast_2d(colour) if isinstance(colour, np.ndarray) else [colour]
            seen |= {
                to_hex(row) for row in rows if not isinstance(row, str) or row not in {"none", ""}
            }
    return {colour for colour in seen if not _is_grey(colour)}


def _is_grey(colour: str) -> bool:
    return colour != "#000000" and colour[1:3] == colour[3:5] == colour[5:7]


def _hidden_tick_labels(figure: Figure) -> Iterator[Text]:
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                inside = low - 1e-9 <= tick.get_loc() <= high + 1e-9
                yield from () if inside else (tick.label1, tick.label2)
