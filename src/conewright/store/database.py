"""The database behind the store: where it is, how it is opened, what its troubles mean in words."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    ColumnElement,
    Connection,
    Engine,
    Row,
    Select,
    UpdateBase,
    create_engine,
    event,
    exc,
)
from sqlalchemy.engine import URL, make_url

from conewright.store.errors import Clash, StoreError, StoreUnavailable
from conewright.store.schema import UtcTime
from conewright.store.texts import one_line

__all__ = [
    "VARIABLE",
    "Database",
    "Unreadable",
    "make_private",
    "open_database",
    "row_of",
    "rows_of",
    "store_is_there",
    "store_url",
]

VARIABLE = "CONEWRIGHT_STORE"
ALLOWED = "allowed are sqlite:///jobs.sqlite, postgresql://user@host/name, or nothing"
PATIENCE = 5.0
"""Seconds to wait for whoever writes just now."""
SAFE = "What was saved before is safe"


@dataclass(frozen=True, slots=True)
class Database:
    """An open database, and how it is called in a message."""

    engine: Engine
    place: str

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database; raises StoreUnavailable."""
        with self._in_words(), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose work is kept at the end, all of it or none.

        Raises:
            StoreUnavailable: the work could not be kept; nothing of it was.

        """
        writer = self.engine.execution_options(conewright_writes=True)
        with self._in_words(), writer.begin() as connection:
            yield connection

    def close(self) -> None:
        """Close every connection that is not in use."""
        self.engine.dispose()

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except exc.IntegrityError as error:
            raise Clash(f"{self.place}: {_REASONS['malformed']}") from error
        except exc.TimeoutError as error:
            raise StoreUnavailable(f"{self.place}: too many at once; try again") from error
        except exc.DBAPIError as error:
            raise StoreUnavailable(f"{self.place}: {_reason(error)}") from error
        except (Unreadable, UnicodeDecodeError) as error:
            # Even what SQLite says of damage may quote bytes that are no text.
            raise StoreUnavailable(f"{self.place}: {_REASONS['malformed']}") from error


class Unreadable(Exception):
    """What stands in the database was not put there by us; said in words where it is opened."""


def rows_of(connection: Connection, wanted: Select[Any] | UpdateBase) -> Sequence[Row[Any]]:
    """Return all rows of an answer, each value of its column's kind; raises Unreadable."""
    try:
        rows = connection.execute(wanted).all()
    except (ArithmeticError, LookupError, MemoryError, TypeError, ValueError) as error:
        # A day that never was, text that is no JSON, a length beyond all bounds.
        raise Unreadable from error
    kinds = [_kinds(column) for column in wanted.exported_columns]
    if any(type(value) not in kind for row in rows for value, kind in zip(row, kinds, strict=True)):
        raise Unreadable
    return rows


def row_of(connection: Connection, wanted: Select[Any] | UpdateBase) -> Row[Any] | None:
    """Return the only row of an answer, None where there is none; raises Unreadable."""
    rows = rows_of(connection, wanted)
    if len(rows) > 1:
        raise Unreadable
    return rows[0] if rows else None


def store_url(url: str | None = None, *, make_folder: bool = True) -> URL:
    """Return where the store is: as given, as CONEWRIGHT_STORE says, or one file of one's own.

    Raises:
        StoreError: the text is no address of a database, or one that would keep nothing.

    """
    named = url or os.environ.get(VARIABLE)
    if not named:
        return URL.create("sqlite", database=str(_default_file(make_folder=make_folder)))
    try:
        found = make_url(named)
    except exc.ArgumentError:
        # Not quoted: it may hold a password.
        raise StoreError(f"{VARIABLE}: found no address of a database; {ALLOWED}") from None
    if found.drivername in {"postgresql", "postgres"}:
        return found.set(drivername="postgresql+psycopg")
    if found.get_backend_name() == "sqlite" and _in_memory(found):
        raise StoreError(f"{VARIABLE}: found a database in memory, which keeps nothing; {ALLOWED}")
    return found


