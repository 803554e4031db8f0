"""The page of a stage: the answer, the picture, the figures, the verdicts, what to do next."""

from __future__ import annotations

import csv
from dataclasses import asdict
from io import StringIO
from json import dumps

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from conewright.errors import BadInputError, ConewrightError, JobError
from conewright.job.state import AS_FOUND
from conewright.job.writing import with_reading
from conewright.stages.find.tables import test
from conewright.stages.report import ReadingCard, Report
from conewright.stages.text_find import cause_name, percent, split_cause
from conewright.store import Conflict
from conewright.web.errors import Refusal
from conewright.web.forms import MARK, bare
from conewright.web.pages.common import (
    Form,
    address,
    conflict_page,
    form_texts,
    number_in,
    render,
    see_other,
    store_of,
    who,
)
from conewright.web.pages.context import STAGES, JobPage, open_page, plan_of, report_of
from conewright.web.pages.pictures import Drawn, drawn, in_dark
from conewright.web.views import series_table, stage_view
from conewright.web.workers import STAGES as ASKED
from conewright.web.workers import Stage

__all__ = ["picture_view", "router"]

router = APIRouter()

FOREVER = "private, max-age=31536000, immutable"
LEAST_CAUSE = 0.01
MOST_CAUSES = 10


@router.get("/jobs/{job_id}/{stage}.svg")
def picture(
    request: Request,
    job_id: str,
    stage: str,
    revision: int,
    proposal: str | None = None,
    against: str | None = None,
    narrow: bool = False,
    dark: bool = False,
) -> Response:
    """Give the picture of a report; its address names the revision, so it never changes."""
    _, report = _asked(request, job_id, stage, revision, proposal, against)
    found = drawn(report, narrow=narrow)
    if isinstance(found, str):
        raise Refusal(404, found)
    svg = in_dark(found.svg) if dark else found.svg
    headers = {"Cache-Control": FOREVER}
    return Response(svg, media_type="image/svg+xml", headers=headers)


@router.get("/jobs/{job_id}/{stage}.csv")
def numbers(
    request: Request,
    job_id: str,
    stage: str,
    revision: int | None = None,
    proposal: str | None = None,
    against: str | None = None,
) -> Response:
    """Give the curves behind a picture as numbers, every point of them."""
    page, report = _asked(request, job_id, stage, revision, proposal, against)
    table = series_table(report, most=None)
    if table is None:
        raise Refusal(404, "There are no curves in this answer.")
    sheet = StringIO()
    csv.writer(sheet).writerows([table.heads, *table.rows])
    name = f"{page.saved.name}-{stage}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return PlainTextResponse(sheet.getvalue(), media_type="text/csv", headers=headers)


@router.post("/jobs/{job_id}/readings")
def reading(request: Request, job_id: str, form: Form) -> Response:
    """Write a reading down behind those that the job has."""
    fields, store = form_texts(form), store_of(request)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    value = fields.get("value", "").strip() or fields.get("word", "").strip()
    taken = {"test": fields.get("test", ""), "at": fields.get("at", "")}
    text = page.saved.text
    try:
        if not value:
            raise BadInputError("nothing was read: choose an answer or write the value")
        written = with_reading(bare(text), "toml", **taken, value=value)
        whole = MARK + written if text.startswith(MARK) else written
        store.save(job_id, whole, base=page.saved.revision, who=who(request))
    except Conflict as conflict:
        return conflict_page(request, conflict, page.saved)
    except BadInputError as error:
        return _find(request, page, taken | {"value": value, "error": str(error)})
    return see_other(f"{page.base}/find")


@router.get("/jobs/{job_id}/{stage}")
def stage_page(
    request: Request,
    job_id: str,
    stage: str,
    revision: int | None = None,
    proposal: str | None = None,
    against: str | None = None,
) -> Response:
    """Show the answer of a stage."""
    known = _known(stage)
    if known == "find":
        return _find(request, open_page(request, job_id, revision=revision), {})
    page = open_page(request, job_id, revision=revision, proposal=proposal, against=against)
    try:
        report = report_of(request, page, known, proposal=page.proposal, against=against or None)
    except (ConewrightError, Refusal) as error:
        return _refused(request, page, known, error)
    build = page.job.build(page.proposal)
    return render(
        request,
        "stage.html",
        page=page,
        stage=known,
        view=stage_view(report, page.job, build),
        report=report,
        picture=picture_view(page, known, report, against=against),
        plan=plan_of(page, [report]),
        against=against or "",
        as_found=AS_FOUND,
    )


