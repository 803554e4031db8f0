"""Recordings of a job: what each is, its file as it came, and the job with all of them."""

from __future__ import annotations

from pathlib import Path
from tempfile import NamedTemporaryFile
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from conewright.errors import BadInputError, ConewrightError
from conewright.job.builds.job import Job
from conewright.job.document.document import KeptRecording, Reading
from conewright.stages.prove.recorded_tests import recorded_tests
from conewright.stages.report.data import Report
from conewright.store.recordings import Recordings, pack
from conewright.web.base.errors import Refusal, reasons
from conewright.web.desk.listener import File, Sent
from conewright.web.frame.context import JobPage, open_page, plan_of
from conewright.web.frame.page import Revision, render, store_of
from conewright.web.recording.recorder import listener_of
from conewright.web.recording.said import drawing, heard_view, picture_at

__all__ = ["attached", "recording_of", "router"]

router = APIRouter()

OCTETS = "application/octet-stream"


@router.get("/jobs/{job_id}/recordings/{sha}.svg")
def recording_picture(
    request: Request,
    job_id: str,
    sha: str,
    revision: Revision = None,
    narrow: bool = False,
    dark: bool = False,
) -> Response:
    """Give the picture of what a kept recording holds."""
    page = open_page(request, job_id, revision=revision)
    beside = _beside(page.job, recording_of(page.job, sha))
    report = _report(request, page, beside)
    return drawing(report, _key(page, beside), narrow=narrow, dark=dark)


@router.get("/jobs/{job_id}/recordings/{sha}")
def recording_page(request: Request, job_id: str, sha: str, revision: Revision = None) -> Response:
    """Show what a kept recording is, and which readings come from it."""
    page = open_page(request, job_id, revision=revision)
    kept = recording_of(page.job, sha)
    beside = _beside(page.job, kept)
    told, report = "", None
    try:
        report = _report(request, page, beside)
    except (ConewrightError, Refusal) as error:
        told = (
            str(error)
            if isinstance(error, Refusal)
            else reasons(error)
            if isinstance(error, BadInputError)
            else str(error)
        )
    place = f"{page.base}/recordings/{sha}.svg"
    titles = recorded_tests()
    return render(
        request,
        "recording.html",
        page=page,
        kept=kept,
        test=titles[kept.test].title if kept.test in titles else kept.test,
        others=[each for each in beside if each.id != kept.id],
        readings=_readings(page.job, kept),
        here=store_of(request).recordings.has(sha),
        told=told,
        view=None if report is None else heard_view(report),
        picture=None
        if report is None
        else picture_at(report, _key(page, beside), place, revision=page.saved.revision),
        plan=plan_of(page, [] if report is None else [report], selected=kept.at),
    )


@router.get("/jobs/{job_id}/recordings/{sha}/file")
def recording_file(request: Request, job_id: str, sha: str, revision: Revision = None) -> Response:
    """Give the file of a recording as it came."""
    page = open_page(request, job_id, revision=revision)
    kept = recording_of(page.job, sha)
    path = store_of(request).recordings.path(sha)
    return FileResponse(path, media_type=OCTETS, headers=attached(kept.file))


@router.get("/jobs/{job_id}/job.zip")
def job_with_recordings(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Give the job's file with the files of its recordings as a ZIP archive."""
    page = open_page(request, job_id, revision=revision)
    recordings = store_of(request).recordings
    with NamedTemporaryFile(dir=recordings.arriving(), prefix="zip-", delete=False) as file:
        path = Path(file.name)
        try:
            hashes = [each.sha256 for each in page.job.recordings]
            pack(file, page.saved.text, hashes, recordings)
        except BaseException:
            path.unlink(missing_ok=True)
            raise
    headers = attached(f"{page.saved.name}.zip")
    gone = BackgroundTask(path.unlink, missing_ok=True)
    return FileResponse(path, media_type="application/zip", headers=headers, background=gone)


# --- Underneath -----------------------------------------------------------------------------------


def recording_of(job: Job, sha: str) -> KeptRecording:
    """Return the recording of a job with that SHA-256; raises Refusal where it has none."""
    for each in job.recordings:
        if each.sha256 == sha:
            return each
    raise Refusal(404, "This job has no such recording.")


def attached(name: str) -> dict[str, str]:
    """Return the header that saves a file under a name, whatever signs are in it (RFC 6266)."""
    plain = "".join(each if (each.isascii() and each.isalnum()) or each in " ._-" else "_"
                    for each in name)  # fmt: skip
    return {
        "Content-Disposition": f"attachment; filename=\"{plain}\"; filename*=utf-8''{quote(name)}"
    }


def _beside(job: Job, kept: KeptRecording) -> tuple[KeptRecording, ...]:
    """Return the recordings that were listened to together with one, in their order."""
    if not kept.take:
        return (kept,)
    same = [
        each
        for each in job.recordings
        if (each.test, each.at, each.side, each.when, each.note)
        == (kept.test, kept.at, kept.side, kept.when, kept.note)
    ]
    takes = {each.take: each for each in same if each.take}
    return tuple(takes[number] for number in sorted(takes))


def _readings(job: Job, kept: KeptRecording) -> list[Reading]:
    return [each for each in job.readings if kept.id in each.recordings]


def _report(request: Request, page: JobPage, beside: tuple[KeptRecording, ...]) -> Report:
    recordings = store_of(request).recordings
    sent = _sent(recordings, beside)
    return listener_of(request).kept_report(page.saved.text, sent)


def _sent(recordings: Recordings, beside: tuple[KeptRecording, ...]) -> Sent:
    first = beside[0]
    files = tuple(
        File(each.file, (path := recordings.path(each.sha256)), each.sha256, path.stat().st_size)
        for each in beside
    )
    return Sent(files, first.test, first.at, details=tuple((first.details or {}).items()))


def _key(page: JobPage, beside: tuple[KeptRecording, ...]) -> tuple[object, ...]:
    return ("kept", page.saved.text, *(each.sha256 for each in beside))
