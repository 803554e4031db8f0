"""Every change is a new revision; nothing that was kept is ever overwritten or deleted."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from small_texts import OTHER_LAYOUT, small_job
from sqlalchemy import create_engine, text

from conewright import JobError, demo_text
from conewright.job.text.parsing import LARGEST_FILE
from conewright.store import Conflict, NotFound, Store

WIDER = small_job(cutout="146 mm")


@pytest.mark.parametrize(
    "written",
    [
        demo_text(),
        OTHER_LAYOUT.format(title="Wohnmobil", cutout="122 mm"),
        # TOML may escape what no database takes as it is.
        small_job("nothing\\u0000 to see"),
        small_job().rstrip("\n"),
    ],
    ids=["demo", "marked and of another system", "escapes", "no end of line"],
)
def test_a_text_comes_back_byte_for_byte(store: Store, written: str) -> None:
    saved = store.create(written, who="Ann")
    again = store.get(saved.job_id)
    assert again == saved
    assert again.text.encode() == written.encode()
    assert again.job.head_unit.name


def test_a_revision_says_who_when_and_what(store: Store) -> None:
    before = datetime.now(UTC)
    first = store.create(small_job(), who="Ann")
    second = store.save(first.job_id, WIDER, base=1, who="Ben")
    assert (first.revision, first.who, first.note) == (1, "Ann", "created")
    assert (second.revision, second.who) == (2, "Ben")
    assert second.note == "front left door: cut-out 122 mm → 146 mm"
    assert second.saved_at.tzinfo is UTC
    assert before <= first.saved_at <= second.saved_at <= datetime.now(UTC)
    assert second.etag == f'"{first.job_id}-2"'
    told = [(each.revision, each.who, each.note) for each in store.revisions(first.job_id)]
    assert told == [(2, "Ben", second.note), (1, "Ann", "created")]


def test_a_note_and_a_name_are_one_line(store: Store) -> None:
    saved = store.create(small_job(), who=" \n", note="put\nin\x00 by hand")
    assert (saved.who, saved.note) == ("somebody", "put in by hand")
    same = store.save(saved.job_id, small_job(), base=1, who="Ann")
    assert (same.revision, same.note) == (2, "nothing changed")


def test_nothing_is_overwritten_whatever_is_done(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    texts = [small_job(), WIDER]
    store.save(job_id, WIDER, base=1, who="Ann")
    store.restore(job_id, 1, base=2, who="Ann")
    store.delete(job_id, base=3, who="Ann")
    store.undelete(job_id, base=4, who="Ann")
    kept = [store.get(job_id, number).text for number in range(1, 6)]
    assert kept == [*texts, small_job(), small_job(), small_job()]
    assert len(store.revisions(job_id)) == 5


def test_a_restored_revision_is_a_new_one(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    store.save(job_id, WIDER, base=1, who="Ben")
    back = store.restore(job_id, 1, base=2, who="Cem")
    assert (back.revision, back.who, back.text) == (3, "Cem", small_job())
    assert back.note.startswith("restored revision 1 of ")
    assert store.get(job_id) == back


def test_what_todays_rules_refuse_can_still_be_read_compared_and_restored(
    store: Store, url: str
) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    refused = small_job(cutout="122 miles")
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE revisions SET text = :text"), {"text": refused})
    engine.dispose()
    store.save(job_id, WIDER, base=1, who="Ann")
    assert store.revisions(job_id)[0].note == "front left door: cut-out 122 miles → 146 mm"
    back = store.restore(job_id, 1, base=2, who="Ann")
    assert back.text == refused
    with pytest.raises(JobError, match="122 miles"):
        _ = back.job
    with pytest.raises(Conflict, match="cut-out 122 miles → 146 mm"):
        store.save(job_id, WIDER, base=1, who="Ben")


# --- Conflicts ----------------------------------------------------------------------------------


def test_a_save_from_an_old_revision_shows_both_sides_and_loses_neither(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    theirs = store.save(job_id, WIDER, base=1, who="Ben")
    mine = small_job("Ice cream van, red")
    with pytest.raises(Conflict) as caught:
        store.save(job_id, mine, base=1, who="Ann")
    assert caught.value.base == 1
    assert caught.value.mine == mine
    assert caught.value.theirs == theirs
    assert caught.value.my_changes == ("job: title Ice cream van → Ice cream van, red",)
    assert caught.value.their_changes == ("front left door: cut-out 122 mm → 146 mm",)
    for said in (job_id, "Ben", "revision 2", "revision 1", "146 mm", "Ice cream van, red"):
        assert said in str(caught.value)
    assert store.get(job_id) == theirs
    # Having seen theirs, mine can be saved on top.
    assert store.save(job_id, mine, base=2, who="Ann").revision == 3


@pytest.mark.parametrize(
    "change",
    [
        lambda store, job_id: store.restore(job_id, 1, base=1, who="Ann"),
        lambda store, job_id: store.delete(job_id, base=1, who="Ann"),
        lambda store, job_id: store.undelete(job_id, base=1, who="Ann"),
    ],
    ids=["restore", "delete", "undelete"],
)
def test_every_change_from_an_old_revision_is_a_conflict(
    store: Store, change: Callable[[Store, str], object]
) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    store.save(job_id, WIDER, base=1, who="Ben")
    with pytest.raises(Conflict, match="Ben saved it meanwhile as revision 2"):
        change(store, job_id)
    assert len(store.revisions(job_id)) == 2


def test_a_save_that_meets_a_deletion_is_a_conflict(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    store.delete(job_id, base=1, who="Ben")
    with pytest.raises(Conflict, match="Ben deleted it meanwhile") as caught:
        store.save(job_id, WIDER, base=1, who="Ann")
    assert caught.value.theirs.deleted
    assert caught.value.mine == WIDER
    with pytest.raises(NotFound, match="deleted by Ben"):
        store.save(job_id, WIDER, base=2, who="Ann")


# --- Deleting -----------------------------------------------------------------------------------


def test_deleting_marks_and_can_be_taken_back(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    store.delete(job_id, base=1, who="Ben")
    assert store.jobs() == ()
    assert [each.job_id for each in store.jobs(deleted=True)] == [job_id]
    with pytest.raises(NotFound, match=f"{job_id}: it was deleted by Ben"):
        store.get(job_id)
    with pytest.raises(NotFound, match="deleted"):
        store.delete(job_id, base=2, who="Ben")
    assert store.find_by_name(job_id) is None
    assert store.get(job_id, include_deleted=True).deleted
    assert store.get(job_id, 1).text == small_job()
    back = store.undelete(job_id, base=2, who="Cem")
    assert (back.revision, back.note, back.text) == (3, "brought back", small_job())
    assert store.get(job_id) == back
    # Twice, by the revision that was seen or the one it became: nothing is left to do.
    for base in (2, 3):
        assert store.undelete(job_id, base=base, who="Cem") == back
    assert len(store.revisions(job_id)) == 3
    store.save(job_id, WIDER, base=3, who="Ben")
    with pytest.raises(Conflict, match="Ben saved it meanwhile"):
        store.undelete(job_id, base=2, who="Cem")


def test_restoring_a_revision_brings_a_deleted_job_back(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    store.save(job_id, WIDER, base=1, who="Ann")
    store.delete(job_id, base=2, who="Ann")
    store.restore(job_id, 1, base=3, who="Ann")
    assert store.get(job_id).text == small_job()
    assert store.jobs(deleted=True) == ()


# --- Refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("format = = 1", "line 1, column 10"),
        (small_job(cutout="122"), "unit is missing"),
        (small_job("\ud800"), "UTF-8"),
        (small_job() + "#" * LARGEST_FILE, "at most 1000000 bytes"),
    ],
    ids=["no TOML", "no unit", "no text", "too long"],
)
def test_what_is_no_job_is_refused_and_leaves_no_trace(
    store: Store, written: str, said: str
) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    with pytest.raises(JobError, match=said):
        store.create(written, who="Ann")
    with pytest.raises(JobError, match=said):
        store.save(job_id, written, base=1, who="Ann")
    assert [each.revision for each in store.jobs()] == [1]


def test_what_is_not_there_is_named(store: Store) -> None:
    job_id = store.create(small_job(), who="Ann").job_id
    with pytest.raises(NotFound, match="no-such-van: found no kept job"):
        store.get("no-such-van")
    with pytest.raises(NotFound, match="no-such-van: found no kept job"):
        store.revisions("no-such-van")
    with pytest.raises(NotFound, match=f"{job_id}: found no revision 7"):
        store.get(job_id, 7)
    with pytest.raises(NotFound, match="found no revision 7"):
        store.save(job_id, WIDER, base=7, who="Ann")
    with pytest.raises(NotFound, match="found no revision 0"):
        store.restore(job_id, 0, base=1, who="Ann")
    assert str(NotFound("as it is")) == "as it is"
