"""A report as plain text: the answer, the figures that carry it, verdicts, what to do next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from conewright.job.builds.states.value import Origin
from conewright.job.measurables import measurement
from conewright.shown import view_of
from conewright.stages.report.data import HeardReading, Narrowing, Report, Severity, Verdict
from conewright.stages.report.words import odds
from conewright.views.cells import MARKS, letter
from conewright.views.choice import choice_head, choice_sections, plan_sections
from conewright.views.layout import Paragraph, Section, as_lines
from conewright.views.numbers import relief
from conewright.views.search import reading_sections
from conewright.views.tables import stage_tables

__all__ = [
    "QUESTIONS",
    "as_text",
    "heard_in_words",
    "origins_in_words",
    "report_head",
    "report_sections",
    "spoken_verdicts",
    "verdicts_once",
]

NARROWEST = 40
QUESTIONS = {
    "find": "what is wrong, and which reading to take next?",
    "feed": "what does each channel drive, and what do radio and cable take?",
    "hear": "what will be heard at the seats, and what changed it?",
    "fit": "will it go in, behind and in front?",
    "make": "what goes to the bench on paper?",
    "compare": "as found and every proposal, side by side",
    "choose": "which parts, for this money?",
    "listen": "what do these recordings hold?",
}

WITHOUT_BANDS = {"find"}
"""Stages whose figures are odds: no band, and no single origin."""

ALL_MEASURED = {"listen"}
"""Stages whose figures all come from one place, so that no letter tells more."""

QUOTED = {
    "compare": "; those of cost and hours hold 90 %",
    "choose": "; those of money hold 90 %",
}
"""What is said of bands as on the quote."""

UNNAMED = {"recording", "vehicle", "head_unit", "cause", "budget", "conflict", "wiring", "choice"}
"""Subjects of verdicts that go without saying, or are no place at all."""


@view_of(Report, "text")
def as_text(report: Report, *, width: int = 80) -> str:
    """Write a report for reading: no line is longer than `width`, at least 40."""
    width = max(width, NARROWEST)
    head = "\n".join(line for each in report_head(report) for line in each.lines(width=width))
    return f"{head}\n\n{as_lines(report_sections(report), width=width)}"


def report_sections(report: Report) -> Iterator[Section]:
    """Yield what a report says, in the order of every view."""
    yield Section("", (Paragraph(report.answer),))
    yield from stage_tables(report)
    yield Section("", tuple(_legend(report)))
    yield from plan_sections(report)
    yield Section("What it means", tuple(_verdicts(report)))
    yield Section("What it makes for the job", tuple(_heard(report)))
    yield from reading_sections(report)
    yield from choice_sections(report)
    yield Section("What to measure next", tuple(_next(report)))
    yield Section("Take care", tuple(_cautions(report)))
    yield Section("", tuple(_fills(report)))


def origins_in_words() -> str:
    """Return what the letters mean: `M measured, S sheet, T typical, A assumed`."""
    return ", ".join(f"{letter(origin)} {origin.value}" for origin in Origin)


def report_head(report: Report) -> Iterator[Paragraph]:
    """Yield the question, and what it is asked of."""
    question = QUESTIONS.get(report.stage, "")
    yield Paragraph(f"{report.stage.upper()}: {question}", rest="  ")
    if report.job:
        yield Paragraph(f"Job: {report.job}", rest="  ")
    if report.stage == "compare":
        return
    if report.stage == "choose":
        yield from choice_head(report)
        return
    if report.stage == "listen":
        made = f", taken as {report.title}" if report.title else ""
        yield Paragraph(f"Recordings: {report.build}{made}", rest="  ")
        return
    told = report.title.replace(" ", "-") in {"", report.build}
    title = "" if told else f" ({report.title})"
    against = f", against {report.against}" if report.against else ""
    yield Paragraph(f"Build: {report.build}{title}{against}", rest="  ")


def _legend(report: Report) -> Iterator[Paragraph]:
    if report.stage in WITHOUT_BANDS or all(figure.value is None for figure in report.figures):
        return
    quoted = QUOTED.get(report.stage, "")
    yield Paragraph(f"Bands hold 80 %: from the 10 % to the 90 % point{quoted}.")
    if report.stage in ALL_MEASURED:
        return
    yield Paragraph(f"{origins_in_words()}.")


def _verdicts(report: Report) -> Iterator[Paragraph]:
    for severity, said in spoken_verdicts(report.verdicts):
        start = f"{MARKS[severity]} {severity.value:<5}"
        yield Paragraph(said, first=start, rest=" " * len(start))


def verdicts_once(
    verdicts: Iterable[Verdict],
) -> Iterator[tuple[Severity, str, tuple[str, ...]]]:
    """Yield severity and text of verdicts, the worst first, with the subjects to be named.

    What is said of several subjects is said once. The vehicle and the radio go without saying, and
    so do subjects that the text names.
    """
    alike: dict[tuple[Severity, str], list[str]] = {}
    for verdict in sorted(verdicts, key=lambda verdict: -verdict.severity.rank):
        alike.setdefault((verdict.severity, verdict.text), []).append(verdict.subject)
    for (severity, text), subjects in alike.items():
        named = tuple(subject for subject in subjects if subject not in UNNAMED)
        yield severity, text, () if all(subject in text for subject in named) else named


def spoken_verdicts(verdicts: Iterable[Verdict]) -> Iterator[tuple[Severity, str]]:
    """Yield verdicts as they are said, behind the subjects that they must name."""
    for severity, text, named in verdicts_once(verdicts):
        yield severity, f"{', '.join(named)}: {text}" if named else text


def _heard(report: Report) -> Iterator[Paragraph]:
    """Yield the readings that recordings make, with the odds of each answer."""
    for reading in report.heard:
        yield Paragraph(heard_in_words(reading), rest="  ")
    for value in report.values:
        so_far = f" (so far {value.found})" if value.found else ""
        yield Paragraph(f"{value.path} = {value.text}{so_far}", rest="  ")


def heard_in_words(reading: HeardReading) -> str:
    """Say what a reading is that recordings make: `slow-bass at door-fl: rasp, about 19 in 20`."""
    said = reading.value
    if not isinstance(said, str):
        said = ", ".join(f"{name} {text}" for name, text in said.items())
    told = ""
    if reading.odds is not None:
        total = sum(reading.odds.values())
        told = f", {odds(reading.odds[said] / total)}"
    return f"{reading.test} at {reading.at}: {said}{told}"


def _next(report: Report) -> Iterator[Paragraph]:
    for place, entry in enumerate(report.narrowing, start=1):
        yield Paragraph(_measuring(entry), first=f"{place}. ", rest="   ")


def _measuring(entry: Narrowing) -> str:
    found = measurement(entry.path)
    how = f" How: {found[1]}." if found else ""
    return (
        f"{entry.label} ({entry.path}, so far {entry.origin.value}): takes "
        f"{relief(entry.share)} off the band of {entry.figure}.{how}"
    )


def _cautions(report: Report) -> Iterator[Paragraph]:
    for caution in report.cautions:
        yield Paragraph(caution.text, first="! ", rest="  ")


def _fills(report: Report) -> Iterator[Paragraph]:
    if not report.fills:
        return
    counts = Counter(fill.origin for fill in report.fills)
    told = " and ".join(f"{counts[origin]} {origin.value}" for origin in Origin if counts[origin])
    one = len(report.fills) == 1
    word, lists = ("value", "shows it") if one else ("values", "lists them")
    yield Paragraph(f"Not given, so filled in: {told} {word}; `conewright check` {lists}.")
