"""Processes that work out reports, and can be ended when one takes too long.

Only a process can be ended from outside: a thread cannot, and the pool of the standard library
gives no hand to end one of its workers. So a worker is a process and a pipe. It is spawned when
it is first needed (the server has threads, which do not survive a fork), ends by itself when the
server is gone, and is replaced when it took too long or died.
"""

from __future__ import annotations

import ctypes
import gc
import os
import signal
import threading
import traceback
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, Literal, TypeVar, get_args

from conewright.errors import (
    BadInputError,
    ConewrightError,
    JobError,
    PlanRefusedError,
    Problem,
)
from conewright.web.base.errors import Refusal, fault
from conewright.web.desk.waiting import busy

if TYPE_CHECKING:
    from conewright.job.builds.job import Job
    from conewright.papers.make import Papers
    from conewright.stages.report.data import Report

__all__ = [
    "STAGES",
    "TURN_SECONDS",
    "Made",
    "PaperQuestion",
    "Question",
    "Stage",
    "Task",
    "Workers",
    "in_turn",
    "load_texts",
]

Found = TypeVar("Found")
Stage = Literal["find", "fit", "feed", "hear", "compare"]
STAGES: tuple[Stage, ...] = get_args(Stage)
TURN_SECONDS = 60.0
"""How long to stand in line for a worker."""
TRIES = 2
"""How often a question is asked whose worker dies."""
START_SECONDS = 60.0
"""How long a worker may take to import what it works with."""

