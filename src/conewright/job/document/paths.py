"""Names of places in a job file, what stands there in words, and the nearest known name."""

import difflib
import json
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache
from typing import Annotated, get_args, get_origin

from conewright.job.document.parts import Table

__all__ = [
    "Steps",
    "few_comparisons",
    "fields_of",
    "inside",
    "known_names",
    "nearest",
    "path_text",
    "show",
    "table_at",
    "table_within",
]

Steps = tuple[str | int, ...]

LONGEST_SHOWN = 60
MOST_NAMES = 40
LONGEST_NAME = 60
MOST_COMPARED = 1_000_000
"""Letters of unknown names times letters of known ones: of fields some ten thousand pairs."""
_left: ContextVar[list[int] | None] = ContextVar("letters still to be compared", default=None)
_BARE = re.compile(r"[A-Za-z0-9_-]+")


@cache
def fields_of(table: type[Table]) -> dict[str, object]:
    """Return the fields of a table under their names in the file, with their annotations."""
    return {
        info.alias or name: Annotated[info.annotation, info]
        for name, info in table.model_fields.items()
    }


def table_within(annotation: object) -> type[Table] | None:
    """Return the table an annotation holds, through options, lists and constraints."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    parts = get_args(annotation)
    if get_origin(annotation) is Annotated:
        parts = parts[:1]
    found = (table_within(part) for part in parts)
    return next((table for table in found if table is not None), None)


def table_at(table: type[Table], location: Steps) -> type[Table] | None:
    """Return the table that stands at a location below `table`; None where there is none."""
    at: type[Table] | None = table
    for step in location:
        if isinstance(step, int):
            continue
        if at is None or step not in fields_of(at):
            return None
        at = table_within(fields_of(at)[step])
    return at


def path_text(location: Steps, raw: object) -> str:
    """Return a location as a repairer reads it: `location[door-fl].mount.cutout`."""
    text = ""
    for step in location:
        raw = inside(raw, step)
        if isinstance(step, int):
            text += f"[{_entry_name(raw, step)}]"
        else:
            text += f".{step if _is_plain(step) else show(step)}"
    return text.removeprefix(".") or "file"


def inside(raw: object, *steps: str | int) -> object:
    """Return what stands at those steps in plain values; None where nothing does."""
    for step in steps:
        if isinstance(step, int) and isinstance(raw, list) and step < len(raw):
            raw = raw[step]
        elif isinstance(step, str) and isinstance(raw, dict):
            raw = raw.get(step)
        else:
            return None
    return raw


def _entry_name(entry: object, index: int) -> str:
    """Return the id of a list's entry where it has a plain one, else its number from 1."""
    name = entry.get("id") if isinstance(entry, dict) else None
    return name if isinstance(name, str) and _is_plain(name) else str(index + 1)


def _is_plain(name: str) -> bool:
    """Whether a name may stand in a message as it is."""
    return len(name) <= LONGEST_NAME and _BARE.fullmatch(name) is not None


def show(value: object) -> str:
    """Return a value of the file in a few words, without control characters."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if value is None:
        return "nothing"
    text = json.dumps(value, ensure_ascii=False, default=str)
    text = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"


@contextmanager
def few_comparisons() -> Iterator[None]:
    """Let all that is read inside compare MOST_COMPARED letters and no more.

    How many names are unknown is up to whoever wrote the text, and each is compared with all that
    are known. Those that come too late are told what is known here, not what is most like them.
    """
    before = _left.set([MOST_COMPARED])
    try:
        yield
    finally:
        _left.reset(before)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like `name`; None where none is, or too many were asked."""
    name, names, left = name[:LONGEST_NAME], tuple(known), _left.get()
    if left is not None:
        left[0] -= len(name) * sum(map(len, names))
        if left[0] < 0:
            return None
    return _nearest(name, names)


@lru_cache(maxsize=1024)
def _nearest(name: str, known: tuple[str, ...]) -> str | None:
    by_lower = {candidate.lower(): candidate for candidate in known}
    close = difflib.get_close_matches(name.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else None


def known_names(name: object, known: Iterable[str]) -> str:
    """Return a sentence that leads from a wrong name to a known one."""
    # What is longer is no name, but may be a whole file; what cannot be seen is not told either.
    names = [each for each in known if len(each) <= LONGEST_NAME and each.isprintable()]
    close = nearest(name, names) if isinstance(name, str) else None
    if close is not None:
        return f'did you mean "{close}"?'
    if not names:
        return "there is none to name"
    more = ", …" if len(names) > MOST_NAMES else ""
    return f"known here: {', '.join(names[:MOST_NAMES])}{more}"
