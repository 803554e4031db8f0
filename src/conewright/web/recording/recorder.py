"""Recording: what to play, where the phone lies, what was heard, and whether it is kept.

Without script files are sent as they are; with it the page records, and reads what only a browser
can read. Nothing goes into the job before somebody presses "Keep it".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import BadInputError, ConewrightError, JobError
from conewright.phrases import listed
from conewright.sound.played.sounds import LIMIT, SOUNDS, UNPLUGGED
from conewright.stages.prove.recorded_tests import RecordedTest, recorded_test, recorded_tests
from conewright.stages.prove.stage import CURVES, DETAILS, is_usable, places_for
from conewright.stages.prove.written import with_heard
from conewright.stages.report.data import Report
from conewright.web.base.errors import Refusal, reasons
from conewright.web.desk.listener import File, Held, Listener, Sent
from conewright.web.frame.context import JobPage, open_page, plan_of
from conewright.web.frame.page import (
    Form,
    Revision,
    address,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
    see_other,
    store_of,
)
from conewright.web.recording.parcels import Parcel, unpack, upload_of
from conewright.web.recording.said import drawing, heard_view, picture_at

__all__ = ["WITH", "listener_of", "router", "sent_in"]

router = APIRouter()

SIDES = {"": "not said", "left": "left", "right": "right", "both": "both",
         "opposed": "both, the right one turned round"}  # fmt: skip
LONGEST_FIELD = 2_000
WITH = "with-"
"""Begins the name of a field of what no recording tells."""
LONGEST_NOTE = 120
FIRST_TEST = "side-response"


@dataclass(frozen=True, slots=True)
class Typed:
    """What somebody told of recordings, shown again with what is wrong with them."""

    test: str
    at: str = ""
    side: str = ""
    when: str = ""
    volume: str = ""
    note: str = ""
    details: Mapping[str, str] = field(default_factory=dict)
    error: str = ""


def listener_of(request: Request) -> Listener:
    """Return what listens to recordings."""
    listener: Listener = request.app.state.reports.listener
    return listener


# --- The page -------------------------------------------------------------------------------------


@router.get("/jobs/{job_id}/record")
def record_page(
    request: Request,
    job_id: str,
    revision: Revision = None,
    test: str = "",
    at: str = "",
    side: str = "",
    unplugged: bool = False,
) -> Response:
    """Show what is played and where the phone lies, and take recordings."""
    page = open_page(request, job_id, revision=revision)
    return _shown(request, page, Typed(test or FIRST_TEST, at, side), unplugged=unplugged)


def _shown(request: Request, page: JobPage, typed: Typed, *, unplugged: bool) -> Response:
    try:
        test = recorded_test(typed.test)
    except BadInputError as error:
        raise Refusal(404, str(error)) from None
    sounds = [SOUNDS[name] for name in test.sounds]
    built = page.built
    return render(
        request,
        "record.html",
        page=page,
        test=test,
        tests=recorded_tests().values(),
        typed=typed,
        places=[] if isinstance(built, JobError) else places_for(test, built),
        sounds=[sound for sound in sounds if unplugged or not sound.unplugged],
        barred=[sound for sound in sounds if sound.unplugged and not unplugged],
        unplugged=unplugged,
        limit=LIMIT,
        caution=UNPLUGGED,
        sides=SIDES,
        whens=_whens(),
        details=[(name, DETAILS[name][1]) for name in test.details],
        curves=",".join(CURVES),
        plan=plan_of(page),
    )


def _whens() -> dict[str, str]:
    today = date.today()
    return {
        "": "not said",
        "before": "before the work",
        "after": "after the work",
        today.isoformat(): f"today, {today.day} {today:%b %Y}",
    }


# --- What is sent ---------------------------------------------------------------------------------


@router.post("/jobs/{job_id}/record")
def listen_to(request: Request, job_id: str) -> Response:
    """Listen to recordings that were sent, and show what they hold."""
    store = store_of(request)
    store.get(job_id)
    folder, listener = store.recordings.arriving(), listener_of(request)
    listener.clear(folder)
    parcel = unpack(upload_of(request), folder)
    try:
        page = open_page(request, job_id, revision=number_in(parcel.fields, "base") or None)
        sent = sent_in(parcel)
        told = _noted(sent, parcel.fields.get("recorder", ""))
        report = listener.report(page.saved.text, sent)
        held = listener.hold(job_id, told, report)
    except BadInputError as error:
        listener.discard(parcel.files)
        typed = _typed(parcel.fields, reasons(error))
        return _shown(request, page, typed, unplugged="unplugged" in parcel.fields)
    except (Refusal, ConewrightError):
        listener.discard(parcel.files)
        raise
    return see_other(f"{page.base}/record/{held.token}")


def sent_in(parcel: Parcel) -> Sent:
    """Return the recordings of an upload; raises BadInputError for what cannot be right."""
    fields = {name: value.strip() for name, value in parcel.fields.items()}
    long = [name for name, value in fields.items() if len(value) > LONGEST_FIELD]
    if long:
        raise BadInputError(f"{long[0]}: found a very long text; {LONGEST_FIELD} signs are enough")
    if not parcel.files:
        raise BadInputError("nothing was recorded or chosen yet: record, or choose a file")
    side = fields.get("side", "")
    if side not in SIDES:
        raise BadInputError(f'side: found "{side[:40]}"; {listed(list(SIDES)[1:])} are known')
    given = ((name, fields.get(f"{WITH}{name}", "")) for name in DETAILS)
    return Sent(
        files=parcel.files,
        test=fields.get("test", ""),
        at=fields.get("at", ""),
        side=side,
        when=fields.get("when", ""),
        volume=fields.get("volume", ""),
        note=fields.get("note", ""),
        details=tuple((name, value) for name, value in given if value),
    )


def _typed(fields: Mapping[str, str], error: str) -> Typed:
    told = {name: fields.get(name, "").strip() for name in ("at", "side", "when", "volume", "note")}
    details = {name: fields.get(f"{WITH}{name}", "").strip() for name in DETAILS}
    return Typed(fields.get("test") or FIRST_TEST, **told, details=details, error=error)


def _noted(sent: Sent, recorder: str) -> Sent:
    """Return recordings with what else is known of them in their note."""
    said = [sent.note.rstrip("."), recorder.strip().rstrip(".")]
    return replace(sent, note=". ".join(filter(None, said)))


# --- What was heard -------------------------------------------------------------------------------


@router.get("/jobs/{job_id}/record/{token}.svg")
def heard_picture(
    request: Request, job_id: str, token: str, narrow: bool = False, dark: bool = False
) -> Response:
    """Give the picture of what was heard."""
    held = listener_of(request).held(job_id, token)
    return drawing(held.report, ("held", token), narrow=narrow, dark=dark)


@router.get("/jobs/{job_id}/record/{token}")
def heard_page(request: Request, job_id: str, token: str) -> Response:
    """Show what recordings hold, to be kept or thrown away."""
    page = open_page(request, job_id)
    held = listener_of(request).held(job_id, token)
    place = f"{page.base}/record/{token}"
    return render(
        request,
        "heard.html",
        page=page,
        held=held,
        test=_title(held.report.title or held.sent.test),
        view=heard_view(held.report),
        picture=picture_at(held.report, ("held", token), f"{place}.svg"),
        again=_again(page, held),
        place=place,
        plan=plan_of(page, [held.report], selected=held.sent.at or None),
    )


@router.post("/jobs/{job_id}/record/{token}/keep")
def keep(request: Request, job_id: str, token: str, form: Form) -> Response:
    """Write recordings and the readings that they make into the job, as a new revision."""
    held = listener_of(request).held(job_id, token)
    sent, report = held.sent, held.report
    store = store_of(request)
    base = store.get(job_id, number_in(form_texts(form), "base") or None)
    if not is_usable(report) or not report.title:
        raise Refusal(422, "These recordings cannot be used, so they are not kept. Record again.")
    if not sent.at:
        raise Refusal(422, "Nobody said where these were made. Send them again with their place.")
    told = {name: getattr(sent, name) for name in ("at", "side", "when", "volume", "note")}
    write = partial(
        with_heard,
        report=report,
        recordings=_named(sent.files),
        details=dict(sent.details),
        **told,
    )
    text = reading_of(request).run(write, base.text, "toml")
    for each in sent.files:
        store.recordings.keep_file(each.path, sha=each.sha256)
    made = listed(_made(report)) or "no reading"
    note = f"recorded {report.title} at {sent.at}: {made}"[:LONGEST_NOTE]
    answer = save(request, base, text, then=f"/jobs/{job_id}#recordings", note=note)
    if answer.status_code == 303:
        listener_of(request).let_go(held)
    return answer


def _made(report: Report) -> list[str]:
    readings = (f"{each.test} at {each.at}" for each in report.heard)
    return [*readings, *(each.path for each in report.values)]


@router.post("/jobs/{job_id}/record/{token}/drop")
def drop(request: Request, job_id: str, token: str) -> Response:
    """Throw recordings away that nobody wants to keep."""
    held = listener_of(request).held(job_id, token)
    listener_of(request).let_go(held)
    return see_other(_again(open_page(request, job_id), held))


@dataclass(frozen=True, slots=True)
class _Named:
    """A file as the job will know it."""

    name: str
    sha256: str


def _named(files: tuple[File, ...]) -> tuple[_Named, ...]:
    return tuple(_Named(each.name, each.sha256) for each in files)


def _again(page: JobPage, held: Held) -> str:
    sent = held.sent
    test = sent.test or held.report.title
    return address(f"{page.base}/record", test=test, at=sent.at, side=sent.side)


def _title(test: str) -> str:
    known: RecordedTest | None = recorded_tests().get(test)
    return known.title if known else test
