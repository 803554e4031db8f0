"""Recordings over the API: what they hold, and the files of those that were kept."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from starlette.responses import FileResponse

from conewright.stages.prove.recorded_tests import recorded_tests
from conewright.stages.prove.stage import DETAILS
from conewright.stages.report.data import Report
from conewright.web.api import Answers, JobId, Kept, Responses, RevisionAsked, refusals
from conewright.web.recording.kept_recordings import attached, recording_of
from conewright.web.recording.parcels import KIND, unpack, upload_of
from conewright.web.recording.recorder import WITH, sent_in

__all__ = ["router"]

OCTETS = "application/octet-stream"
router = APIRouter(prefix="/api/v1", tags=["recordings"])

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
_FILE: Responses = {200: {"description": "The file.", "content": {OCTETS: {}}}}


@router.post(
    "/jobs/{job_id}/listen",
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
