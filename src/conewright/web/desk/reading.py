"""What comes from outside, read and edited beside the server: within a time and a memory.

A text that somebody sent may take seconds to read and to edit, in which a process does nothing
else.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from conewright.errors import JobError
from conewright.job.document.paths import inside
from conewright.job.text.bounds import LONGEST_SMALL, is_small
from conewright.job.text.parsing import bare, job_text, kept_job
from conewright.web.base.settings import Settings
from conewright.web.desk.cache import Kept
from conewright.web.desk.waiting import WaitingRoom
from conewright.web.desk.workers import Task, Workers, load_texts

if TYPE_CHECKING:
    from conewright.job.builds.job import Job

__all__ = ["Reading"]

JOBS_KEPT = 4
"""Of long texts, which take much memory."""
MOST_CHANGES = 1_000
"""Keys of proposals times parts of the job; the demo has 630. Each that meets is a check."""
MOST_TEXTS = 2
"""To put three texts together costs several times what it costs to edit one."""

First = TypeVar("First")
More = ParamSpec("More")
Made = TypeVar("Made")


class Reading:
    """What is done with the texts of jobs: small ones here, others in workers of their own.

    Workers of their own, so that a save need not wait for the answer of a stage.
    """

    def __init__(self, settings: Settings) -> None:
        self._workers = Workers(
            most=settings.readers,
            seconds=settings.reading_seconds,
            memory=settings.reading_memory,
            load=load_texts,
        )
        self._room = WaitingRoom(settings.waiting_readers)
        self._jobs: Kept[Job] = Kept(JOBS_KEPT)

    def run(
        self,
        function: Callable[Concatenate[First, More], Made],
        text: First,
        /,
        *args: More.args,
        **named: More.kwargs,
    ) -> Made:
        """Return what a function makes of a text and the like, wherever it is called.

        Args:
            function: of a module, so that it can be found in another process by its name.
            text: of a job, or what one is made of.
            args: what else it is given; texts of jobs among them.
            named: the same by name.

        Raises:
            Refusal: it took too long or too much memory, or too many are asking.

        What the function raises on purpose it raises here as well.
        """
        given = [text, *args, *named.values()]
        if _cost_little(given):
            # No process has to be started for an ordinary job, and what is read stays here.
            return function(text, *args, **named)
        with self._room.place():
            made: Made = self._workers.run(Task(function, (text, *args), named))
        return made

    def apart(
        self,
        function: Callable[Concatenate[bytes, More], Made],
        content: bytes,
        /,
        *args: More.args,
        **named: More.kwargs,
    ) -> Made:
        """Return what a function makes of a file that was sent, never here; raises as `run`."""
        with self._room.place():
            made: Made = self._workers.run(Task(function, (content, *args), named))
        return made

    def job(self, text: str, *, file: str = "job") -> Job:
        """Return the job in a text, read once; raises JobError, Refusal."""
        if _costs_little(text):
            return kept_job(text, file=file)
        # Whoever waits for a job that is being read holds a place as well.
        return self._jobs.get(text, lambda: self.run(kept_job, text, file=file), room=self._room)

    def close(self) -> None:
        """End the workers."""
        self._workers.close()


def _cost_little(given: list[object]) -> bool:
    texts = [each for each in given if isinstance(each, str)]
    others = [each for each in given if not isinstance(each, str)]
    return (
        len(texts) <= MOST_TEXTS
        and len(pickle.dumps(others)) <= LONGEST_SMALL
        and all(map(_costs_little, texts))
    )


def _costs_little(text: str) -> bool:
    """Whether a text is small, and its proposals change little between them.

    The worst of the texts made to cost much within these limits took 0.3 s and 3 MB.
    """
    if not is_small(text):
        return False
    try:
        tables = job_text(text, "json" if bare(text).lstrip().startswith("{") else "toml").tables
    except JobError:
        # It is refused as soon as it is parsed.
        return True
    return _changes(tables) <= MOST_CHANGES


def _changes(tables: Any) -> int:
    """Return how many fields the proposals would change if every key meant every part."""
    if not isinstance(tables, dict):
        return 0
    lists = [each for each in tables.values() if isinstance(each, list)]
    proposals = inside(tables, "proposal")
    plans = proposals if isinstance(proposals, list) else []
    sets = [inside(each, "set") for each in plans]
    added = [inside(each, "add") for each in plans]
    each_list = [more for each in added if isinstance(each, dict) for more in each.values()]
    return sum(map(len, lists)) * sum(
        len(each) for each in (*sets, *each_list) if isinstance(each, dict | list)
    )
