"""Readings in the text of a job: one more behind the others, or the last one taken back."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from itertools import islice
from typing import Any

import tomlkit

from conewright.errors import BadInputError
from conewright.job import writing
from conewright.web.forms import MARK, bare

__all__ = ["with_reading", "without_last_reading"]

MOST_LINES = 100
"""Lines that a reading may go over."""

_HEADER = re.compile(r"^[ \t]*\[\[[ \t]*(?:reading|\"reading\"|'reading')[ \t]*\]\]", re.MULTILINE)
_BLANK_ABOVE = re.compile(r"(?<=\n)[ \t]*\r?\n\Z|\A[ \t]*\r?\n\Z")
_BLANK_BELOW = re.compile(r"[ \t]*(?:\r?\n|\Z)")
_LINE_END = re.compile(r"\n|\Z")


def with_reading(text: str, *, test: str, at: str, value: str | Mapping[str, str]) -> str:
    """Return a job's TOML text with a reading behind those that it has; raises BadInputError."""
    written = writing.with_reading(bare(text), "toml", test=test, at=at, value=value)
    return MARK + written if text.startswith(MARK) else written


def without_last_reading(text: str) -> str:
    """Return a job's TOML text without its last reading; not one other line of it changes.

    Raises:
        BadInputError: there is no reading in it, or it cannot be told which lines are its own.

    """
    plain = bare(text)
    wanted: dict[str, Any] = tomllib.loads(plain)
    if not wanted.get("reading"):
        raise BadInputError("there is no reading to take back")
    wanted["reading"].pop()
    if not wanted["reading"]:
        del wanted["reading"]
    for attempt in _attempts(plain):
        with suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(attempt) == wanted:
                return MARK + attempt if text.startswith(MARK) else attempt
    raise BadInputError("the last reading could not be told apart; take it out by hand")


def _attempts(text: str) -> Iterator[str]:
    """Yield texts with some lines taken out, the fewest first; the last reading's are among them.

    Where to stop is found by trying, as a value may go over several lines.
    """
    headers = list(_HEADER.finditer(text))
    for header in headers[-1:]:
        start = header.start()
        for end in islice(_LINE_END.finditer(text, header.end()), MOST_LINES):
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
