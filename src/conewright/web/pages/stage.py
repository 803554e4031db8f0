"""The page of a stage: the answer, the picture, the figures, the verdicts, what to do next."""

from __future__ import annotations

import csv
from collections.abc import Hashable, Mapping
from dataclasses import asdict
from io import StringIO
from json import dumps

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from conewright.errors import BadInputError, ConewrightError, JobError
from conewright.job.document.parts import AS_FOUND
from conewright.phrases import sheet_cell
from conewright.stages.report.data import Report
from conewright.version import __version__
from conewright.web.base.errors import Refusal
from conewright.web.base.headers import FOREVER
from conewright.web.desk.workers import STAGES as ASKED
from conewright.web.desk.workers import Stage
from conewright.web.frame.answer import TableView, series_table
from conewright.web.frame.context import STAGES, JobPage, open_page, plan_of, report_of, view_of
from conewright.web.frame.page import Revision, address, render
from conewright.web.frame.picture import in_dark, outline, written
from conewright.web.frame.rendered import kept

__all__ = ["drawn", "picture_at", "picture_view", "refused_page", "router", "sheet_of"]

router = APIRouter()


@router.get("/jobs/{job_id}/{stage}.svg")
def picture(
    request: Request,
    job_id: str,
    stage: str,
    revision: Revision,
    proposal: str | None = None,
    against: str | None = None,
    narrow: bool = False,
    dark: bool = False,
) -> Response:
    """Give the picture of a report; its address names revision and program, so it never changes."""
    page, report = _asked(request, job_id, stage, revision, proposal, against)
    return drawn(report, key=_key(page, stage, against), narrow=narrow, dark=dark)


@router.get("/jobs/{job_id}/{stage}.csv")
def numbers(
    request: Request,
    job_id: str,
    stage: str,
    revision: Revision = None,
    proposal: str | None = None,
    against: str | None = None,
) -> Response:
    """Give the curves behind a picture as numbers, every point of them."""
    page, report = _asked(request, job_id, stage, revision, proposal, against)
    table = series_table(report, most=None)
    if table is None:
        raise Refusal(404, "There are no curves in this answer.")
    return sheet_of(table, name=f"{page.saved.name}-{stage}")


@router.get("/jobs/{job_id}/{stage}")
def stage_page(
    request: Request,
    job_id: str,
    stage: str,
    revision: Revision = None,
    proposal: str | None = None,
    against: str | None = None,
) -> Response:
    """Show the answer of a stage."""
    known = _known(stage)

    def show() -> Response:
        page = open_page(request, job_id, revision=revision, proposal=proposal, against=against)
        return _shown(request, page, known, against)

    return kept(request, job_id, show)


def _shown(request: Request, page: JobPage, known: Stage, against: str | None) -> Response:
    try:
        report = report_of(request, page, known, proposal=page.proposal, against=against or None)
    except (ConewrightError, Refusal) as error:
        return refused_page(request, page, known, error)
    return render(
        request,
        "stage.html",
        page=page,
        stage=known,
        view=view_of(page, report, against=against),
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
    query = {"revision": page.saved.revision, "proposal": page.proposal, "against": against}
    return picture_at(f"{page.base}/{stage}", report, key=_key(page, stage, against), query=query)


def picture_at(
    place: str, report: Report, *, key: Hashable, query: Mapping[str, object]
) -> dict[str, object] | str:
    """Return a report's picture in both widths, or why there is none.

    Args:
        place: where its drawing (.svg) and its numbers (.csv) are.
        report: to be drawn.
        key: what tells it from all others.
        query: what their addresses carry; with the program's version it fixes what is there.

    """
    try:
        wide, narrow = (outline(report, key=key, narrow=each) for each in (False, True))
    except BadInputError as error:
        return str(error)

    def at(**more: object) -> str:
        return address(f"{place}.svg", **{**query, **more}, by=__version__)

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
        "numbers": address(f"{place}.csv", **query),
    }


def drawn(report: Report, *, key: Hashable, narrow: bool, dark: bool) -> Response:
    """Give the picture of a report; its address never changes what is there."""
    try:
        svg = written(report, key=key, narrow=narrow)
    except BadInputError as error:
        raise Refusal(404, str(error)) from None
    svg = in_dark(svg) if dark else svg
    headers = {"Cache-Control": FOREVER}
    return Response(svg, media_type="image/svg+xml; charset=utf-8", headers=headers)


def sheet_of(table: TableView, *, name: str) -> Response:
    """Give a table as a CSV file."""
    sheet = StringIO()
    csv.writer(sheet).writerows([map(sheet_cell, table.heads), *table.rows])
    headers = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return PlainTextResponse(sheet.getvalue(), media_type="text/csv", headers=headers)


def _key(page: JobPage, stage: str, against: str | None) -> tuple[str | None, ...]:
    """Return what tells a page's report from all others."""
    return page.saved.text, stage, page.proposal, against or None


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


def refused_page(request: Request, page: JobPage, stage: Stage, error: Exception) -> Response:
    """Return the page of a stage that has no answer, with the reason."""
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
