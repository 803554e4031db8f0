"""Every page of every paper of every job: enough on it, no heading alone, no empty table.

The jobs are the demo, two invented ones and whatever lies in the folder of examples.
"""

import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from invented import saloon, van

import conewright as cw
from conewright.job.builds.job import Job
from conewright.papers.make import papers

EXAMPLES = Path(__file__).parents[2] / "examples"
FEWEST_WORDS = 40
"""A page with fewer words than some four lines is not worth its paper."""

DRAWN = ("templates.pdf", "flags.pdf")
"""Papers to cut from and to cut up: a page is full with a drawing or with flags."""

FEWEST_DRAWN = 8
A_PICTURE = 50
"""Curves of a picture, whose letters are curves as well."""

TABLE_HEADS = {
    "ChannelLoadPlaces",
    "StepToolsmin",
    "WhatHowmuchlowasarulehigh",
    "ChannelJointWhatmeetsthereMadeby,sleeved,pulled",
    "WhatanditslimitExpectedhereBeforeAfter",
    "TemplateFromPages",
    "SheetLaidout",
}
ON_LETTER = {("demo", "put-right"), ("saloon", "new-cone")}
"""Plans that are printed on the other paper as well, whose pages are shorter."""

HEADING = 12.9
"""Letters of a heading are at least so large [pt]; flags, steps and drawings are smaller."""

ACROSS = 18.0
"""Larger letters are those that lie across a drawing [pt]."""

HEAD, FOOT = 29.0 / 25.4 * 72, 24.0 / 25.4 * 72
"""Margins with the running head and foot [pt], as in base.typ."""


@dataclass(frozen=True)
class Line:
    """A line as it was read back: its words, its largest letter, and whether all of it is bold."""

    text: str
    size: float
    bold: bool
    top: float


def made() -> Iterator[Any]:
    for name, job in (("demo", cw.demo_job()), ("van", van()), ("saloon", saloon())):
        plans = [each.id for each in job.proposals]
        # The first and the last plan of a job: papers of the others have nothing of another kind.
        for plan in dict.fromkeys((None, *plans[:1], *plans[-1:])):
            for paper in ("A4", "Letter") if (name, plan) in ON_LETTER else ("A4",):
                yield pytest.param(job, plan, paper, id=f"{name}-{plan or 'as-found'}-{paper}")
    # As found they are told above; of a plan more is printed.
    for path in sorted(EXAMPLES.glob("*.toml")):
        job = cw.load(path)
        plan = job.proposals[-1].id if job.proposals else None
        yield pytest.param(job, plan, "A4", id=f"{path.stem}-{plan or 'as-found'}-A4")


@pytest.mark.slow
@pytest.mark.parametrize(("job", "plan", "paper"), list(made()))
def test_no_page_is_nearly_empty_and_no_heading_stands_alone(
    job: Job, plan: str | None, paper: str
) -> None:
    try:
        files = papers(job.build(plan), paper=paper).files
    except cw.PlanRefusedError:
        pytest.skip("a plan that is refused has no papers")
    sheets = [file for file in files if file.name.endswith(".pdf")]
    assert sheets
    wrong: list[str] = []
    for file in sheets:
        with pdfplumber.open(io.BytesIO(file.content)) as pdf:
            for number, page in enumerate(pdf.pages, start=1):
                where = f"{file.name} page {number} of {len(pdf.pages)}"
                wrong += [f"{where}: {each}" for each in _wrong(page, file.name)]
    assert not wrong, "\n".join(wrong)


def _wrong(page: Any, name: str) -> Iterator[str]:
    """Yield what is wrong with a page."""
    lines = list(_lines(page))
    if not lines:
        if len(page.curves) < A_PICTURE:
            yield "nothing on it"
        return
    words = (page.crop((0, HEAD, page.width, page.height - FOOT)).extract_text() or "").split()
    fewest = FEWEST_DRAWN if name in DRAWN or len(page.curves) > A_PICTURE else FEWEST_WORDS
    if len(words) < fewest:
        yield f"only {' '.join(words)!r}"
    drawn = max((shape["bottom"] for shape in (*page.curves, *page.images)), default=0.0)
    for line, following in zip(lines, [*lines[1:], None], strict=True):
        if line.size < HEADING:
            continue
        below = any(each.top > line.top and each.size < HEADING for each in lines)
        if not below and drawn < line.top:
            yield f"nothing below the heading {line.text!r}"
        elif following is not None and line.size == following.size:
            # A heading of the same size right below it: a section with nothing in it.
            yield f"{line.text!r} has nothing in it"
    last = lines[-1]
    if last.bold and last.text in TABLE_HEADS:
        yield f"ends with the head of a table, {last.text!r}"


def _lines(page: Any) -> Iterator[Line]:
    """Yield the lines of the body, from above."""
    letters = [
        each
        for each in page.chars
        if each["text"].strip() and each["top"] >= HEAD and each["bottom"] <= page.height - FOOT
        if each["upright"] and each["size"] < ACROSS
    ]
    letters.sort(key=lambda each: (round(each["bottom"]), each["x0"]))
    for _, some in groupby(letters, key=lambda each: round(each["bottom"])):
        line = list(some)
        yield Line(
            text="".join(each["text"] for each in line),
            size=max(each["size"] for each in line),
            bold=all("Bold" in each["fontname"] for each in line),
            top=line[0]["top"],
        )
