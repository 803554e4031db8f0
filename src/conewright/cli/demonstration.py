"""The demo: an invented job from beginning to end, with its pictures in a folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from shlex import quote

import conewright as cw
from conewright.cli.edge import busy, say
from conewright.cli.files import folder, write_job

__all__ = ["demonstrate"]

PROPOSAL = "slim-fronts"
JOB_FILE = "library-van.toml"


def demonstrate(out: Path) -> None:
    """Answer the demo job, draw its pictures into a folder and say what to try next.

    Raises:
        BadInputError: the folder or a file in it cannot be written.

    """
    job_file = folder(out) / JOB_FILE
    if not job_file.exists():
        write_job(job_file, cw.demo_text())
    pictures = []
    with busy("demo: searching, comparing, feeding, listening, measuring up, drawing"):
        for report in _reports():
            pictures.append(_drawn(report, out))
            say(f"{report}\n{'-' * 80}\n\n")
    say(_next(out, pictures))


def _reports() -> Iterator[cw.Report]:
    job = cw.demo_job()
    build, found = job.build(PROPOSAL), job.build()
    yield cw.find(found)
    yield cw.compare(job)
    yield cw.feed(build, against=found)
    yield cw.hear(build, against=found)
    yield cw.fit(build)


def _drawn(report: cw.Report, out: Path) -> Path:
    from conewright.pictures import save

    return save(report, out / f"{report.stage}.png")


def _next(out: Path, pictures: list[Path]) -> str:
    return f"""\
Pictures: {", ".join(picture.name for picture in pictures)}
Job file: {JOB_FILE}
Folder:   {out}

The answers above are for the job as it came. Change a value in the job file
there, or write your own, and ask again. Try next:
  cd {quote(str(out))}
  conewright check {JOB_FILE}
  conewright find {JOB_FILE} --picture find.svg
  conewright hear {JOB_FILE} --proposal put-right --against as-found
  conewright fit {JOB_FILE} --proposal larger-fronts --picture fit.svg
  conewright make {JOB_FILE} --proposal {PROPOSAL} --out papers
  conewright new my-vehicle.toml
"""
