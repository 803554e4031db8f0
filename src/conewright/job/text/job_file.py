"""Job files that readings are written into, whole or not at all."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from conewright.job.builds.job import Job
from conewright.job.text.parsing import (
    Format,
    content_of,
    format_of,
    kept_job,
    text_in,
)
from conewright.whole_file import write_instead

__all__ = ["JobFile", "open_job", "put_back", "write_text"]


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file as it was read, and the job in it."""

    path: Path
    content: bytes
    job: Job

    @property
    def format(self) -> Format:
        """Which of the two formats it is in, by the ending of its name."""
        return "json" if self.path.suffix.lower() == ".json" else "toml"

    @property
    def text(self) -> str:
        """The text in it, with a mark of its encoding where it has one."""
        return self.content.decode("utf-8")


def open_job(path: str | os.PathLike[str]) -> JobFile:
    """Read a job file that is to be written into.

    Raises:
        JobError: with every problem of the file; also where it cannot be read at all.

    """
    file = Path(path)
    format = format_of(str(file))
    content = content_of(str(file))
    return JobFile(file, content, _job_in(content, file, format))


def write_text(file: JobFile, text: str) -> JobFile:
    """Write the text of a job into its file, whole or not at all; return the file as it is then.

    Raises:
        BadInputError: the file is not as it was when it was read, or cannot be written; it is left
            as it is then.
        JobError: the text is no job.

    """
    return _replaced(file, text.encode("utf-8"))


def put_back(file: JobFile, earlier: JobFile) -> JobFile:
    """Write a job file as it was earlier, byte for byte; raises as `write_text` does."""
    return _replaced(file, earlier.content)


def _replaced(file: JobFile, content: bytes) -> JobFile:
    """Put new content in the place of a file that still is as it was read."""
    job = _job_in(content, file.path, file.format)
    write_instead(file.path, content, of=file.content)
    return JobFile(file.path, content, job)


def _job_in(content: bytes, path: Path, format: Format) -> Job:
    """Return the job in a file's content; raises JobError under the name of the file."""
    return kept_job(text_in(content, file=str(path)), format, file=str(path))