def picture_view(
    page: JobPage, stage: Stage, report: Report, *, against: str | None = None
) -> dict[str, object] | str:
    """Return a report's picture in both widths with its addresses, or why there is none."""
    wide, narrow = drawn(report, narrow=False), drawn(report, narrow=True)
    if not isinstance(wide, Drawn) or not isinstance(narrow, Drawn):
        return str(wide)
    query = {"revision": page.saved.revision, "proposal": page.proposal, "against": against}

    def at(**more: object) -> str:
        return address(f"{page.base}/{stage}.svg", **(query | more))

    return {
        "title": wide.title,
        "wide": wide,
        "narrow": narrow,
        "wide_light": at(),
        "wide_dark": at(dark=1),
        "narrow_light": at(narrow=1),
        "narrow_dark": at(narrow=1, dark=1),
        "wide_panels": dumps([asdict(panel) for panel in wide.panels]),
        "narrow_panels": dumps([asdict(panel) for panel in narrow.panels]),
        "numbers": address(f"{page.base}/{stage}.csv", **query),
    }


# --- Find ---------------------------------------------------------------------------------------


def _find(request: Request, page: JobPage, typed: dict[str, str]) -> Response:
    """Show what is wrong with the vehicle, and the readings worth taking."""
    try:
        report = report_of(request, page, "find")
    except (ConewrightError, Refusal) as error:
        return _refused(request, page, "find", error)
    return render(
        request,
        "find.html",
        page=page,
        stage="find",
        view=stage_view(report, page.job, page.job.build()),
        report=report,
        causes=_causes(report),
        cards=[_card(card) for card in report.readings],
        plan_steps=report.plan,
        cause_name=cause_name,
        percent=percent,
        picture=picture_view(page, "find", report),
        plan=plan_of(page, [report]),
        typed=typed,
    )


def _causes(report: Report) -> list[tuple[str, str, str, float]]:
    causes = [figure for figure in report.figures if figure.subject == "cause"]
    likely = [figure for figure in causes if (figure.value or 0.0) >= LEAST_CAUSE][:MOST_CAUSES]
    return [
        (*split_cause(figure), percent(figure.value or 0.0), figure.value or 0.0)
        for figure in likely
    ]


def _card(card: ReadingCard) -> dict[str, object]:
    """Return a reading with what each answer would mean."""
    meanings = {answer.word: answer.meaning for answer in test(card.test).answers}
    answers = [
        (outlook.word, meanings.get(outlook.word, ""), percent(outlook.chance))
        for outlook in card.answers
    ]
    return {"card": card, "answers": answers, "numeric": bool(card.unit)}


# --- Underneath ---------------------------------------------------------------------------------


def _known(stage: str) -> Stage:
    for known in STAGES:
        if known == stage:
            return known
    raise Refusal(404, "There is nothing at this address.")


def _asked(
    request: Request,
    job_id: str,
    stage: str,
    revision: int | None,
    proposal: str | None,
    against: str | None,
) -> tuple[JobPage, Report]:
    known = next((each for each in ASKED if each == stage), None)
    if known is None:
        raise Refusal(404, "There is nothing at this address.")
    page = open_page(request, job_id, revision=revision, proposal=proposal)
    report = report_of(request, page, known, proposal=page.proposal, against=against or None)
    return page, report


def _refused(request: Request, page: JobPage, stage: Stage, error: Exception) -> Response:
    problems = error.problems if isinstance(error, JobError | Refusal) else ()
    # That a job lacks something is no fault of the request; that there was no time is.
    status = error.status if isinstance(error, Refusal) else 200
    return render(
        request,
        "no_answer.html",
        status=status,
        page=page,
        stage=stage,
        told=str(error) if not problems else "",
        problems=problems,
        plan=plan_of(page),
    )
