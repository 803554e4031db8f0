"""Parts laid out on stock sheets, with the waste stated."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from conewright.job.document.bench import Material
from conewright.papers.drawing.geometry import (
    Drawing,
    Entity,
    Label,
    Point,
    Polygon,
    bounds_of,
    moved,
    turned,
)
from conewright.papers.templates.undrawn import Undrawn
from conewright.phrases import capital
from conewright.stages.outlay.stock import Stock

__all__ = ["BETWEEN", "Laid", "laid_out", "sheet_drawings"]

BETWEEN = 6.0
"""Room between two parts and to the edge of the sheet [mm]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Laid:
    """One part on a sheet: which, whether it is turned by a quarter, and its lower left end."""

    drawing: Drawing
    turned: bool
    at: Point


@dataclass(frozen=True, slots=True)
class _Piece:
    drawing: Drawing
    turned: bool
    width: float
    height: float


def laid_out(
    parts: Sequence[Drawing], *, size: Point
) -> tuple[tuple[tuple[Laid, ...], ...], tuple[Drawing, ...]]:
    """Return parts laid out on as few sheets as rows allow, and those that fit on none.

    The tallest come first, in rows from below; each part lies as its row wants it.

    Args:
        parts: one for each piece.
        size: width and height of a sheet [mm].

    """
    pieces, left_over = [], []
    for part in parts:
        piece = _piece(part, size)
        if piece is None:
            left_over.append(part)
        else:
            pieces.append(piece)
    pieces.sort(key=lambda piece: (-piece.height, -piece.width, piece.drawing.name))
    return _in_rows(pieces, size), tuple(left_over)


def sheet_drawings(
    drawings: Sequence[Drawing], sheets: Sequence[Stock]
) -> tuple[tuple[Drawing, ...], tuple[Undrawn, ...]]:
    """Return a drawing of each stock sheet with its parts, and what is larger than its sheet."""
    wanted: dict[tuple[Material, float], list[Drawing]] = defaultdict(list)
    for drawing in drawings:
        for material, thickness in drawing.cut_from:
            wanted[material, thickness].append(drawing)
    made: list[Drawing] = []
    refused: list[Undrawn] = []
    for (material, thickness), parts in wanted.items():
        stock = _largest(sheets, material, thickness)
        laid, left_over = laid_out(parts, size=stock.size)
        made += [_sheet(stock, each, number) for number, each in enumerate(laid, start=1)]
        refused += [_too_large(part, stock) for part in dict.fromkeys(left_over)]
    return tuple(made), tuple(refused)


# --- Underneath ---------------------------------------------------------------------------------


def _outer(drawing: Drawing) -> tuple[Entity, ...]:
    return drawing.on("cut", "drill")


def _piece(drawing: Drawing, size: Point) -> _Piece | None:
    """Return a part as it lies best: upright only where it does not fit lying."""
    left, low, right, high = bounds_of(_outer(drawing))
    sides = (right - left, high - low)
    for turn in (sides[1] > sides[0], sides[1] <= sides[0]):
        width, height = sides[::-1] if turn else sides
        if width + 2 * BETWEEN <= size[0] and height + 2 * BETWEEN <= size[1]:
            return _Piece(drawing, turn, width, height)
    return None


def _in_rows(pieces: Sequence[_Piece], size: Point) -> tuple[tuple[Laid, ...], ...]:
    sheets: list[list[Laid]] = []
    x, y, row = BETWEEN, BETWEEN, 0.0
    for piece in pieces:
        if x + piece.width + BETWEEN > size[0]:
            x, y, row = BETWEEN, y + row + BETWEEN, 0.0
        if not sheets or y + piece.height + BETWEEN > size[1]:
            sheets.append([])
            x, y, row = BETWEEN, BETWEEN, 0.0
        sheets[-1].append(Laid(piece.drawing, piece.turned, (x, y)))
        x, row = x + piece.width + BETWEEN, max(row, piece.height)
    return tuple(tuple(sheet) for sheet in sheets)


def _placed(laid: Laid) -> tuple[Entity, ...]:
    """Return what is cut and drilled of a part, where it lies on its sheet, and its name."""
    lines = turned(_outer(laid.drawing), by=90.0 if laid.turned else 0.0)
    left, low, right, high = bounds_of(lines)
    name = Label(((left + right) / 2, (low + high) / 2 - 8.0), laid.drawing.name, 4.0)
    return moved((*lines, name), by=(laid.at[0] - left, laid.at[1] - low))


def _sheet(stock: Stock, laid: Sequence[Laid], number: int) -> Drawing:
    width, height = stock.size
    parts = tuple(entity for part in laid for entity in _placed(part))
    _, _, right, top = bounds_of(entity for entity in parts if entity.layer != "text")
    used = (min(right + BETWEEN, width), min(top + BETWEEN, height))
    filled = sum(each.drawing.area_mm2 or 0.0 for each in laid)
    waste = 1.0 - filled / (used[0] * used[1])
    words = (
        f"{_count(len(laid))} on {used[0]:.0f} × {used[1]:.0f} mm of it, {waste:.0%} of that waste"
    )
    kerf = "; ".join(dict.fromkeys(each.drawing.kerf for each in laid if each.drawing.kerf))
    edge = Polygon("mark", ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height)))
    size = f"{stock.words}, {width:g} × {height:g} mm"
    told = f"{size}: {words}. {capital(kerf)}."
    label = Label((0.0, height + 3.0), told, 4.0, "start")
    return Drawing(
        name=f"sheet-{stock.material}-{stock.thickness:g}mm-{number}".replace(".", "-"),
        title=f"Sheet {number} of {stock.words}",
        entities=(edge, label, *parts),
        purpose=f"Parts laid out on a stock sheet, {size}.",
        sends="send out",
        material=stock.words,
        thickness_mm=stock.thickness,
        notes=(
            f"{capital(words)}; {BETWEEN:g} mm between parts.",
            f"{capital(kerf)}.",
        ),
    )


def _count(parts: int) -> str:
    return "1 part" if parts == 1 else f"{parts} parts"


def _largest(sheets: Sequence[Stock], material: str, thickness: float) -> Stock:
    fitting = [s for s in sheets if s.material == material and s.thickness == thickness]
    return max(fitting, key=lambda sheet: sheet.size[0] * sheet.size[1])


def _too_large(part: Drawing, stock: Stock) -> Undrawn:
    left, low, right, high = bounds_of(_outer(part))
    return Undrawn(
        part.name,
        "sheet",
        f"{part.title}: {right - left:.0f} × {high - low:.0f} mm is larger than a sheet of "
        f"{stock.size[0]:g} × {stock.size[1]:g} mm ({stock.words}).",
        f"List a larger one: sheet.size of at least {right - left + 2 * BETWEEN:.0f} × "
        f"{high - low + 2 * BETWEEN:.0f} mm.",
    )
