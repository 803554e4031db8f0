"""The place that keeps the workshop's jobs. Nothing in it is overwritten or deleted."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from conewright.errors import BadInputError
from conewright.job.text.differences import compare, in_a_note
from conewright.store import queries
from conewright.store.catalogues import CatalogueList
from conewright.store.database import Database, open_database, store_is_there
from conewright.store.devices import DeviceList
from conewright.store.errors import Clash, Conflict, NotFound
from conewright.store.migrating import migrate
from conewright.store.recordings import Recordings
from conewright.store.records import FoundCatalogue, Listed, RevisionNote, Saved
from conewright.store.texts import Read, Summary, here, one_line, slug, summary

if TYPE_CHECKING:
    from conewright.catalogue.lists.part_rows import Catalogue
    from conewright.catalogue.offer import Offer

__all__ = ["INVENTED", "Store", "find_catalogue", "offer"]

INVENTED: Final = "invented"
"""The name of the parts that come with the program."""

LONGEST_NAME = 100
UNDONE = "undone back to revision "
"""How the note of a revision begins that took others back."""


class Store(CatalogueList, DeviceList):
    """Jobs with all their revisions, in one database.

    Every change appends a revision and names the one it started from (`base`); where that is no
    longer the newest, it is a Conflict and nothing is written. Safe to use from several threads
    and by several programs at once.
    """

    def __init__(self, database: Database, *, read: Read = here) -> None:
        self._database = database
        self._read = read
        self.place = database.place
        """Where the jobs are kept: a file, or an address without its password."""
        self.recordings = Recordings.beside(database.engine.url.render_as_string(False))
        """Where the files of recordings are kept."""

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
            database.close()
            raise
        return cls(database)

    def reading_by(self, read: Read) -> Self:
        """Return the same store with another way to read texts; one of both is closed."""
        return type(self)(self._database, read=read)

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
        self._database.close()

    # --- Looking ------------------------------------------------------------------------------

    def jobs(self, *, search: str = "", deleted: bool = False) -> tuple[Listed, ...]:
        """Return the jobs that hold every word of a search, or the deleted ones, newest first."""
        words = "".join(letter if letter.isprintable() else " " for letter in search)
        with self._database.reading() as connection:
            return queries.listed(connection, search=words, deleted=deleted)

    def get(
        self, job_id: str, revision: int | None = None, *, include_deleted: bool = False
    ) -> Saved:
        """Return a revision of a job, the newest when None; raises NotFound.

        A deleted job is found where a revision is given, or with include_deleted.
        """
        if not job_id.isprintable():
            raise _no_job(repr(job_id))
        with self._database.reading() as connection:
            if revision is not None:
                return _found(queries.one(connection, job_id, revision), job_id, revision)
            saved = _found(queries.newest(connection, job_id), job_id)
        return saved if include_deleted else _live(saved)

    def revisions(self, job_id: str) -> tuple[RevisionNote, ...]:
        """Return a job's history, newest first; raises NotFound."""
        if not job_id.isprintable():
            raise _no_job(repr(job_id))
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
        if not name.isprintable():
            return None
        with self._database.reading() as connection:
            found = queries.ids_named(connection, name)
        if len(found) > 1:
            raise NotFound(f"{name}: several jobs have this name; say {' or '.join(found)}")
        return found[0] if found else None

    def twin_of(self, text: str) -> Saved | None:
        """Return the newest revision of a job that has had just this text; None where none has."""
        if "\0" in text or text != text.encode(errors="replace").decode():
            return None  # nothing of the kind is ever kept
        with self._database.reading() as connection:
            job_id = queries.first_of(connection, text)
            return None if job_id is None else queries.newest(connection, job_id)

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
        kept = self._read(summary, text)
        with self._database.writing() as connection:
            job_id = queries.new_job(connection, slug(kept.about["title"]))
            queries.append(connection, _first(job_id, text, who=who, note=note), kept=kept)
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
        kept = self._read(summary, text)
        before = self._base(job_id, base, mine=text)
        told = in_a_note(self._read(compare, before.text, text)) if note is None else note
        saved = _next(before, text, who=who, note=told)
        return self._append(before, saved, kept=kept, mine=text)

    def restore(self, job_id: str, revision: int, *, base: int, who: str) -> Saved:
        """Make an older revision the newest again, as a new one; a deleted job comes back.

        Raises as `save` does, but never for the text: what was once kept can be restored.
        """
        old = self.get(job_id, revision)
        before = self._base(job_id, base, mine=old.text, deleted=True)
        day = f"{old.saved_at:%Y-%m-%d %H:%M} UTC"
        note = f"restored revision {revision} of {day} ({old.note})"
        return self._bring_back(old, before, who=who, note=note)

    def undo(self, job_id: str, *, base: int, who: str) -> Saved:
        """Take the newest change back, as a new revision; again, the change before that.

        Raises as `save` does, NotFound where nothing is left to take back.
        """
        notes = {each.revision: each.note for each in self.revisions(job_id)}
        now = base
        while (back := _undone(notes.get(now, ""))) is not None:
            now = back
        if now <= 1:
            raise NotFound(f"{job_id}: there is nothing left to undo")
        old = self.get(job_id, now - 1)
        before = self._base(job_id, base, mine=old.text)
        return self._bring_back(old, before, who=who, note=f"{UNDONE}{old.revision} ({old.note})")

    def delete(self, job_id: str, *, base: int, who: str) -> None:
        """Mark a job as deleted: it leaves the list and can be brought back.

        Raises as `save` does.
        """
        before = self._base(job_id, base)
        saved = _next(before, before.text, who=who, note="deleted", deleted=True)
        self._append(before, saved, kept=self._kept_beside(before))

    def undelete(self, job_id: str, *, base: int, who: str) -> Saved:
        """Bring a deleted job back as it was; raises as `save` does.

        Where it is back already, just as it was, nothing is left to do.
        """
        try:
            before = self._base(job_id, base, deleted=True)
            if not before.deleted:
                return before
            saved = _next(before, before.text, who=who, note="brought back")
            self._append(before, saved, kept=self._kept_beside(before))
        except Conflict as conflict:
            if conflict.theirs.deleted or conflict.theirs.text != conflict.before.text:
                raise
            return conflict.theirs
        return self.get(job_id, saved.revision)

    # --- Underneath ---------------------------------------------------------------------------

    def _bring_back(self, old: Saved, before: Saved, *, who: str, note: str) -> Saved:
        """Append an older revision as the newest."""
        saved = _next(before, old.text, who=who, note=note)
        self._append(before, saved, kept=self._kept_beside(old), mine=old.text)
        return self.get(old.job_id, saved.revision)

    def _base(
        self, job_id: str, number: int, *, mine: str | None = None, deleted: bool = False
    ) -> Saved:
        """Return the revision that a change starts from, which must be the newest.

        Raises NotFound, also where it is deleted unless `deleted`; Conflict.
        """
        with self._database.reading() as connection:
            before = _found(queries.one(connection, job_id, number), job_id, number)
            theirs = _found(queries.newest(connection, job_id), job_id)
        if theirs.revision != number:
            raise self._conflict(before, mine, theirs)
        return before if deleted else _live(before)

    def _conflict(self, before: Saved, mine: str | None, theirs: Saved) -> Conflict:
        return Conflict(before=before, mine=mine, theirs=theirs, read=self._read)

    def _kept_beside(self, saved: Saved) -> Summary:
        with self._database.reading() as connection:
            return queries.summary_of(connection, saved)

    def _append(
        self, before: Saved, saved: Saved, *, kept: Summary, mine: str | None = None
    ) -> Saved:
        """Add the revision that follows `before`; raises Conflict where there is one already."""
        try:
            # As little as can be: others wait for their turn to write.
            with self._database.writing() as connection:
                queries.append(connection, saved, kept=kept)
        except Clash:
            # Somebody else's revision took this number since we looked; else it is damage.
            theirs = self.get(before.job_id, include_deleted=True)
            if theirs.revision <= before.revision:
                raise
            raise self._conflict(before, mine, theirs) from None
        return saved


