"""A report as plain text: the answer, the figures that carry it, verdicts, what to do next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from conewright.job.build.state import Origin
from conewright.job.measurables import measurement
from conewright.stages.report.data import Narrowing, Report, Severity, Verdict
from conewright.stages.report.words import number
from conewright.views.cells import MARKS, letter
from conewright.views.layout import paragraph
from conewright.views.search import reading_sections
from conewright.views.tables import stage_tables

__all__ = ["as_text", "origins_in_words", "spoken_verdicts"]

NARROWEST = 40
QUESTIONS = {
    "find": "what is wrong, and which reading to take next?",
    "feed": "what does each channel drive, and what do radio and cable take?",
    "hear": "what will be heard at the seats, and what changed it?",
    "fit": "will it go in, behind and in front?",
    "make": "what goes to the bench on paper?",
    "compare": "as found and every proposal, side by side",
}

WITHOUT_BANDS = {"find"}
"""Stages whose figures are odds: no band, and no single origin."""

UNNAMED = {"vehicle", "head_unit", "cause", "budget", "conflict", "wiring"}
"""Subjects of verdicts that go without saying, or are no place at all."""


def as_text(report: Report, *, width: int = 80) -> str:
    """Write a report for reading: no line is longer than `width`, at least 40."""
    width = max(width, NARROWEST)
    sections = [
        [*_head(report, width), "", *paragraph(report.answer, width=width)],
        *stage_tables(report, width=width),
        _legend(report, width),
        _section("What it means", _verdicts(report, width)),
        *reading_sections(report, width),
        _section("What to measure next", _next(report, width)),
        _section("Take care", _cautions(report, width)),
        _fills(report, width),
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def origins_in_words() -> str:
    """Return what the letters mean: `M measured, S sheet, T typical, A assumed`."""
    return ", ".join(f"{letter(origin)} {origin.value}" for origin in Origin)


def _head(report: Report, width: int) -> Iterator[str]:
    question = QUESTIONS.get(report.stage, "")
    yield from paragraph(f"{report.stage.upper()}: {question}", width=width, rest="  ")
    if report.job:
        yield from paragraph(f"Job: {report.job}", width=width, rest="  ")
    if report.stage == "compare":
        return
    told = report.title.replace(" ", "-") in {"", report.build}
    title = "" if told else f" ({report.title})"
    against = f", against {report.against}" if report.against else ""
    yield from paragraph(f"Build: {report.build}{title}{against}", width=width, rest="  ")


def _section(title: str, lines: Iterator[str]) -> list[str]:
    body = list(lines)
    return [title, *body] if body else []


def _legend(report: Report, width: int) -> list[str]:
    if report.stage in WITHOUT_BANDS or all(figure.value is None for figure in report.figures):
        return []
    bands = paragraph("Bands hold 80 %: from the 10 % to the 90 % point.", width=width)
    return [*bands, *paragraph(f"{origins_in_words()}.", width=width)]


def _verdicts(report: Report, width: int) -> Iterator[str]:
    for severity, said in spoken_verdicts(report.verdicts):
        start = f"{MARKS[severity]} {severity.value:<5}"
        yield from paragraph(said, width=width, first=start, rest=" " * len(start))


def spoken_verdicts(verdicts: Iterable[Verdict]) -> Iterator[tuple[Severity, str]]:
    """Yield verdicts as they are said, the worst first; what is said of several subjects once."""
    alike: dict[tuple[Severity, str], list[str]] = {}
    for verdict in sorted(verdicts, key=lambda verdict: -verdict.severity.rank):
        alike.setdefault((verdict.severity, verdict.text), []).append(verdict.subject)
    for (severity, text), subjects in alike.items():
        yield severity, _with_subjects(text, subjects)


def _with_subjects(text: str, subjects: list[str]) -> str:
    """Return a verdict that says what it is about; the vehicle and the radio go without saying."""
    named = [subject for subject in subjects if subject not in UNNAMED]
    if not named or all(subject in text for subject in named):
        return text
    return f"{', '.join(named)}: {text}"


def _next(report: Report, width: int) -> Iterator[str]:
    for place, entry in enumerate(report.narrowing, start=1):
        yield from paragraph(_measuring(entry), width=width, first=f"{place}. ", rest="   ")


def _measuring(entry: Narrowing) -> str:
    found = measurement(entry.path)
    how = f" How: {found[1]}." if found else ""
    return (
        f"{entry.label} ({entry.path}, so far {entry.origin.value}): takes "
        f"{number(100 * entry.share, spread=10.0)} % off the band of {entry.figure}.{how}"
    )


def _cautions(report: Report, width: int) -> Iterator[str]:
    for caution in report.cautions:
        yield from paragraph(caution.text, width=width, first="! ", rest="  ")


def _fills(report: Report, width: int) -> list[str]:
    if not report.fills:
        return []
    counts = Counter(fill.origin for fill in report.fills)
    told = " and ".join(f"{counts[origin]} {origin.value}" for origin in Origin if counts[origin])
    text = f"Not given, so filled in: {told} values; `conewright check` lists them."
    return paragraph(text, width=width)
