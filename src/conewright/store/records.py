"""What the store gives out: frozen, and without any trace of the database."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conewright.catalogue.compiled import Compiled
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job

__all__ = [
    "LONGEST_PAIRED",
    "LONGEST_UNUSED",
    "CatalogueNote",
    "Device",
    "FoundCatalogue",
    "KeptCatalogue",
    "Listed",
    "RevisionNote",
    "Saved",
]

LONGEST_UNUSED, LONGEST_PAIRED = timedelta(days=90), timedelta(days=365)
"""How long a device is let in that does not come, and one that does. Our own choice, no source."""


@dataclass(frozen=True, slots=True)
class Saved:
    """One revision of a job, whole.

    name: short name of the job, or its id where other jobs share that name.
    saved_at: in UTC.
    note: what changed, in words.
    text: the job file, byte for byte as it was saved.
    deleted: whether this revision marks the job as deleted.
    """

    job_id: str
    name: str
    revision: int
    saved_at: datetime
    who: str
    note: str
    text: str
    deleted: bool = False

    @property
    def etag(self) -> str:
        """A name for exactly this revision, in quotes as HTTP wants it."""
        return f'"{self.job_id}-{self.revision}"'

    @property
    def job(self) -> Job:
        """The job in the text, read once; raises JobError where today's rules refuse it."""
        from conewright.job.text.parsing import kept_job

        return kept_job(self.text, file=self.name)


@dataclass(frozen=True, slots=True)
class Listed:
    """A job in a list, as of its newest revision.

    state: what is in it, in words, like "4 channels, 8 locations, 2 proposals".
    """

    job_id: str
    name: str
    title: str
    revision: int
    saved_at: datetime
    who: str
    note: str
    state: str


@dataclass(frozen=True, slots=True)
class RevisionNote:
    """A line in a job's history."""

    revision: int
    saved_at: datetime
    who: str
    note: str
    deleted: bool = False


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was let in; it stays in the list when it is no longer.

    used_at: when it came last, known to a day.
    """

    id: int
    name: str
    paired_at: datetime
    used_at: datetime
    revoked_at: datetime | None

    @property
    def until(self) -> datetime:
        """When it is let in no longer, unless it comes before."""
        return min(self.used_at + LONGEST_UNUSED, self.paired_at + LONGEST_PAIRED)


@dataclass(frozen=True, slots=True)
class CatalogueNote:
    """A version of a catalogue in a list.

    number: of the version, from 1. source: what it was imported from. sha256: of its text.
    """

    name: str
    number: int
    imported_at: datetime
    who: str
    source: str
    sha256: str
    parts: int


@dataclass(frozen=True, slots=True)
class KeptCatalogue:
    """A version of a catalogue, whole.

    text: the catalogue as CSV. map: what it was imported by, TOML; empty where by none.
    """

    note: CatalogueNote
    text: bytes
    map: str
    compiled: Compiled


@dataclass(frozen=True, slots=True)
class FoundCatalogue:
    """A catalogue that was asked for: a kept one, a file, or the invented parts.

    offer: its parts and what names it. text: the same as CSV. imported_at: of a kept one.
    """

    offer: Offer
    text: bytes
    imported_at: datetime | None = None
