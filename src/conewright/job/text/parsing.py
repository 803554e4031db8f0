"""From the text of a job file to a job, with everything that is wrong in it at once."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import islice
from os import PathLike, fspath
from pathlib import Path
from typing import Any, Literal, NoReturn

from conewright.errors import BadInputError, JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.document.likeness import expand_likeness
from conewright.job.document.paths import few_comparisons, path_text, show
from conewright.job.document.problems import MOST_PROBLEMS
from conewright.job.proposals import MOST_CHANGES, Plan, changed_job, whole_job
from conewright.job.text.bounds import excess

__all__ = [
    "LARGEST_FILE",
    "LONGEST_LIST",
    "MARK",
    "TEXTS_KEPT",
    "Format",
    "JobText",
    "bare",
    "content_of",
    "format_of",
    "from_dict",
    "job_text",
    "kept_job",
    "load",
    "loads",
    "text_in",
]

Format = Literal["toml", "json"]

LARGEST_FILE = 1_000_000
DEEPEST = 10
LONGEST_LIST = 200
WIDEST_NUMBER = 63
"""Bits of a whole number, besides its sign: as TOML 1.0 asks for, and databases keep."""

MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""Mark of its encoding, which some editors put in front of a text."""

LONG_TEXT = 50_000
"""Characters; what stands in longer ones takes a thousandfold in memory, and few are kept."""
TEXTS_KEPT, LONG_TEXTS_KEPT = 64, 4

_POSITION = re.compile(r"\(at (line \d+, column \d+|end of document)\)")


def load(path: str | PathLike[str]) -> Job:
    """Read a job file, TOML or JSON by the ending of its name.

    Raises: JobError with every problem of the file; also where it cannot be read at all.

    >>> import conewright as cw
    >>> cw.load("no-such-van.toml")
    Traceback (most recent call last):
        ...
    conewright.errors.JobError: no-such-van.toml: file: found nothing that can be read...
    """
    file = fspath(path)
    format = format_of(file)
    return loads(text_in(content_of(file), file=file), format, file=file)


def loads(text: str, format: Format = "toml", *, file: str = "job") -> Job:
    """Read a job from text; `file` is what it is called in an error. Raises JobError.

    >>> import conewright as cw
    >>> cw.loads(cw.starter_text()).contents
    '2 channels, 2 locations, 2 drivers, 1 seat, 1 reading, 2 proposals'
    """
    return from_dict(_tables(text, format, file), file=file)


@dataclass(frozen=True)
class JobText:
    """The text of a job without a mark of its encoding, parsed and checked once.

    Attributes:
        text: without the mark.
        tables: the plain values in it, not to be changed.

    """

    text: str
    tables: Any

    @cached_property
    def job(self) -> Job:
        """The job in it; raises JobError."""
        return from_dict(self.tables)


def job_text(text: str, format: Format = "toml") -> JobText:
    """Parse the text of a job, once for all who ask for it in turn.

    Raises: JobError where it cannot be parsed; whether it is a job is not looked at.
    """
    kept = _kept if len(text) <= LONG_TEXT else _few_kept
    return kept(bare(text), format)


def _job_text(text: str, format: Format) -> JobText:
    return JobText(text, _tables(text, format, "job"))


_kept = lru_cache(maxsize=TEXTS_KEPT)(_job_text)
_few_kept = lru_cache(maxsize=LONG_TEXTS_KEPT)(_job_text)


def kept_job(text: str, format: Format = "toml", *, file: str = "job") -> Job:
    """Read a job as `loads`, once for all who ask for this text in turn. Raises JobError."""
    try:
        return job_text(text, format).job
    except JobError as error:
        raise JobError(error.problems, file=file) from None


def bare(text: str) -> str:
    """Return a text without a mark of its encoding."""
    return text.removeprefix(MARK)


def from_dict(raw: Mapping[str, Any], *, file: str = "job") -> Job:
    """Read a job from plain values under the names of the file. Raises JobError."""
    with few_comparisons():
        return _from_dict(raw, file)


def _from_dict(raw: Mapping[str, Any], file: str) -> Job:
    shape = list(dict.fromkeys(islice(_shape_problems(raw), MOST_PROBLEMS)))
    if shape:
        raise JobError(shape, file=file)
    expanded = expand_likeness(raw)
    job, found = whole_job(expanded.raw, Job)
    known = [each.problem for each in found]
    problems = [each.problem for each in (*expanded.problems, *found) if expanded.is_news(each)]
    problems += _proposal_problems(job, expanded.raw, known)
    if job is None or problems:
        raise JobError(list(dict.fromkeys(problems or known)), file=file)
    return job


def _proposal_problems(
    job: Job | None, raw: Mapping[str, Any], known: Sequence[Problem]
) -> list[Problem]:
    """Carry the proposals out, kept with the job, and return what is wrong with them."""
    proposals = list(_proposals(raw))
    problems: list[Problem] = []
    for index, proposal in proposals:
        plan = _plan(path_text(("proposal", index), raw), proposal)
        most = MOST_CHANGES // len(proposals)
        changed, wrong = changed_job(job, raw, plan, known=known, most=most)
        problems += wrong
        if job is not None and changed is not None:
            job.carried_out[job.proposals[index].id] = changed
        if len(problems) > MOST_PROBLEMS:
            return [*problems, Problem("file", "more problems", "mend these first")]
    return problems


