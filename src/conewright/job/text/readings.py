"""Readings, findings and repairs in the text of a job: one more, one changed, one taken back.

Nothing else changes. In TOML the new lines stand behind the last of their kind. Where exactly is
found by trying: a place is right where the text, with the lines put in, reads as all that was there
before and the entry. JSON is written anew, its values in their order.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache
from itertools import accumulate, islice
from typing import Any

import tomlkit

from conewright.errors import BadInputError, JobError
from conewright.job.document.lists import alike, placed
from conewright.job.text.parsing import Format, bare, job_text

__all__ = [
    "Said",
    "with_finding",
    "with_plan",
    "with_reading",
    "with_recording",
    "without_finding",
    "without_reading",
]

Said = str | float | Mapping[str, str]
"""What a reading says: words, a value with its unit, or several values of a sweep by name."""

MOST_TRIES = 100
"""Places in a text that are tried, of each kind, before its end is; lines a reading goes over."""

MOST_READ = 4_000_000
"""Characters read in trying places of one kind; a long text is not tried often."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_JSON_MARGIN = re.compile(r"^[ \t]+(?=\")", re.MULTILINE)


def with_reading(
    text: str,
    format: Format,
    *,
    test: str,
    at: str,
    value: Said,
    recordings: Sequence[str] = (),
    odds: Mapping[str, float] | None = None,
    beside: bool = False,
    number: int = 0,
) -> str:
    """Return the text of a job with a reading: behind those that it has, or in the place of one.

    Args:
        text: of a job file that can be read.
        format: of the text.
        test: id of the test.
        at: where it was done.
        value: what it said.
        recordings: ids of those it was taken from.
        odds: how well they go with each answer in words, as weights.
        beside: keep an earlier reading of the test at that place, as what was read has changed by
            itself; otherwise it is replaced.
        number: of the reading it replaces, counted from 1; 0 for the last of its test and place.

    Raises:
        BadInputError: there is no place for it in this text.

    """
    said = dict(value) if isinstance(value, Mapping) else value
    entry: dict[str, Any] = {"test": test, "at": at, "value": said}
    same = {} if beside else {"test": test, "at": at}
    # One that is replaced was taken from recordings of its own: what weighs is made anew.
    weighed = {"from": list(recordings), "odds": dict(odds or {})}
    entry |= {field: value for field, value in weighed.items() if value}
    gone = [field for field in weighed if field not in entry]
    return _with_entry(text, format, "reading", entry, same=same, number=number, gone=gone)


def with_recording(text: str, format: Format, *, entry: Mapping[str, Any]) -> str:
    """Return the text of a job with a recording, in the place of one of its id.

    Args:
        text, format: as for `with_reading`.
        entry: its fields by their names, the id among them.

    Raises:
        BadInputError: there is no place for it in this text.

    """
    return _with_entry(text, format, "recording", entry, same={"id": entry["id"]})


def with_finding(
    text: str, format: Format, *, fault: str, at: str, state: str = "found", since: str = ""
) -> str:
    """Return the text of a job with a fault that is taken as established, or has been mended.

    Args:
        text, format: as for `with_reading`.
        fault: id of the fault.
        at: the place, the channel, or vehicle.
        state: `found` or `mended`.
        since: the reading it was taken from, or words; nothing leaves it out.

    Raises:
        BadInputError: there is no place for it in this text.

    """
    entry = {"fault": fault, "at": at, "state": state}
    if since:
        entry["since"] = since
    return _with_entry(text, format, "finding", entry, same={"fault": fault, "at": at})