def _first(job_id: str, text: str, *, who: str, note: str) -> Saved:
    return _next(Saved(job_id, job_id, 0, datetime.now(UTC), "", "", ""), text, who=who, note=note)


def _next(before: Saved, text: str, *, who: str, note: str, deleted: bool = False) -> Saved:
    """Return the revision that is to follow another one."""
    return replace(
        before,
        revision=before.revision + 1,
        saved_at=datetime.now(UTC),
        who=one_line(who, longest=LONGEST_NAME) or "somebody",
        note=one_line(note),
        text=text,
        deleted=deleted,
    )


def _undone(note: str) -> int | None:
    """Return the revision that an undo brought back, by its note; None for any other change."""
    number = note.removeprefix(UNDONE).partition(" ")[0]
    return int(number) if note.startswith(UNDONE) and number.isdecimal() else None


def _live(saved: Saved) -> Saved:
    if saved.deleted:
        raise NotFound(f"{saved.job_id}: it was deleted by {saved.who}; it can be brought back")
    return saved


def _found(saved: Saved | None, job_id: str, revision: int | None = None) -> Saved:
    if saved is not None:
        return saved
    if revision is None:
        raise _no_job(job_id)
    raise NotFound(f"{job_id}: found no revision {revision}; its history lists what there is")


