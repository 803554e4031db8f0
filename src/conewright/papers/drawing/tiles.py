"""A drawing cut into tiles for ordinary paper, with overlap, joining marks and a map."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import ceil

from conewright.papers.drawing.bars import BAR_MM, Bars
from conewright.papers.drawing.geometry import (
    HAIR,
    Box,
    Circle,
    Drawing,
    Entity,
    Label,
    Polygon,
    bounds_of,
    cross,
)
from conewright.papers.press.typeset import PAPER_SIZE_MM, Paper

__all__ = ["OVERLAP", "Tile", "Tiling", "map_of", "room_on", "scale_of", "tiling_of"]

OVERLAP = 10.0
"""How far neighbouring tiles show the same [mm]."""

MARGIN = 2.0
"""Room around a drawing [mm]."""

AROUND = (30.0, 85.0)
"""What of a sheet's width and height is not for the drawing: margins, head, foot, title, bars,
and a few lines of notes [mm]."""

MARK = 6.0
"""Size of a joining mark [mm]."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One page of a drawing: its name (row by letter, column by number) and what it shows [mm]."""

    name: str
    window: Box


@dataclass(frozen=True, slots=True)
class Tiling:
    """A drawing on its pages.

    Attributes:
        drawing: with the joining marks on it.
        tiles: row by row from the top left.
        columns: how many stand beside each other.

    """

    drawing: Drawing
    tiles: tuple[Tile, ...]
    columns: int

    def entities(self, tile: Tile) -> tuple[Entity, ...]:
        """Return what a tile shows, wholly or in part."""
        return tuple(each for each in self.drawing.entities if _meets(each, tile.window))


def scale_of(bars: Bars | None) -> tuple[float, float]:
    """Return how much larger a template is set across and down, so that it prints true."""
    if bars is None:
        return 1.0, 1.0
    return BAR_MM / bars[0], BAR_MM / bars[1]


def room_on(paper: Paper, *, bars: Bars | None = None) -> tuple[float, float]:
    """Return width and height of a drawing that one page can hold, in true size [mm]."""
    across, down = scale_of(bars)
    width, height = PAPER_SIZE_MM[paper]
    return (width - AROUND[0]) / across, (height - AROUND[1]) / down


def tiling_of(drawing: Drawing, *, room: tuple[float, float]) -> Tiling:
    """Return a drawing on as few pages as hold it, all tiles of one size.

    Args:
        drawing: what is to be printed.
        room: what one page can hold [mm].

    """
    left, low, right, high = drawing.bounds
    box = (left - MARGIN, low - MARGIN, right + MARGIN, high + MARGIN)
    across = _spans(box[0], box[2], room[0])
    up = _spans(box[1], box[3], room[1])[::-1]
    tiles = tuple(
        Tile(f"{chr(ord('A') + row)}{column + 1}", (x0, y0, x1, y1))
        for row, (y0, y1) in enumerate(up)
        for column, (x0, x1) in enumerate(across)
    )
    whole = _with_marks(drawing, tiles, len(across))
    return Tiling(whole, tiles, len(across))


def map_of(tiling: Tiling) -> Drawing:
    """Return the map of the pages: the drawing with the edge and the name of every tile."""
    box = _around(tile.window for tile in tiling.tiles)
    height = 0.035 * max(box[2] - box[0], box[3] - box[1])
    frames: list[Entity] = []
    for tile in tiling.tiles:
        x0, y0, x1, y1 = tile.window
        frames.append(Polygon("drill", ((x0, y0), (x1, y0), (x1, y1), (x0, y1))))
        frames.append(Label(((x0 + x1) / 2, y1 - 2.5 * height), tile.name, height))
    lines = tiling.drawing.on("cut")
    return Drawing(
        name=f"{tiling.drawing.name}-map",
        title=f"{tiling.drawing.title}: map of its pages",
        entities=(*lines, *frames),
        purpose="Shows which page goes where.",
    )


# --- Underneath ---------------------------------------------------------------------------------


def _spans(low: float, high: float, room: float) -> list[tuple[float, float]]:
    """Return equal spans that cover a length, none longer than the room, each overlapping the
    next.
    """
    count = max(1, ceil((high - low - OVERLAP) / (room - OVERLAP) - HAIR))
    step = (high - low - OVERLAP) / count if count > 1 else 0.0
    long = step + OVERLAP if count > 1 else high - low
    return [(low + index * step, low + index * step + long) for index in range(count)]


def _with_marks(drawing: Drawing, tiles: Sequence[Tile], columns: int) -> Drawing:
    marks = tuple(mark for pair in _neighbours(tiles, columns) for mark in _joint(*pair))
    return replace(drawing, entities=(*drawing.entities, *marks))


def _neighbours(tiles: Sequence[Tile], columns: int) -> list[tuple[Tile, Tile]]:
    """Return the tiles that share an edge: left and right, above and below."""
    beside = [
        (one, tiles[index + 1])
        for index, one in enumerate(tiles)
        if (index + 1) % columns and index + 1 < len(tiles)
    ]
    below = [(one, tiles[index + columns]) for index, one in enumerate(tiles[:-columns])]
    return [*beside, *below]


def _joint(one: Tile, other: Tile) -> list[Entity]:
    """Return two marks in the middle of what two neighbours both show."""
    x0, y0 = (max(one.window[i], other.window[i]) for i in (0, 1))
    x1, y1 = (min(one.window[i], other.window[i]) for i in (2, 3))
    upright = y1 - y0 > x1 - x0
    marks: list[Entity] = []
    for share in (0.15, 0.85):
        at = (
            ((x0 + x1) / 2, y0 + share * (y1 - y0))
            if upright
            else (x0 + share * (x1 - x0), (y0 + y1) / 2)
        )
        marks += [*cross(at, size=MARK), Circle("mark", at, MARK / 4)]
    return marks


def _meets(entity: Entity, window: Box) -> bool:
    x0, y0, x1, y1 = bounds_of((entity,))
    return x1 >= window[0] and x0 <= window[2] and y1 >= window[1] and y0 <= window[3]


def _around(boxes: Iterable[Box]) -> Box:
    lefts, lows, rights, highs = zip(*boxes, strict=True)
    return min(lefts), min(lows), max(rights), max(highs)
