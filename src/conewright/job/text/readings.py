"""Readings in the text of a job: one more, or the last one taken back; nothing else changes.

In TOML the new lines stand behind the last reading. Where exactly is found by trying: a place is
right where the text, with the lines put in, reads as all that was there before and the reading.
JSON is written anew, its values in their order.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import partial
from itertools import islice
from typing import Any

import tomlkit

from conewright.errors import BadInputError, JobError
from conewright.job.text.parsing import Format, bare, job_text

__all__ = ["Said", "with_reading", "without_last_reading"]

Said = str | float | Mapping[str, str]
"""What a reading says: words, a value with its unit, or several values of a sweep by name."""

MOST_TRIES = 100
"""Places in a text that are tried, of each kind, before its end is."""

MOST_LINES = 100
"""Lines that a reading may go over."""

_KEY = r"(?:reading|\"reading\"|'reading')"
_HEADER = re.compile(rf"^(?P<margin>[ \t]*)\[\[[ \t]*{_KEY}[ \t]*\]\].*$", re.MULTILINE)
_LIST = re.compile(rf"^[ \t]*{_KEY}[ \t]*=[ \t]*\[", re.MULTILINE)
_LIST_END = re.compile(r"\s*?(?:\n(?P<line>[ \t]*))?\]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_JSON_MARGIN = re.compile(r"^[ \t]+(?=\")", re.MULTILINE)
_BLANK_ABOVE = re.compile(r"(?<=\n)[ \t]*\r?\n\Z|\A[ \t]*\r?\n\Z")
_BLANK_BELOW = re.compile(r"[ \t]*(?:\r?\n|\Z)")
_LINE_END = re.compile(r"\n|\Z")
_TABLE_OR_END = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\r?\n)*[ \t]*(?:\[|(?:#[^\n]*)?\Z)")


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
    yield from islice(_behind_headers(text, entry, newline=newline), MOST_TRIES)
    yield from islice(_in_lists(text, entry, newline=newline), MOST_TRIES)
    yield _put_in(text, len(text), _block(entry, margin="", newline=newline), newline=newline)


def _behind_headers(text: str, entry: Mapping[str, Any], *, newline: str) -> Iterator[str]:
    """Yield texts with the reading put in behind one that is there, the last one first."""
    for header in reversed(list(_HEADER.finditer(text))):
        block = _block(entry, margin=header["margin"], newline=newline)
        for place in filter(partial(_between_tables, text), _line_starts(text, header.end())):
            yield _put_in(text, _behind_notes(text, place), block, newline=newline)


def _between_tables(text: str, place: int) -> bool:
    """Whether no value follows the start of a line, which would belong to a table put there."""
    return _TABLE_OR_END.match(text, place) is not None


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


def _line_starts(text: str, start: int) -> Iterator[int]:
    """Yield where each line behind a place starts, the end of the text last."""
    while (end := text.find("\n", start)) >= 0:
        start = end + 1
        yield start
    if not text.endswith("\n"):
        yield len(text)


def _behind_notes(text: str, place: int) -> int:
    """Return the place behind comments that belong to the lines above: a blank line ends them."""
    end = place
    while text[end:].lstrip(" \t").startswith("#"):
        end = next(_line_starts(text, end))
    rest = text[end:].lstrip(" \t")
    return end if not rest or rest.startswith(("\n", "\r\n")) else place


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
        for end in _LIST_END.finditer(text, start.end()):
            line = end["line"]
            before, after = text[: end.start()], text[end.start() :]
            gap = f"{newline}{_margin(before)}" if line is not None else " "
            yield from (f"{before}{comma}{gap}{_toml(entry)}{after}" for comma in ("", ","))
            if line is not None:
                # The line above may end in a comment, behind which nothing counts.
                above, bracket = text[: end.start("line")], text[end.start("line") :]
                own = f"{_toml(entry)}{newline}"
                yield from (f"{above}{_margin(before)}{comma}{own}{bracket}" for comma in ("", ","))


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
    headers = list(_HEADER.finditer(text))
    for header in headers[-1:]:
        start = header.start()
        for end in islice(_LINE_END.finditer(text, header.end()), MOST_LINES):
            if _between_tables(text, end.end()):
                yield _joined(text[:start], text[end.end() :])
    document = tomlkit.parse(text)
    document["reading"].pop()
    yield tomlkit.dumps(document)
    del document["reading"]
    yield tomlkit.dumps(document)


def _joined(above: str, below: str) -> str:
    """Join what stood above and below, with one blank line where there were two."""
    if _BLANK_BELOW.match(below):
        above = _BLANK_ABOVE.sub("", above)
    return above + below
