"""A store of an older version is brought up to date, with a backup beside it."""

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from small_texts import small_job
from sqlalchemy import Connection, create_engine, inspect, text
from sqlalchemy.engine import make_url

from conewright.store import Store, StoreError, StoreUnavailable, migrating, schema
from conewright.store.database import open_database
from conewright.store.migrating import upgrade

FOLDER = Path(migrating.__file__).parent / "migrations"
JOB = "INSERT INTO jobs (id, slug) VALUES ('ice-cream-van-k3qz', 'ice-cream-van')"
REVISION = (
    "INSERT INTO revisions (job_id, number, saved_at, who, note, deleted, about, words, text) "
    "VALUES ('ice-cream-van-k3qz', :number, :saved_at, 'Ann', 'as it was', false, :about, "
    "'ice cream van', :text)"
)
WIDER = small_job(cutout="146 mm")


def _old_store(url: str) -> None:
    """Make a store with nothing but the first migration, and a job in it."""
    opened = open_database(url)
    with opened.writing() as connection:
        upgrade(connection, "0001")
        connection.execute(text(JOB))
        for number, written in enumerate((small_job(), WIDER), start=1):
            row = {
                "number": number,
                "saved_at": datetime(2026, 3, number, 12, tzinfo=UTC),
                "about": '{"title": "Ice cream van", "channel": 1, "location": 1}',
                "text": written,
            }
            connection.execute(text(REVISION), _for(connection.dialect.name, row))
    opened.close()


def _for(dialect: str, row: dict[str, object]) -> dict[str, object]:
    moment = row["saved_at"]
    assert isinstance(moment, datetime)
    as_text = moment.strftime("%Y-%m-%d %H:%M:%S.%f")
    return {**row, "saved_at": as_text} if dialect == "sqlite" else row


def _hold_the_job(store: Store) -> None:
    job_id = store.find_by_name("ice-cream-van")
    assert job_id == "ice-cream-van-k3qz"
    assert store.get(job_id, 1).text == small_job()
    assert store.get(job_id).text == WIDER
    assert store.get(job_id).saved_at == datetime(2026, 3, 2, 12, tzinfo=UTC)
    assert store.jobs()[0].state == "1 channel, 1 location"


def _version(url: str) -> object:
    engine = create_engine(url)
    with engine.connect() as connection:
        version = connection.scalar(text(f"SELECT version_num FROM {schema.VERSION_TABLE}"))
    engine.dispose()
    return version


def test_an_older_store_is_brought_up_to_date_and_works(url: str) -> None:
    _old_store(url)
    assert _version(url) == "0001"
    with Store.open(url) as store:
        _hold_the_job(store)
        assert store.save("ice-cream-van-k3qz", small_job(), base=2, who="Ben").revision == 3
        assert store.add_device("phone", "a hash").name == "phone"
    assert _version(url) == schema.HEAD == "0004"


def test_a_device_that_was_paired_before_uses_were_noted_counts_from_now(url: str) -> None:
    opened = open_database(url)
    paired = datetime.now(UTC) - timedelta(days=200)
    row = {"saved_at": paired, "name": "phone", "hash": "hash-1"}
    with opened.writing() as connection:
        upgrade(connection, "0002")
        connection.execute(
            text(
                "INSERT INTO devices (name, token_hash, paired_at) VALUES (:name, :hash, :saved_at)"
            ),
            _for(connection.dialect.name, row),
        )
    opened.close()
    with Store.open(url) as store:
        device = store.device_by_token_hash("hash-1")
        assert device is not None
        assert device.paired_at == paired
        assert timedelta(0) <= datetime.now(UTC) - device.used_at < timedelta(days=1)


