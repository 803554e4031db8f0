"""What `conewright check` says of a job file without errors."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from conewright.cli.base.case import naming
from conewright.cli.base.kept import read_job
from conewright.job.build.job import Job
from conewright.job.build.state import Build

if TYPE_CHECKING:
    from conewright.job.build.state import Fill

__all__ = ["checked"]

WIDTH = 80
INDENT = "  "


def checked(file: Path) -> str:
    """Read a job file and everything it proposes; return what there is to say.

    Raises:
        JobError: with all that is wrong in the file.

    """
    job = read_job(file)
    with naming(file):
        builds = _all_builds(job)
    sections = [
        _contents(file, job),
        _sheets(job),
        *_filled(builds),
        [f"Next: conewright {'compare' if job.proposals else 'feed'} {quote(str(file))}"],
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def _all_builds(job: Job) -> list[Build]:
    return [job.build(), *(job.build(proposal.id) for proposal in job.proposals)]


def _contents(file: Path, job: Job) -> list[str]:
    from conewright.views.layout import paragraph

    counts = {
        "channel": len(job.channels),
        "location": len(job.locations),
        "driver": len(job.drivers),
        "seat": len(job.seats),
        "reading": len(job.readings),
        "proposal": len(job.proposals),
    }
    told = ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for word, n in counts.items() if n)
    title = f" ({job.about.title})" if job.about.title else ""
    return paragraph(f"No errors in {file}{title}: {told}.", width=WIDTH, rest=INDENT)


def _sheets(job: Job) -> list[str]:
    """Return what the sheets say twice, and by how much they disagree with themselves."""
    from conewright.job.build.findings import sheet_findings
    from conewright.stages.report.data import Severity
    from conewright.views.cells import MARKS
    from conewright.views.layout import paragraph

    lines: list[str] = []
    for finding in (each for driver in job.drivers for each in sheet_findings(driver)):
        severity = Severity.WARN if finding.flagged else Severity.GOOD
        start = f"{MARKS[severity]} "
        lines += paragraph(f"{finding.text}.", width=WIDTH, first=start, rest=INDENT)
    return ["Sheets that say something twice", *lines] if lines else []


def _filled(builds: list[Build]) -> Iterator[list[str]]:
    """Yield what was filled in as found, then what each proposal adds to that."""
    from conewright.views.text import origins_in_words

    known: set[str] = set()
    for build in builds:
        fills = [fill for fill in build.fills if fill.path not in known]
        known |= {fill.path for fill in fills}
        if fills:
            start = "Filled in" if build.proposal is None else f"For {build.id} filled in as well"
            yield [f"{start}: {_counted(fills)}", *_grouped(fills)]
    if known:
        yield [f"({origins_in_words()}; a..b..c is 5 %, typical, 95 %.)"]


def _counted(fills: Iterable[Fill]) -> str:
    counts = Counter(fill.origin.value for fill in fills)
    return ", ".join(f"{number} {origin}" for origin, number in counts.items())


def _grouped(fills: Iterable[Fill]) -> Iterator[str]:
    """Yield one paragraph for every part; parts that lack the same share one."""
    from conewright.views.layout import paragraph

    lacking: dict[str, list[str]] = {}
    for fill in fills:
        owner, _, field = fill.path.partition(".")
        lacking.setdefault(owner, []).append(_in_one_piece(fill, field))
    alike: dict[str, list[str]] = {}
    for owner, fields in lacking.items():
        alike.setdefault("; ".join(fields), []).append(owner)
    for text, owners in alike.items():
        yield from paragraph(f"{', '.join(owners)}: {text}", width=WIDTH, first=INDENT, rest="    ")


def _in_one_piece(fill: Fill, field: str) -> str:
    from conewright.views.cells import letter
    from conewright.views.layout import FIRM_SPACE

    return f"{field} {fill.text} {letter(fill.origin)}".replace(" ", FIRM_SPACE)
