"""The demo: an invented job from beginning to end, its pictures in a folder, then its pages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from conewright.cli.base.console import busy, say
from conewright.cli.base.files import folder, write_job
from conewright.cli.base.kept import who
from conewright.job.text.starter import demo_job, demo_text
from conewright.stages.compare.stage import compare
from conewright.stages.feed.stage import feed
from conewright.stages.find.stage import find
from conewright.stages.fit.stage import fit
from conewright.stages.hear.stage import hear
from conewright.stages.report.data import Report
from conewright.views.text import as_text

if TYPE_CHECKING:
    from conewright.store import Store

__all__ = ["demonstrate", "open_demo"]

PROPOSAL = "slim-fronts"
JOB_FILE = "library-van.toml"


def demonstrate(out: Path) -> None:
    """Answer the demo job, draw its pictures into a folder and say what to try next.

    Raises:
        BadInputError: the folder or a file in it cannot be written.

    """
    job_file = folder(out) / JOB_FILE
    if not job_file.exists():
        write_job(job_file, demo_text())
    pictures = []
    with busy("demo: searching, comparing, feeding, listening, measuring up, drawing"):
        for report in _reports():
            pictures.append(_drawn(report, out))
            say(f"{as_text(report)}\n{'-' * 80}\n\n")
    say(_next(out, pictures))


def open_demo(*, port: int | None, browser: bool) -> None:
    """Show the demo job in the pages until Ctrl-C; it is kept beside the other jobs.

    Args:
        port: where to listen; the usual one when None.
        browser: whether to open one.

    Raises:
        BadInputError: no port is free.
        StoreError: the kept jobs cannot be reached.

    """
    from conewright.store import Store
    from conewright.web.serve import serve

    with Store.open() as store:
        page = f"/jobs/{_kept_demo(store)}"
        serve(
            port=port, open_page=browser, page=page, store=store, say=lambda line: say(f"{line}\n")
        )


def _kept_demo(store: Store) -> str:
    """Return the id of the demo job as somebody left it, or of a new one."""
    title = demo_job().about.title
    kept = (each.job_id for each in store.jobs() if each.title == title)
    return next(kept, None) or _new_demo(store)


def _new_demo(store: Store) -> str:
    return store.create(demo_text(), who=who(), note="started from the demo").job_id


def _reports() -> Iterator[Report]:
    job = demo_job()
    build, found = job.build(PROPOSAL), job.build()
    yield find(found)
    yield compare(job)
    yield feed(build, against=found)
    yield hear(build, against=found)
    yield fit(build)


def _drawn(report: Report, out: Path) -> Path:
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
  conewright choose {JOB_FILE} --money 300 --picture choose.svg
  conewright make {JOB_FILE} --proposal {PROPOSAL} --out papers
  conewright new my-vehicle.toml
"""
