"""Reports, worked out once beside the server and kept.

An answer depends on nothing but the text of the job and the question. So it is worked out once,
however many ask at the same time, and kept until others were asked for more lately; two revisions
with the same text share it, and so does an edit that nobody has saved.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk.keeping import Kept
from conewright.web.desk.workers import STAGES, Made, PaperQuestion, Question, Stage, Workers

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
        self._workers = Workers(most=settings.workers, seconds=settings.computing_seconds)
        self._room = BoundedSemaphore(settings.waiting)
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

        """
        return self.answer(saved.text, Question(stage, proposal, against, at)).report

    def answer(self, text: str, question: Question) -> Answer:
        """Return the answer to a question about a job's TOML text, saved or not; as `report`."""
        key = (sha256(text.encode()).digest(), question)
        return self._answers.get(key, lambda: self._answer(text, question))

    def papers(self, saved: Saved, question: PaperQuestion) -> Made:
        """Return the papers of a plan of a saved job, with their pages as pictures.

        Raises:
            PlanRefusedError: the plan may not go to the bench.
            BadInputError: the job or the question cannot be used.
            Refusal: it took too long, or too many are asking.

        """
        key = (sha256(saved.text.encode()).digest(), question)
        return self._papers.get(key, lambda: self._make(saved.text, question))

    def warm(self) -> None:
        """Start a worker and let it work once, so that the first question need not wait for it."""
        from conewright.job.text.starter import starter_text

        for stage in STAGES:
            self.answer(starter_text(), Question(stage))

    def close(self) -> None:
        """End the workers."""
        self._workers.close()

    def _make(self, text: str, question: PaperQuestion) -> Made:
        with self._place():
            return self._workers.make(text, question)

    def _answer(self, text: str, question: Question) -> Answer:
        with self._place():
            done = self._workers.work_out(text, question)
        return Answer(done.report, done.json, f'"{sha256(done.json).hexdigest()[:32]}"')

    @contextmanager
    def _place(self) -> Iterator[None]:
        """Hold a place among those who wait; raises Refusal when all are taken."""
        if not self._room.acquire(blocking=False):
            raise Refusal(
                503,
                "Too many answers are being worked out; ask again in a moment.",
                code="busy",
                headers={"Retry-After": "5"},
            )
        try:
            yield
        finally:
            self._room.release()
