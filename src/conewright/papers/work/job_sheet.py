"""The job sheet: complaint, cause and proof; the work in order; what to set, read and sign."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any

from conewright.errors import BadInputError
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.papers.press.answers import Answers
from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.work.checks import NOT_KNOWN, expected, hand_over, power_up, settings
from conewright.papers.work.parts_sheet import hours_in_words
from conewright.phrases import capital, listed
from conewright.pictures import as_svg
from conewright.stages.common.changes import pairs_of
from conewright.stages.common.nets import fed_by
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.told import repair_words
from conewright.stages.outlay.holding import Holding
from conewright.stages.outlay.steps import Step, total_minutes
from conewright.stages.report.care import cautions_for, minded_at
from conewright.stages.report.data import Caution, Report, Severity
from conewright.stages.report.having import may_filter
from conewright.views.text import spoken_verdicts

__all__ = ["job_sheet", "places", "sheet_data"]

TITLE = "Job sheet"
UNKNOWN = "unknown: prove it before anything is connected"
UNUSED, INSULATED = "none", "nothing: its ends insulated"
PICTURE = "before-after.svg"
PICTURE_INCHES = 7.1


def job_sheet(answers: Answers, *, paper: Paper = "A4", revision: str | None = None) -> bytes:
    """Return the job sheet of a plan as a PDF; the same job gives the same bytes.

    Args:
        answers: what the stages say of the plan.
        paper: what it is printed on.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.

    """
    picture = _picture(answers.hear)
    files = {} if picture is None else {PICTURE: picture}
    data = sheet_data(answers, revision=revision) | {"picture": PICTURE if picture else None}
    return typeset("sheet.typ", data, files=files, paper=paper)


def sheet_data(answers: Answers, *, revision: str | None = None) -> dict[str, Any]:
    """Return what stands on the job sheet, as plain data for its template."""
    build = answers.build
    taken = answers.taken
    steps = taken.steps
    cautions = {caution.id: caution for caution in cautions_for("make", build)}
    return {
        "head": head(build, TITLE, revision=revision),
        **_complaint(answers),
        "plan": build.title,
        "is_plan": build.proposal is not None,
        "places": places(build),
        **_verdicts(answers),
        "left": _left(build, answers.held),
        "steps": list(_steps(answers, steps, cautions)),
        "minutes": asdict(total_minutes(steps)),
        "hours": hours_in_words(taken.hours),
        "told_hours": capital(taken.told_hours),
        "results": [answers.hear.answer, answers.feed.answer, answers.fit.answer],
        "settings": asdict(settings(answers))
        | {
            "filters": any(may_filter(build, each) for each in build.channels),
            "several": len(pairs_of(build)) > 1,
        }
        | {"cautions": _texts(cautions, _cautions_of(steps, "set"))},
        "power_up": [asdict(check) for check in power_up(answers)],
        "power_up_cautions": _texts(cautions, _cautions_of(steps, "power-up")),
        "hand_over": [asdict(check) for check in hand_over(answers)],
        "cautions": _texts(cautions, _left_over(cautions, steps)),
    }


def _complaint(answers: Answers) -> dict[str, Any]:
    job, report = answers.build.job, answers.find
    causes = [verdict for verdict in report.verdicts if verdict.subject == "cause"]
    established = [each for each in causes if each.severity is not Severity.NOTE]
    proved = any(each.severity is not Severity.GOOD for each in established)
    return {
        "vehicle": answers.build.vehicle.name,
        "opened": job.about.opened.isoformat() if job.about.opened else None,
        "notes": job.about.notes,
        "complaints": [_in_words(text) for text in job.about.complaints],
        "found": "" if proved else report.answer,
        "causes": [
            {"severity": verdict.severity.value, "text": verdict.text} for verdict in established
        ],
        "readings": [
            f"{trade.test(each.test).title} at {each.at}: {each.value}" for each in job.readings
        ],
    }


def _in_words(complaint: str) -> dict[str, str]:
    """Return a complaint as the owner says it, and where."""
    word, _, place = complaint.partition("@")
    return {"words": trade.complaint(word).words, "where": place}


def _verdicts(answers: Answers) -> dict[str, Any]:
    """Return what stops work and what to mind in the plan, as the stages say it."""
    stops = (verdict for verdict in answers.find.verdicts if verdict.severity is Severity.STOP)
    said = list(spoken_verdicts((*stops, *answers.verdicts)))
    return {
        "stops": [text for severity, text in said if severity is Severity.STOP],
        "warnings": [text for severity, text in said if severity is Severity.WARN],
    }


def places(build: Build) -> list[dict[str, str]]:
    """Return what hangs on each channel; those that nobody knows or uses are there as well."""
    known = [
        {
            "channel": channel.id,
            "load": channel.load,
            "names": "; ".join(_named(build.location(place)) for place, _ in channel.polarity)
            + (f", driven by {channel.driven_by}" if channel.driven_by else ""),
        }
        for channel in build.channels
    ]
    unknown = [
        {"channel": channel.id, "load": UNKNOWN, "names": "nobody has said yet"}
        for channel in build.unknown
    ]
    unused = [
        {"channel": each.id, "load": UNUSED, "names": f"feeds {fed}" if fed else INSULATED}
        for each in build.unused
        for fed in [listed([unit.name for unit in fed_by(build, each.id)])]
    ]
    return known + unknown + unused


def _named(place: LocationState) -> str:
    """Return the name of a place with what was found of restraint parts by looking there."""
    if place.restraint is None:
        return place.name
    return f"{place.name} ({RESTRAINTS[place.restraint]})"


RESTRAINTS = {
    "none": "looked at: no restraint part",
    "impact": "impact sensor",
    "pressure": "pressure sensor",
    "curtain": "curtain bag",
    "unknown": "restraint parts unknown",
}


def _steps(
    answers: Answers, steps: tuple[Step, ...], cautions: dict[str, Caution]
) -> Iterator[dict[str, Any]]:
    """Yield the steps; a caution stands in full at the first it belongs to, then by its step."""
    said: dict[str, int] = {}
    # The last step of a kind is the one that does it.
    doing = {step.kind: step.id for step in steps}
    for place, step in enumerate(steps, start=1):
        here = [
            id
            for id in step.cautions
            if id in cautions and minded_at(answers.build, id, step.subjects)
        ]
        new = [id for id in here if id not in said]
        yield {
            "number": place,
            "title": step.title,
            "where": step.where,
            "how": step.how,
            "tools": ", ".join(step.tools),
            "minutes": asdict(step.minutes),
            "expect": [
                *(_repairs(answers, step.kind) if doing[step.kind] == step.id else ()),
                *_expect(answers, step),
            ],
            "cautions": _texts(cautions, new),
            "see": sorted({said[id] for id in here if id in said}),
        }
        said |= dict.fromkeys(new, place)


def _expect(answers: Answers, step: Step) -> list[str]:
    """Return what to find on this vehicle at each place of a step, where anything is known."""
    told = [expected(answers, step.expect, subject) for subject in step.subjects]
    return [text for text in told if text not in {"", NOT_KNOWN}]


def _repairs(answers: Answers, kind: str) -> Iterator[str]:
    """Yield what a kind of change mends, and how the trade does it."""
    held, build = answers.held, answers.build
    listed = () if build.proposal is None else build.job.proposal(build.proposal).mends
    for fault, by in answers.taken.changed.mended.items():
        if by == kind:
            name, _, at = fault.partition("@")
            usual = f" {repair_words(build, name, at)}" if fault in listed else ""
            yield f"{_fault_in_words(build, fault)}.{usual}"
    for part in held.parts if held is not None else ():
        if part.kind == kind:
            yield part.words


def _left(build: Build, held: Holding | None) -> list[str]:
    """Return the faults that were found and that a plan does not mend, and the twins it leaves."""
    if build.proposal is None:
        return []
    return [
        f"Left as it is: {_fault_in_words(build, f'{each.fault}@{each.at}')}"
        for each in build.faults
    ] + [part.words for part in (held.parts if held is not None else ()) if not part.kind]


def _fault_in_words(build: Build, fault: str) -> str:
    """Return a fault, written as fault@place, in a repairer's words."""
    name, _, at = fault.partition("@")
    names = {place.id: place.name for place in build.locations}
    return f"{names.get(at, at)}: {trade.fault(name).title}"


def _cautions_of(steps: tuple[Step, ...], id: str) -> tuple[str, ...]:
    return next(step.cautions for step in steps if step.id == id)


def _left_over(cautions: dict[str, Caution], steps: tuple[Step, ...]) -> list[str]:
    """Return the cautions that belong to no step: they stand at the head of the sheet."""
    placed = {id for step in steps for id in step.cautions}
    return [id for id in cautions if id not in placed]


def _texts(cautions: dict[str, Caution], ids: Iterable[str]) -> list[str]:
    return [cautions[id].text for id in ids if id in cautions]


def _picture(report: Report) -> str | None:
    """Return the drawing of what is heard, None where there is nothing to draw."""
    try:
        return as_svg(report, width_inches=PICTURE_INCHES)
    except BadInputError:
        return None
