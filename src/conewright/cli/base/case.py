"""From the words of a command to builds, and from a report to what is printed."""

from __future__ import annotations

import json as json_text
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from conewright.cli.base.console import say
from conewright.cli.base.kept import read_job
from conewright.errors import BadInputError, ConewrightError, JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.stages.common.frequencies import parse_frequencies
from conewright.stages.report.data import Report
from conewright.views.text import as_text

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["Case", "answer", "asked", "naming"]


@dataclass(frozen=True)
class Case:
    """What a stage is asked about."""

    build: Build
    against: Build | None
    at: FloatArray | None


def asked(file: Path, *, proposal: str | None, against: str | None, at: str | None) -> Case:
    """Return what a stage is asked about.

    Raises:
        BadInputError: the job file, an id or a frequency cannot be used.

    """
    frequencies = None if at is None else parse_frequencies(at)
    job = read_job(file)
    with naming(file):
        return Case(
            build=job.build() if proposal is None else _built(job, proposal, "--proposal"),
            against=None if against is None else _built(job, against, "--against"),
            at=frequencies,
        )


def answer(report: Report, *, json: bool, picture: Path | None) -> None:
    """Draw a report where a picture is wanted, and print it.

    Raises:
        BadInputError: the picture cannot be drawn or written; nothing is printed then.

    """
    if picture is not None:
        from conewright.pictures import save

        save(report, picture)
    say(in_json(report) if json else as_text(report))


def in_json(report: Report) -> str:
    """Return a report as one line of JSON; what is not finite is null."""
    # Through pydantic's own JSON, which knows of null; then in ASCII, which every pipe carries.
    return json_text.dumps(json_text.loads(report.model_dump_json())) + "\n"


@contextmanager
def naming(file: Path) -> Iterator[None]:
    """Let every error of what is done inside begin with the job file's name."""
    try:
        yield
    except JobError as error:
        raise JobError(error.problems, file=str(file)) from error
    except ConewrightError as error:
        raise BadInputError(f"{file}: {error}") from error


def _built(job: Job, name: str, option: str) -> Build:
    from conewright.job.document.parts import AS_FOUND

    known = [AS_FOUND, *(proposal.id for proposal in job.proposals)]
    if name not in known:
        allowed = f"known are {', '.join(known)}"
        raise JobError([Problem(option, f'"{name}"', allowed)])
    return job.build(name)
