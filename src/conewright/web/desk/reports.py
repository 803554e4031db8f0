"""Reports, worked out once beside the server and kept.

An answer depends on nothing but the text of the job and the question. So it is worked out once,
however many ask at the same time, and kept until others were asked for more lately; two revisions
with the same text share it, and so does an edit that nobody has saved.

One thread for each worker asks it and waits for what it says. They are not those that answer
requests: who waits for a report has left its thread (`desk.waiting`), so that any number may wait.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING

from conewright.web.base.settings import Settings
from conewright.web.desk.cache import Kept
from conewright.web.desk.choosing import Choosing
from conewright.web.desk.held_lists import HeldLists
from conewright.web.desk.listener import Listener
from conewright.web.desk.reading import Reading
from conewright.web.desk.waiting import WaitingRoom
from conewright.web.desk.workers import (
    STAGES,
    Made,
    PaperQuestion,
    Question,
    Stage,
    Workers,
    in_turn,
)

if TYPE_CHECKING:
    from conewright.stages.report.data import Report
    from conewright.store import Saved

__all__ = ["STAGES", "Answer", "Made", "PaperQuestion", "Question", "Reports", "Stage"]


@dataclass(frozen=True, slots=True)
class Answer:
    """A report, and the same as JSON with a tag that changes when the JSON does."""

    report: Report
    json: bytes
    etag: str


class Reports:
    """The answers about every job, and the papers of its plans, kept while they are asked for."""

    def __init__(self, settings: Settings) -> None:
        self._workers = Workers(
            most=settings.workers,
            seconds=settings.computing_seconds,
            memory=settings.computing_memory,
        )
        # Never shut down: after the end each question is answered by the word that it is the end.
        self._line = ThreadPoolExecutor(settings.workers, thread_name_prefix="line")
        self.reading = Reading(settings)
        """Where texts are read and edited, to which the answers belong."""
        self.listener = Listener(settings)
        """Where recordings are listened to, and held until somebody keeps them."""
        self.lists = HeldLists(settings)
        """Where lists of parts wait until somebody keeps them."""
        self.room = WaitingRoom(settings.waiting)
        """Where everybody waits who waits for an answer, or for a page that is made of some."""
        self.choosing = Choosing(settings, self.room)
        """Where whole plans are chosen, which takes longer than any other answer."""
        self._answers: Kept[Answer] = Kept(settings.kept_reports)
        self._papers: Kept[Made] = Kept(settings.kept_papers)

    def report(
        self,
        saved: Saved,
        stage: Stage,
        proposal: str | None = None,
        against: str | None = None,
        at: str | None = None,
    ) -> Report:
        """Return a stage's report of a saved job.

        Raises:
            BadInputError: the stage cannot answer that, or knows no such proposal.
            Refusal: it took too long, or too many are asking.
            NotYet: the request that asks is to come again.

        """
        return self.answer(saved.text, Question(stage, proposal, against, at)).report

    def answer(self, text: str, question: Question) -> Answer:
        """Return the answer to a question about a job's TOML text, saved or not; as `report`."""
        key = (sha256(text.encode()).digest(), question)
        make = in_turn(lambda: self._answer(text, question))
        return self._answers.work_out(key, make, line=self._line, room=self.room)

    def papers(self, saved: Saved, question: PaperQuestion) -> Made:
        """Return the papers of a plan of a saved job, with their pages as pictures.

        Raises:
            PlanRefusedError: the plan may not go to the bench.
            BadInputError: the job or the question cannot be used.
            Refusal: it took too long, or too many are asking.
            NotYet: the request that asks is to come again.

        """
        key = (sha256(saved.text.encode()).digest(), question)
        make = in_turn(lambda: self._workers.make(saved.text, question))
        return self._papers.work_out(key, make, line=self._line, room=self.room)

    def warm(self) -> None:
        """Start a worker and let it work once, so that the first question need not wait for it."""
        from conewright.job.text.starter import starter_text

        for stage in STAGES:
            self.answer(starter_text(), Question(stage))

    def close(self) -> None:
        """End the workers."""
        self._workers.close()
        self.reading.close()
        self.listener.close()
        self.choosing.close()

    def _answer(self, text: str, question: Question) -> Answer:
        done = self._workers.work_out(text, question)
        return Answer(done.report, done.json, f'"{sha256(done.json).hexdigest()[:32]}"')
