"""What is in a job, and what was filled in to build it, for command, notebook and print."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Fill
from conewright.job.document.places import Location
from conewright.job.plausible.sheet_figures import sheet_findings
from conewright.shown import view_of
from conewright.stages.report.data import Severity
from conewright.views.cells import MARKS, letter
from conewright.views.layout import FIRM_SPACE, Paragraph, Section, as_lines
from conewright.views.text import origins_in_words

__all__ = [
    "build_as_text",
    "build_sections",
    "doubt_section",
    "filled_sections",
    "job_as_text",
    "job_sections",
    "sheet_section",
]

WIDTH = 80
INDENT = "  "


@view_of(Job, "text")
def job_as_text(job: Job) -> str:
    """Write what is in a job for reading."""
    return as_lines(job_sections(job), width=WIDTH)


@view_of(Build, "text")
def build_as_text(build: Build) -> str:
    """Write what was filled in to build a vehicle for reading."""
    return as_lines(build_sections(build), width=WIDTH)


def job_sections(job: Job) -> Iterator[Section]:
    """Yield what is in a job: channels, places and plans, and what sheets say twice."""
    title = job.about.title or job.vehicle.name or "A job without a title"
    yield Section("", (Paragraph(title, rest=INDENT), Paragraph(f"{job.contents}.", rest=INDENT)))
    yield _named("Channels", {each.id: each.load for each in job.channels})
    yield _named("Places", {each.id: _place(each) for each in job.locations})
    yield _named("Proposals", {each.id: each.name or "" for each in job.proposals})
    yield doubt_section(job)
    yield sheet_section(job)


def build_sections(build: Build) -> Iterator[Section]:
    """Yield which build it is, and what was filled in."""
    title = build.job.about.title or build.vehicle.name
    told = [f"Job: {title}", f"Build: {build.id} ({build.title})"]
    yield Section("", tuple(Paragraph(text, rest=INDENT) for text in told))
    yield from filled_sections([build])


def sheet_section(job: Job) -> Section:
    """Return what the sheets say twice, and by how much they disagree with themselves."""
    blocks: list[Paragraph] = []
    for finding in (each for driver in job.drivers for each in sheet_findings(driver)):
        severity = Severity.WARN if finding.flagged else Severity.GOOD
        blocks.append(Paragraph(f"{finding.text}.", first=f"{MARKS[severity]} ", rest=INDENT))
    return Section("Sheets that say something twice", tuple(blocks))


def doubt_section(job: Job) -> Section:
    """Return what is asked back, and how to say that it is so."""
    doubts = job.doubts
    asked = [Paragraph(doubt.text, first="? ", rest=INDENT) for doubt in doubts]
    if doubts:
        example = f'sure = ["{doubts[0].path}"]'
        asked.append(Paragraph(f"What is so goes into sure of [job]: {example}", rest=INDENT))
    return Section("Is that right?", tuple(asked))


def filled_sections(builds: Iterable[Build]) -> Iterator[Section]:
    """Yield what was filled in for the first build, then what each other one adds to that."""
    known: set[str] = set()
    for build in builds:
        fills = [fill for fill in build.fills if fill.path not in known]
        start = f"For {build.id} filled in as well" if known else "Filled in"
        known |= {fill.path for fill in fills}
        yield Section(f"{start}: {_counted(fills)}", tuple(_grouped(fills)))
    if known:
        legend = f"({origins_in_words()}; a..b..c is 5 %, typical, 95 %.)"
        yield Section("", (Paragraph(legend),))


def _named(title: str, told: Mapping[str, str]) -> Section:
    """Return what there is to say of things by their ids."""
    room = max(map(len, told), default=0)
    rest = " " * (room + 2 * len(INDENT))
    lines = (
        Paragraph(text, first=f"{INDENT}{id:<{room}}{INDENT}", rest=rest)
        for id, text in told.items()
    )
    return Section(title, tuple(lines))


def _place(location: Location) -> str:
    return f"{location.name}: {location.driver}" if location.name else location.driver


def _counted(fills: Iterable[Fill]) -> str:
    counts = Counter(fill.origin.value for fill in fills)
    return ", ".join(f"{number} {origin}" for origin, number in counts.items())


def _grouped(fills: Iterable[Fill]) -> Iterator[Paragraph]:
    """Yield one paragraph for every part; parts that lack the same share one."""
    lacking: dict[str, list[str]] = {}
    for fill in fills:
        owner, _, field = fill.path.partition(".")
        lacking.setdefault(owner, []).append(_in_one_piece(fill, field))
    alike: dict[str, list[str]] = {}
    for owner, fields in lacking.items():
        alike.setdefault("; ".join(fields), []).append(owner)
    for text, owners in alike.items():
        yield Paragraph(f"{', '.join(owners)}: {text}", first=INDENT, rest="    ")


def _in_one_piece(fill: Fill, field: str) -> str:
    return f"{field} {fill.text} {letter(fill.origin)}".replace(" ", FIRM_SPACE)
