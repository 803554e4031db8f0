"""Reports as a page shows them: numbers with band, origin and working; verdicts; tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from conewright.errors import BadInputError
from conewright.job.builds.fills import plain_text
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin, Value
from conewright.job.measurables import measurement
from conewright.job.text.labels import field_at
from conewright.phrases import capital
from conewright.stages.hear.listening import third_octaves
from conewright.stages.report.data import (
    Figure,
    Narrowing,
    Report,
    Series,
    Severity,
    Verdict,
    Working,
)
from conewright.stages.report.words import number
from conewright.views.cells import MARKS, letter
from conewright.views.numbers import points, relief, say
from conewright.views.search import cause_name
from conewright.views.text import QUESTIONS, verdicts_once
from conewright.web.frame.plan import State

__all__ = [
    "LETTERS",
    "Group",
    "InputView",
    "NextView",
    "NumberView",
    "StageView",
    "TableView",
    "VerdictView",
    "in_inches",
    "number_view",
    "places_states",
    "series_table",
    "stage_view",
    "verdict_views",
]

LETTERS = {origin: (letter(origin), origin.value) for origin in Origin}
HEADLINES = {
    "fit": ("rear_clearance", "rear_odds", "front_clearance", "front_odds"),
    "feed": ("minimum_impedance_change", "clean_power_change"),
    "hear": ("bass_level", "max_clean_level", "bass_corner", "hearing_time", "level_change",
             "bass_change", "treble_change", "max_clean_level_change"),
}  # fmt: skip
THIRDS = tuple(f"_{suffix}" for suffix, _, _ in third_octaves())
"""How the names of figures end that belong to a third octave: the picture shows them."""
MOST_ROWS = 40
DRAWN = {
    "feed": (".impedance",),
    "hear": (".level", ".max_clean_level", ".level_against", ".level_change", ".limit"),
    "find": (".odds",),
}
"""Series that the pictures show, and so does the table behind them."""

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class InputView:
    """A value that went into a figure, with the field to put in a better one."""

    path: str
    label: str
    how: str
    value: str
    letter: str
    word: str
    open: bool
    inch: str


@dataclass(frozen=True, slots=True)
class WorkingView:
    """How a figure came about, and what went into it."""

    formula: str
    numbers: str
    source: str
    inputs: tuple[InputView, ...]
    links: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NumberView:
    """A figure as it is read: number, unit, band, origin."""

    id: str
    anchor: str
    label: str
    number: str
    unit: str
    band: str
    letter: str
    word: str
    note: str = ""
    inch: str = ""
    working: WorkingView | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """The figures of one subject."""

    id: str
    title: str
    numbers: tuple[NumberView, ...]


@dataclass(frozen=True, slots=True)
class VerdictView:
    """A verdict with its shape and word, and whom it is about."""

    kind: str
    mark: str
    word: str
    text: str
    subjects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NextView:
    """A measurement worth taking, with the field for what it says."""

    label: str
    how: str
    gain: str
    field: InputView | None


@dataclass(frozen=True, slots=True)
class TableView:
    """A plain table: heads, then rows whose first cell is their head."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class StageView:
    """A report in the order of every stage page."""

    question: str
    answer: str
    headlines: tuple[Group, ...]
    others: tuple[Group, ...]
    verdicts: tuple[VerdictView, ...]
    next: tuple[NextView, ...]
    cautions: tuple[str, ...]
    fills: tuple[tuple[str, str, str, str, str], ...]
    table: TableView | None


def stage_view(report: Report, job: Job, build: Build) -> StageView:
    """Return a report for its page.

    Args:
        report: of stage find, fit, feed or hear.
        job: that it is about.
        build: of the job that it is about; gives the values that went in.

    """
    names = _names(job)
    values = {value.path: value for value in build.values()}
    workings = {working.figure: working for working in report.working}
    wanted = HEADLINES.get(report.stage, ())
    leading, others = [], []
    for figure in report.figures:
        head = figure.name in wanted or figure.id in workings
        working = _working(workings.get(figure.id), job, values)
        if head:
            leading.append(number_view(figure, working))
        elif not figure.name.endswith(THIRDS) and report.stage != "find":
            others.append(number_view(figure, None))
    return StageView(
        question=QUESTIONS.get(report.stage, ""),
        answer=report.answer,
        headlines=_grouped(leading, names),
        others=_grouped(others, names),
        verdicts=verdict_views(report.verdicts),
        next=tuple(_next(entry, report, job, values) for entry in report.narrowing),
        cautions=tuple(caution.text for caution in report.cautions),
        fills=tuple(
            (fill.path, fill.value, *LETTERS[fill.origin], fill.source) for fill in report.fills
        ),
        table=series_table(report),
    )


# --- Figures ------------------------------------------------------------------------------------


def number_view(figure: Figure, working: WorkingView | None = None) -> NumberView:
    """Return a figure as it is read."""
    said = say(figure)
    sign, word = LETTERS[figure.origin]
    inch = in_inches(figure.value / 1000.0) if figure.unit == "mm" and figure.value else ""
    at = f"at {number(figure.frequency_hz, 'Hz')}" if figure.frequency_hz is not None else ""
    text = figure.text if figure.value is not None and figure.text else ""
    return NumberView(
        id=figure.id,
        anchor=re.sub(r"[^A-Za-z0-9_-]", "-", figure.id),
        label=capital(figure.label),
        number=said.number,
        unit=said.unit,
        band=said.band,
        letter=sign,
        word=word,
        note=", ".join(each for each in (at, text) if each),
        inch=inch,
        working=working,
    )


def in_inches(metres: float) -> str:
    """Return a length in inches for the tape: to the sixteenth where that is near, else decimal."""
    inches = metres * 1000.0 / MM_PER_INCH
    return f"{number(inches, most=2)} in"


