"""What a list of parts holds, found out beside the server: its heads, its parts, what is amiss."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Concatenate, Final, ParamSpec, TypeVar

from conewright.catalogue.columns import columns
from conewright.catalogue.lists.part_cells import Finding
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.web.base.errors import Refusal

if TYPE_CHECKING:
    from conewright.catalogue.lists.column_map import ColumnMap
    from conewright.catalogue.lists.forms import Table
    from conewright.catalogue.lists.listing import PartLine
    from conewright.catalogue.lists.part_rows import Catalogue
    from conewright.web.desk.reading import Reading

__all__ = ["Head", "Heads", "ListReading", "Looked"]

NEEDED: Final = frozenset({"part", "kind"})
MOST_HEADS: Final = 200
MOST_SAMPLES, MOST_WORDS, MOST_PARTS = 3, 40, 8
MOST_FINDINGS, MOST_ASKED = 2000, 200
SPENT: Final = {"too-long", "too-large", "ended"}

Found = TypeVar("Found")
More = ParamSpec("More")


@dataclass(frozen=True, slots=True)
class Head:
    """A column of a list: its head, some of its cells, and its words where it has only a few.

    why: what the guess rests on.
    """

    name: str
    samples: tuple[str, ...]
    words: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Heads:
    """How a list is cut into cells, and the map that is guessed of it."""

    guess: ColumnMap
    heads: tuple[Head, ...]
    rows: int


@dataclass(frozen=True, slots=True)
class Looked:
    """What a list would be as a catalogue.

    rows: in the list. by_column: how many cells of a column were used with a remark, left out and
    refused. asked: what a yes is enough for, a row each. findings: the first of them, by row.
    twins: parts that are the same works as another.
    """

    rows: int
    parts: int
    counts: Mapping[str, int]
    by_column: Mapping[str, Mapping[str, int]]
    asked: tuple[Finding, ...]
    most_asked: int
    findings: tuple[Finding, ...]
    sample: tuple[PartLine, ...]
    twins: int


@dataclass(frozen=True, slots=True)
class ListReading:
    """Reads lists in a process of its own, within its time and memory."""

    reading: Reading

    def is_own(self, content: bytes, name: str) -> bool:
        """Whether a list has the columns of a catalogue and no others; raises as `heads`."""
        return self._run(_is_own, content, name)

    def heads(self, content: bytes, name: str, encoding: str = "", delimiter: str = "") -> Heads:
        """Return how a list is cut, and a guess at its map.

        Raises:
            BadInputError: it is no list of the kind.
            Refusal: it took too long or too much memory, or too many are asking.

        """
        return self._run(_heads, content, name, encoding, delimiter)

    def look(self, content: bytes, name: str, used: ColumnMap | None) -> Looked:
        """Return what a list holds, by its map, or as it stands; raises as `heads`."""
        return self._run(_looked, content, name, used)

    def read(
        self, content: bytes, name: str, used: ColumnMap | None, accept: Collection[int]
    ) -> Catalogue:
        """Return a list as a catalogue, with the rows that got a yes; raises as `heads`."""
        return self._run(_read, content, name, used, accept)

    def _run(
        self,
        function: Callable[Concatenate[bytes, More], Found],
        content: bytes,
        *args: More.args,
        **named: More.kwargs,
    ) -> Found:
        try:
            return self.reading.apart(function, content, *args, **named)
        except Refusal as refusal:
            if refusal.code not in SPENT:
                raise
            told = "This list took too long or too much memory to read; divide it."
            raise Refusal(422, told, code=refusal.code) from None


# --- In the worker --------------------------------------------------------------------------------


def _is_own(content: bytes, name: str) -> bool:
    from conewright.catalogue.lists.forms import table_of

    if PurePath(name).suffix in (".toml", ".sqlite"):
        return True
    try:
        heads = set(table_of(content, file=name).heads)
    except BadInputError:
        # A list of somebody else's, or none, which its guess will say.
        return False
    return heads >= NEEDED and heads <= set(columns())


def _heads(content: bytes, name: str, encoding: str, delimiter: str) -> Heads:
    from conewright.catalogue.lists.guessing import first_guess

    guess = first_guess(content, file=name, encoding=encoding, delimiter=delimiter)
    table = guess.table
    if len(table.heads) > MOST_HEADS:
        found = f"{name}: found {len(table.heads)} columns; at most {MOST_HEADS} are read"
        raise BadInputError(found)
    heads = tuple(_head(head, table, guess.why.get(head, "")) for head in table.heads)
    return Heads(guess.map, heads, len(table.rows))


def _head(head: str, table: Table, why: str) -> Head:
    counted = Counter(row[head] for row in table.rows if head in row)
    samples = tuple(short(each) for each in list(counted)[:MOST_SAMPLES])
    words = tuple(word for word, _ in counted.most_common()) if len(counted) <= MOST_WORDS else ()
    return Head(head, samples, words, why.strip(" ,"))


def _table(content: bytes, name: str, used: ColumnMap | None) -> Table:
    from conewright.catalogue.lists.column_map import foreign_table
    from conewright.catalogue.lists.forms import table_of

    if used is not None:
        return foreign_table(content, used, file=name, map_file="the map")
    table = table_of(content, file=name)
    if not set(table.heads) >= NEEDED:
        found = ", ".join(f'"{short(head)}"' for head in table.heads[:20])
        allowed = "part and kind are wanted. As CSV it can be said which column is which"
        raise BadInputError(f"{name}: found the columns {found or 'of nothing'}; {allowed}")
    return table


def _read(content: bytes, name: str, used: ColumnMap | None, accept: Collection[int]) -> Catalogue:
    from conewright.catalogue.lists.part_rows import read_catalogue

    return read_catalogue(_table(content, name, used), accept=accept)


def _looked(content: bytes, name: str, used: ColumnMap | None) -> Looked:
    from conewright.catalogue.lists.listing import part_line
    from conewright.catalogue.lists.part_rows import read_catalogue

    table = _table(content, name, used)
    read = read_catalogue(table, accept=())
    by_column: dict[str, Counter[str]] = {}
    for each in read.findings:
        by_column.setdefault(each.column, Counter())[each.done] += 1
    asked = {each.row: each for each in read.findings if each.asked}
    offered = Counter(read.compiled.offered.tolist())
    return Looked(
        rows=len(table.rows),
        parts=len(read.rows),
        counts=Counter(each.done for each in read.findings),
        by_column=by_column,
        asked=tuple(asked.values())[:MOST_ASKED],
        most_asked=len(asked),
        findings=read.findings[:MOST_FINDINGS],
        sample=tuple(part_line(read.compiled, row) for row in range(len(read.rows))[:MOST_PARTS]),
        twins=sum(count for count in offered.values() if count > 1),
    )
