"""The tables and lists a job file has, read from the document, and what tells entries apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_origin

from conewright.job.document.document import Document
from conewright.job.document.parts import Table
from conewright.job.document.paths import fields_of, table_within
from conewright.phrases import counted

__all__ = [
    "BUY",
    "LISTS",
    "TABLES",
    "EntryKey",
    "JobList",
    "alike",
    "counts_in_words",
    "entries_by_key",
    "placed",
    "spoken",
]

EntryKey = tuple[str, ...]
"""What tells an entry apart from the others of its list, and which of those alike it is."""

# What tells the entries of a list apart that have no id.
_TOLD_BY = {
    "reading": ("test", "at"),
    "finding": ("fault", "at"),
    "lead": ("function", "channel"),
    "sheet": ("material", "thickness"),
    "buy": ("kind", "part"),
}
_SPOKEN = {
    "buy": "part",
    "location": "place",
    "lead": "wire",
    "feed": "cable",
    "head_unit": "radio",
}


@dataclass(frozen=True, slots=True)
class JobList:
    """A list of a job file.

    Attributes:
        name: as the file has it, `location`.
        attribute: as the document has it, `locations`.
        entry: what an entry is.
        told_by: the fields that tell its entries apart.

    """

    name: str
    attribute: str
    entry: type[Table]
    told_by: tuple[str, ...]

    def count(self, job: Document) -> int:
        """Return how many entries a job has in it."""
        return len(getattr(job, self.attribute))


def _lists() -> dict[str, JobList]:
    found: dict[str, JobList] = {}
    for attribute, info in Document.model_fields.items():
        entry = table_within(info.annotation)
        if entry is not None and get_origin(info.annotation) is tuple:
            name = info.alias or attribute
            told_by = ("id",) if "id" in fields_of(entry) else _TOLD_BY[name]
            found[name] = JobList(name, attribute, entry, told_by)
    return found


def _tables() -> dict[str, type[Table]]:
    within = {name: table_within(annotation) for name, annotation in fields_of(Document).items()}
    return {name: table for name, table in within.items() if table and name not in LISTS}


LISTS: Mapping[str, JobList] = _lists()
"""Every list of a job by its name in the file, in the order of the document."""

TABLES: Mapping[str, type[Table]] = _tables()
"""Every table of a job that stands alone, in the order of the document."""


BUY = "buy"
"""The list of a proposal that is none of the job's own: what is bought for it."""


def told_by(name: str) -> tuple[str, ...]:
    """Return the fields that tell the entries of a list apart, of a job or of a proposal."""
    return _TOLD_BY[BUY] if name == BUY else LISTS[name].told_by


def spoken(name: str) -> str:
    """Return what a table, or an entry of a list, is called in a sentence."""
    return _SPOKEN.get(name, name.replace("_", " "))


def entries_by_key(name: str, entries: object) -> dict[EntryKey, dict[str, Any]]:
    """Return the entries of a list, as plain values, by what tells them apart."""
    found: dict[EntryKey, dict[str, Any]] = {}
    seen: Counter[EntryKey] = Counter()
    for entry in entries if isinstance(entries, list) else ():
        if not isinstance(entry, dict):
            continue
        told = tuple(str(entry.get(field, "")) for field in told_by(name))
        seen[told] += 1
        found[(*told, str(seen[told]))] = entry
    return found


def alike(entries: Sequence[Any], same: Mapping[str, Any]) -> list[int]:
    """Return which of a list's entries, as plain values, hold all of some fields; none for none."""
    if not same:
        return []
    return [
        index
        for index, each in enumerate(entries)
        if isinstance(each, Mapping) and same.items() <= each.items()
    ]


def placed(entries: Sequence[Any], entry: Mapping[str, Any], index: int | None) -> list[Any]:
    """Return a list with an entry at its end, or its fields over those of the one at an index."""
    if index is None:
        return [*entries, dict(entry)]
    return [*entries[:index], {**entries[index], **entry}, *entries[index + 1 :]]


def counts_in_words(counts: Mapping[str, int]) -> str:
    """Return how many entries lists have, those left out that have none: "4 channels, 1 seat"."""
    return ", ".join(counted(n, name) for name, n in counts.items() if n)
