"""Clients of a store in processes of their own, for tests that kill them or let them race.

The processes are forked from one that has imported the store already, so that many can be started.
"""

from __future__ import annotations

import random
import time
from hashlib import sha256
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from typing import TYPE_CHECKING

from conewright.store import Conflict, Saved, Store

if TYPE_CHECKING:
    from multiprocessing.synchronize import Barrier

__all__ = ["add_marks", "digest", "keep_saving", "nursery", "open_and_leave"]

# Without the first, each client would import the test runner for itself.
PRELOADED = [
    "pytest",
    "conewright.store",
    "alembic.command",
    "sqlalchemy.dialects.sqlite.pysqlite",
    "sqlalchemy.dialects.postgresql.psycopg",
    "psycopg",
]


def nursery() -> ForkServerContext:
    """Return what starts clients."""
    context = get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    return context


def digest(text: str) -> str:
    """Return a fingerprint of a text."""
    return sha256(text.encode()).hexdigest()


def keep_saving(url: str, job_id: str, acknowledged: Connection) -> None:
    """Save again and again, telling number and fingerprint of each revision once it is kept."""
    with Store.open(url) as store:
        saved = store.get(job_id)
        while True:
            text = f"{saved.text}# after revision {saved.revision}\n"
            saved = store.save(job_id, text, base=saved.revision, who="client", note="one more")
            acknowledged.send((saved.revision, digest(text)))


def add_marks(url: str, job_id: str, name: str, marks: int, start: Barrier) -> None:
    """Add lines to a job that others add lines to as well."""
    with Store.open(url) as store:
        start.wait()
        for number in range(marks):
            _add(store, job_id, f"# {name}-{number}\n", who=name)


def open_and_leave(url: str, start: Barrier) -> None:
    """Open a store that others open at the same moment."""
    start.wait()
    Store.open(url).close()


def _add(store: Store, job_id: str, line: str, *, who: str) -> None:
    """Save a job with a line more, on top of whatever others saved meanwhile."""
    saved = store.get(job_id)
    while True:
        try:
            store.save(job_id, saved.text + line, base=saved.revision, who=who, note=line)
        except Conflict as conflict:
            saved = _theirs(conflict, than=saved)
            time.sleep(random.uniform(0.0, 0.05))
        else:
            return


def _theirs(conflict: Conflict, *, than: Saved) -> Saved:
    assert conflict.theirs.revision > than.revision
    assert conflict.mine is not None
    return conflict.theirs
