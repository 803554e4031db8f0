"""From the text of a job to what the store keeps beside it."""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Concatenate, ParamSpec, Protocol, TypeVar

from conewright.errors import JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.document.lists import LISTS, counts_in_words
from conewright.job.text.parsing import LARGEST_FILE, kept_job

__all__ = [
    "Read",
    "Summary",
    "here",
    "new_id",
    "one_line",
    "slug",
    "state_in_words",
    "summary",
]

COUNTED = ("channel", "location", "reading", "proposal")
LONGEST_SLUG = 30
LONGEST_LINE = 500
LONGEST_WORDS = 4000
# Without 0, 1, 8 and 9, which look like o, l and b.
LETTERS = "abcdefghijklmnopqrstuvwxyz234567"


More = ParamSpec("More")
Made = TypeVar("Made")


class Read(Protocol):
    """Where texts are read: calls a function of a text, here or in another process."""

    def __call__(
        self,
        function: Callable[Concatenate[str, More], Made],
        text: str,
        /,
        *args: More.args,
        **named: More.kwargs,
    ) -> Made:
        """Return what the function makes of the text; raises what it raises."""


def here(
    function: Callable[Concatenate[str, More], Made],
    text: str,
    /,
    *args: More.args,
    **named: More.kwargs,
) -> Made:
    """Call a function of a text where one is."""
    return function(text, *args, **named)


@dataclass(frozen=True, slots=True)
class Summary:
    """What lists and searches need to know of a job."""

    about: dict[str, Any]
    words: str


def summary(text: str) -> Summary:
    """Read a job's text and return what to keep beside it; raises JobError for any problem."""
    job = _read(text)
    about: dict[str, Any] = {name: LISTS[name].count(job) for name in COUNTED}
    about["title"] = one_line(job.about.title or job.vehicle.name or "")
    return Summary(about, _words(job))


def state_in_words(about: Mapping[str, Any]) -> str:
    """Return what is in a job: "4 channels, 8 locations, 2 proposals"."""
    return counts_in_words({name: int(about.get(name, 0)) for name in COUNTED})


def slug(title: str) -> str:
    """Return a title up to its first stop as a short name: small letters, digits and hyphens.

    A title without any such letter is called "job".
    """
    plain = unicodedata.normalize("NFKD", title.replace("ß", "ss")).encode("ascii", "ignore")
    parts = (re.findall(r"[a-z0-9]+", part) for part in re.split(r"[:;,(]", plain.decode().lower()))
    words = next(filter(None, parts), [])
    short = ""
    for word in words:
        longer = f"{short}-{word}" if short else word
        if len(longer) > LONGEST_SLUG:
            break
        short = longer
    return short or (words[0][:LONGEST_SLUG] if words else "job")


def new_id(short: str) -> str:
    """Return a new id from a short name: readable, and most likely nobody else's."""
    return f"{short}-{''.join(secrets.choice(LETTERS) for _ in range(4))}"


def one_line(text: str, *, longest: int = LONGEST_LINE) -> str:
    """Return text on one line without control characters, cut where it is very long."""
    printable = "".join(letter if letter.isprintable() else " " for letter in text)
    line = " ".join(printable.split())
    return line if len(line) <= longest else f"{line[: longest - 1]}…"


def _read(text: str) -> Job:
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError:
        raise _refused("characters that are none", "a job is text in UTF-8") from None
    if size > LARGEST_FILE:
        raise _refused("a longer text", f"at most {LARGEST_FILE} bytes are kept")
    return kept_job(text)


def _refused(found: str, allowed: str) -> JobError:
    return JobError([Problem("file", found, allowed)])


def _words(job: Job) -> str:
    """Return what a job can be searched by, in small letters."""
    texts = [job.about.title, job.vehicle.name, job.head_unit.name, *job.about.complaints]
    texts += [job.about.notes, *(place.name for place in job.locations)]
    texts += [driver.name for driver in job.drivers]
    joined = "\n".join(one_line(each) for each in texts if each)
    return joined.casefold()[:LONGEST_WORDS]