def open_database(url: str | None = None) -> Database:
    """Open a database without looking into it.

    Raises:
        StoreError: there is no such kind of database, or its driver is not installed.

    """
    address = store_url(url)
    sqlite = address.get_backend_name() == "sqlite"
    if sqlite and not address.query:
        make_private(Path(address.database or ""))
    try:
        engine = create_engine(address, pool_pre_ping=not sqlite)
    except (exc.ArgumentError, ImportError) as error:
        # Both name the kind of database or the module, never the whole address.
        advice = "; the driver comes with pip install 'conewright[postgres]'"
        raise StoreError(f"{VARIABLE}: {error}{advice if _lacks_driver(error) else ''}") from None
    if sqlite:
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    # Without anything that could be a password.
    shown = address.set(query={}).render_as_string(hide_password=True)
    return Database(engine, address.database or shown if sqlite else shown)


def store_is_there(url: str | None = None) -> bool:
    """Whether there may be a store to look into; opening one that is not there would make it."""
    address = store_url(url, make_folder=False)
    plain_file = address.get_backend_name() == "sqlite" and not address.query
    return not plain_file or Path(address.database or "").exists()


def _kinds(column: ColumnElement[Any]) -> set[type]:
    """Return what a value of a column may be."""
    kind = column.type.impl_instance if isinstance(column.type, UtcTime) else column.type
    # Any JSON could stand in such a column; ours are tables.
    value = dict if isinstance(kind, JSON) else kind.python_type
    empty = isinstance(column, Column) and column.nullable
    return {value, type(None)} if empty else {value}


def _default_file(*, make_folder: bool) -> Path:
    from platformdirs import user_data_path

    folder = user_data_path("conewright", appauthor=False)
    try:
        # Customers' names may be in there: for the owner's eyes alone.
        if make_folder:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise StoreUnavailable(
            f"{folder}: the folder for kept jobs cannot be made ({error.strerror}); "
            f"{VARIABLE} can name another place"
        ) from error
    return folder / "jobs.sqlite"


def make_private(file: Path) -> None:
    """Make a file for the owner's eyes alone, where there is none; its log is kept likewise."""
    # What keeps it from being made keeps it from being opened, and is told then.
    with suppress(OSError):
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _in_memory(url: URL) -> bool:
    return url.database in {None, "", ":memory:"} or "mode=memory" in str(url)


def _lacks_driver(error: Exception) -> bool:
    return isinstance(error, ImportError) and "psycopg" in str(error)


def _prepare_sqlite(connection: Any, _: object) -> None:
    """Set up a new connection to SQLite."""
    # Transactions are begun by us: the driver would begin them too late, and as readers.
    connection.isolation_level = None
    connection.execute(f"PRAGMA busy_timeout = {PATIENCE * 1000:.0f}")
    connection.execute("PRAGMA foreign_keys = ON")
    # What was acknowledged must outlast a cut of the mains as well.
    connection.execute("PRAGMA synchronous = FULL")
    _keep_a_log(connection)


def _keep_a_log(connection: Any) -> None:
    """Let readers and a writer work at the same time (WAL); the file remembers it."""
    deadline = time.monotonic() + PATIENCE
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except Exception as error:
            # The change of mode does not wait for others by itself.
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its turn at once: one that has read first would be refused without waiting.
    writes = connection.get_execution_options().get("conewright_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


_REASONS = {
    "is full": f"the disk is full, so this was not saved. {SAFE}; make room and save again",
    "readonly": f"it can be read but not written, so this was not saved. {SAFE}; see who may "
    "write to the file and its folder",
    "is locked": f"somebody else kept writing for {PATIENCE:g} s, so this was not done. {SAFE}; "
    "try again",
    "unable to open": "it cannot be opened; see that the folder is there and that you may write "
    "in it",
    "disk i/o error": f"the disk would not read or write, so this was not done. {SAFE}; see "
    "whether the disk is full or failing",
    "not a database": "the file is something else than kept jobs; it was left as it is",
    "malformed": "the file is damaged; it was left as it is. Copy it away, then put a backup in "
    "its place",
}
# From the table of error codes in PostgreSQL's manual.
_SQLSTATES = {
    "53100": _REASONS["is full"],
    "25006": _REASONS["readonly"],
    "42501": _REASONS["readonly"],
}


def _reason(error: exc.DBAPIError) -> str:
    """Return what keeps the database from working, in words."""
    state = getattr(error.orig, "sqlstate", None)
    if state in _SQLSTATES:
        return _SQLSTATES[state]
    said = one_line(str(error.orig))
    known = (words for mark, words in _REASONS.items() if mark in said.lower())
    return next(known, f"the database does not answer as it should ({said}). {SAFE}")
