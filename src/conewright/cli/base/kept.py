"""A kept job's name in the place of a job file: read, and written as a new revision."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from getpass import getuser
from pathlib import Path
from typing import TYPE_CHECKING

from conewright.errors import BadInputError
from conewright.job.builds.job import Job
from conewright.job.text import job_file as files
from conewright.job.text.job_file import JobFile
from conewright.job.text.parsing import load
from conewright.job.text.readings import with_reading
from conewright.stages.find.faults.trade import EACH_LEG

if TYPE_CHECKING:
    from conewright.store import Saved

__all__ = ["open_job", "put_back", "read_job", "who", "write_reading", "write_text"]


@dataclass(frozen=True, slots=True)
class KeptJob(JobFile):
    """A kept job as if it were a file of its name."""

    saved: Saved


def read_job(file: Path) -> Job:
    """Return the job in a file, or the kept job of that name.

    Raises:
        JobError: with every problem of the file; also where it cannot be read at all.
        BadInputError: there is neither a file nor a kept job of that name.

    """
    saved = _kept(file)
    return load(file) if saved is None else saved.job


def open_job(file: Path) -> JobFile:
    """Read a job that readings are to be written into; raises as `read_job` does."""
    saved = _kept(file)
    return files.open_job(file) if saved is None else _as_file(file, saved)


def write_reading(
    file: JobFile, *, test: str, at: str, value: str | float | Mapping[str, str]
) -> JobFile:
    """Write a reading into a job file, or save it as the kept job's next revision.

    Raises:
        BadInputError: the file was changed by somebody else, or cannot be written.
        JobError: the job would not be read with this reading in it.
        StoreError: somebody else saved the job meanwhile, or it cannot be saved just now.

    """
    beside = test in EACH_LEG
    text = with_reading(file.text, file.format, test=test, at=at, value=value, beside=beside)
    return write_text(file, text)


def write_text(file: JobFile, text: str) -> JobFile:
    """Write the text of a job; raises as `write_reading` does."""
    return _saved(file, text) if isinstance(file, KeptJob) else files.write_text(file, text)


def put_back(file: JobFile, earlier: JobFile) -> JobFile:
    """Write a job as it was earlier; raises as `write_reading` does."""
    if not isinstance(file, KeptJob):
        return files.put_back(file, earlier)
    return _saved(file, earlier.content.decode("utf-8"))


def who() -> str:
    """Return the name that this user's changes are signed with."""
    try:
        return getuser()
    except (OSError, KeyError):
        return "somebody"


def _kept(file: Path) -> Saved | None:
    """Return the kept job that is meant; None where it is a file. Raises BadInputError."""
    name = str(file)
    if file.suffix or name != file.name or file.exists():
        return None
    from conewright.store import Store, store_is_there

    if store_is_there():
        with Store.open() as store:
            job_id = store.find_by_name(name)
            if job_id is not None:
                return store.get(job_id)
    raise BadInputError(
        f"{file}: found neither a file nor a kept job of that name; a job file ends in .toml or "
        ".json, and conewright jobs lists the kept ones"
    )


def _as_file(path: Path, saved: Saved) -> KeptJob:
    return KeptJob(path, saved.text.encode("utf-8"), saved.job, saved)


def _saved(file: KeptJob, text: str) -> KeptJob:
    from conewright.store import Store

    with Store.open() as store:
        saved = store.save(file.saved.job_id, text, base=file.saved.revision, who=who())
    return _as_file(file.path, saved)
