"""The map of somebody else's list as a form: shown as it was guessed, and read as it was sent."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from conewright.catalogue.columns import CHOICES, columns
from conewright.catalogue.lists.column_map import (
    DECIMALS,
    DELIMITERS,
    THOUSANDS,
    ColumnMap,
    Mapped,
    mapped_column,
)
from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.web.parts.list_reading import Head, Heads

__all__ = ["CUT", "MARKS", "PER", "HeadField", "WordField", "head_fields", "sent_map", "words_of"]

CUT: Final = {
    "encoding": {
        "utf-8-sig": "UTF-8",
        "cp1252": "Western Europe, Windows (cp1252)",
        "cp1250": "Central Europe, Windows (cp1250)",
        "iso-8859-1": "Western Europe, older (ISO 8859-1)",
        "iso-8859-15": "Western Europe with the euro (ISO 8859-15)",
        "cp850": "Western Europe, DOS (cp850)",
        "utf-16": "UTF-16",
    },
    "delimiter": dict(zip(DELIMITERS, ("semicolon ;", "comma ,", "tab", "bar |"), strict=True)),
}
"""How the bytes of a list become cells: what may be chosen, in words."""
MARKS: Final = {
    "decimal": dict(zip(DECIMALS, ("point: 3.4", "comma: 3,4"), strict=True)),
    "thousands": dict(
        zip(
            THOUSANDS,
            ("none: 1084", "point: 1.084", "comma: 1,084", "apostrophe: 1'084", "blank: 1 084"),
            strict=True,
        )
    ),
}
PER: Final = {
    "": "not said: a piece",
    "piece": "a piece",
    "pair": "a pair",
    "metre": "a metre",
    "kg": "a kilogram",
}
FIXED: Final = ("supplier", "currency", "per", "kind")
"""What may be said once for all rows that do not say it themselves."""
LONGEST_SUPPLIER: Final = 100
YES_NO: Final = ("yes", "no")
WORD: Final = "word:"
"""Begins the name of a field of a word of the list."""
NOT_READ: Final = "Nothing is read yet"


@dataclass(frozen=True, slots=True)
class HeadField:
    """A column of the list, and which of ours it is: its number, what is chosen and typed."""

    number: int
    head: Head
    chosen: str
    unit: str
    factor: str
    usual_unit: str


@dataclass(frozen=True, slots=True)
class WordField:
    """A word of the list, which of ours it means, and those that may be chosen."""

    word: str
    column: str
    chosen: str
    choices: tuple[str, ...]


def head_fields(heads: Heads, used: ColumnMap) -> tuple[HeadField, ...]:
    """Return the fields of every column of a list, as a map has them."""
    named = {mapped.column: (name, mapped) for name, mapped in used.columns.items()}
    fields = []
    for number, head in enumerate(heads.heads):
        name, mapped = named.get(head.name, ("", Mapped(head.name)))
        unit = columns()[name].unit if name else ""
        fields.append(HeadField(number, head, name, mapped.unit, mapped.factor, unit))
    return tuple(fields)


def words_of(heads: Heads, used: ColumnMap) -> tuple[WordField, ...]:
    """Return the words of a list that stand where only certain words of ours may."""
    by_name = {head.name: head for head in heads.heads}
    found: dict[str, WordField] = {}
    for name, mapped in used.columns.items():
        choices = _choices(name)
        if not choices or mapped.column not in by_name:
            continue
        for word in by_name[mapped.column].words:
            means = used.words.get(word, used.words.get(word.casefold(), ""))
            if word not in choices and word not in found:
                found[word] = WordField(word, name, means if means in choices else "", choices)
    return tuple(found.values())


def _choices(name: str) -> tuple[str, ...]:
    form = columns()[name].form
    return YES_NO if form == "yes" else CHOICES.get(form, ())


# --- As it was sent -------------------------------------------------------------------------------


def sent_map(
    fields: Mapping[str, str], heads: Heads, before: ColumnMap
) -> tuple[ColumnMap, dict[str, str]]:
    """Return the map that a form says, and what is wrong with it, by the name of its field.

    Args:
        fields: as they were sent.
        heads: of the list.
        before: the map as it was shown, whose words of other lists stay in it.

    """
    errors = dict[str, str]()
    found = ColumnMap(
        encoding=heads.guess.encoding,
        delimiter=heads.guess.delimiter,
        decimal=_one_of(fields, "decimal", DECIMALS, before.decimal),
        thousands=_one_of(fields, "thousands", THOUSANDS, before.thousands),
        fixed=dict(_fixed(fields, errors)),
        words=_words(fields, before),
        columns=dict(_columns(fields, heads, errors)),
    )
    if found.decimal == found.thousands:
        errors["thousands"] = "the same mark cannot stand before decimals and between thousands"
    for name, what in (("part", "says what a part is ordered by"), ("kind", "says its kind")):
        if name not in found.columns and name not in found.fixed and "column" not in errors:
            errors[name] = f"{NOT_READ}: no column {what}"
    return found, errors


def _one_of(fields: Mapping[str, str], name: str, allowed: tuple[str, ...], default: str) -> str:
    text = fields.get(name, default)
    return text if text in allowed else default


def _fixed(fields: Mapping[str, str], errors: dict[str, str]) -> Iterator[tuple[str, str]]:
    for name in FIXED:
        text = " ".join(fields.get(name, "").split())
        if not text:
            continue
        if name == "currency":
            text = text.upper()
            if not re.fullmatch("[A-Z]{3}", text):
                errors[name] = "a currency is three letters, like EUR"
        elif name == "supplier":
            if len(text) > LONGEST_SUPPLIER or not text.isprintable():
                errors[name] = f"a name of at most {LONGEST_SUPPLIER} signs is wanted"
        elif text not in CHOICES[name]:
            errors[name] = f"one of these is wanted: {', '.join(CHOICES[name])}"
        yield name, text


def _columns(
    fields: Mapping[str, str], heads: Heads, errors: dict[str, str]
) -> Iterator[tuple[str, Mapped]]:
    taken: dict[str, str] = {}
    for number, head in enumerate(heads.heads):
        name = fields.get(f"column:{number}", "")
        if not name:
            continue
        if name not in columns():
            errors[f"column:{number}"] = "one of the list is wanted"
        elif name in taken:
            errors[f"column:{number}"] = f"“{short(taken[name])}” is that already: one of them is"
        else:
            taken[name] = head.name
            yield name, _mapped(name, head, fields, number, errors)


def _mapped(
    name: str, head: Head, fields: Mapping[str, str], number: int, errors: dict[str, str]
) -> Mapped:
    unit = fields.get(f"unit:{number}", "").strip()
    factor = fields.get(f"factor:{number}", "").strip().replace(",", ".")
    entry = {"column": head.name, "unit": unit, "factor": factor}
    for field in ("unit", "factor"):
        try:
            mapped_column(name, {**entry, "unit": "", "factor": "", field: entry[field]}, name)
        except BadInputError as error:
            errors[f"{field}:{number}"] = str(error).partition(": ")[2]
    return Mapped(head.name, unit, factor)


def _words(fields: Mapping[str, str], before: ColumnMap) -> dict[str, str]:
    """Return what words mean: those that were asked as they were answered, the others as before."""
    allowed = {*YES_NO, *(word for choices in CHOICES.values() for word in choices)}
    asked = {
        name.removeprefix(WORD): means for name, means in fields.items() if name.startswith(WORD)
    }
    words = {word: means for word, means in before.words.items() if word not in asked}
    return words | {word: means for word, means in asked.items() if means in allowed}
