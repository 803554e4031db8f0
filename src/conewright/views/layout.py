"""What a view is put together from, and the same as plain text that never passes a width."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from textwrap import wrap

__all__ = [
    "FIRM_SPACE",
    "Block",
    "Cell",
    "Folded",
    "Paragraph",
    "Section",
    "Table",
    "as_lines",
    "fold",
    "paragraph",
    "table",
]

Cell = tuple[str, ...]
"""The lines of a table's cell, none for an empty one."""

FIRM_SPACE = "\N{NO-BREAK SPACE}"
# A number and its unit stay on one line.
BEFORE_A_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|dB|Hz|K|V|W|A|mm|cm|min|ohm)(?!\w))")


class Folded(tuple[str, ...]):
    """Words of a cell that go on from one line to the next."""

    __slots__ = ()

    @property
    def text(self) -> str:
        """The words in one line."""
        return "".join(line if line.endswith("-") else f"{line} " for line in self).rstrip()


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A text, what its first line begins with and what the others do."""

    text: str
    first: str = ""
    rest: str = ""

    def lines(self, *, width: int) -> list[str]:
        """Return it as lines of at most so many characters."""
        return paragraph(self.text, width=width, first=self.first, rest=self.rest)


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Attributes:
        head: headings, one for each column.
        rows: cells; the first one of a row names it.
        gap: blanks between columns, in text.
        note: what is said below it.
        first: part of the width that the first column takes at most, in text.

    """

    head: Sequence[Cell]
    rows: Sequence[Sequence[Cell]]
    gap: int = 2
    note: str = ""
    first: float = 0.5

    def lines(self, *, width: int) -> list[str]:
        """Return it as lines, none without a row."""
        if not self.rows:
            return []
        room = int(self.first * width)
        rows = [(_folded(first, room), *others) for first, *others in self.rows]
        note = paragraph(self.note, width=width)
        return [*table(self.head, rows, width=width, gap=self.gap), *note]


Block = Paragraph | Table


@dataclass(frozen=True, slots=True)
class Section:
    """What stands together under a title, which may be empty."""

    title: str
    blocks: tuple[Block, ...]


def as_lines(sections: Iterable[Section], *, width: int) -> str:
    """Return sections as text, a blank line between two; one without a block is left out."""
    texts = []
    for section in sections:
        lines = [line for block in section.blocks for line in block.lines(width=width)]
        if lines:
            texts.append("\n".join([section.title, *lines] if section.title else lines))
    return "\n\n".join(texts) + "\n"


def fold(text: str, *, width: int) -> Folded:
    """Return the lines of a text that is at most this wide; words break only where they must."""
    return Folded(wrap(text, width))


def paragraph(text: str, *, width: int, first: str = "", rest: str = "") -> list[str]:
    """Return a text as lines.

    Args:
        text: what to write; a firm space becomes a blank at which no line ends.
        width: most characters of a line.
        first: what the first line begins with.
        rest: what the others begin with.

    """
    firm = BEFORE_A_UNIT.sub(FIRM_SPACE, text)
    # Ids are joined by hyphens and are read in one piece.
    lines = wrap(firm, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(FIRM_SPACE, " ") for line in lines]


def table(
    head: Sequence[Cell], rows: Iterable[Sequence[Cell]], *, width: int, gap: int = 2
) -> list[str]:
    """Return a table as lines; the first column stands on the left, the others on the right.

    Columns that do not fit beside each other follow below, with the first column again.

    Args:
        head: headings, one for each column.
        rows: cells, as many in each row as there are headings.
        width: most characters of a line; only a single column's own words can pass it.
        gap: blanks between columns.

    """
    lines = [head, *rows]
    widths = [max(_width(row[column]) for row in lines) for column in range(len(head))]
    drawn: list[str] = []
    for block in _blocks(widths, width, gap):
        drawn += [""] if drawn else []
        drawn += _drawn(lines, block, [widths[column] for column in block], gap)
    return drawn


def _folded(cell: Cell, width: int) -> Cell:
    return tuple(line for text in cell for line in paragraph(text, width=width))


def _blocks(widths: Sequence[int], width: int, gap: int) -> Iterator[list[int]]:
    """Yield numbers of columns that fit beside each other, the first column in every block."""
    block, used = [0], widths[0]
    for column in range(1, len(widths)):
        needed = gap + widths[column]
        if len(block) > 1 and used + needed > width:
            yield block
            block, used = [0], widths[0]
        block.append(column)
        used += needed
    yield block


def _drawn(
    rows: Sequence[Sequence[Cell]], block: list[int], widths: list[int], gap: int
) -> list[str]:
    head, *body = ([row[column] for column in block] for row in rows)
    tallest = max(len(cell) for cell in head)
    low = [("",) * (tallest - len(cell)) + cell for cell in head]
    return [line for row in (low, *body) for line in _row(row, widths, gap)]


def _row(cells: Sequence[Cell], widths: Sequence[int], gap: int) -> Iterator[str]:
    for texts in zip_longest(*cells, fillvalue=""):
        first, *others = zip(texts, widths, strict=True)
        line = [first[0].ljust(first[1]), *(text.rjust(size) for text, size in others)]
        yield (" " * gap).join(line).rstrip()


def _width(cell: Cell) -> int:
    return max(map(len, cell), default=0)
