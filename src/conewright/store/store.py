"""The place that keeps the workshop's jobs. Nothing in it is overwritten or deleted."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from sqlalchemy.exc import IntegrityError

from conewright.store import queries
from conewright.store.database import Database, open_database
from conewright.store.devices import DeviceList
from conewright.store.differences import compare, in_a_note
from conewright.store.errors import Conflict, NotFound, StoreError
from conewright.store.migrating import migrate
from conewright.store.queries import Entry
from conewright.store.records import Listed, RevisionNote, Saved
from conewright.store.texts import Summary, slug, summary

__all__ = ["Store"]


class Store(DeviceList):
    """Jobs with all their revisions, in one database.

    Every change appends a revision and names the one it started from (`base`); where that is no
    longer the newest, it is a Conflict and nothing is written. Safe to use from several threads
    and by several programs at once.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self.place = database.place
        """Where the jobs are kept: a file, or an address without its password."""

    @classmethod
    def open(cls, url: str | None = None) -> Self:
        """Open the store, made or brought up to date where need be.

        Args:
            url: of the database; what CONEWRIGHT_STORE says, else one file in the platform's
                data folder, when None.

        Raises:
            StoreError: there is no such database, or it is of a newer version.
            StoreUnavailable: it cannot be opened just now.

        """
        database = open_database(url)
        try:
            migrate(database)
        except BaseException:
            database.engine.dispose()
            raise
        return cls(database)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._database.engine.dispose()

    # --- Looking ------------------------------------------------------------------------------

    def jobs(self, *, search: str = "", deleted: bool = False) -> tuple[Listed, ...]:
        """Return the jobs that hold every word of a search, or the deleted ones, newest first."""
        with self._database.reading() as connection:
            return queries.listed(connection, search=search, deleted=deleted)

    def get(
        self, job_id: str, revision: int | None = None, *, include_deleted: bool = False
    ) -> Saved:
        """Return a revision of a job, the newest when None; raises NotFound.

        A deleted job is found where a revision is given, or with include_deleted.
        """
        with self._database.reading() as connection:
            if revision is not None:
                return _found(queries.one(connection, job_id, revision), job_id, revision)
            saved = _found(queries.newest(connection, job_id), job_id)
        if saved.deleted and not include_deleted:
            raise NotFound(f"{job_id}: it was deleted by {saved.who}; it can be brought back")
        return saved

    def revisions(self, job_id: str) -> tuple[RevisionNote, ...]:
        """Return a job's history, newest first; raises NotFound."""
        with self._database.reading() as connection:
            found = queries.history(connection, job_id)
        if not found:
            raise _no_job(job_id)
        return found

    def find_by_name(self, name: str) -> str | None:
        """Return the id of the job of that id or short name; None where there is none.

        Raises:
            NotFound: several jobs have that short name; the message lists their ids.

        """
        with self._database.reading() as connection:
            found = queries.ids_named(connection, name)
        if len(found) > 1:
            raise NotFound(f"{name}: several jobs have this name; say {' or '.join(found)}")
        return found[0] if found else None

    # --- Changing -----------------------------------------------------------------------------

    def create(self, text: str, *, who: str, note: str = "created") -> Saved:
        """Keep a new job.

        Args:
            text: the job in TOML; kept byte for byte.
            who: name of whoever did it.
            note: what was done, in words.

        Raises:
            JobError: the text is no job.
            StoreUnavailable: it could not be written.

        """
        kept = summary(text)
        with self._database.writing() as connection:
            job_id = queries.new_job(connection, slug(kept.about["title"]))
            queries.append(connection, job_id, number=1, entry=Entry(text, who, note), kept=kept)
            return _found(queries.newest(connection, job_id), job_id)

    def save(
        self, job_id: str, text: str, *, base: int, who: str, note: str | None = None
    ) -> Saved:
        """Keep a changed job as a new revision.

        Args:
            job_id: id of the job.
            text: the whole job in TOML.
            base: number of the revision that the change started from.
            who: name of whoever did it.
            note: what changed; put into words from the texts when None.

        Raises:
            JobError: the text is no job.
            Conflict: base is not the newest revision; carries both sides.
            NotFound: there is no such job or base, or it is deleted.
            StoreUnavailable: it could not be written.

        """
        kept = summary(text)
        before = self.get(job_id, base)
        if before.deleted:
            self.get(job_id)
        told = in_a_note(compare(before.text, text)) if note is None else note
        return self._append(before, Entry(text, who, told), kept=kept, mine=text)

    def restore(self, job_id: str, revision: int, *, base: int, who: str) -> Saved:
        """Make an older revision the newest again, as a new one; a deleted job comes back.

        Raises as `save` does, but never for the text: what was once kept can be restored.
        """
        old, before = self.get(job_id, revision), self.get(job_id, base)
        day = f"{old.saved_at:%Y-%m-%d %H:%M} UTC"
        note = f"restored revision {revision} of {day} ({old.note})"
        return self._append(before, Entry(old.text, who, note), kept=old, mine=old.text)

    def delete(self, job_id: str, *, base: int, who: str) -> None:
        """Mark a job as deleted: it leaves the list and can be brought back.

        Raises as `save` does.
        """
        before = self.get(job_id, base)
        if before.deleted:
            self.get(job_id)
        self._append(before, Entry(before.text, who, "deleted", deleted=True), kept=before)

    def undelete(self, job_id: str, *, base: int, who: str) -> Saved:
        """Bring a deleted job back as it was; raises as `save` does, StoreError if it is there."""
        before = self.get(job_id, base)
        if not before.deleted and self.get(job_id, include_deleted=True).revision == base:
            raise StoreError(f"{job_id}: it is not deleted")
        return self._append(before, Entry(before.text, who, "brought back"), kept=before)

    # --- Underneath ---------------------------------------------------------------------------

    def _append(
        self, before: Saved, entry: Entry, *, kept: Summary | Saved, mine: str | None = None
    ) -> Saved:
        """Add the revision that follows `before`; raises Conflict where there is one already.

        kept: what is kept beside the text, or the revision to take it from.
        """
        job_id, number = before.job_id, before.revision + 1
        try:
            with self._database.writing() as connection:
                theirs = _found(queries.newest(connection, job_id), job_id)
                if theirs.revision != before.revision:
                    raise _conflict(before, mine, theirs)
                beside = kept if isinstance(kept, Summary) else queries.summary_of(connection, kept)
                queries.append(connection, job_id, number=number, entry=entry, kept=beside)
                return _found(queries.newest(connection, job_id), job_id)
        except IntegrityError:
            # Somebody else's revision took this number between our look and our write.
            theirs = self.get(job_id, include_deleted=True)
            raise _conflict(before, mine, theirs) from None


def _conflict(before: Saved, mine: str | None, theirs: Saved) -> Conflict:
    return Conflict(
        base=before.revision,
        mine=mine,
        theirs=theirs,
        my_changes=() if mine is None else compare(before.text, mine),
        their_changes=compare(before.text, theirs.text),
    )


def _found(saved: Saved | None, job_id: str, revision: int | None = None) -> Saved:
    if saved is not None:
        return saved
    if revision is None:
        raise _no_job(job_id)
    raise NotFound(f"{job_id}: found no revision {revision}; its history lists what there is")


def _no_job(job_id: str) -> NotFound:
    return NotFound(f"{job_id}: found no kept job of that name; conewright jobs lists them")
