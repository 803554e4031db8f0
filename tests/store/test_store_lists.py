"""Names, lists and searches."""

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from small_texts import small_job
from sqlalchemy import Connection, Engine, create_engine, event, insert, select

from conewright import demo_text
from conewright.store import NotFound, Store, schema
from conewright.store.texts import slug


@pytest.mark.parametrize(
    ("title", "short"),
    [
        ("Mobile library van: thin bass up front", "mobile-library-van"),
        ("Bücherbus, weiß (2009)", "bucherbus"),
        ("  --  ", "job"),
        ("Передвижная библиотека", "job"),
        (": thin bass", "thin-bass"),
        ("a " * 40, "-".join("a" * 15)),
        ("y" * 90, "y" * 30),
    ],
)
def test_a_short_name_is_made_from_the_title(title: str, short: str) -> None:
    assert slug(title) == short


def test_a_job_is_found_by_its_id_and_by_a_name_that_only_it_has(store: Store) -> None:
    first = store.create(small_job(), who="Ann")
    assert re.fullmatch("ice-cream-van-[a-z2-7]{4}", first.job_id)
    assert first.name == "ice-cream-van"
    assert store.find_by_name("ice-cream-van") == store.find_by_name(first.job_id) == first.job_id
    assert store.find_by_name("ice-cream") is None
    second = store.create(small_job(), who="Ann")
    assert second.name == second.job_id
    assert {each.name for each in store.jobs()} == {first.job_id, second.job_id}
    with pytest.raises(NotFound, match=rf"several jobs .* {first.job_id}") as caught:
        store.find_by_name("ice-cream-van")
    assert second.job_id in str(caught.value)
    store.delete(first.job_id, base=1, who="Ann")
    assert store.find_by_name("ice-cream-van") == second.job_id
    assert store.get(second.job_id).name == "ice-cream-van"


def test_a_name_that_is_another_jobs_id_means_the_other_job(store: Store) -> None:
    first = store.create(small_job(), who="Ann")
    second = store.create(small_job(first.job_id), who="Ann")
    assert store.find_by_name(first.job_id) == first.job_id
    assert second.name == second.job_id


def test_a_list_tells_the_newest_revision_last_saved_first(store: Store) -> None:
    van = store.create(demo_text(), who="Ann")
    other = store.create(small_job(), who="Ben")
    assert [each.job_id for each in store.jobs()] == [other.job_id, van.job_id]
    store.save(van.job_id, demo_text().replace("budget = 180", "budget = 90"), base=1, who="Cem")
    listed = store.jobs()[0]
    assert (listed.name, listed.revision, listed.who) == ("mobile-library-van", 2, "Cem")
    assert listed.title == "Mobile library van: thin bass up front, rear cuts out on warm days"
    assert listed.note == "job: budget 180 → 90"
    assert listed.state == "4 channels, 8 locations, 4 readings, 4 proposals"
    assert listed.saved_at.tzinfo is UTC
    assert store.jobs()[1].state == "1 channel, 1 location"


def test_a_search_wants_every_word_and_takes_none_for_a_pattern(store: Store) -> None:
    van = store.create(demo_text(), who="Ann")
    other = store.create(small_job("100 % Eisdiele_Nord"), who="Ann")
    assert [each.job_id for each in store.jobs(search="LIBRARY warm")] == [van.job_id]
    assert [each.job_id for each in store.jobs(search="roof lining")] == [van.job_id]
    assert [each.job_id for each in store.jobs(search="eisdiele")] == [other.job_id]
    assert [each.job_id for each in store.jobs(search="%")] == [other.job_id]
    assert [each.job_id for each in store.jobs(search="_")] == [other.job_id]
    assert [each.job_id for each in store.jobs(search=van.job_id)] == [van.job_id]
    assert len(store.jobs(search="radio")) == 2
    assert store.jobs(search="library eisdiele") == ()
    store.delete(van.job_id, base=1, who="Ann")
    assert store.jobs(search="library") == ()
    assert len(store.jobs(search="library", deleted=True)) == 1


def test_the_work_of_a_list_goes_with_the_number_of_jobs(store: Store, url: str) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        row = _row(connection, store.create(demo_text(), who="Ann").job_id)
        _add_jobs(connection, row, 0, 99)
    few = [_work(store, search, jobs=100) for search in ("", "library warm")]
    with engine.begin() as connection:
        _add_jobs(connection, row, 99, 999)
    engine.dispose()
    many = [_work(store, search, jobs=1000) for search in ("", "library warm")]
    for (statements, steps), (more_statements, more_steps) in zip(few, many, strict=True):
        # One statement for the lines, one for the names that several have; never one for each job.
        assert len(statements) == len(more_statements) == 2
        # The text of a job is a hundred times as long as its line.
        assert not any("revisions.text" in each for each in more_statements)
        # Closed form: n log n of ten times as many is 15 times as much; each with each, 100 times.
        assert more_steps <= 15 * steps
    assert {each.revision for each in store.jobs()} == {1, 3}


def _row(connection: Connection, job_id: str) -> dict[str, Any]:
    """Return what a revision of the demo holds beside its place in the store."""
    columns = schema.revisions.c
    wanted = select(columns.about, columns.words).where(columns.job_id == job_id)
    about, words = connection.execute(wanted).one()
    row = {"saved_at": datetime.now(UTC), "who": "Ann", "note": "x" * 80, "deleted": False}
    return row | {"about": about, "words": words, "text": demo_text()}


def _add_jobs(connection: Connection, row: dict[str, Any], first: int, end: int) -> None:
    names = [f"van-{number:04d}" for number in range(first, end)]
    connection.execute(insert(schema.jobs), [{"id": name, "slug": name} for name in names])
    rows = [row | {"job_id": name, "number": n} for name in names for n in (1, 2, 3)]
    connection.execute(insert(schema.revisions), rows)


def _work(store: Store, search: str, *, jobs: int) -> tuple[list[str], int]:
    """List a store; return the statements sent and, of SQLite, its hundreds of machine steps."""
    statements: list[str] = []
    steps = [0]

    def sent(connection: Connection, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.startswith("SELECT"):
            statements.append(statement)
        if connection.dialect.name == "sqlite":
            driver: Any = connection.connection.dbapi_connection
            driver.set_progress_handler(lambda: steps.__setitem__(0, steps[0] + 1), 100)

    event.listen(Engine, "before_cursor_execute", sent)
    try:
        assert len(store.jobs(search=search)) == jobs
    finally:
        event.remove(Engine, "before_cursor_execute", sent)
    return statements, steps[0]
