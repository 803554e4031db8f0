"""From a store of any older version to today's, with a backup beside it first."""

from __future__ import annotations

import os
import shutil
import sqlite3
import threading
from contextlib import closing, suppress
from itertools import count
from pathlib import Path

from sqlalchemy import Connection, String, column, inspect, select, table, text

from conewright.store.database import Database, Unreadable, make_private, row_of
from conewright.store.errors import StoreError, StoreUnavailable
from conewright.store.schema import HEAD, VERSION_TABLE

__all__ = ["migrate", "upgrade"]

# Any number will do, as long as nothing else of ours takes the same.
LOCK = 0xC04E
OURS = {"jobs", "revisions"}

_ALONE = threading.Lock()
"""alembic keeps the connection that it works on in one place for all threads."""


def migrate(database: Database) -> None:
    """Bring a store to today's version; what was there before is copied first.

    Raises:
        StoreError: it was made by a newer program, or holds something else.
        StoreUnavailable: the copy or the new version cannot be written; all is as before.

    """
    with database.reading() as connection:
        if _version(connection) == HEAD:
            return
    with database.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(select(text(f"pg_advisory_xact_lock({LOCK})")))
        # Asked again, now that nobody else can migrate it meanwhile.
        found = _version(connection)
        if found == HEAD:
            return
        _refuse_strangers(connection, found, database.place)
        if found is not None:
            _back_up(connection, found, database.place)
        upgrade(connection, HEAD)


def upgrade(connection: Connection, to: str) -> None:
    """Run the migrations up to a version, inside the connection's transaction.

    Raises Unreadable where the tables are not those of the version they say they are.
    """
    # Slow to import, and only wanted where a store is new or old.
    from alembic import command
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    folder = str(Path(__file__).parent / "migrations")
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    try:
        with _ALONE:
            command.upgrade(config, to)
    except CommandError as error:
        raise Unreadable from error


def _version(connection: Connection) -> str | None:
    """Return the version of the tables that are there, None where there are none.

    Raises Unreadable where that is no version.
    """
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    wanted = select(column("version_num", String)).select_from(table(VERSION_TABLE))
    found = row_of(connection, wanted)
    if found is None:
        return None
    version = str(found.version_num)
    if len(version) != len(HEAD) or not version.isdecimal() or int(version) == 0:
        raise Unreadable
    return version


def _refuse_strangers(connection: Connection, version: str | None, place: str) -> None:
    """Raise StoreError where a migration would step on something."""
    if version is None and OURS & set(inspect(connection).get_table_names()):
        raise StoreError(f"{place}: found tables of another program; give a database of its own")
    if version is not None and version > HEAD:
        raise StoreError(
            f"{place}: found version {version} of the store, made by a newer Conewright; "
            f"this one knows {HEAD} at most, so bring it up to date"
        )


def _back_up(connection: Connection, version: str, place: str) -> None:
    if connection.dialect.name == "sqlite":
        _copy_file(connection, version, place)
    else:
        _copy_tables(connection, version)


def _copy_file(connection: Connection, version: str, place: str) -> None:
    """Copy the database into a new file beside it, whole or not at all."""
    source = Path(str(connection.exec_driver_sql("PRAGMA database_list").one()[2]))
    unfinished = source.with_name(f"{source.name}.unfinished-backup")
    try:
        make_private(unfinished)
        # A second connection, since one that holds the turn to write cannot be copied from.
        with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(unfinished)) as copy:
            old.backup(copy)
        shutil.copymode(source, unfinished)
        os.replace(unfinished, _free_name(source, version))
    except (OSError, sqlite3.Error) as error:
        raise StoreUnavailable(
            f"{place}: no backup could be written beside it ({error}), so it was left at version "
            f"{version}; make room there and start again"
        ) from error
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)


def _free_name(source: Path, version: str) -> Path:
    stem = f"{source.stem}-backup-of-version-{version}"
    names = (f"{stem}{'' if number == 1 else f'-{number}'}{source.suffix}" for number in count(1))
    return next(path for name in names if not (path := source.with_name(name)).exists())


def _copy_tables(connection: Connection, version: str) -> None:
    """Copy every table into one beside it, in the same database."""
    quote = connection.dialect.identifier_preparer.quote
    existing = set(inspect(connection).get_table_names())
    for name in sorted(existing - {each for each in existing if "_backup_of_version_" in each}):
        copy = f"{name}_backup_of_version_{version}"
        if copy not in existing:
            connection.execute(text(f"CREATE TABLE {quote(copy)} AS TABLE {quote(name)}"))
