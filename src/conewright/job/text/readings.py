"""Readings in the text of a job: one more, or the last one taken back; nothing else changes.

In TOML the new lines stand behind the last reading. Where exactly is found by trying: a place is
right where the text, with the lines put in, reads as all that was there before and the reading.
JSON is written anew, its values in their order.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from contextlib import suppress
from itertools import accumulate, islice
from typing import Any

import tomlkit

from conewright.errors import BadInputError, JobError
from conewright.job.text.parsing import Format, bare, job_text

__all__ = ["Said", "with_reading", "without_last_reading"]

Said = str | float | Mapping[str, str]
"""What a reading says: words, a value with its unit, or several values of a sweep by name."""

MOST_TRIES = 100
"""Places in a text that are tried, of each kind, before its end is; lines a reading goes over."""

MOST_READ = 4_000_000
"""Characters read in trying places of one kind; a long text is not tried often."""

_KEY = r"(?:reading|\"reading\"|'reading')"
_HEADER = re.compile(rf"^(?P<margin>[ \t]*)\[\[[ \t]*{_KEY}[ \t]*\]\].*$", re.MULTILINE)
_LIST = re.compile(rf"^[ \t]*{_KEY}[ \t]*=[ \t]*\[", re.MULTILINE)
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_JSON_MARGIN = re.compile(r"^[ \t]+(?=\")", re.MULTILINE)


def with_reading(text: str, format: Format, *, test: str, at: str, value: Said) -> str:
    """Return the text of a job with a reading behind those that it has.

    Args:
        text: of a job file that can be read.
        format: of the text.
        test: id of the test.
        at: where it was done.
        value: what it said.

    Raises:
        BadInputError: there is no place for it in this text.

    """
    entry = {"test": test, "at": at, "value": dict(value) if isinstance(value, Mapping) else value}
    plain = bare(text)
    old = _plain(plain, format)
    wanted = {**old, "reading": [*old.get("reading", []), entry]}
    if format == "json":
        margin = _JSON_MARGIN.search(plain)
        indent = margin[0] if margin else "  "
        return json.dumps(wanted, indent=indent, ensure_ascii=False) + "\n"
    for attempt in _attempts(plain, entry):
        with suppress(JobError):
            if job_text(attempt).tables == wanted:
                return f"{text[: len(text) - len(plain)]}{attempt}"
    raise BadInputError(f"reading {test} at {at}: no place was found for it; write it by hand")


def without_last_reading(text: str) -> str:
    """Return a job's TOML text without its last reading; not one other line of it changes.

    Raises:
        BadInputError: there is no reading in it, or it cannot be told which lines are its own.

    """
    read = job_text(text)
    if not read.tables.get("reading"):
        raise BadInputError("there is no reading to take back")
    wanted = {**read.tables, "reading": read.tables["reading"][:-1]}
    if not wanted["reading"]:
        del wanted["reading"]
    for attempt in _shortened(read.text):
        with suppress(JobError):
            if job_text(attempt).tables == wanted:
                return f"{text[: len(text) - len(read.text)]}{attempt}"
    raise BadInputError("the last reading could not be told apart; take it out by hand")


# --- TOML -------------------------------------------------------------------------------------


def _attempts(text: str, entry: Mapping[str, Any]) -> Iterator[str]:
    """Yield texts with the reading put in, those that read best first."""
    newline = "\r\n" if "\r\n" in text else "\n"
    yield from islice(_behind_headers(text, entry, newline=newline), _tries(text))
    yield from islice(_in_lists(text, entry, newline=newline), _tries(text))
    yield _put_in(text, len(text), _block(entry, margin="", newline=newline), newline=newline)


def _tries(text: str) -> int:
    """Return how often a text is read anew to find a place in it."""
    return min(MOST_TRIES, 2 + MOST_READ // (len(text) + 1))


def _behind_headers(text: str, entry: Mapping[str, Any], *, newline: str) -> Iterator[str]:
    """Yield texts with the reading put in behind one that is there, the last one first."""
    between = _between_tables(text)
    for header in reversed(list(_HEADER.finditer(text))):
        block = _block(entry, margin=header["margin"], newline=newline)
        for _, place in between[bisect_left(between, (header.end(),)) :]:
            yield _put_in(text, place, block, newline=newline)


def _between_tables(text: str) -> list[tuple[int, int]]:
    """Return the starts of lines, in order, at which a table may be put in, and where exactly.

    No value follows there, which would belong to that table; comments right there that a blank
    line ends belong to what stands above. Found from the end, each line looked at once.
    """
    lines = text.split("\n")
    starts = list(accumulate((len(line) + 1 for line in lines[:-1]), initial=0))
    found = [] if text.endswith("\n") else [(len(text), len(text))]
    behind_notes, apart, free = len(text), True, True
    for start, line in zip(reversed(starts), reversed(lines), strict=True):
        said = line.strip(" \t\r")
        if not said.startswith("#"):
            behind_notes, apart = start, not said
            free = said.startswith("[") if said else free
        if free:
            found.append((start, behind_notes if apart else start))
    return found[::-1]


def _block(entry: Mapping[str, Any], *, margin: str, newline: str) -> str:
    lines = ["[[reading]]", *(f"{name} = {_toml(value)}" for name, value in entry.items())]
    return "".join(f"{margin}{line}{newline}" for line in lines)


def _toml(value: Said) -> str:
    """Write a value as TOML; the escapes of a JSON text are those of TOML as well."""
    if isinstance(value, Mapping):
        parts = (f"{_toml_key(name)} = {_toml(said)}" for name, said in value.items())
        return f"{{ {', '.join(parts)} }}"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def _toml_key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _toml(name)


def _put_in(text: str, place: int, block: str, *, newline: str) -> str:
    """Return the text with a block at the start of a line, set off by blank lines."""
    before, after = text[:place], text[place:]
    if before and not before.endswith("\n"):
        before += newline
    above, below = before.splitlines()[-1:], after.splitlines()[:1]
    gap, tail = (newline if line and line[0].strip() else "" for line in (above, below))
    return f"{before}{gap}{block}{tail}{after}"


def _in_lists(text: str, entry: Mapping[str, Any], *, newline: str) -> Iterator[str]:
    """Yield texts with the reading at the end of a list in brackets, with and without a comma."""
    for start in _LIST.finditer(text):
        for end, line in _list_ends(text, start.end()):
            before, after = text[:end], text[end:]
            gap = f"{newline}{_margin(before)}" if line is not None else " "
            yield from (f"{before}{comma}{gap}{_toml(entry)}{after}" for comma in ("", ","))
            if line is not None:
                # The line above may end in a comment, behind which nothing counts.
                above, bracket = text[:line], text[line:]
                own = f"{_toml(entry)}{newline}"
                yield from (f"{above}{_margin(before)}{comma}{own}{bracket}" for comma in ("", ","))


def _list_ends(text: str, start: int) -> Iterator[tuple[int, int | None]]:
    """Yield where the last entry before a bracket ends, and where a line of its own starts."""
    while (bracket := text.find("]", start)) >= 0:
        end = start + len(text[start:bracket].rstrip())
        line = text.rfind("\n", end, bracket) + 1
        yield end, line if line and not text[line:bracket].strip(" \t") else None
        start = bracket + 1


def _margin(text: str) -> str:
    """Return the blanks in front of the last line of a text."""
    last = text[text.rfind("\n") + 1 :]
    return last[: len(last) - len(last.lstrip(" \t"))]


def _plain(text: str, format: Format) -> dict[str, Any]:
    try:
        return dict(job_text(text, format).tables)
    except (JobError, ValueError, TypeError) as error:
        raise BadInputError(f"the text of a job file is wanted ({error})") from None


def _shortened(text: str) -> Iterator[str]:
    """Yield texts with some lines taken out, the fewest first; the last reading's are among them.

    Where to stop is found by trying, as a value may go over several lines.
    """
    between = _between_tables(text)
    for header in list(_HEADER.finditer(text))[-1:]:
        below = islice(between, bisect_left(between, (header.end(),)), None)
        for end, _ in islice(below, _tries(text)):
            yield _joined(text[: header.start()], text[end:])
    document = tomlkit.parse(text)
    document["reading"].pop()
    yield tomlkit.dumps(document)
    del document["reading"]
    yield tomlkit.dumps(document)


def _joined(above: str, below: str) -> str:
    """Join what stood above and below, with one blank line where there were two."""
    lines, newline, last = above.removesuffix("\n").rpartition("\n")
    if _is_blank(last) and _is_blank(below.partition("\n")[0]):
        above = f"{lines}{newline}"
    return above + below


def _is_blank(line: str) -> bool:
    return not line.strip(" \t\r")