_SPAWN = get_context("spawn")
_STARTING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a job; `at` lists frequencies as written, 20,50,1.2k."""

    stage: Stage
    proposal: str | None = None
    against: str | None = None
    at: str | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """A report, and the same as JSON: made here so that the server need not."""

    report: Report
    json: bytes


@dataclass(frozen=True, slots=True)
class PaperQuestion:
    """Which papers are wanted: of which plan, on what paper, under what name of its revision.

    `bar_measured` is what the bars of an earlier print measure, `address` that of the job's page.
    """

    proposal: str | None
    paper: str = "A4"
    bar_measured: str = ""
    revision: str | None = None
    address: str | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """The papers of a plan, and the pages of each PDF as pictures, by the name of its file."""

    papers: Papers
    pages: dict[str, tuple[bytes, ...]]


@dataclass(frozen=True, slots=True)
class Barred:
    """A plan that may not go to the bench, with every reason."""

    plan: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """What is wrong with a question or a job; errors of several arguments do not pickle."""

    message: str
    problems: tuple[Problem, ...] | None


@dataclass(frozen=True, slots=True)
class Failed:
    """A fault of the program, as text."""

    trace: str


@dataclass(frozen=True, slots=True)
class Task:
    """A function that is to be called; found by its name, so it is one of a module."""

    function: Callable[..., Any]
    args: tuple[Any, ...]
    named: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Returned:
    """What a function returned."""

    value: Any


@dataclass(frozen=True, slots=True)
class Raised:
    """What a function raised on purpose."""

    error: Exception


@dataclass(frozen=True, slots=True)
class Exhausted:
    """It would have taken more memory than a worker may take."""


Asked = Question | PaperQuestion | Task
Result = Done | Made | Barred | Refused | Failed | Returned | Raised | Exhausted


class Workers:
    """A few workers; whoever asks gets an answer, an error in words, or the end of its time."""

    def __init__(
        self,
        *,
        most: int,
        seconds: float,
        memory: int | None = None,
        load: Callable[[], object] | None = None,
    ) -> None:
        self.seconds = seconds
        self._memory = memory
        self._load = load or _load_stages
        self._turns = threading.BoundedSemaphore(most)
        self._idle: list[_Worker] = []
        self._busy: set[_Worker] = set()
        self._lock = threading.Lock()
        self._closed = False

    def work_out(self, text: str, question: Question) -> Done:
        """Return a report of a job's TOML text.

        Raises:
            BadInputError: the job or the question cannot be used.
            Refusal: it took too long, all workers stayed busy, or the program failed.

        """
        result = self._answered(text, question)
        assert isinstance(result, Done)
        return result

    def make(self, text: str, question: PaperQuestion) -> Made:
        """Return the papers of a plan of a job's TOML text; errors as `work_out`.

        Raises:
            PlanRefusedError: the plan may not go to the bench.

        """
        result = self._answered(text, question)
        assert isinstance(result, Made)
        return result

    def run(self, task: Task) -> Any:
        """Return what a function returns, raise what it raises on purpose; else as `work_out`."""
        result = self._answered("", task)
        if isinstance(result, Raised):
            raise result.error
        assert isinstance(result, Returned)
        return result.value

    def close(self) -> None:
        """End every worker, whatever it does just now."""
        with self._lock:
            self._closed = True
            idle, self._idle = self._idle, []
            # Who waits for a busy one sees it end, and puts it away.
            for worker in self._busy:
                worker.kill()
        for worker in idle:
            worker.end()

    def _answered(self, text: str, question: Asked) -> Done | Made | Returned | Raised:
        """Return what a worker has worked out; raises what it says went wrong."""
        result = self._ask(text, question)
        if isinstance(result, Done | Made | Returned | Raised):
            return result
        if isinstance(result, Exhausted):
            raise Refusal(
                422,
                "This would have taken more memory than one job may take, and was stopped. "
                "A job with fewer places, channels or proposals takes less.",
                code="too-large",
            )
        if isinstance(result, Failed):
            raise fault(f"a worker failed:\n{result.trace}")
        if isinstance(result, Barred):
            raise PlanRefusedError(result.reasons, plan=result.plan)
        if result.problems is None:
            raise BadInputError(result.message)
        raise JobError(result.problems)

    def _ask(self, text: str, question: Asked) -> Result:
        with self._turn():
            # One that dies under a question may have died of something else; of two it was that.
            for _ in range(TRIES):
                with suppress(EOFError, OSError), self._worker() as worker:
                    return worker.ask(text, question, seconds=self.seconds)
            if self._closed:
                raise _ending()
            if isinstance(question, Task):
                # A text that somebody sent has done that, most likely by its need of memory.
                raise Refusal(
                    503,
                    "What works on this ended before it had an answer, and so did the next one. "
                    "A job with fewer places, channels or proposals takes less.",
                    code="ended",
                )
            raise fault("a worker ended before it had an answer, and so did the next one")

    @contextmanager
    def _worker(self) -> Iterator[_Worker]:
        """Give a worker that is taken for nothing else; one with an error behind it is ended."""
        worker = self._take()
        try:
            yield worker
        except BaseException:
            self._put_away(worker)
            raise
        with self._lock:
            self._busy.discard(worker)
            if not self._closed:
                self._idle.append(worker)
                return
        worker.end()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self._turns.acquire(timeout=TURN_SECONDS):
            raise _out_of_turn()
        try:
            yield
        finally:
            self._turns.release()

    def _take(self) -> _Worker:
        """Return an idle worker, or else a new one; raises Refusal when there are to be no more."""
        with self._lock:
            if self._closed:
                raise _ending()
            alive = (worker for worker in self._popped() if worker.alive)
            worker = next(alive, None) or _Worker(self._load, self._memory)
            self._busy.add(worker)
            return worker

    def _popped(self) -> Iterator[_Worker]:
        while self._idle:
            yield self._idle.pop()

    def _put_away(self, worker: _Worker) -> None:
        with self._lock:
            self._busy.discard(worker)
        worker.end()


class _Worker:
    """One process and the pipe to it."""

    def __init__(self, load: Callable[[], object], memory: int | None) -> None:
        self._pipe, theirs = _SPAWN.Pipe()
        args = (theirs, load, memory)
        self._process = _SPAWN.Process(target=_serve, args=args, daemon=True)
        with _one_thread(), _deaf_to_interrupts():
            self._process.start()
        theirs.close()
        self._started = False

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process.is_alive()

    def ask(self, text: str, question: Asked, *, seconds: float) -> Result:
        """Return what the worker makes of a question.

        Raises:
            Refusal: it takes too long; the time it takes to start does not count.
            EOFError, OSError: the process has ended.

        """
        self._begin()
        self._pipe.send((text, question))
        if not self._pipe.poll(seconds):
            raise Refusal(
                503,
                f"This was not worked out within {seconds:g} s and was stopped. "
                "A job with fewer places, channels or proposals takes less.",
                code="too-long",
            )
        result: Result = self._pipe.recv()
        return result

    def _begin(self) -> None:
        """Wait for a process that has just been started."""
        if not self._started:
            if not self._pipe.poll(START_SECONDS):
                raise fault(f"a worker did not start within {START_SECONDS:g} s")
            self._pipe.recv()
            self._started = True

    def kill(self) -> None:
        """End the process, whatever it does just now."""
        self._process.kill()

    def end(self) -> None:
        """End the process and put away what belonged to it."""
        self._pipe.close()
        self._process.kill()
        self._process.join()


def in_turn(make: Callable[[], Found]) -> Callable[[], Found]:
    """Return what makes something unless its turn comes too late to be worth it."""
    since = monotonic()

    def turn() -> Found:
        if monotonic() - since > TURN_SECONDS:
            raise _out_of_turn()
        return make()

    return turn


def _out_of_turn() -> Refusal:
    return busy("Other answers are being worked out; ask again in a moment.")


def _ending() -> Refusal:
    return Refusal(503, "The server is ending.", code="ending")


@contextmanager
def _one_thread() -> Iterator[None]:
    """Let what is started inside calculate with one thread: workers share the processor."""
    name = "OPENBLAS_NUM_THREADS"
    with _STARTING:
        before = os.environ.get(name)
        os.environ[name] = "1"
        try:
            yield
        finally:
            del os.environ[name]
            if before is not None:
                os.environ[name] = before


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Let Ctrl-C pass by what is started inside from its first moment, where a system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


# --- In the worker ------------------------------------------------------------------------------


def _serve(pipe: Connection, load: Callable[[], object], memory: int | None) -> None:
    """Answer questions until nobody is left to ask."""
    # Ctrl-C in a terminal reaches every process of it; the server sees to its workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    load()
    if memory is not None:
        _limit_memory(memory)
    with suppress(EOFError, OSError):
        pipe.send(None)
        _answer(pipe)
        # What is loaded by now stays: to look through it after every answer takes a tenth of a
        # second, for which the next one waits.
        gc.freeze()
        while True:
            _answer(pipe)


def _answer(pipe: Connection) -> None:
    text, question = pipe.recv()
    result = _result(text, question)
    pipe.send(result)
    if isinstance(result, Exhausted):
        # What is left in gaps counts as taken: the next one is to have all there is.
        raise EOFError
    _give_memory_back()


def _limit_memory(memory: int) -> None:
    """Let this process take so many bytes more than by now, where the system holds it to that."""
    # Windows has no such limits, and macOS counts them otherwise.
    with suppress(ImportError, OSError, ValueError):
        import resource

        pages = int(Path("/proc/self/statm").read_text().split()[0])
        most = pages * resource.getpagesize() + memory
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def _give_memory_back() -> None:
    """Let go of what an answer needed: hundreds of megabytes, in rings of objects and in gaps."""
    gc.collect()
    # Only GNU's C library has it, and only there memory stays with a process for want of it.
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def _result(text: str, question: Asked) -> Result:
    from conewright.job.text.parsing import kept_job

    try:
        if isinstance(question, Task):
            return _ran(question)
        job = kept_job(text)
        if isinstance(question, PaperQuestion):
            return _made(job, question)
        report = _report(job, question)
        return Done(report, report.model_dump_json().encode())
    except PlanRefusedError as error:
        return Barred(error.plan, error.reasons)
    except JobError as error:
        return Refused(str(error), error.problems)
    except ConewrightError as error:
        return Refused(str(error), None)
    except MemoryError:
        return Exhausted()
    except Exception:
        return Failed(traceback.format_exc())


def _ran(task: Task) -> Returned | Raised:
    """Return what a function returned or raised on purpose."""
    from conewright.job.text.editing import Refused as FormRefused

    try:
        return Returned(task.function(*task.args, **task.named))
    except (ConewrightError, FormRefused) as error:
        return Raised(error)


def load_texts() -> tuple[Callable[..., object], ...]:
    """Return what reads and edits texts; to import it takes time, for which none should wait."""
    from conewright.job.text.merging import merged
    from conewright.store.texts import summary

    return merged, summary


def _load_stages() -> Mapping[str, Callable[..., Report]]:
    """Return the stages; to import them takes a second, which no question should wait for."""
    from conewright.stages.compare.stage import compare
    from conewright.stages.feed.stage import feed
    from conewright.stages.find.stage import find
    from conewright.stages.fit.stage import fit
    from conewright.stages.hear.stage import hear

    return {"compare": compare, "feed": feed, "find": find, "fit": fit, "hear": hear}


def _report(job: Job, question: Question) -> Report:
    """Return the answer of a stage; raises BadInputError for a question it does not take."""
    from conewright.stages.common.frequencies import parse_frequencies

    _check(job, question)
    stage: Callable[..., Report] = _load_stages()[question.stage]
    if question.stage == "compare":
        return stage(job)
    build = job.build(question.proposal)
    if question.stage == "find":
        return stage(build)
    against = None if question.against is None else job.build(question.against)
    at = None if question.at is None else parse_frequencies(question.at, name="at")
    return stage(build, against) if question.stage == "fit" else stage(build, against, at=at)


def _made(job: Job, question: PaperQuestion) -> Made:
    """Return the papers of a plan with their pages as pictures; raises as `papers` does."""
    from conewright.papers.make import papers
    from conewright.papers.press.previews import previews

    made = papers(
        job.build(question.proposal),
        paper=question.paper,
        bar_measured=question.bar_measured,
        revision=question.revision,
        address=question.address,
    )
    documents = (file for file in made.files if file.name.endswith(".pdf"))
    return Made(made, {file.name: previews(file.content) for file in documents})


def _check(job: Job, question: Question) -> None:
    """Raise JobError for a proposal that the job does not have, or the stage does not take."""
    from conewright.job.document.parts import AS_FOUND

    known = [AS_FOUND, *(proposal.id for proposal in job.proposals)]
    whole = {"find": "find looks at the vehicle as found", "compare": "compare looks at all"}
    problems = [
        Problem(name, f'"{value[:40]}"', f"known are {', '.join(known)}")
        for name, value in (("proposal", question.proposal), ("against", question.against))
        if value is not None and value not in known
    ]
    if question.stage in whole and not problems:
        problems = [
            Problem(name, f'"{value}"', f"{whole[question.stage]}; leave it out")
            for name, value in (("proposal", question.proposal), ("against", question.against))
            if value not in {None, AS_FOUND}
        ]
    if problems:
        raise JobError(problems)