def with_plan(
    text: str,
    format: Format,
    *,
    id: str,
    name: str,
    mends: Sequence[str],
    repairs: Sequence[str] = (),
) -> str:
    """Return the text of a job with a proposal that mends faults, in the place of one of its id.

    Args:
        text, format: as for `with_reading`.
        id, name: of the proposal.
        mends: each as fault@place.
        repairs: each as repair@place.

    Raises:
        BadInputError: there is no place for it in this text.

    """
    entry: dict[str, Any] = {"id": id, "name": name}
    proposals = _plain(bare(text), format).get("proposal", [])
    held = {field for index in alike(proposals, {"id": id}) for field in proposals[index]}
    for field, values in (("mends", mends), ("repairs", repairs)):
        # One that is there is made anew, with what it no longer does empty.
        if values or field in held:
            entry[field] = list(values)
    return _with_entry(text, format, "proposal", entry, same={"id": id})


def without_reading(text: str, format: Format = "toml", *, number: int = 0) -> str:
    """Return the text of a job without one of its readings.

    Args:
        text, format: as for `with_reading`.
        number: which one, counted from 1; 0 is the last.

    Raises:
        BadInputError: there is no such reading in it.

    """
    return _without_entry(text, format, "reading", number)


def without_finding(text: str, format: Format = "toml", *, number: int = 0) -> str:
    """Return the text of a job without one of its findings; as `without_reading`."""
    return _without_entry(text, format, "finding", number)


def _with_entry(
    text: str,
    format: Format,
    name: str,
    entry: Mapping[str, Any],
    *,
    same: Mapping[str, Any],
    number: int = 0,
    gone: Sequence[str] = (),
) -> str:
    plain = bare(text)
    old = _plain(plain, format)
    entries = old.get(name, [])
    there = alike(entries, same)
    if same and number:
        there = [n for n in there if n == number - 1]
        if not there:
            raise BadInputError(f"there is no such {name}[{number}] to change")
    index = next(reversed(there), None)
    placed_there = placed(entries, entry, index)
    if index is not None:
        for field in gone:
            placed_there[index].pop(field, None)
    wanted = {**old, name: placed_there}
    if format == "json":
        return _as_json(plain, wanted)
    attempts = (
        _attempts(plain, name, entry)
        if index is None
        else [_changed(plain, name, index, entry, gone)]
    )
    written = _first_right(attempts, wanted)
    if written is None:
        told = " at ".join(str(value) for value in list(entry.values())[:2])
        raise BadInputError(f"{name} {told}: no place was found for it; write it by hand")
    return f"{text[: len(text) - len(plain)]}{written}"


def _without_entry(text: str, format: Format, name: str, number: int) -> str:
    plain = bare(text)
    old = _plain(plain, format)
    entries = list(old.get(name, []))
    if not entries or number > len(entries):
        found = f"{name}[{number}]" if number else name
        raise BadInputError(f"there is no {found} to take back")
    index = (number or len(entries)) - 1
    del entries[index]
    wanted = {key: value for key, value in {**old, name: entries}.items() if key != name or entries}
    if format == "json":
        return _as_json(plain, wanted)
    last = index == len(entries)
    written = _first_right(_shortened(plain, name, index, last=last), wanted)
    if written is None:
        raise BadInputError(f"{name}[{index + 1}] could not be told apart; take it out by hand")
    return f"{text[: len(text) - len(plain)]}{written}"


def _as_json(plain: str, wanted: Mapping[str, Any]) -> str:
    margin = _JSON_MARGIN.search(plain)
    return json.dumps(wanted, indent=margin[0] if margin else "  ", ensure_ascii=False) + "\n"


def _first_right(attempts: Iterable[str], wanted: Mapping[str, Any]) -> str | None:
    """Return the first text that reads as wanted, None where none does."""
    for attempt in attempts:
        with suppress(JobError):
            if job_text(attempt).tables == wanted:
                return attempt
    return None


# --- TOML -------------------------------------------------------------------------------------


@lru_cache
def _header(name: str) -> re.Pattern[str]:
    """Return what finds the headers of entries: [[reading]], its name in quotes or not."""
    return re.compile(rf"^(?P<margin>[ \t]*)\[\[[ \t]*{_key(name)}[ \t]*\]\].*$", re.MULTILINE)


