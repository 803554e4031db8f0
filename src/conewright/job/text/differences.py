"""What differs between two texts of a job, in the words of whoever works on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from conewright.errors import JobError
from conewright.job.document.lists import BUY, LISTS, EntryKey, entries_by_key, spoken
from conewright.job.text.labels import label_words
from conewright.job.text.parsing import job_text

__all__ = ["LAYOUT_ONLY", "compare", "in_a_note"]

LAYOUT_ONLY = "only comments, spacing or order: every value is as it was"
MOST_IN_A_NOTE = 6
LONGEST_VALUE = 60
UNSAID = {"mount", "set", "value"}
"""Fields that tell nothing beyond those inside them."""

Path = tuple[str, ...]
Leaves = dict[Path, Any]


def compare(old: str, new: str) -> tuple[str, ...]:
    """Return what changed from one text of a job to another, one change a line.

    Empty where the texts are the same; where only their comments, spacing or order differ, one
    line says so. Values are compared as the job reads them: a place that copies another one
    changes with it.

    Args:
        old: TOML text of a job.
        new: TOML text of a job.

    Raises:
        JobError: one of them is no TOML.

    """
    if old == new:
        return ()
    before, after = _tables(old, new)
    lines = [*_sections(before, after), *_lists(before, after)]
    return tuple(_grouped(lines)) or (LAYOUT_ONLY,)


def in_a_note(changes: Sequence[str]) -> str:
    """Return changes as one line for a history."""
    if not changes:
        return "nothing changed"
    shown = "; ".join(changes[:MOST_IN_A_NOTE])
    left = len(changes) - MOST_IN_A_NOTE
    return f"{shown}; and {left} more" if left > 0 else shown


def _tables(old: str, new: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return both texts as plain values, read alike."""
    before, after = job_text(old), job_text(new)
    try:
        return before.job.to_dict(), after.job.to_dict()
    except JobError:
        # One of them is no job by today's rules, so both are taken as they were written.
        return before.tables, after.tables


# --- Walking through ----------------------------------------------------------------------------

Line = tuple[str, str]
"""Whose change it is, and the change."""


def _sections(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Line]:
    """Yield the changes outside the lists."""
    old = {name: value for name, value in before.items() if name not in LISTS}
    new = {name: value for name, value in after.items() if name not in LISTS}
    for path, change in _changes(_leaves(old), _leaves(new)):
        owner = "file" if path[0] == "format" else spoken(path[0])
        yield owner, f"{_words(path[1:])} {change}".strip()


def _lists(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Line]:
    """Yield the changes in the lists, entry by entry."""
    for kind in LISTS:
        old, new = (entries_by_key(kind, tables.get(kind)) for tables in (before, after))
        names = _names(kind, old, new)
        for key in dict.fromkeys((*old, *new)):
            owner = names[key]
            if key not in new:
                yield owner, f"taken out{_what(kind, old[key])}"
            elif key not in old:
                yield owner, f"added{_what(kind, new[key])}"
            else:
                for path, change in _changes(_leaves(old[key]), _leaves(new[key])):
                    yield owner, f"{_words(path)} {change}".strip()
                if kind == "proposal":
                    for change in (
                        *_added_parts(old[key], new[key]),
                        *_inner_changes(BUY, "buys", old[key].get(BUY), new[key].get(BUY)),
                    ):
                        yield owner, change


def _added_parts(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[str]:
    """Yield what differs between the parts that two versions of a plan add."""
    before, after = (each.get("add") or {} for each in (old, new))
    for name in LISTS:
        yield from _inner_changes(name, "adds", before.get(name), after.get(name))


def _inner_changes(name: str, does: str, old: object, new: object) -> Iterator[str]:
    """Yield what differs between two versions of a list of a plan, which adds or buys them."""
    was, now = (entries_by_key(name, each) for each in (old, new))
    for key in dict.fromkeys((*was, *now)):
        *told, _ = key
        words = (
            " ".join(told) if name == BUY else f"{spoken(name)} {' at '.join(filter(None, told))}"
        )
        if key not in now:
            yield f"{does} {words} no more"
        elif key not in was:
            yield f"{does} {words}"
        else:
            for path, change in _changes(_leaves(was[key]), _leaves(now[key])):
                yield f"{words} that it {does}: {_words(path)} {change}"


def _names(
    kind: str, old: Mapping[EntryKey, dict[str, Any]], new: Mapping[EntryKey, dict[str, Any]]
) -> dict[EntryKey, str]:
    """Return what each entry is called: places by their name, where no other has it."""
    entries = {**new, **old}
    shared = Counter(entry.get("name") for entry in entries.values())
    names: dict[EntryKey, str] = {}
    for key, entry in entries.items():
        *told, number = key
        name = entry.get("name")
        if kind == "location" and isinstance(name, str):
            names[key] = name if shared[name] == 1 else f"{name} ({told[0]})"
        else:
            nth = "" if number == "1" else f" (no. {number})"
            names[key] = f"{spoken(kind)} {' at '.join(filter(None, told))}{nth}"
    return names


def _what(kind: str, entry: Mapping[str, Any]) -> str:
    """Return what came or went, beyond its name."""
    if kind == "reading":
        return f": {_show(entry.get('value'))}"
    name = entry.get("name")
    return f" ({_show(name)})" if name and kind != "location" else ""


def _leaves(value: object, path: Path = ()) -> Leaves:
    """Return all that is no table, by the fields that lead there; not what a plan adds or buys."""
    if isinstance(value, dict) and value:
        return {
            where: leaf
            for name, each in value.items()
            if (name, type(each)) not in (("add", dict), (BUY, list))
            for where, leaf in _leaves(each, (*path, name)).items()
        }
    return {path: value} if path else {}


def _changes(old: Leaves, new: Leaves) -> Iterator[tuple[Path, str]]:
    for path in dict.fromkeys((*old, *new)):
        if path not in new:
            yield path, f"{_show(old[path])} taken out"
        elif path not in old:
            yield path, f"{_show(new[path])} added"
        elif not _same(old[path], new[path]):
            yield path, _from_to(old[path], new[path])


def _same(old: object, new: object) -> bool:
    # In Python true equals 1, in a job it does not.
    return old == new and isinstance(old, bool) == isinstance(new, bool)


def _from_to(old: object, new: object) -> str:
    before, after = _show(old), _show(new)
    # Long texts may be cut before the place where they differ.
    return f"{before} → {after}" if before != after else f"changed further on: {after}"


# --- Words --------------------------------------------------------------------------------------


def _words(path: Iterable[str]) -> str:
    """Return the way to a field in words."""
    return " ".join(_field(name) for name in path if name not in UNSAID)


def _field(name: str) -> str:
    # What a proposal sets is a path of the file and stays as it is.
    return name if "." in name else label_words("change").get(name, name.replace("_", " "))


def _show(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, list):
        return _cut(", ".join(_show(each) for each in value) or "nothing")
    if isinstance(value, dict):
        return _cut(", ".join(f"{_field(name)} {_show(each)}" for name, each in value.items()))
    return _cut(" ".join(str(value).split()))


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_VALUE else f"{text[: LONGEST_VALUE - 1]}…"


def _grouped(lines: Iterable[Line]) -> Iterator[str]:
    """Yield the changes; one that several have alike stands once, behind all their names."""
    owners: dict[str, list[str]] = {}
    for owner, change in lines:
        owners.setdefault(change, []).append(owner)
    for change, names in owners.items():
        yield f"{', '.join(names)}: {change}"
