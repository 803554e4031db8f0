"""Files over the API: what recordings hold and those that were kept, and the papers of a plan."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from starlette.responses import FileResponse

from conewright.papers.press.manifest import Manifest
from conewright.papers.press.typeset import Paper
from conewright.stages.prove.recorded_tests import recorded_tests
from conewright.stages.prove.stage import DETAILS
from conewright.stages.report.data import Report
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
from conewright.web.recording.kept_recordings import attached, recording_of
from conewright.web.recording.parcels import KIND, unpack, upload_of
from conewright.web.recording.recorder import WITH, sent_in

__all__ = ["router"]

OCTETS = "application/octet-stream"
RECORDINGS: list[str | Enum] = ["recordings"]
PAPERS: list[str | Enum] = ["papers"]
router = APIRouter(prefix="/api/v1")

_FILE: Responses = {200: {"description": "The file.", "content": {OCTETS: {}}}}


# --- Recordings -----------------------------------------------------------------------------------


_FIELDS: dict[str, Any] = {
    "file": {
        "type": "array",
        "items": {"type": "string", "format": "binary"},
        "minItems": 1,
        "description": "The files, in the order that the test asks for.",
    },
    "test": {
        "type": "string",
        "enum": list(recorded_tests()),
        "description": "What they were made for; that of their sound when left out.",
    },
    "at": {"type": "string", "description": "Where: a place, channel, seat or pair."},
    **{
        f"{WITH}{name}": {"type": "string", "description": f"{told[:1].upper()}{told[1:]}."}
        for name, (_, told) in DETAILS.items()
    },
}
_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            KIND: {"schema": {"type": "object", "properties": _FIELDS, "required": ["file"]}}
        },
    }
}
_REPORT: Responses = {200: {"description": "The report.", "model": Report}}


@router.post(
    "/jobs/{job_id}/listen",
    tags=RECORDINGS,
    response_class=Response,
    responses=refusals(400, 404, 413, 415, answers=_REPORT),
    openapi_extra=_BODY,
)
def listen_to(request: Request, store: Kept, reports: Answers, job_id: JobId) -> Response:
    """Say what recordings hold; nothing of them is kept."""
    text = store.get(job_id).text
    parcel = unpack(upload_of(request), store.recordings.arriving())
    try:
        report = reports.listener.report(text, sent_in(parcel))
    finally:
        reports.listener.discard(parcel.files)
    return Response(report.model_dump_json(), media_type="application/json")


@router.get(
    "/jobs/{job_id}/recordings/{sha256}",
    tags=RECORDINGS,
    response_class=Response,
    responses=refusals(404, answers=_FILE),
)
def read_recording(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    sha256: Annotated[
        str, Path(pattern="^[0-9a-f]{64}$", description="SHA-256 of the recording's file.")
    ],
    revision: RevisionAsked = None,
) -> Response:
    """Give the file of a job's recording as it came."""
    saved = store.get(job_id, revision)
    kept = recording_of(reports.reading.job(saved.text, file=saved.name), sha256)
    path = store.recordings.path(sha256)
    return FileResponse(path, media_type=OCTETS, headers=attached(kept.file))


# --- Papers ---------------------------------------------------------------------------------------


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


@router.get(
    "/jobs/{job_id}/make",
    tags=PAPERS,
    responses=refusals(404),
    response_description="The manifest.",
)
def read_manifest(reports: Answers, wanted: WantedPapers) -> Manifest:
    """Make the papers of a plan and list them: name, purpose, size, hash."""
    return reports.papers(wanted.saved, wanted.question).papers.manifest


@router.get(
    "/jobs/{job_id}/make/{name}",
    tags=PAPERS,
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
