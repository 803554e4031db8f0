"""The list of jobs, and the three ways to start one: the survey, the demo, a file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from conewright.errors import BadInputError, JobError, Problem
from conewright.job.document.document import WEIGHTS
from conewright.job.text.conversion import toml_from_json
from conewright.job.text.editing import Refused
from conewright.job.text.parsing import bare
from conewright.job.text.starter import demo_text
from conewright.job.text.survey import (
    AMPLIFIERS,
    BODIES,
    ERAS,
    GROUNDS,
    MUSTS,
    OUTPUTS,
    PLACES,
    RADIO,
    SEATS,
    SYSTEMS,
    WHERE,
    WIRINGS,
    WISHES,
    survey_text,
)
from conewright.stages.find.faults.trade import words_of_complaints
from conewright.store import StoreError
from conewright.web.frame.page import (
    LONGEST_NAME,
    Form,
    form_texts,
    name_cookie,
    reading_of,
    render,
    see_other,
    store_of,
    who,
)

__all__ = ["router"]

router = APIRouter()

YEAR = 365 * 24 * 3600
LONGEST_SEARCH = 200


@router.get("/jobs")
def jobs(request: Request, q: str = "", deleted: bool = False) -> Response:
    """Show the jobs that hold every word of a search, or the deleted ones."""
    q = "".join(letter if letter.isprintable() else " " for letter in q)
    found = store_of(request).jobs(search=q[:LONGEST_SEARCH], deleted=deleted)
    return render(request, "jobs.html", jobs=found, q=q, deleted=deleted)


@router.get("/jobs/new")
def new(request: Request) -> Response:
    """Show the ways to start a job."""
    return _survey(request, {}, Refused({}, ()))


@router.post("/jobs/new")
def start(request: Request, form: Form) -> Response:
    """Start a job from the survey."""
    answers = form_texts(form)
    try:
        text = reading_of(request).run(
            survey_text, answers, today=date.today(), complaints=tuple(words_of_complaints())
        )
    except Refused as refused:
        return _survey(request, answers, refused)
    saved = store_of(request).create(text, who=who(request), note="started from the survey")
    return see_other(f"/jobs/{saved.job_id}")


@router.post("/jobs/demo")
def demo(request: Request) -> Response:
    """Start a job from the demo."""
    saved = store_of(request).create(demo_text(), who=who(request), note="started from the demo")
    return see_other(f"/jobs/{saved.job_id}")


@router.post("/jobs/upload")
def upload(request: Request, form: Form) -> Response:
    """Start a job from a file, or from text pasted in; what is wrong is listed by its path."""
    text, name = _sent(form)
    try:
        if not text.strip():
            raise JobError([Problem("file", "nothing", "choose a job file, or paste its text")])
        is_json = bare(text).lstrip().startswith("{")
        toml = reading_of(request).run(toml_from_json, text) if is_json else text
        twin = None if form.get("again") else store_of(request).twin_of(toml)
        if twin is not None:
            return render(request, "twice.html", text=text, twin=twin)
        saved = store_of(request).create(toml, who=who(request), note=f"brought in from {name}")
    except JobError as error:
        return _upload(request, text, error.problems)
    except (BadInputError, StoreError) as error:
        problem = Problem("file", "a file that cannot be kept", str(error))
        return _upload(request, text, [problem])
    return see_other(f"/jobs/{saved.job_id}")


@router.post("/me")
def me(request: Request, form: Form) -> Response:
    """Remember the name somebody wants on what they save."""
    fields = form_texts(form)
    back = fields.get("back", "/jobs")
    response = see_other(back if back.startswith(("/jobs", "/devices", "/parts")) else "/jobs")
    name = quote(" ".join(fields.get("who", "").split())[:LONGEST_NAME])
    response.set_cookie(
        name_cookie(request),
        name,
        max_age=YEAR,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return response


def _survey(request: Request, answers: dict[str, str], refused: Refused) -> Response:
    return render(
        request,
        "new.html",
        answers=answers,
        errors=refused.beside,
        others=refused.others,
        bodies=BODIES,
        places=PLACES,
        radio=RADIO,
        seats=SEATS,
        outputs={"era": ERAS, "outputs": OUTPUTS, "wiring": WIRINGS},
        amplifiers=AMPLIFIERS,
        supplies={"system": SYSTEMS, "ground": GROUNDS},
        where=WHERE,
        wishes=WISHES,
        musts=MUSTS,
        weights=tuple(WEIGHTS),
        complaints=words_of_complaints(),
    )


def _sent(form: FormData) -> tuple[str, str]:
    """Return the text that was sent and what to call it: a file goes before pasted text."""
    file = form.get("file")
    if isinstance(file, UploadFile) and file.filename:
        content = file.file.read()
        return content.decode("utf-8", "replace"), file.filename[-80:]
    return form_texts(form).get("text", ""), "pasted text"


def _upload(request: Request, text: str, problems: Sequence[Problem]) -> Response:
    return render(request, "upload.html", text=text, problems=problems)