@lru_cache
def _list(name: str) -> re.Pattern[str]:
    """Return what finds the starts of lists in brackets."""
    return re.compile(rf"^[ \t]*{_key(name)}[ \t]*=[ \t]*\[", re.MULTILINE)


def _key(name: str) -> str:
    return rf"(?:{name}|\"{name}\"|'{name}')"


def _attempts(text: str, name: str, entry: Mapping[str, Any]) -> Iterator[str]:
    """Yield texts with the entry put in, those that read best first."""
    newline = "\r\n" if "\r\n" in text else "\n"
    yield from islice(_behind_headers(text, name, entry, newline=newline), _tries(text))
    yield from islice(_in_lists(text, name, entry, newline=newline), _tries(text))
    block = _block(name, entry, margin="", newline=newline)
    yield _put_in(text, len(text), block, newline=newline)


def _changed(
    text: str, name: str, index: int, entry: Mapping[str, Any], gone: Sequence[str]
) -> str:
    """Return a text with the fields of one entry changed, and some taken out."""
    document = tomlkit.parse(text)
    there: Any = document[name]
    for key, value in entry.items():
        if there[index].get(key) != value:
            there[index][key] = value
    for key in gone:
        if key in there[index]:
            del there[index][key]
    return tomlkit.dumps(document)


def _tries(text: str) -> int:
    """Return how often a text is read anew to find a place in it."""
    return min(MOST_TRIES, 2 + MOST_READ // (len(text) + 1))


def _behind_headers(
    text: str, name: str, entry: Mapping[str, Any], *, newline: str
) -> Iterator[str]:
    """Yield texts with the entry put in behind one that is there, the last one first."""
    between = _between_tables(text)
    for header in reversed(list(_header(name).finditer(text))):
        block = _block(name, entry, margin=header["margin"], newline=newline)
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


def _block(name: str, entry: Mapping[str, Any], *, margin: str, newline: str) -> str:
    lines = [f"[[{name}]]", *(f"{key} = {_toml(value)}" for key, value in entry.items())]
    return "".join(f"{margin}{line}{newline}" for line in lines)


def _toml(value: Said | list[str]) -> str:
    """Write a value as TOML; the escapes of a JSON text are those of TOML as well."""
    if isinstance(value, Mapping):
        parts = (f"{_toml_key(name)} = {_toml(said)}" for name, said in value.items())
        return f"{{ {', '.join(parts)} }}"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | list) else repr(value)


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


def _in_lists(text: str, name: str, entry: Mapping[str, Any], *, newline: str) -> Iterator[str]:
    """Yield texts with the entry at the end of a list in brackets, with and without a comma."""
    for start in _list(name).finditer(text):
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


def _shortened(text: str, name: str, index: int, *, last: bool) -> Iterator[str]:
    """Yield texts with some lines taken out, the fewest first; the entry's are among them.

    Where to stop is found by trying, as a value may go over several lines.
    """
    between = _between_tables(text)
    headers = list(_header(name).finditer(text))
    for header in headers[-1:] if last else headers[index : index + 1]:
        below = islice(between, bisect_left(between, (header.end(),)), None)
        for end, _ in islice(below, _tries(text)):
            yield _joined(text[: header.start()], text[end:])
    document = tomlkit.parse(text)
    there: Any = document[name]
    there.pop(index)
    yield tomlkit.dumps(document)
    del document[name]
    yield tomlkit.dumps(document)


def _joined(above: str, below: str) -> str:
    """Join what stood above and below, with one blank line where there were two."""
    lines, newline, last = above.removesuffix("\n").rpartition("\n")
    if _is_blank(last) and _is_blank(below.partition("\n")[0]):
        above = f"{lines}{newline}"
    return above + below


def _is_blank(line: str) -> bool:
    return not line.strip(" \t\r")