def test_a_backup_of_the_file_stands_beside_it(sqlite_url: str) -> None:
    _old_store(sqlite_url)
    file = Path(str(make_url(sqlite_url).database))
    file.chmod(0o600)
    for _ in range(2):
        Store.open(sqlite_url).close()
        assert sorted(path.name for path in file.parent.iterdir()) == [
            "jobs-backup-of-version-0001.sqlite",
            "jobs.sqlite",
        ]
    backup = file.with_name("jobs-backup-of-version-0001.sqlite")
    assert backup.stat().st_mode == file.stat().st_mode
    with closing(sqlite3.connect(backup)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        kept = connection.execute("SELECT text FROM revisions ORDER BY number").fetchall()
    assert kept == [(small_job(),), (WIDER,)]
    assert _version(f"sqlite:///{backup}") == "0001"
    # A backup put in the place of the file is a store again.
    with Store.open(f"sqlite:///{backup}") as store:
        _hold_the_job(store)


def test_a_backup_never_takes_the_place_of_an_earlier_one(sqlite_url: str) -> None:
    _old_store(sqlite_url)
    file = Path(str(make_url(sqlite_url).database))
    first = file.with_name("jobs-backup-of-version-0001.sqlite")
    first.write_bytes(b"an earlier one")
    Store.open(sqlite_url).close()
    assert first.read_bytes() == b"an earlier one"
    assert _version(f"sqlite:///{file.with_name('jobs-backup-of-version-0001-2.sqlite')}") == "0001"


def test_a_backup_of_the_tables_stands_beside_them(postgres_url: str) -> None:
    _old_store(postgres_url)
    for _ in range(2):
        Store.open(postgres_url).close()
    engine = create_engine(postgres_url)
    with engine.connect() as connection:
        found = set(inspect(connection).get_table_names())
        rows = connection.execute(
            text("SELECT text FROM revisions_backup_of_version_0001 ORDER BY number")
        )
        assert [row.text for row in rows] == [small_job(), WIDER]
    engine.dispose()
    old = {"jobs", "revisions", schema.VERSION_TABLE}
    assert found == old | {"catalogues", "devices"} | {
        f"{name}_backup_of_version_0001" for name in old
    }


def test_without_room_for_a_backup_the_store_is_left_as_it_was(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    _old_store(sqlite_url)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(shutil, "copymode", full)
        with pytest.raises(StoreUnavailable, match="no backup could be written beside it"):
            Store.open(sqlite_url)
    assert _version(sqlite_url) == "0001"
    file = Path(str(make_url(sqlite_url).database))
    assert [path.name for path in file.parent.iterdir()] == [file.name]
    with Store.open(sqlite_url) as store:
        _hold_the_job(store)


def test_a_migration_that_fails_half_way_leaves_the_store_as_it_was(
    url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    _old_store(url)

    def half_way(connection: Connection, to: str) -> None:
        upgrade(connection, to)
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(migrating, "upgrade", half_way)
        with pytest.raises(KeyboardInterrupt):
            Store.open(url)
    assert _version(url) == "0001"
    with Store.open(url) as store:
        _hold_the_job(store)


def test_a_store_of_a_newer_program_is_left_alone(url: str) -> None:
    Store.open(url).close()
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text(f"UPDATE {schema.VERSION_TABLE} SET version_num = '9000'"))
    engine.dispose()
    with pytest.raises(StoreError, match="version 9000 of the store, made by a newer Conewright"):
        Store.open(url)
    assert _version(url) == "9000"


def test_the_migrations_lead_to_the_tables_in_the_code(url: str) -> None:
    Store.open(url).close()
    engine = create_engine(url)
    with engine.connect() as connection:
        options = {"compare_type": True, "version_table": schema.VERSION_TABLE}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, schema.metadata) == []
    engine.dispose()


def test_the_last_migration_is_the_version_in_the_code() -> None:
    scripts = ScriptDirectory(str(FOLDER))
    assert scripts.get_heads() == [schema.HEAD]
    assert [each.revision for each in scripts.walk_revisions()] == ["0004", "0003", "0002", "0001"]