def _no_job(job_id: str) -> NotFound:
    return NotFound(
        f"{job_id}: found no kept job of that name; the list of jobs holds those there are"
    )


# --- Catalogues ---------------------------------------------------------------------------------


def offer(asked: str | Path | None = None) -> Offer:
    """Return the parts to choose from.

    Args:
        asked: name of a kept catalogue, `shop@2` for its version 2; a file, .csv, .toml or
            .sqlite; `invented` for the parts that come with the program. The catalogue that was
            imported last when None, the invented parts where there is none.

    Raises:
        BadInputError: the file cannot be read or used.
        StoreError: no catalogue of that name is kept, or not in that version.

    >>> import conewright as cw
    >>> parts = cw.offer("invented")
    >>> parts.name, parts.version, len(parts.compiled)
    ('invented', None, 204)
    """
    return find_catalogue(asked).offer


def find_catalogue(asked: str | Path | None = None) -> FoundCatalogue:
    """Return the parts to choose from, with the list they are from; as `offer`."""
    from conewright.catalogue.lists.forms import FORMS, table_of
    from conewright.catalogue.lists.listing import invented_catalogue
    from conewright.catalogue.lists.part_rows import read_catalogue
    from conewright.catalogue.offer import Offer

    if asked is not None and Path(asked).suffix.lower() in FORMS:
        read = read_catalogue(table_of(_content(Path(asked)), file=str(asked)))
        return _unkept(Path(asked).name, read)
    name, number = _last() if asked is None else _named(str(asked))
    if name == INVENTED:
        return _unkept(INVENTED, invented_catalogue())
    with Store.open() as store:
        kept = store.catalogue(name, number)
    note = kept.note
    return FoundCatalogue(
        Offer(note.name, note.number, note.sha256, kept.compiled), kept.text, note.imported_at
    )


def _last() -> tuple[str, int | None]:
    """Return name and version of the catalogue that was imported last, else the invented parts."""
    if store_is_there():
        with Store.open() as store:
            kept = store.catalogues()
        if kept:
            return kept[0].name, kept[0].number
    return INVENTED, None


def _named(asked: str) -> tuple[str, int | None]:
    name, _, number = asked.partition("@")
    if number and not (number.isascii() and number.isdecimal() and len(number) < 10):
        raise BadInputError(f'catalogue: found "{one_line(asked)}"; a version is like {name}@2')
    return name, int(number) if number else None


def _unkept(name: str, read: Catalogue) -> FoundCatalogue:
    """Return a catalogue that is not kept; its sum is that of the same parts when they are."""
    from conewright.catalogue.lists.forms import written
    from conewright.catalogue.offer import Offer

    text = written(read.rows, ending=".csv")
    return FoundCatalogue(Offer(name, None, hashlib.sha256(text).hexdigest(), read.compiled), text)


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadInputError(f"{file}: cannot be read ({error.strerror or error})") from error
