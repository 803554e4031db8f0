"""Two changed texts of one job made into one, where they changed different things."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import tomlkit

from conewright.errors import ConewrightError
from conewright.job.document.lists import BUY, LISTS, entries_by_key
from conewright.job.text.editing import Refused, update_field, with_entry
from conewright.job.text.parsing import bare, job_text

__all__ = ["merged"]

Path = tuple[Any, ...]
"""The fields that lead to a value; behind a list stands what tells its entry apart."""

Leaves = dict[Path, Any]

GONE = object()


def merged(base: str, mine: str, theirs: str) -> str | None:
    """Return their text with my changes in it; None where both changed the same thing.

    Args:
        base: the text that both started from.
        mine: the text that could not be saved.
        theirs: the text that was saved meanwhile.

    """
    try:
        before, ours, others = (_leaves(job_text(text).tables) for text in (base, mine, theirs))
        my_changes, their_changes = _changes(before, ours), _changes(before, others)
        if not my_changes or _meet(my_changes, their_changes):
            return None
        text = _applied(theirs, my_changes, before, others)
        _ = job_text(text).job
    except (ConewrightError, Refused, KeyError):
        return None
    return text


def _leaves(tables: Mapping[str, Any]) -> Leaves:
    """Return every value by its path; an entry of a list stands under what tells it apart."""
    return {
        (name, *path): leaf
        for name, value in tables.items()
        for path, leaf in (_entries(name, value) if name in LISTS else _below(value))
    }


def _entries(name: str, value: Any) -> Iterator[tuple[Path, Any]]:
    for key, entry in entries_by_key(name, value).items():
        for path, leaf in _below(entry):
            yield (key, *path), leaf


def _below(value: Any) -> Iterator[tuple[Path, Any]]:
    if not isinstance(value, dict):
        yield (), value
        return
    for name, each in value.items():
        if name == "add" and isinstance(each, dict):
            for kind, entries in each.items():
                for key, entry in entries_by_key(kind, entries).items():
                    yield (name, kind, key), entry
            continue
        if name == BUY and isinstance(each, list):
            for key, entry in entries_by_key(BUY, each).items():
                yield (name, BUY, key), entry
            continue
        for path, leaf in _below(each):
            yield (name, *path), leaf


def _changes(old: Leaves, new: Leaves) -> Leaves:
    changed = {path: new.get(path, GONE) for path in old if new.get(path, GONE) != old[path]}
    return changed | {path: leaf for path, leaf in new.items() if path not in old}


def _meet(mine: Leaves, theirs: Leaves) -> bool:
    """Whether both sides changed one value differently, or one the inside of the other."""
    above = {path[:length] for path in theirs for length in range(1, len(path))}
    kept = {path[:2] for path, value in theirs.items() if value is not GONE}
    for path, value in mine.items():
        if path in above or (path in theirs and theirs[path] != value):
            return True
        if any(path[:length] in theirs for length in range(1, len(path))):
            return True
        if _whole(path, value) and path[:2] in kept:
            return True
    return False


def _whole(path: Path, value: object) -> bool:
    """Whether a change takes a whole entry of a list out."""
    return value is GONE and path[0] in LISTS and path[2:] == LISTS[path[0]].told_by[:1]


def _applied(text: str, changes: Leaves, before: Leaves, theirs: Leaves) -> str:
    """Return a text with changes made in it: new entries at the end, the rest in place."""
    known = {path[:2] for path in (*before, *theirs) if path[0] in LISTS}
    added: dict[Path, dict[str, Any]] = {}
    document = tomlkit.parse(bare(text))
    names = {path[0] for path in changes if path[0] in LISTS and path[0] in document}
    entries = {name: entries_by_key(name, document[name]) for name in names}
    removed = {path[:2] for path, value in changes.items() if _whole(path, value)}
    inner = dict.fromkeys(path[:3] for path in changes if path[2:3] in INNER)
    for plan, name in ((path[:2], path[2]) for path in inner if path[:2] not in removed):
        lists = _inner_lists((*plan, name), changes, theirs)
        wanted: Any = lists.get(BUY) if name == BUY else lists
        if plan not in known:
            added.setdefault(plan, {})[name] = wanted
        else:
            update_field(entries[plan[0]][plan[1]], name, wanted)
    for path, value in changes.items():
        if path[0] not in LISTS:
            _put(document, path, value)
        elif path[2:3] in INNER:
            continue
        elif path[:2] not in known:
            _put(added.setdefault(path[:2], {}), path[2:], value)
        elif path[:2] not in removed:
            _put(entries[path[0]][path[1]], path[2:], value)
    for name, key in removed:
        document[name].remove(entries[name][key])
    written = tomlkit.dumps(document)
    for path, entry in added.items():
        written = with_entry(written, path[0], entry)
    return written


INNER = (("add",), (BUY,))
"""What holds the lists of a plan: parts that it adds, and what is bought for it."""


def _inner_lists(above: Path, changes: Leaves, theirs: Leaves) -> dict[str, list[Any]]:
    """Return the entries of a plan below one of its fields, by list: theirs with my changes."""
    whole = {**theirs, **changes}
    found: dict[str, list[Any]] = {}
    for path, entry in whole.items():
        if path[:3] == above and entry is not GONE:
            found.setdefault(path[3], []).append(entry)
    return found


def _put(table: Any, path: Path, value: Any) -> None:
    *above, last = path
    for step in above:
        if step not in table:
            table[step] = {} if type(table) is dict else tomlkit.inline_table()
        table = table[step]
    if value is GONE:
        table.pop(last, None)
    else:
        table[last] = value
