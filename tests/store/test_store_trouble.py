"""Full disks, read-only places, other people's files: said in words, and nothing is lost."""

import os
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from small_texts import small_job
from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.engine import make_url

from conewright.store import Store, StoreError, StoreUnavailable, database

LONG = small_job() + "# " + "x" * 50_000 + "\n"
NOBODY = 65534


def _fill(store: Store, job_id: str) -> int:
    """Save a long text until the disk is full; return how many were kept."""
    with pytest.raises(StoreUnavailable, match="the disk is full, so this was not saved") as caught:
        _keep_saving(store, job_id)
    assert "What was saved before is safe" in str(caught.value)
    assert store.place in str(caught.value)
    return len(store.revisions(job_id))


def _keep_saving(store: Store, job_id: str) -> None:
    for base in range(store.get(job_id).revision, 200):
        store.save(job_id, LONG, base=base, who="Ann", note="long")


def _hold_intact(store: Store, job_id: str, kept: int) -> None:
    assert [each.revision for each in store.revisions(job_id)] == list(range(kept, 0, -1))
    assert store.get(job_id, 1).text == small_job()
    assert all(store.get(job_id, number).text == LONG for number in range(2, kept + 1))


# --- Full ---------------------------------------------------------------------------------------


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of 1 MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a disk of 1 MB can be mounted by root only")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_keeps_what_there_is_on_sqlite(tiny_disk: Path) -> None:
    file = tiny_disk / "jobs.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        job_id = store.create(small_job(), who="Ann").job_id
        kept = _fill(store, job_id)
        _hold_intact(store, job_id, kept)
    subprocess.run(["mount", "-o", "remount,size=4m", str(tiny_disk)], check=True)
    with Store.open(f"sqlite:///{file}") as store:
        _hold_intact(store, job_id, kept)
        store.save(job_id, LONG, base=kept, who="Ann")
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


