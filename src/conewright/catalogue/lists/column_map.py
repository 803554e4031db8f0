"""A map from somebody else's list to the columns of a catalogue: kept as TOML, and used."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import cache
from typing import Any, Final

from conewright.catalogue.columns import CHOICES, Column, columns
from conewright.catalogue.lists.forms import Row, Table, decoded, rows_of_csv
from conewright.catalogue.lists.part_cells import LONGEST_CELL, Finding
from conewright.data_files import data_rows
from conewright.errors import BadInputError, QuantityError
from conewright.job.quantity.numerals import BLANKS, read_numeral, rounded, short
from conewright.job.quantity.units import find_unit

__all__ = [
    "DECIMALS",
    "DELIMITERS",
    "THOUSANDS",
    "ColumnMap",
    "Mapped",
    "foreign_table",
    "map_text",
    "mapped_column",
    "parse_map",
    "words",
]

DELIMITERS: Final = (";", ",", "\t", "|")
DECIMALS: Final = (".", ",")
THOUSANDS: Final = ("", ".", ",", "'", " ")
PLAIN: Final = ("count", "money")
"""Forms of cells that are bare numbers without a unit."""
MOST_DIGITS: Final = 12


@dataclass(frozen=True, slots=True)
class Mapped:
    """Where a column of a catalogue stands in somebody else's list.

    column: its head there. unit: of cells that have none of their own. factor: by which numbers
    are multiplied, 0.5 where a list gives peak to peak.
    """

    column: str
    unit: str = ""
    factor: str = ""


@dataclass(frozen=True)
class ColumnMap:
    """How a supplier writes his lists.

    fixed: what holds for every row that has no such cell, by column: currency, per, kind.
    words: his words for ours. columns: by ours.
    """

    encoding: str
    delimiter: str
    decimal: str
    thousands: str
    fixed: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, Mapped] = field(default_factory=dict)


@cache
def words(role: str) -> Mapping[str, str]:
    """Return the words of other people's lists and what they mean: of a head, unit, trailing, word.

    Source: the table, common practice.
    """
    rows = data_rows("catalogue", "list_words.csv")
    return {row["word"]: row["means"] for row in rows if row["role"] == role}


# --- As TOML --------------------------------------------------------------------------------------


def parse_map(text: str, *, file: str) -> ColumnMap:
    """Read a map.

    Raises:
        BadInputError: it is no map; names the place, what was found and what is allowed.

    """
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise BadInputError(f"{file}: {short(str(error))}; a map is TOML") from None
    strange = sorted(set(raw) - set(ColumnMap.__dataclass_fields__))
    if strange:
        allowed = ", ".join(ColumnMap.__dataclass_fields__)
        raise BadInputError(f'{file}: found "{short(strange[0])}"; allowed: {allowed}')
    return ColumnMap(
        encoding=_text(raw, "encoding", file, default="utf-8-sig"),
        delimiter=_one_of(raw, "delimiter", DELIMITERS, file, default=","),
        decimal=_one_of(raw, "decimal", DECIMALS, file, default="."),
        thousands=_one_of(raw, "thousands", THOUSANDS, file, default=""),
        fixed={name: _text(_held(raw, "fixed", file), name, file) for name in raw.get("fixed", {})},
        words={name: _text(_held(raw, "words", file), name, file) for name in raw.get("words", {})},
        columns=dict(_columns(_held(raw, "columns", file), file)),
    )


def _held(raw: Mapping[str, Any], name: str, file: str) -> Mapping[str, Any]:
    table = raw.get(name, {})
    if not isinstance(table, dict):
        raise BadInputError(f"{file}: {name}: found {short(str(table))}; a table is wanted")
    return table


def _text(raw: Mapping[str, Any], name: str, file: str, *, default: str = "") -> str:
    value = raw.get(name, default)
    if not isinstance(value, str) or len(value) > LONGEST_CELL:
        raise BadInputError(f"{file}: {short(name)}: found {short(str(value))}; a text is wanted")
    return value


def _one_of(
    raw: Mapping[str, Any], name: str, allowed: tuple[str, ...], file: str, *, default: str
) -> str:
    value = _text(raw, name, file, default=default)
    if value not in allowed:
        told = " ".join(json.dumps(each) for each in allowed)
        raise BadInputError(f'{file}: {name}: found "{short(value)}"; allowed: {told}')
    return value


def _columns(raw: Mapping[str, Any], file: str) -> Iterator[tuple[str, Mapped]]:
    for name, entry in raw.items():
        where = f"{file}: columns.{short(name)}"
        if name not in columns():
            raise BadInputError(f"{where}: found no such column; allowed: {', '.join(columns())}")
        if isinstance(entry, str):
            yield name, Mapped(entry)
            continue
        if not isinstance(entry, dict) or not set(entry) <= {"column", "unit", "factor"}:
            allowed = '"Rdc" or { column = "Rdc", unit = "ohm", factor = 1 }'
            raise BadInputError(f"{where}: found {short(str(entry))}; written like {allowed}")
        yield name, mapped_column(name, entry, where)


def mapped_column(name: str, entry: Mapping[str, Any], where: str) -> Mapped:
    """Return where a column of a catalogue stands in a list.

    Args:
        name: of the column.
        entry: its `column` there, its `unit` and its `factor`.
        where: that is written, for a message.

    Raises:
        BadInputError: it has no such unit, or that is no factor.

    """
    mapped = Mapped(
        _text(entry, "column", where), _text(entry, "unit", where), _factor(entry, where)
    )
    _hold_unit(mapped, columns()[name], where)
    return mapped


def _factor(entry: Mapping[str, Any], where: str) -> str:
    factor = entry.get("factor", "")
    try:
        number = Decimal("1" if factor == "" else str(factor))
    except InvalidOperation:
        number = Decimal(0)
    if isinstance(factor, bool) or not number.is_finite() or not Decimal("1e-9") < number < 10**9:
        found = short(str(factor))
        raise BadInputError(f"{where}.factor: found {found}; a number above zero is wanted")
    return str(factor)


def _hold_unit(mapped: Mapped, column: Column, where: str) -> None:
    dimension = column.dimension
    if not mapped.unit or not dimension:
        return
    if find_unit(mapped.unit, dimension=dimension) is None:
        allowed = f"a unit like {column.unit or 'none'} is wanted"
        raise BadInputError(f'{where}.unit: found "{short(mapped.unit)}"; {allowed}')


def map_text(found: ColumnMap) -> str:
    """Return a map as TOML, to be looked through and kept."""
    lines = [
        f"{name} = {json.dumps(getattr(found, name), ensure_ascii=False)}"
        for name in ("encoding", "delimiter", "decimal", "thousands")
    ]
    for name in ("fixed", "words"):
        table = getattr(found, name)
        lines += ["", f"[{name}]", *(f"{_key(key)} = {_key(text)}" for key, text in table.items())]
    lines += ["", "[columns]"]
    for name, mapped in found.columns.items():
        told = [f"column = {_key(mapped.column)}"]
        told += [f"unit = {_key(mapped.unit)}"] if mapped.unit else []
        told += [f"factor = {mapped.factor}"] if mapped.factor else []
        lines.append(f"{name if '.' not in name else _key(name)} = {{ {', '.join(told)} }}")
    return "\n".join(lines) + "\n"


def _key(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# --- In use ---------------------------------------------------------------------------------------


def foreign_table(content: bytes, used: ColumnMap, *, file: str, map_file: str) -> Table:
    """Read somebody else's list by its map, to the heads and cells of a catalogue.

    Raises:
        BadInputError: the list cannot be read, or the map names a column that it has not.

    """
    text = decoded(content, file=file, encoding=used.encoding)
    table = rows_of_csv(text, file=file, delimiter=used.delimiter)
    _hold_columns(table, used, map_file)
    findings = list(table.findings)
    rows = [
        dict(_cells(row, used, number, findings))
        for number, row in zip(table.numbers, table.rows, strict=True)
    ]
    heads = tuple(dict.fromkeys([*used.fixed, *used.columns]))
    return Table(file, heads, tuple(rows), table.numbers, tuple(findings))


def _hold_columns(table: Table, used: ColumnMap, map_file: str) -> None:
    has = ", ".join(f'"{short(head)}"' for head in table.heads[:40])
    if not used.columns:
        raise BadInputError(f"{map_file}: found no [columns]; {table.file} has {has}")
    for name, mapped in used.columns.items():
        if mapped.column not in table.heads:
            raise BadInputError(
                f'{map_file}: columns.{name}: found "{short(mapped.column)}", no column of '
                f"{table.file}; it has {has}"
            )


def _cells(
    row: Row, used: ColumnMap, number: int, findings: list[Finding]
) -> Iterator[tuple[str, str]]:
    for name, text in used.fixed.items():
        if name not in used.columns or used.columns[name].column not in row:
            yield name, text
    for name, mapped in used.columns.items():
        text = row.get(mapped.column, "")
        if not text:
            continue
        try:
            cell, cut = _cell(text, mapped, columns()[name], used)
        except QuantityError as error:
            findings.append(Finding(number, name, f'"{short(text)}"', "left out", str(error)))
            continue
        if cut:
            allowed = f'"{short(cut)}" is cut off and not reckoned with'
            findings.append(Finding(number, name, f'"{short(text)}"', "used", allowed))
        yield name, cell


def _cell(text: str, mapped: Mapped, column: Column, used: ColumnMap) -> tuple[str, str]:
    """Return a cell as a catalogue has it, and what was cut off; raises QuantityError."""
    if len(text) > LONGEST_CELL:
        raise QuantityError(f"a text of at most {LONGEST_CELL} signs is wanted")
    if column.form in CHOICES or column.form == "yes":
        return used.words.get(text, used.words.get(text.casefold(), text)), ""
    if column.form not in (*PLAIN, "quantity", "value", "size"):
        return text, ""
    bare, cut = _without_trailing(text)
    if column.form == "size":
        return _with_unit(bare.replace(",", "."), mapped.unit), cut
    return _number(bare, mapped, column, used), cut


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}".strip() if text[-1:].isdigit() else text


def _without_trailing(text: str) -> tuple[str, str]:
    """Cut words of a fixed list and brackets with a condition off the end of a cell."""
    bare, cut = text, ""
    while bare:
        if bare.endswith(")") and "(" in bare:
            head = bare.rpartition("(")[0]
        else:
            last = bare.split()[-1]
            if last.casefold() not in words("trailing"):
                break
            head = bare[: len(bare) - len(last)]
        cut = f"{bare[len(head) :].strip()} {cut}".strip()
        bare = head.strip()
    return bare, cut


def _number(text: str, mapped: Mapped, column: Column, used: ColumnMap) -> str:
    """Return a number with the marks of a catalogue and a unit; raises QuantityError."""
    signs = len(text) - len(text.lstrip("+-\u2212" + BLANKS))
    digits = 0
    marks = "0123456789" + used.decimal + used.thousands
    while signs + digits < len(text) and text[signs + digits] in marks:
        digits += 1
    sign, number, unit = text[:signs], text[signs : signs + digits], text[signs + digits :].strip()
    if not number.strip():
        raise QuantityError("it does not begin with a number")
    if re.match(r"[.,']\d", unit):
        raise QuantityError(
            f'the map has "{unit[0]}" neither before decimals nor between thousands'
        )
    number = _plain(number.strip(), used)
    read = read_numeral(f"{sign.strip()}{number}", dimension="number").number
    if mapped.factor:
        read *= Fraction(mapped.factor)
        number = rounded(abs(read), MOST_DIGITS)
    if column.form in PLAIN:
        if unit:
            raise QuantityError(f'"{short(unit)}" behind the number; a plain number is wanted')
        return f"{'-' if read < 0 else ''}{number}"
    unit = words("unit").get(unit.casefold(), unit) if unit else mapped.unit
    return f"{'-' if read < 0 else ''}{number} {unit}".strip()


def _plain(text: str, used: ColumnMap) -> str:
    """Return digits with a decimal point alone; thousands marks stand before groups of three."""
    whole, mark, part = text.partition(used.decimal)
    if used.thousands and used.thousands in whole:
        first, *groups = whole.split(used.thousands)
        if not 1 <= len(first) <= 3 or any(len(group) != 3 for group in groups):
            allowed = f'"{used.thousands}" stands before groups of three digits'
            raise QuantityError(f'the number "{short(text)}" is unclear: {allowed}')
        whole = first + "".join(groups)
    if not (whole + part).isdecimal() or (mark and not part):
        raise QuantityError(
            f'"{short(text)}" is no number with "{used.decimal}" before its decimals, as the map '
            "says"
        )
    return f"{whole or '0'}.{part}" if part else whole
