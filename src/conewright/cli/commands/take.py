"""`conewright find` with --take, --mended, --drop and --plan: what was found, written down."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from conewright.cli.base.kept import open_job, write_text
from conewright.errors import BadInputError
from conewright.job.text.readings import with_finding, without_finding, without_reading
from conewright.stages.compare.cures import ways_to_mend
from conewright.stages.find.talk.mending import text_with_found, text_with_mending
from conewright.views.layout import paragraph

__all__ = ["dropped", "planned", "taken"]


def taken(file: Path, finding: str, *, state: str = "found") -> str:
    """Write a fault into a job as found, or as mended; return what to tell of it.

    Args:
        file: job file, or a kept job's name.
        finding: fault@place.
        state: `found` or `mended`.

    Raises:
        BadInputError: it is no fault at a place of this job, or the job cannot be written.

    """
    opened = open_job(file)
    fault, at = _parts(finding)
    text = (
        text_with_found(opened.text, opened.format, fault=fault, at=at)
        if state == "found"
        else with_finding(opened.text, opened.format, fault=fault, at=at, state=state)
    )
    write_text(opened, text)
    return f"{file}: {finding} is written down as {state}.\n"


def dropped(file: Path, what: str) -> str:
    """Take a finding, fault@place, or a reading, test@place, out of a job again; as `taken`."""
    opened = open_job(file)
    name, at = _parts(what)
    findings = [each.id for each in opened.job.findings]
    readings = [f"{each.test}@{each.at}" for each in opened.job.readings]
    if what in findings:
        number = findings.index(what) + 1
        text = without_finding(opened.text, opened.format, number=number)
    elif what in readings:
        number = len(readings) - readings[::-1].index(what)
        text = without_reading(opened.text, opened.format, number=number)
    else:
        known = ", ".join(dict.fromkeys([*findings, *readings])) or "none"
        raise BadInputError(f'found "{name}@{at}"; written down are {known}')
    write_text(opened, text)
    return f"{file}: {what} is taken out.\n"


def planned(file: Path, by: Sequence[str] = ()) -> str:
    """Write the proposal that mends what was found into a job; as `taken`.

    Args:
        file: job file, or a kept job's name.
        by: repairs that are chosen, each as repair@place; the others are told with their price.

    """
    opened = open_job(file)
    ways = ways_to_mend(opened.job)
    text, plan = text_with_mending(opened.text, opened.format, repairs=by)
    write_text(opened, text)
    told = [f"{file}: proposal {plan.id} is written: {plan.name}."]
    for fault in dict.fromkeys(way.fault for way in ways):
        here = [way for way in ways if way.fault == fault]
        named = [way for way in here if way.repair in plan.repairs]
        told += ["", f"Ways for {fault}, * is in the plan; another one with --by:"]
        told += [
            line
            for way in here
            for mark in ("*" if way in (named or [w for w in here if w.usual]) else " ",)
            for line in paragraph(f"{way.words}.", width=WIDTH, first=f"{mark} ", rest="    ")
        ]
    return "\n".join((*told, ""))


WIDTH = 80


def _parts(text: str) -> tuple[str, str]:
    name, at, place = text.partition("@")
    if not (name and at and place):
        raise BadInputError(f'found "{text}"; what it is and where is wanted, coil-open@door-fl')
    return name, place
