"""From the words of a command to builds, and from a report to what is printed."""

from __future__ import annotations

import json as json_text
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import conewright as cw
from conewright.cli.edge import say
from conewright.cli.kept import read_job
from conewright.stages.frequencies import parse_frequencies

if TYPE_CHECKING:
    from conewright.physics.arrays import FloatArray

__all__ = ["Case", "answer", "asked", "naming"]


@dataclass(frozen=True)
class Case:
    """What a stage is asked about."""

    build: cw.Build
    against: cw.Build | None
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


def answer(report: cw.Report, *, json: bool, picture: Path | None) -> None:
    """Draw a report where a picture is wanted, and print it.

    Raises:
        BadInputError: the picture cannot be drawn or written; nothing is printed then.

    """
    if picture is not None:
        from conewright.pictures import save

        save(report, picture)
    say(in_json(report) if json else str(report))


def in_json(report: cw.Report) -> str:
    """Return a report as one line of JSON; what is not finite is null."""
    # Through pydantic's own JSON, which knows of null; then in ASCII, which every pipe carries.
    return json_text.dumps(json_text.loads(report.model_dump_json())) + "\n"


@contextmanager
def naming(file: Path) -> Iterator[None]:
    """Let every error of what is done inside begin with the job file's name."""
    try:
        yield
    except cw.JobError as error:
        raise cw.JobError(error.problems, file=str(file)) from error
    except cw.ConewrightError as error:
        raise cw.BadInputError(f"{file}: {error}") from error


def _built(job: cw.Job, name: str, option: str) -> cw.Build:
    from conewright.job.state import AS_FOUND

    known = [AS_FOUND, *(proposal.id for proposal in job.proposals)]
    if name not in known:
        allowed = f"known are {', '.join(known)}"
        raise cw.JobError([cw.Problem(option, f'"{name}"', allowed)])
    return job.build(name)