def format_of(file: str) -> Format:
    """Return the format of a file by the ending of its name; raises JobError for any other."""
    ending = Path(file).suffix.lower()
    if ending == ".toml":
        return "toml"
    if ending == ".json":
        return "json"
    found = f"a name ending in {show(ending)}" if ending else "a name without an ending"
    raise _refused(file, found, "the name of a job file ends in .toml or .json")


def content_of(file: str) -> bytes:
    """Return what stands in a file, no more than is read of it; raises JobError."""
    try:
        with open(file, "rb") as stream:
            return stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        found = f"nothing that can be read ({reason})"
        raise _refused(file, found, "the path of a job file is wanted") from None


def text_in(content: bytes, *, file: str) -> str:
    """Return the text in a file's content, without a mark of its encoding; raises JobError."""
    if len(content) > LARGEST_FILE:
        raise _refused(file, "a larger file", f"at most {LARGEST_FILE} bytes are read")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"bytes that are no text (at byte {error.start + 1})"
        raise _refused(file, found, "a job file is text in UTF-8") from None


def _tables(text: str, format: Format, file: str) -> Any:
    """Return the plain values in a text; raises JobError."""
    too_much = excess(text)
    if too_much is not None:
        raise JobError([too_much], file=file)
    try:
        return tomllib.loads(text) if format == "toml" else _json(text)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise JobError([_syntax_problem(error)], file=file) from None
    except BadInputError as error:
        raise _refused(file, str(error), "the text must be valid JSON") from None


def _syntax_problem(error: ValueError) -> Problem:
    """Return where the text stops being TOML or JSON."""
    if isinstance(error, json.JSONDecodeError):
        place = f"line {error.lineno}, column {error.colno}"
        return Problem(place, error.msg, "the text must be valid JSON up to here")
    message = str(error)
    position = _POSITION.search(message)
    found = _POSITION.sub("", message).strip()
    return Problem(position[1] if position else "file", found, "the text must be valid up to here")


def _refused(file: str, found: str, allowed: str) -> JobError:
    return JobError([Problem("file", found, allowed)], file=file)


def _json(text: str) -> Any:
    """Return plain values from JSON; names given twice and NaN are refused."""
    return json.loads(text, object_pairs_hook=_unique, parse_constant=_no_constant)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for name, value in pairs:
        if name in table:
            raise BadInputError(f"the name {show(name)} twice in one table")
        table[name] = value
    return table


def _no_constant(text: str) -> NoReturn:
    raise BadInputError(f"{text}, which is no JSON number")


def _shape_problems(raw: object) -> Iterator[Problem]:
    """Yield what no job file looks like, before anything walks through it."""
    if not isinstance(raw, Mapping):
        yield Problem("file", show(raw), "a table of fields is wanted")
        return
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), raw)]
    while waiting:
        steps, node = waiting.pop()
        if isinstance(node, int) and node.bit_length() > WIDEST_NUMBER:
            yield Problem(
                path_text(steps, raw), "a number without end", "numbers have a few digits"
            )
        elif not isinstance(node, dict | list):
            continue
        elif len(node) > LONGEST_LIST:
            yield Problem(path_text(steps, raw), show(node), f"at most {LONGEST_LIST} go here")
        elif len(steps) == DEEPEST:
            yield Problem(path_text(steps, raw), show(node), f"tables go at most {DEEPEST} deep")
        else:
            entries = node.items() if isinstance(node, dict) else enumerate(node)
            waiting += [((*steps, step), entry) for step, entry in entries]


def _proposals(raw: Mapping[str, Any]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield each proposal that does something to the job, where that can be read."""
    proposals = raw.get("proposal")
    for index, proposal in enumerate(proposals if isinstance(proposals, list) else ()):
        if isinstance(proposal, dict) and not proposal.keys().isdisjoint(CARRIED_OUT):
            yield index, proposal


def _plan(owner: str, proposal: Mapping[str, Any]) -> Plan:
    """Return what a proposal does to a job; what cannot be read of it is refused as a field."""
    changes, add = (proposal.get(name) for name in ("set", "add"))
    lists = (proposal.get(name) for name in ("remove", "repairs"))
    remove, repairs = (
        tuple(word for word in words if isinstance(word, str)) if isinstance(words, list) else ()
        for words in lists
    )
    return Plan(
        set_name=f"{owner}.set",
        set=changes if isinstance(changes, dict) else {},
        add=add if isinstance(add, dict) else {},
        remove=remove,
        repairs=repairs,
        owner=owner,
    )


CARRIED_OUT = ("set", "add", "remove", "repairs")
"""The fields of a proposal by which it makes another job."""
