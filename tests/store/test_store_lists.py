"""Names, lists and searches."""

import re
import time
from datetime import UTC, datetime

import pytest
from small_texts import small_job
from sqlalchemy import create_engine, insert, text

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


def test_a_thousand_jobs_are_listed_within_a_tenth_of_a_second(store: Store, url: str) -> None:
    saved = store.create(demo_text(), who="Ann")
    engine = create_engine(url)
    with engine.begin() as connection:
        about, words = connection.execute(text("SELECT about, words FROM revisions")).one()
        row = {"saved_at": datetime.now(UTC), "who": "Ann", "note": "x" * 80, "deleted": False}
        row |= {"about": _plain(about), "words": words, "text": demo_text()}
        names = [f"van-{number:04d}" for number in range(999)]
        connection.execute(insert(schema.jobs), [{"id": name, "slug": name} for name in names])
        rows = [row | {"job_id": name, "number": n} for name in names for n in (1, 2, 3)]
        connection.execute(insert(schema.revisions), rows)
    engine.dispose()
    listed = store.jobs()
    assert len(listed) == 1000
    assert {each.revision for each in listed if each.job_id != saved.job_id} == {3}
    assert min(_seconds(store, "") for _ in range(5)) < 0.1
    assert min(_seconds(store, "library warm") for _ in range(5)) < 0.1


def _plain(about: object) -> object:
    import json

    return json.loads(about) if isinstance(about, str) else about


def _seconds(store: Store, search: str) -> float:
    start = time.perf_counter()
    assert len(store.jobs(search=search)) == 1000
    return time.perf_counter() - start
