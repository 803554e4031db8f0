"""The three forms of a catalogue: CSV, TOML and SQLite, read to rows of texts and written."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from conewright.catalogue.columns import columns
from conewright.catalogue.lists.part_cells import Finding
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short

__all__ = [
    "ENCODINGS",
    "FORMS",
    "MOST_ROWS",
    "Row",
    "Table",
    "decoded",
    "hold_text",
    "rows_of_csv",
    "table_of",
    "written",
]

FORMS: Final = (".csv", ".toml", ".sqlite")
ENCODINGS: Final = (
    "utf-8-sig", "utf-8", "utf-16", "cp1252", "cp1250", "iso-8859-1", "iso-8859-15", "cp850",
)  # fmt: skip
MOST_ROWS: Final = 200_000
LARGEST_FILE: Final = 256 * 1024**2
SHEET: Final = "sheet"
NO_TEXT: Final = {
    b"PK\x03\x04": "a workbook, or other packed files",
    b"\xd0\xcf\x11\xe0": "a workbook",
    b"SQLite format 3": "a database",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a packed file",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
}
"""What a file is that somebody takes for a list, by its first bytes; as their formats say."""

Row = Mapping[str, str]


@dataclass(frozen=True)
class Table:
    """A list as it was found: its heads, and the cells of each row that are not empty.

    file: what it is called in a message. numbers: of each row, as a finding counts them.
    """

    file: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    numbers: tuple[int, ...]
    findings: tuple[Finding, ...] = field(default=())


def table_of(content: bytes, *, file: str, encoding: str = "utf-8-sig") -> Table:
    """Read a catalogue in one of its three forms, told by the ending of the file.

    Raises:
        BadInputError: the content is not of that form, or there is no such form.

    """
    ending = Path(file).suffix.lower()
    if len(content) > LARGEST_FILE:
        raise BadInputError(f"{file}: found {len(content)} bytes; {LARGEST_FILE} are allowed")
    if ending == ".csv":
        return rows_of_csv(decoded(content, file=file, encoding=encoding), file=file)
    if ending == ".toml":
        return _from_toml(decoded(content, file=file, encoding=encoding), file)
    if ending == ".sqlite":
        return _from_sqlite(content, file)
    allowed = ", ".join(FORMS)
    raise BadInputError(f'{file}: found a name ending in "{ending}"; a catalogue ends in {allowed}')


def hold_text(content: bytes, *, file: str) -> None:
    """Raise BadInputError for a file that by its first bytes is no text."""
    for first, what in NO_TEXT.items():
        if content.startswith(first):
            allowed = "a list is text: save it as CSV where it was made, and take that file"
            raise BadInputError(f"{file}: found {what}; {allowed}")


def decoded(content: bytes, *, file: str, encoding: str) -> str:
    """Return the text in some bytes; raises BadInputError where they are none."""
    hold_text(content, file=file)
    if encoding not in ENCODINGS:
        allowed = ", ".join(ENCODINGS)
        raise BadInputError(f'{file}: found the encoding "{short(encoding)}"; allowed: {allowed}')
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        raise BadInputError(
            f"{file}: found bytes that are no text in {encoding} (at byte {error.start + 1}); a "
            "catalogue is text in UTF-8, of other lists a map names the encoding"
        ) from None


def rows_of_csv(text: str, *, file: str, delimiter: str = ",") -> Table:
    """Read a list of rows under a head; a row that is longer than the head is refused.

    Raises:
        BadInputError: it has no head, a head stands twice, or it has too many rows.

    """
    records: list[list[str]] = []
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            records.append([cell.strip() for cell in record])
            _hold_count(len(records) - 1, file)
    except csv.Error as error:
        raise BadInputError(f"{file}: row {len(records) + 1}: {error}; a table is wanted") from None
    if not records or not any(records[0]):
        raise BadInputError(f"{file}: found no head; the first row names the columns")
    heads = tuple(records[0])
    twice = next((head for head in heads if head and heads.count(head) > 1), None)
    if twice is not None:
        raise BadInputError(f'{file}: found two columns "{short(twice)}"; each is named once')
    rows: list[Row] = []
    numbers: list[int] = []
    findings: list[Finding] = []
    for number, record in enumerate(records[1:], start=2):
        if any(record[len(heads) :]):
            allowed = f"the head has {len(heads)}; a mark too many in a cell splits it"
            findings.append(Finding(number, "", f"{len(record)} cells", "refused", allowed))
        elif any(record):
            row = {head: cell for head, cell in zip(heads, record, strict=False) if cell and head}
            rows.append(row)
            numbers.append(number)
    return Table(file, tuple(filter(None, heads)), tuple(rows), tuple(numbers), tuple(findings))


def written(rows: Iterable[Row], *, ending: str) -> bytes:
    """Return rows of a catalogue as a file of the form with that ending.

    Raises BadInputError for an ending that none of the three forms has.
    """
    if ending == ".csv":
        return _to_csv(rows)
    if ending == ".toml":
        return "\n".join(_as_toml(row) for row in rows).encode("utf-8")
    if ending == ".sqlite":
        return _to_sqlite(rows)
    allowed = ", ".join(FORMS)
    raise BadInputError(f'found a name ending in "{ending}"; a catalogue ends in {allowed}')


def _hold_count(count: int, file: str) -> None:
    if count > MOST_ROWS:
        raise BadInputError(f"{file}: found more than {MOST_ROWS} rows; divide the list")


def _made(file: str, entries: Iterable[Mapping[str, Any]]) -> Table:
    """Return a table of entries without a head of their own; what is no text is told."""
    rows: list[Row] = []
    numbers: list[int] = []
    findings: list[Finding] = []
    heads: dict[str, None] = {}
    for number, entry in enumerate(entries, start=1):
        row = dict[str, str]()
        for name, value in entry.items():
            cell = _as_cell(value)
            if cell is None:
                found = short(str(type(value).__name__))
                findings.append(Finding(number, name, f"a {found}", "left out", "a text is wanted"))
            elif cell:
                row[name] = cell
            heads[name] = None
        rows.append(row)
        numbers.append(number)
        _hold_count(number, file)
    return Table(file, tuple(heads), tuple(rows), tuple(numbers), tuple(findings))


def _as_cell(value: object) -> str | None:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return ""
    return str(value).strip() if isinstance(value, str | int | float) else None


# --- CSV ------------------------------------------------------------------------------------------


def _to_csv(rows: Iterable[Row]) -> bytes:
    listed = list(rows)
    used = [name for name in columns() if any(name in row for row in listed)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(used)
    writer.writerows([row.get(name, "") for name in used] for row in listed)
    return text.getvalue().encode("utf-8")


# --- TOML -----------------------------------------------------------------------------------------


def _from_toml(text: str, file: str) -> Table:
    try:
        entries = tomllib.loads(text).get("part", [])
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise BadInputError(f"{file}: {short(str(error))}; it is no TOML") from None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise BadInputError(f"{file}: found part as something else; each part is a [[part]]")
    return _made(file, (dict(_flat(entry)) for entry in entries))


def _flat(entry: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in entry.items():
        if name == SHEET and isinstance(value, dict):
            yield from ((f"{SHEET}.{inner}", each) for inner, each in value.items())
        else:
            yield name, value


def _as_toml(row: Row) -> str:
    plain = [f"{name} = {_quoted(text)}" for name, text in row.items() if "." not in name]
    dotted = [f"{name} = {_quoted(text)}" for name, text in row.items() if "." in name]
    return "\n".join(["[[part]]", *plain, *dotted, ""])


def _quoted(text: str) -> str:
    # JSON escapes all that a basic string of TOML must but one control character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# --- SQLite ---------------------------------------------------------------------------------------


def _from_sqlite(content: bytes, file: str) -> Table:
    """Read the table `parts` of a database that is held in memory alone."""
    try:
        with closing(sqlite3.connect(":memory:")) as connection:
            connection.deserialize(content)
            # Damaged pages must not be followed into somebody else's schema.
            connection.execute("PRAGMA trusted_schema = OFF")
            kind = connection.execute("SELECT type FROM sqlite_master WHERE name = 'parts'")
            if kind.fetchone() != ("table",):
                raise BadInputError(f"{file}: found no table of the name parts in it")
            found = connection.execute(f"SELECT * FROM parts LIMIT {MOST_ROWS + 1}")
            heads: Sequence[str] = [column[0] for column in found.description]
            return _made(file, (dict(zip(heads, row, strict=True)) for row in found))
    except (
        sqlite3.Error,
        sqlite3.Warning,
        UnicodeDecodeError,
        OverflowError,
        MemoryError,
    ) as error:
        raise BadInputError(f"{file}: {short(str(error))}; it is no database of SQLite") from None


def _to_sqlite(rows: Iterable[Row]) -> bytes:
    listed = list(rows)
    used = [name for name in columns() if any(name in row for row in listed)]
    names = ", ".join(f'"{name}" TEXT' for name in used)
    marks = ", ".join("?" for _ in used)
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.execute(f"CREATE TABLE parts ({names})")
        given = ([row.get(name) for name in used] for row in listed)
        connection.executemany(f"INSERT INTO parts VALUES ({marks})", given)
        connection.commit()
        return connection.serialize()