@contextmanager
def _pages(most: int) -> Iterator[None]:
    """Let no SQLite file grow beyond so many pages."""

    def limit(connection: sqlite3.Connection, _: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {most}")

    event.listen(Engine, "connect", limit)
    try:
        yield
    finally:
        event.remove(Engine, "connect", limit)


def test_a_file_that_may_not_grow_keeps_what_there_is_on_sqlite(sqlite_url: str) -> None:
    with _pages(120), Store.open(sqlite_url) as store:
        job_id = store.create(small_job(), who="Ann").job_id
        kept = _fill(store, job_id)
        assert kept > 2
        _hold_intact(store, job_id, kept)
    with Store.open(sqlite_url) as store:
        _hold_intact(store, job_id, kept)
        store.save(job_id, LONG, base=kept, who="Ann")


def test_a_full_disk_keeps_what_there_is_on_postgresql_that_says_so(postgres_url: str) -> None:
    # The server's disk cannot be filled here: a trigger gives its error for a full one (53100).
    with Store.open(postgres_url) as store:
        job_id = store.create(small_job(), who="Ann").job_id
        store.save(job_id, LONG, base=1, who="Ann")
        _run(
            postgres_url,
            "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'No space left on device' USING ERRCODE = '53100'; END $$",
            "CREATE TRIGGER full_disk BEFORE INSERT ON revisions EXECUTE FUNCTION full_disk()",
        )
        assert _fill(store, job_id) == 2
        _hold_intact(store, job_id, 2)
        _run(postgres_url, "DROP TRIGGER full_disk ON revisions")
        assert store.save(job_id, LONG, base=2, who="Ann").revision == 3


def _run(url: str, *statements: str) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        for statement in statements:
            connection.execute(text(statement))
    engine.dispose()


# --- Read-only ----------------------------------------------------------------------------------


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Give a folder that anybody may look into; those of pytest are for their owner alone."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        yield folder
        folder.chmod(0o777)


@contextmanager
def _as_anybody() -> Iterator[None]:
    """Be somebody whom permissions bind, also where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_read_only_folder_is_said_and_loses_nothing_on_sqlite(open_folder: Path) -> None:
    file = open_folder / "jobs.sqlite"
    url = f"sqlite:///{file}"
    with _as_anybody():
        with Store.open(url) as store:
            job_id = store.create(small_job(), who="Ann").job_id
        file.chmod(0o444)
    before = file.read_bytes()
    open_folder.chmod(0o555)
    with _as_anybody(), pytest.raises(StoreUnavailable) as caught, Store.open(url) as store:
        store.create(small_job(), who="Ann")
    assert str(file) in str(caught.value)
    assert "see who may write to the file and its folder" in str(caught.value)
    open_folder.chmod(0o777)
    assert file.read_bytes() == before
    assert os.listdir(open_folder) == [file.name]
    with Store.open(url) as store:
        assert store.get(job_id).text == small_job()


def test_a_store_cannot_be_made_in_a_read_only_folder(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    file = open_folder / "jobs.sqlite"
    with _as_anybody(), pytest.raises(StoreUnavailable, match="that you may write in it"):
        Store.open(f"sqlite:///{file}")
    assert os.listdir(open_folder) == []


def test_a_read_only_data_folder_is_said(
    open_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(database.VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(open_folder))
    open_folder.chmod(0o555)
    with _as_anybody(), pytest.raises(StoreUnavailable, match="the folder for kept jobs cannot be"):
        Store.open()


def _read_only(url: str) -> str:
    """Return the address of the same database, opened for reading only."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        return f"sqlite:///file:{address.database}?mode=ro&uri=true"
    options = f"{address.query['options']} -cdefault_transaction_read_only=on"
    read_only = address.update_query_dict({"options": options})
    return read_only.render_as_string(hide_password=False)


def test_a_store_that_can_only_be_read_is_read_and_says_so(store: Store, url: str) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    with Store.open(_read_only(url)) as reader:
        assert reader.get(job_id).text == small_job()
        assert len(reader.jobs()) == 1
        with pytest.raises(StoreUnavailable, match="can be read but not written, so this was not"):
            reader.save(job_id, LONG, base=1, who="Ann")
        with pytest.raises(StoreUnavailable, match="can be read but not written"):
            reader.create(LONG, who="Ann")
    assert store.get(job_id).revision == 1
    assert len(store.jobs()) == 1


# --- Busy, gone, or something else --------------------------------------------------------------


def test_a_store_that_somebody_keeps_writing_to_is_said(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "PATIENCE", 0.1)
    file = str(make_url(sqlite_url).database)
    with Store.open(sqlite_url) as store, closing(sqlite3.connect(file)) as other:
        job_id = store.create(small_job(), who="Ann").job_id
        other.execute("BEGIN IMMEDIATE")
        assert store.get(job_id).revision == 1
        with pytest.raises(StoreUnavailable, match="somebody else kept writing"):
            store.save(job_id, LONG, base=1, who="Ann")
        other.rollback()
        assert store.save(job_id, LONG, base=1, who="Ann").revision == 2


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable, match="see that the folder is there"):
        Store.open(f"sqlite:///{tmp_path / 'none' / 'jobs.sqlite'}")


def test_a_file_that_is_something_else_is_left_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "jobs.sqlite"
    file.write_bytes(b"a letter to the customer " * 100)
    with pytest.raises(StoreUnavailable, match="something else than kept jobs; it was left as"):
        Store.open(f"sqlite:///{file}")
    assert file.read_bytes() == b"a letter to the customer " * 100


def test_a_database_that_cannot_be_reached_is_said_without_its_password(tmp_path: Path) -> None:
    query = f"host={tmp_path}&password=secret2&connect_timeout=2"
    with pytest.raises(StoreUnavailable, match="does not answer") as caught:
        Store.open(f"postgresql://ann:secret@/jobs?{query}")
    assert "secret" not in str(caught.value)
    assert "ann:***@/jobs" in str(caught.value)


def test_the_tables_of_another_program_are_left_alone(url: str) -> None:
    _run(url, "CREATE TABLE jobs (printer TEXT)")
    with pytest.raises(StoreError, match="tables of another program"):
        Store.open(url)
    _run(url, "INSERT INTO jobs VALUES ('laser')")