def _grouped(numbers: Iterable[NumberView], names: Mapping[str, str]) -> tuple[Group, ...]:
    groups: dict[str, list[NumberView]] = {}
    for each in numbers:
        groups.setdefault(each.id.rpartition(".")[0], []).append(each)
    return tuple(Group(id, names.get(id, id), tuple(found)) for id, found in groups.items())


def _names(job: Job) -> dict[str, str]:
    names = {place.id: place.name for place in job.locations if place.name}
    return names | {"head_unit": job.head_unit.name, "vehicle": job.vehicle.name or "vehicle"}


# --- Working ------------------------------------------------------------------------------------


def _working(working: Working | None, job: Job, values: Mapping[str, Value]) -> WorkingView | None:
    if working is None:
        return None
    inputs: list[InputView] = []
    links: list[str] = []
    for path in working.inputs:
        found = [values[path]] if path in values else _below(path, values)
        inputs += [_input(value, job) for value in found]
        if not found:
            links.append(path)
    return WorkingView(
        working.formula, working.numbers, working.source, tuple(inputs), tuple(links)
    )


def _below(path: str, values: Mapping[str, Value]) -> list[Value]:
    return [value for name, value in values.items() if name.startswith(f"{path}.")]


def _input(value: Value, job: Job) -> InputView:
    sign, word = LETTERS[value.origin]
    told = measurement(value.path)
    length = value.quantity.dimension == "length" and abs(value.si) < 1.0 and value.si != 0.0
    return InputView(
        path=value.path,
        label=_input_label(value, told),
        how=told[1] if told else "",
        value=plain_text(value.quantity).replace("Ω", "ohm"),
        letter=sign,
        word=word,
        open=_writable(job, value.path),
        inch=in_inches(value.si) if length else "",
    )


def _input_label(value: Value, told: tuple[str, str] | None) -> str:
    owner, _, rest = value.path.partition(".")
    words = told[0] if told else rest.replace("_", " ").replace(".", " ")
    place = rest.rpartition(".")[2]
    nth = f" {place}" if place.isdecimal() and told else ""
    return f"{capital(words)}{nth}, {owner}"


def _writable(job: Job, path: str) -> bool:
    try:
        field_at(job, path)
    except BadInputError:
        return False
    return True


def _next(entry: Narrowing, report: Report, job: Job, values: Mapping[str, Value]) -> NextView:
    told = measurement(entry.path)
    figures = {figure.id: figure for figure in report.figures}
    about = figures.get(entry.figure)
    of = f"{about.label} ({about.subject})" if about else entry.figure
    return NextView(
        label=capital(entry.label),
        how=told[1] if told else "",
        gain=f"takes {relief(entry.share)} off the band of: {of}",
        field=_input(values[entry.path], job) if entry.path in values else None,
    )


# --- Verdicts -----------------------------------------------------------------------------------


def verdict_views(verdicts: Iterable[Verdict]) -> tuple[VerdictView, ...]:
    """Return verdicts, the worst first; what is said of several subjects is said once."""
    return tuple(
        VerdictView(
            kind=severity.value,
            mark=MARKS[severity],
            word=severity.value,
            text=text,
            subjects=named,
        )
        for severity, text, named in verdicts_once(verdicts)
    )


def places_states(job: Job, reports: Iterable[Report]) -> dict[str, State]:
    """Return how each place and channel does: the worst that any report says of it."""
    ids = {place.id for place in job.locations} | {channel.id for channel in job.channels}
    worst: dict[str, Severity] = {}
    for report in reports:
        for verdict in report.verdicts:
            for id in _about(verdict, ids):
                if id not in worst or verdict.severity.rank > worst[id].rank:
                    worst[id] = verdict.severity
    for channel in job.channels:
        # A place of which nothing is said shares what is said of its channel.
        for id in channel.wiring.locations if channel.wiring and channel.id in worst else ():
            worst.setdefault(id, worst[channel.id])
    return {id: State(MARKS[each], each.value, each.value) for id, each in worst.items()}


def _about(verdict: Verdict, ids: set[str]) -> set[str]:
    if verdict.subject in ids:
        # What is said of several places at once has the figures of all of them behind it.
        return {verdict.subject, *(figure.partition(".")[0] for figure in verdict.figures)} & ids
    named = set(re.findall(r"[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*", verdict.text))
    return named & ids if verdict.severity.rank >= Severity.WARN.rank else set()


# --- The table behind the picture -----------------------------------------------------------------


def series_table(report: Report, *, most: int | None = MOST_ROWS) -> TableView | None:
    """Return the curves of a report as a table, thinned to at most `most` rows; None for none."""
    endings = DRAWN.get(report.stage, ())
    curves = [curve for curve in report.series if curve.id.endswith(endings)] if endings else []
    curves = [curve for curve in curves if curve.x.values == curves[0].x.values]
    if not curves:
        return None
    x = curves[0].x
    step = 1 if most is None else max(1, -(-len(x.values) // most))
    first = f"{x.name} [{x.unit}]" if x.unit else x.name
    heads = (first, *(_head(curve, report) for curve in curves))
    columns = [points(axis) for axis in (x, *(curve.y for curve in curves))]
    rows = tuple(zip(*(column[::step] for column in columns), strict=True))
    return TableView(f"{report.stage}: the curves as numbers", heads, rows)


def _head(curve: Series, report: Report) -> str:
    if curve.id.startswith("cause."):
        return cause_name(report, curve.id.removesuffix(".odds").removeprefix("cause."))
    name = curve.id.replace(".", ", ")
    return f"{name.replace('_', ' ')} [{curve.y.unit}]" if curve.y.unit else name.replace("_", " ")
