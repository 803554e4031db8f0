"""What `conewright check` says of a job file without errors."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from shlex import quote

from conewright.cli.base.case import naming
from conewright.cli.base.kept import read_job
from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build

__all__ = ["checked", "checked_in_json"]

WIDTH = 80


def checked(file: Path) -> str:
    """Read a job file and everything it proposes; return what there is to say.

    Raises:
        JobError: with all that is wrong in the file, and in what it says of faults.

    """
    from conewright.views.contents import doubt_section, filled_sections, sheet_section
    from conewright.views.layout import Paragraph, Section, as_lines

    job = read_job(file)
    with naming(file):
        builds = _all_builds(job)
        _hold_entries(job)
    title = f" ({job.about.title})" if job.about.title else ""
    follow = f"conewright {'compare' if job.proposals else 'feed'} {quote(str(file))}"
    sections = [
        Section("", (Paragraph(f"No errors in {file}{title}: {job.contents}.", rest="  "),)),
        doubt_section(job),
        sheet_section(job),
        *filled_sections(builds),
    ]
    # The next command stays in one piece, to be copied.
    return f"{as_lines(sections, width=WIDTH)}\nNext: {follow}\n"


def checked_in_json(file: Path) -> str:
    """Return the same as one line of JSON: what is in it, and what is asked back; raises too."""
    job = read_job(file)
    with naming(file):
        _all_builds(job)
        _hold_entries(job)
    doubts = [asdict(doubt) | {"text": doubt.text} for doubt in job.doubts]
    return json.dumps({"file": str(file), "contents": job.contents, "asked": doubts}) + "\n"


def _hold_entries(job: Job) -> None:
    from conewright.stages.find.checked import entry_problems

    problems = entry_problems(job)
    if problems:
        raise JobError(problems)


def _all_builds(job: Job) -> list[Build]:
    return [job.build(), *(job.build(proposal.id) for proposal in job.proposals)]
