"""The papers of a plan over the API: their manifest, and each file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from conewright.papers.press.manifest import Manifest
from conewright.papers.press.typeset import Paper
from conewright.store import Saved
from conewright.web.api import (
    Answers,
    JobId,
    Kept,
    ProposalId,
    Responses,
    RevisionAsked,
    refusals,
)
from conewright.web.base.errors import Refusal
from conewright.web.desk.reports import PaperQuestion

__all__ = ["router"]

OCTETS = "application/octet-stream"
router = APIRouter(prefix="/api/v1", tags=["papers"])


@dataclass(frozen=True, slots=True)
class Wanted:
    """Papers that somebody asks for, and whose they are."""

    saved: Saved
    question: PaperQuestion


def _wanted(
    store: Kept,
    job_id: JobId,
    proposal: ProposalId = None,
    paper: Annotated[Paper, Query(description="What it is printed on.")] = "A4",
    bar_measured: Annotated[
        str,
        Query(max_length=40, description="Printed 100 mm bars, across and down: 97.0,97.2"),
    ] = "",
    revision: RevisionAsked = None,
) -> Wanted:
    saved = store.get(job_id, revision)
    told = f"revision {saved.revision}"
    return Wanted(saved, PaperQuestion(proposal, paper, bar_measured.strip(), told))


WantedPapers = Annotated[Wanted, Depends(_wanted)]
_FILE: Responses = {
    200: {"description": "The file.", "content": {"application/octet-stream": {}}},
}


@router.get("/jobs/{job_id}/make", responses=refusals(404), response_description="The manifest.")
def read_manifest(reports: Answers, wanted: WantedPapers) -> Manifest:
    """Make the papers of a plan and list them: name, purpose, size, hash."""
    return reports.papers(wanted.saved, wanted.question).papers.manifest


@router.get(
    "/jobs/{job_id}/make/{name}",
    response_class=Response,
    responses=refusals(404, answers=_FILE),
)
def read_paper(
    reports: Answers,
    wanted: WantedPapers,
    name: Annotated[str, Path(max_length=120, description="As the manifest has it.")],
) -> Response:
    """Give one of the papers of a plan."""
    made = reports.papers(wanted.saved, wanted.question).papers
    for file in made.files:
        if file.name == name:
            headers = {"Content-Disposition": f'attachment; filename="{name}"'}
            return Response(file.content, media_type=OCTETS, headers=headers)
    raise Refusal(404, "There is no such paper.")
