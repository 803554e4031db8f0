"""Builds side by side, for a page: what changes in decibels, ohms, degrees, millimetres, money."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from conewright.job.builds.job import Job
from conewright.job.document.parts import AS_FOUND
from conewright.stages.common.changes import moved_places
from conewright.stages.report.data import Figure, Report, Severity
from conewright.views.cells import MARKS
from conewright.web.frame.answer import NumberView, VerdictView, number_view, verdict_views

__all__ = ["Column", "Comparison", "Row", "comparison"]

WORTH = (
    ("cure_odds", "Cures the complaint"),
    ("hold_odds", "Chance that it holds"),
    ("points", "Points of what was asked for"),
)
SEATED = (
    ("bass_change_", "Bass, 40 to 100 Hz, at {}"),
    ("treble_change_", "Treble, 3 to 16 kHz, at {}"),
    ("overall_change_", "Programme, at {}"),
    ("max_clean_level_", "Loudest clean, at {}"),
)
RADIO = (
    ("minimum_load", "Lowest load of a channel"),
    ("chip_temperature", "Radio's chip, loud music"),
    ("chip_temperature_hard", "Radio's chip, pressed hard"),
)
WORK = (("cost", "Cost"), ("hours", "Work"))
GIST = (("Bass", "bass"), ("Lowest load", "lowest load"), ("Cost", "cost"))
"""How the titles of the rows begin that say most, and what stands for each in one line."""
ROOM = (("rear_clearance", "Room behind, tightest"), ("front_clearance", "Room in front, tightest"))


@dataclass(frozen=True, slots=True)
class Column:
    """One build: its name, the worst that is said of it, whether it is a plan of the job."""

    id: str
    title: str
    mark: str
    word: str
    written: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity across the builds; None where a build has none."""

    title: str
    cells: tuple[NumberView | None, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The builds of a job side by side, and the report they come from."""

    report: Report
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]

    @property
    def unwritten(self) -> Column | None:
        """The plan that only mends, where nobody wrote it down yet."""
        found = (each for each in self.columns if not each.written and each.id != AS_FOUND)
        return next(found, None)

    @property
    def said(self) -> tuple[VerdictView, ...]:
        """The worst that is said of the last build."""
        last = self.columns[-1].id
        return verdict_views(each for each in self.report.verdicts if each.subject == last)

    @property
    def gist(self) -> str:
        """The last build in one line, for where a table has no room."""
        said = []
        for start, word in GIST:
            cells = (row.cells[-1] for row in self.rows if row.title.startswith(start))
            cell = next(cells, None)
            if cell is not None:
                said.append(f"{word} {cell.number} {cell.unit}".strip())
        return ", ".join(said)


def comparison(job: Job, report: Report, fits: Mapping[str, Report]) -> Comparison:
    """Return the builds of a job side by side.

    Args:
        job: that the reports are about.
        report: of stage compare.
        fits: report of stage fit of each proposal, by id.

    """
    names = {proposal.id: proposal.name or proposal.id for proposal in job.proposals}
    known = {AS_FOUND: "as found", **names}
    worth = (figure.subject for figure in report.figures if figure.name == WORTH[0][0])
    # The one that only mends is compared before it is a plan of the job.
    offered = {id: "mending alone" for id in worth if id not in known}
    titles = {AS_FOUND: known[AS_FOUND], **offered, **names}
    builds = list(titles)
    columns = (Column(id, titles[id], *_worst(report, id), id in names) for id in builds)
    figures = {figure.id: figure for figure in report.figures}
    rows = [
        Row(title, tuple(_cell(figures.get(f"{build}.{name}")) for build in builds))
        for name, title in (*_worth(figures, builds), *_asked(job))
    ]
    rows[-len(WORK) : -len(WORK)] = list(_room(job, builds, fits))
    return Comparison(report, tuple(columns), tuple(row for row in rows if any(row.cells)))


def _worth(figures: Mapping[str, Figure], builds: list[str]) -> Iterator[tuple[str, str]]:
    """Yield what a plan is worth, as far as anybody complained or asked for anything."""
    for name, title in WORTH:
        found = (figures.get(f"{build}.{name}") for build in builds)
        if any(figure is not None and figure.value is not None for figure in found):
            yield name, title


def _asked(job: Job) -> Iterator[tuple[str, str]]:
    for stem, title in SEATED:
        for seat in job.seats:
            yield f"{stem}{seat.id}", title.format(seat.id)
    yield from RADIO
    yield "conductor_temperature", "Hottest supply cable, at its fuse's rating"
    yield "fit_odds", "Odds that it is too tight"
    yield from WORK


def _cell(figure: Figure | None) -> NumberView | None:
    return None if figure is None else number_view(figure)


def _room(job: Job, builds: list[str], fits: Mapping[str, Report]) -> Iterator[Row]:
    """Yield the tightest clearance of every build among the places that it changes."""
    for name, title in ROOM:
        yield Row(title, tuple(_tightest(job, build, name, fits.get(build)) for build in builds))


def _tightest(job: Job, build: str, name: str, fit: Report | None) -> NumberView | None:
    if fit is None:
        return None
    moved = moved_places(job, job.with_proposal(build))
    found = [
        (figure.value, figure)
        for figure in fit.figures
        if figure.name == name and figure.subject in moved and figure.value is not None
    ]
    if not found:
        return None
    return number_view(min(found, key=lambda each: each[0])[1])


def _worst(report: Report, build: str) -> tuple[str, str]:
    ranked = [verdict.severity for verdict in report.verdicts if verdict.subject == build]
    worst = max(ranked, key=lambda severity: severity.rank, default=Severity.NOTE)
    return (MARKS[worst], worst.value) if ranked else ("", "")
