"""A damaged database gives our own errors or whole answers, whatever was done to it."""

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from damage import KINDS, damaged, made_in, question
from small_texts import small_job

from conewright.store import Conflict, NotFound, Store, StoreError, StoreUnavailable

# Those from 1000 on once came through as errors of alembic, of sqlite3's own text and of rows.
SEEDS = [*range(12), 1236, 1024, 3378, 3387, 3426, 3498]
# Seven of the store and nine of each job, but those that a deleted one (2) and one that there is
# not (8) are rightly refused.
ALL = 7 + 3 * 9 - 2 - 8


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return made_in(tmp_path_factory.mktemp("sound") / "jobs.sqlite")


@pytest.fixture(scope="module")
def sound_and_old(sound: bytes, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give the same database as the first version had it, which has to be brought up to date."""
    file = tmp_path_factory.mktemp("old") / "jobs.sqlite"
    file.write_bytes(sound)
    _do(
        file,
        *("DROP TABLE devices", "DROP TABLE catalogues"),
        "UPDATE conewright_version SET version_num = '0001'",
        "VACUUM",
    )
    return file.read_bytes()


def _do(file: Path, *statements: str) -> None:
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


def test_a_sound_database_answers_every_question(sound: bytes, tmp_path: Path) -> None:
    file = tmp_path / "jobs.sqlite"
    file.write_bytes(sound)
    assert question(file) == ALL


@pytest.mark.parametrize("old", [False, True], ids=["today's", "old"])
@pytest.mark.parametrize("kind", KINDS)
def test_whatever_bytes_are_damaged(
    sound: bytes, sound_and_old: bytes, tmp_path: Path, kind: str, old: bool
) -> None:
    answered = []
    for seed in SEEDS:
        file = tmp_path / f"{seed}.sqlite"
        content = sound_and_old if old else sound
        file.write_bytes(damaged(content, kind, random.Random(seed)))
        answered.append(question(file))
    # Some damage is told, some hits what nobody asks for.
    assert min(answered) < ALL
    assert max(answered) > 0


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE revisions SET saved_at = 'never'",
        "UPDATE revisions SET saved_at = 12",
        "UPDATE revisions SET saved_at = '0000-13-45 99:00:00.000000'",
        "UPDATE revisions SET who = x'ff'",
        "UPDATE revisions SET note = CAST(x'c5ff' AS TEXT)",
        "UPDATE revisions SET about = '{'",
        "UPDATE revisions SET about = 'null'",
        "UPDATE revisions SET about = '[]'",
        "UPDATE revisions SET about = 7",
        """UPDATE revisions SET about = '{"channel": "x"}'""",
        """UPDATE revisions SET about = '{"channel": 1e999}'""",
        """UPDATE revisions SET about = '{"channel": []}'""",
        "UPDATE revisions SET number = 'two' WHERE number = 2",
        "UPDATE revisions SET text = x'00'",
        "UPDATE revisions SET text = zeroblob(1000)",
        "UPDATE jobs SET slug = x'ff'",
        "DROP TABLE revisions",
        "DROP TABLE devices",
        "DROP TABLE jobs",
        "DELETE FROM jobs",
        "ALTER TABLE revisions RENAME COLUMN note TO remark",
        "DELETE FROM conewright_version",
        "INSERT INTO conewright_version VALUES ('0001')",
        "UPDATE conewright_version SET version_num = 'x'",
        "UPDATE conewright_version SET version_num = '0000'",
        "UPDATE conewright_version SET version_num = '0001'",
        "UPDATE conewright_version SET version_num = '9999'",
        "UPDATE conewright_version SET version_num = CAST(x'ff' AS TEXT)",
    ],
)
def test_whatever_was_put_there(sound: bytes, tmp_path: Path, statement: str) -> None:
    file = tmp_path / "jobs.sqlite"
    file.write_bytes(sound)
    _do(file, statement)
    assert question(file) < ALL


@pytest.mark.parametrize("column", ["saved_at", "who", "note", "deleted", "about", "text"])
def test_nothing_where_something_must_be(sound: bytes, tmp_path: Path, column: str) -> None:
    file = tmp_path / "jobs.sqlite"
    file.write_bytes(sound)
    _do(
        file,
        "PRAGMA writable_schema = ON",
        "UPDATE sqlite_master SET sql = replace(sql, 'NOT NULL', '') WHERE name = 'revisions'",
    )
    _do(file, f"UPDATE revisions SET {column} = NULL")
    with closing(sqlite3.connect(file)) as connection:
        (job_id,) = connection.execute("SELECT id FROM jobs").fetchone()
    with Store.open(f"sqlite:///{file}") as store, pytest.raises(StoreUnavailable, match="damaged"):
        # Lists are read without the text, a job without what is kept beside it.
        _hold_read(store, job_id)
    assert question(file) < ALL


def _hold_read(store: Store, job_id: str) -> None:
    store.jobs()
    store.get(job_id, 1)


def test_a_table_whose_plan_is_spoilt(sound: bytes, tmp_path: Path) -> None:
    file = tmp_path / "jobs.sqlite"
    file.write_bytes(sound)
    _do(
        file,
        "PRAGMA writable_schema = ON",
        "UPDATE sqlite_master SET sql = 'CREATE TABLE revisions (' WHERE name = 'revisions'",
    )
    with pytest.raises(StoreUnavailable, match="damaged"):
        Store.open(f"sqlite:///{file}")


def test_a_clash_where_nobody_came_between_is_no_conflict(tmp_path: Path) -> None:
    file = tmp_path / "jobs.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        job_id = store.create(small_job(), who="Ann").job_id
        _do(
            file,
            "CREATE TRIGGER torn BEFORE INSERT ON revisions "
            "BEGIN SELECT RAISE(ABORT, 'UNIQUE constraint failed: revisions.job_id'); END",
        )
        with pytest.raises(StoreError) as caught:
            store.save(job_id, small_job("New"), base=1, who="Bob")
        assert not isinstance(caught.value, Conflict)
        assert "damaged" in str(caught.value)


@pytest.mark.parametrize("number", [-1, 0, 2**31, 2**63, 10**30])
def test_a_number_beyond_what_is_counted_is_found_nowhere(store: Store, number: int) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    with pytest.raises(NotFound, match="found no revision"):
        store.get(job_id, number)
    with pytest.raises(NotFound, match="found no revision"):
        store.save(job_id, small_job("New"), base=number, who="Ann")
    with pytest.raises(NotFound, match=f"device {number}"):
        store.revoke_device(number)


@pytest.mark.parametrize("name", ["\udcff", "a\0b"])
def test_a_name_that_is_no_text_is_found_nowhere(store: Store, name: str) -> None:
    assert store.find_by_name(name) is None
