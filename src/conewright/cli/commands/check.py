"""What `conewright check` says of a job file without errors."""

from __future__ import annotations

from pathlib import Path
from shlex import quote

from conewright.cli.base.case import naming
from conewright.cli.base.kept import read_job
from conewright.job.builds.job import Job
from conewright.job.builds.state import Build

__all__ = ["checked"]

WIDTH = 80


def checked(file: Path) -> str:
    """Read a job file and everything it proposes; return what there is to say.

    Raises:
        JobError: with all that is wrong in the file.

    """
    from conewright.views.contents import filled_sections, sheet_section
    from conewright.views.layout import Paragraph, Section, as_lines

    job = read_job(file)
    with naming(file):
        builds = _all_builds(job)
    title = f" ({job.about.title})" if job.about.title else ""
    follow = f"conewright {'compare' if job.proposals else 'feed'} {quote(str(file))}"
    sections = [
        Section("", (Paragraph(f"No errors in {file}{title}: {job.contents}.", rest="  "),)),
        sheet_section(job),
        *filled_sections(builds),
    ]
    # The next command stays in one piece, to be copied.
    return f"{as_lines(sections, width=WIDTH)}\nNext: {follow}\n"


def _all_builds(job: Job) -> list[Build]:
    return [job.build(), *(job.build(proposal.id) for proposal in job.proposals)]
