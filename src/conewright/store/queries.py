"""What is asked of the tables of jobs and revisions, and rows turned into records."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, exists, func, insert, or_, select

from conewright.store import schema
from conewright.store.database import Unreadable, row_of, rows_of
from conewright.store.records import Listed, RevisionNote, Saved
from conewright.store.texts import Summary, new_id, state_in_words

__all__ = [
    "LARGEST_NUMBER",
    "append",
    "first_of",
    "history",
    "ids_named",
    "listed",
    "new_job",
    "newest",
    "one",
    "summary_of",
]

LARGEST_NUMBER = 2**31 - 1
"""No database of ours counts further."""

_jobs, _revisions = schema.jobs.c, schema.revisions.c
_WHOLE = (
    _revisions.job_id,
    _jobs.slug,
    _revisions.number,
    _revisions.saved_at,
    _revisions.who,
    _revisions.note,
    _revisions.deleted,
    _revisions.text,
)
_NOTES = (
    _revisions.number,
    _revisions.saved_at,
    _revisions.who,
    _revisions.note,
    _revisions.deleted,
)
_LISTED = (_revisions.job_id, _jobs.slug, *_NOTES, _revisions.about)


def one(connection: Connection, job_id: str, number: int) -> Saved | None:
    """Return one revision of a job; None where there is no such."""
    if not 1 <= number <= LARGEST_NUMBER:
        return None
    wanted = _whole().where(_revisions.job_id == job_id, _revisions.number == number)
    return _saved(connection, row_of(connection, wanted))


def newest(connection: Connection, job_id: str) -> Saved | None:
    """Return the newest revision of a job, a mark of deletion included; None without any."""
    wanted = _whole().where(_revisions.job_id == job_id)
    wanted = wanted.order_by(_revisions.number.desc()).limit(1)
    return _saved(connection, row_of(connection, wanted))


def history(connection: Connection, job_id: str) -> tuple[RevisionNote, ...]:
    """Return all revisions of a job, the newest first, without their texts."""
    wanted = select(*_NOTES).where(_revisions.job_id == job_id).order_by(_revisions.number.desc())
    return tuple(
        RevisionNote(row.number, row.saved_at, row.who, row.note, row.deleted)
        for row in rows_of(connection, wanted)
    )


def listed(connection: Connection, *, search: str, deleted: bool) -> tuple[Listed, ...]:
    """Return the jobs that hold every word of a search, the last saved first."""
    wanted = select(*_LISTED).join_from(schema.revisions, schema.jobs).where(_is_newest())
    wanted = wanted.where(_revisions.deleted == deleted)
    for word in search.casefold().split():
        found = _revisions.words.contains(word, autoescape=True)
        wanted = wanted.where(or_(found, _jobs.id.contains(word, autoescape=True)))
    rows = rows_of(connection, wanted.order_by(_revisions.saved_at.desc(), _revisions.id.desc()))
    ambiguous = _ambiguous(connection)
    return tuple(_line(row, ambiguous) for row in rows)


def ids_named(connection: Connection, name: str) -> tuple[str, ...]:
    """Return the job of that id, else all that have it as their short name; none deleted."""
    wanted = select(_jobs.id, _jobs.slug).join_from(schema.revisions, schema.jobs)
    wanted = wanted.where(_is_newest(), _revisions.deleted.is_(False))
    wanted = wanted.where(or_(_jobs.id == name, _jobs.slug == name)).order_by(_jobs.id)
    found = tuple(row.id for row in rows_of(connection, wanted))
    return (name,) if name in found else found


def first_of(connection: Connection, text: str) -> str | None:
    """Return the id of the first job that had this text in any revision; of none deleted."""
    had = schema.revisions.alias()
    wanted = select(_jobs.id).join_from(schema.revisions, schema.jobs)
    wanted = wanted.where(_is_newest(), _revisions.deleted.is_(False))
    wanted = wanted.where(exists().where(had.c.job_id == _jobs.id, had.c.text == text))
    first = wanted.order_by(_revisions.job_id).limit(1)
    row = row_of(connection, first)
    return None if row is None else str(row.id)


def summary_of(connection: Connection, saved: Saved) -> Summary:
    """Return what was kept beside a revision: its text need not be a job by today's rules."""
    wanted = select(_revisions.about, _revisions.words).where(
        _revisions.job_id == saved.job_id, _revisions.number == saved.revision
    )
    row = row_of(connection, wanted)
    if row is None:
        raise Unreadable
    return Summary(row.about, row.words)


def new_job(connection: Connection, short: str) -> str:
    """Add a job without a revision and return its id."""
    while True:
        job_id = new_id(short)
        if row_of(connection, select(_jobs.id).where(_jobs.id == job_id)) is None:
            connection.execute(insert(schema.jobs).values(id=job_id, slug=short))
            return job_id


def append(connection: Connection, saved: Saved, *, kept: Summary) -> None:
    """Add a revision; a Clash where another one has that number."""
    row = {
        "job_id": saved.job_id,
        "number": saved.revision,
        "saved_at": saved.saved_at,
        "who": saved.who,
        "note": saved.note,
        "deleted": saved.deleted,
        "about": kept.about,
        "words": kept.words,
        "text": saved.text,
    }
    connection.execute(insert(schema.revisions).values(row))


def _whole() -> Select[Any]:
    return select(*_WHOLE).join_from(schema.revisions, schema.jobs)


def _is_newest() -> ColumnElement[bool]:
    # A job's numbers have no gaps.
    later = schema.revisions.alias()
    follows = (later.c.job_id == _revisions.job_id) & (later.c.number == _revisions.number + 1)
    return ~exists().where(follows)


def _ambiguous(connection: Connection, short: str | None = None) -> set[str]:
    """Return the short names that do not say which job is meant."""
    live = select(_jobs.slug).join_from(schema.revisions, schema.jobs)
    live = live.where(_is_newest(), _revisions.deleted.is_(False))
    if short is not None:
        live = live.where(_jobs.slug == short)
    twice = live.group_by(_jobs.slug).having(
        or_(func.count() > 1, _jobs.slug.in_(select(_jobs.id).correlate(None)))
    )
    return {row.slug for row in rows_of(connection, twice)}


def _saved(connection: Connection, row: Row[*tuple[Any, ...]] | None) -> Saved | None:
    if row is None:
        return None
    return Saved(
        job_id=row.job_id,
        name=row.job_id if row.deleted or _ambiguous(connection, row.slug) else row.slug,
        revision=row.number,
        saved_at=row.saved_at,
        who=row.who,
        note=row.note,
        text=row.text,
        deleted=row.deleted,
    )


def _line(row: Row[*tuple[Any, ...]], ambiguous: set[str]) -> Listed:
    return Listed(
        job_id=row.job_id,
        name=row.job_id if row.deleted or row.slug in ambiguous else row.slug,
        title=str(row.about.get("title") or row.slug),
        revision=row.number,
        saved_at=row.saved_at,
        who=row.who,
        note=row.note,
        state=_state(row),
    )


def _state(row: Row[*tuple[Any, ...]]) -> str:
    try:
        return state_in_words(row.about)
    except (ArithmeticError, TypeError, ValueError) as error:
        raise Unreadable from error
