"""Writing a reading into a job file, in which not one other character changes.

In TOML the new lines stand behind the last reading. Where exactly is found by trying: a place is
right where the text, with the lines put in, reads as all that was there before and the reading.
JSON is written anew, its values in their order.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from shutil import copymode
from tempfile import mkstemp
from typing import Any

from conewright.errors import BadInputError, JobError
from conewright.job.document import Job
from conewright.job.reading import LARGEST_FILE, Format, load

__all__ = ["JobFile", "open_job", "put_back", "with_reading", "write_reading"]

Said = str | float | Mapping[str, str]
"""What a reading says: words, a value with its unit, or several values of a sweep by name."""

MOST_TRIES = 100
"""Places in a text that are tried, of each kind, before its end is."""

_KEY = r"(?:reading|\"reading\"|'reading')"
_HEADER = re.compile(rf"^(?P<margin>[ \t]*)\[\[[ \t]*{_KEY}[ \t]*\]\].*$", re.MULTILINE)
_LIST = re.compile(rf"^[ \t]*{_KEY}[ \t]*=[ \t]*\[", re.MULTILINE)
_LIST_END = re.compile(r"\s*?(?:\n(?P<line>[ \t]*))?\]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_JSON_MARGIN = re.compile(r"^[ \t]+(?=\")", re.MULTILINE)
_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file as it was read, and the job in it."""

    path: Path
    content: bytes
    job: Job

    @property
    def format(self) -> Format:
        """Which of the two formats it is in, by the ending of its name."""
        return "json" if self.path.suffix.lower() == ".json" else "toml"

    @property
    def text(self) -> str:
        """The text in it, without a mark of its encoding."""
        return self.content.removeprefix(_MARK).decode("utf-8")


def open_job(path: str | os.PathLike[str]) -> JobFile:
    """Read a job file that readings are to be written into.

    Raises:
        JobError: with every problem of the file; also where it cannot be read at all.
        BadInputError: it changes while it is read.

    """
    file = Path(path)
    content = _content(file)
    job = load(file)
    if content is None or _content(file) != content:
        raise _changed(file)
    return JobFile(file, content, job)


def write_reading(file: JobFile, *, test: str, at: str, value: Said) -> JobFile:
    """Write a reading into a job file, whole or not at all; return the file as it is then.

    Raises:
        BadInputError: the file is not as it was when it was read, or cannot be written; it is left
            as it is then.
        JobError: the job would not be read with this reading in it.

    """
    written = with_reading(file.text, file.format, test=test, at=at, value=value)
    mark = _MARK if file.content.startswith(_MARK) else b""
    return _replaced(file, mark + written.encode("utf-8"))


def put_back(file: JobFile, earlier: JobFile) -> JobFile:
    """Write a job file as it was earlier, byte for byte; raises as `write_reading` does."""
    return _replaced(file, earlier.content)


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
    old = _plain(text, format)
    wanted = {**old, "reading": [*old.get("reading", []), entry]}
    if format == "json":
        margin = _JSON_MARGIN.search(text)
        indent = margin[0] if margin else "  "
        return json.dumps(wanted, indent=indent, ensure_ascii=False) + "\n"
    for attempt in _attempts(text, entry):
        with suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(attempt) == wanted:
                return attempt
    raise BadInputError(f"reading {test} at {at}: no place was found for it; write it by hand")


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
        for place in _line_starts(text, header.end()):
            yield _put_in(text, _behind_notes(text, place), block, newline=newline)


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
        return dict(tomllib.loads(text) if format == "toml" else json.loads(text))
    except (ValueError, TypeError) as error:
        raise BadInputError(f"the text of a job file is wanted ({error})") from None


# --- Files ------------------------------------------------------------------------------------


def _replaced(file: JobFile, content: bytes) -> JobFile:
    """Put new content in the place of a file that still is as it was read."""
    # What a link points to is replaced, not the link.
    target = Path(os.path.realpath(file.path))
    try:
        handle, name = mkstemp(
            prefix=f".{target.stem}-", suffix=file.path.suffix, dir=target.parent
        )
    except OSError as error:
        raise _unwritten(file.path, error) from error
    try:
        with open(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        job = _read_back(name, file.path)
        if _content(target) != file.content:
            raise _changed(file.path)
        copymode(target, name)
        os.replace(name, target)
    except OSError as error:
        raise _unwritten(file.path, error) from error
    finally:
        with suppress(FileNotFoundError):
            os.unlink(name)
    return JobFile(file.path, content, job)


def _read_back(name: str, path: Path) -> Job:
    try:
        return load(name)
    except JobError as error:
        raise JobError(error.problems, file=str(path)) from None


def _content(file: Path) -> bytes | None:
    """Return what stands in a file now; None where there is no such file any more."""
    try:
        with file.open("rb") as stream:
            return stream.read(LARGEST_FILE + 1)
    except OSError:
        return None


def _changed(file: Path) -> BadInputError:
    return BadInputError(
        f"{file}: found it changed by somebody else meanwhile; nothing was written over it. Look "
        "at what is in it now and start again"
    )


def _unwritten(file: Path, error: OSError) -> BadInputError:
    return BadInputError(f"{file}: cannot be written ({error.strerror or error})")
