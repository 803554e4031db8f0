"""Listening to recordings, in a process beside the server; and what came in until it is kept.

Nothing that was sent goes into a job before somebody says so. Until then it lies on disk, under a
name that nobody can guess, and only so long and so much of it.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from secrets import token_urlsafe
from threading import Lock
from typing import TYPE_CHECKING, Any

from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk.cache import Kept
from conewright.web.desk.waiting import WaitingRoom
from conewright.web.desk.workers import Task, Workers

if TYPE_CHECKING:
    from conewright.stages.report.data import Report

__all__ = ["File", "Held", "Listener", "Sent"]

WAITING = 8
"""Who may wait for an answer about recordings, besides those whose recordings are listened to."""
REPORTS_KEPT = 16
STALE = 86_400.0
"""Seconds after which what a server left behind that is gone is taken away."""
SPENT = {"too-long", "too-large", "ended"}


@dataclass(frozen=True, slots=True)
class File:
    """A file that came: its name as it was sent, where it lies, its SHA-256, its bytes."""

    name: str
    path: Path
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class Sent:
    """What was recorded: files in their order, and what was told of them."""

    files: tuple[File, ...]
    test: str
    at: str
    side: str = ""
    when: str = ""
    volume: str = ""
    note: str = ""
    details: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Held:
    """Recordings that were listened to, and that nobody has kept or thrown away yet."""

    token: str
    job_id: str
    sent: Sent
    report: Report
    since: float


class Listener:
    """Listens to recordings, within a time and a memory, and holds them for a while."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._workers = Workers(
            most=settings.listeners,
            seconds=settings.listening_seconds,
            memory=settings.listening_memory,
            load=_load,
        )
        self._room = WaitingRoom(WAITING)
        self._reports: Kept[Report] = Kept(REPORTS_KEPT)
        self._held: OrderedDict[str, Held] = OrderedDict()
        self._lock = Lock()

    def report(self, text: str, sent: Sent) -> Report:
        """Return what recordings hold, as `stages.prove.stage.listen` says it.

        Args:
            text: of the job that they were made in.
            sent: the recordings.

        Raises:
            BadInputError: they, or what was told of them, cannot be used.
            Refusal: it took too long or too much memory, or too many are asking.

        """
        named = tuple((each.name, str(each.path)) for each in sent.files)
        task = Task(
            _heard, (text, named), {"test": sent.test, "at": sent.at, "details": dict(sent.details)}
        )
        try:
            with self._room.place():
                report: Report = self._workers.run(task)
        except Refusal as refusal:
            if refusal.code not in SPENT:
                raise
            told = "Listening took too long or too much memory; a shorter recording takes less."
            raise Refusal(422, told, code=refusal.code) from None
        return report

    def kept_report(self, text: str, sent: Sent) -> Report:
        """Return the same about recordings that do not change any more, made once."""
        key = (text, sent)
        return self._reports.get(key, lambda: self.report(text, sent), room=self._room)

    # --- What waits to be kept --------------------------------------------------------------------

    def hold(self, job_id: str, sent: Sent, report: Report) -> Held:
        """Hold recordings until they are kept or thrown away; the oldest make room."""
        held = Held(token_urlsafe(16), job_id, sent, report, time.monotonic())
        with self._lock:
            self._held[held.token] = held
            gone = list(self._too_many())
        for each in gone:
            _remove(each.sent.files)
        return held

    def held(self, job_id: str, token: str) -> Held:
        """Return recordings of a job that are held; raises Refusal."""
        with self._lock:
            gone = list(self._too_many())
            found = self._held.get(token)
        for each in gone:
            _remove(each.sent.files)
        if found is None or found.job_id != job_id:
            raise Refusal(
                404,
                "These recordings are not waiting here any more: they were thrown away, or nobody "
                "kept them in time. Send them again.",
            )
        return found

    def let_go(self, held: Held) -> None:
        """Throw recordings away."""
        with self._lock:
            self._held.pop(held.token, None)
        _remove(held.sent.files)

    def discard(self, files: Sequence[File]) -> None:
        """Take away files that were not held at all."""
        _remove(files)

    def clear(self, folder: Path) -> None:
        """Take away what a server left in a folder that ended before it could."""
        before = time.time() - STALE
        with suppress(OSError):
            for path in folder.iterdir():
                if path.stat().st_mtime < before:
                    path.unlink(missing_ok=True)

    def close(self) -> None:
        """End the workers; what nobody kept is thrown away."""
        self._workers.close()
        with self._lock:
            gone, self._held = list(self._held.values()), OrderedDict()
        for each in gone:
            _remove(each.sent.files)

    def _too_many(self) -> Iterator[Held]:
        """Take out, the oldest first, what is held for too long or is too much."""
        allowed = self._settings
        while self._held:
            oldest = next(iter(self._held.values()))
            late = time.monotonic() - oldest.since > allowed.held_seconds
            size = sum(file.size for each in self._held.values() for file in each.sent.files)
            many = len(self._held) > allowed.held_takes or size > allowed.held_bytes
            if not late and not (many and len(self._held) > 1):
                return
            del self._held[oldest.token]
            yield oldest


def _remove(files: Sequence[File]) -> None:
    for each in files:
        with suppress(OSError):
            each.path.unlink(missing_ok=True)


# --- In the worker ------------------------------------------------------------------------------


def _load() -> tuple[Any, ...]:
    """Return what listens; to import it takes time, for which no recording should wait."""
    from conewright.job.text.parsing import kept_job
    from conewright.stages.prove.stage import listen

    return kept_job, listen


def _heard(
    text: str,
    files: Sequence[tuple[str, str]],
    *,
    test: str,
    at: str,
    details: Mapping[str, str],
) -> Report:
    """Return what files hold, each by its name and where it lies."""
    from conewright.job.text.parsing import kept_job
    from conewright.stages.prove.stage import heard_in, listen

    build = kept_job(text).build()
    sounds = [heard_in(path, name=name) for name, path in files]
    return listen(*sounds, test=test or None, at=at or None, build=build, details=details)
