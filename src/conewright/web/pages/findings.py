"""What was found: taken as established, mended, taken back, made into the plan that mends it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import BadInputError
from conewright.job.text.parsing import kept_job
from conewright.job.text.readings import with_finding, without_finding
from conewright.stages.compare.cures import WayToMend, ways_to_mend
from conewright.stages.find.faults.trade import fault as fault_kind
from conewright.stages.find.talk.mending import text_with_found, text_with_mending
from conewright.web.base.errors import Refusal, reasons
from conewright.web.frame.context import JobPage, open_page
from conewright.web.frame.page import (
    Form,
    Revision,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
)

__all__ = ["router"]

router = APIRouter()


@router.post("/jobs/{job_id}/findings")
def take(request: Request, job_id: str, form: Form) -> Response:
    """Write a fault down as found, or as mended."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base"))
    fault, at = fields.get("fault", ""), fields.get("at", "")
    state = "mended" if fields.get("state") == "mended" else "found"
    run = reading_of(request).run
    try:
        text = (
            run(with_finding, page.saved.text, "toml", fault=fault, at=at, state=state)
            if state == "mended"
            else run(text_with_found, page.saved.text, "toml", fault=fault, at=at)
        )
        return _saved(request, page, text, f"{_title(fault)} at {at}: {state}")
    except BadInputError as error:
        raise Refusal(422, f"Nothing was written: {reasons(error)}.") from None


@router.post("/jobs/{job_id}/findings/drop")
def drop(request: Request, job_id: str, form: Form) -> Response:
    """Take a finding back."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base"))
    number = number_in(fields, "number")
    try:
        text = reading_of(request).run(without_finding, page.saved.text, number=number)
    except BadInputError as error:
        raise Refusal(422, f"Nothing was taken back: {error}.") from None
    gone = page.job.findings[number - 1]
    return _saved(request, page, text, f"took back {_title(gone.fault)} at {gone.at}")


@router.get("/jobs/{job_id}/mend")
def ways(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show every way to mend what was found, with its price, its minutes and how long it holds."""
    page = open_page(request, job_id, revision=revision)
    found = reading_of(request).run(_ways, page.saved.text)
    if not found:
        raise Refusal(422, "Nothing was found yet that is mended in more than one way.")
    return render(request, "ways.html", page=page, faults=found)


def _ways(text: str) -> list[tuple[str, str, tuple[WayToMend, ...]]]:
    """Return each fault that was found, its words, and the ways to mend it."""
    every = ways_to_mend(kept_job(text))
    faults = dict.fromkeys(way.fault for way in every)
    return [
        (fault, " at ".join((_title(name), at)), tuple(w for w in every if w.fault == fault))
        for fault in faults
        for name, _, at in (fault.partition("@"),)
    ]


@router.post("/jobs/{job_id}/mend")
def mend(request: Request, job_id: str, form: Form) -> Response:
    """Write the plan that mends what was found, and show it."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base"))
    chosen = [value for name, value in fields.items() if name.startswith("by:") and value]
    try:
        text, plan = reading_of(request).run(
            text_with_mending, page.saved.text, "toml", repairs=chosen
        )
    except BadInputError as error:
        raise Refusal(422, f"There is no plan yet: {reasons(error)}.") from None
    then, note = f"{page.base}/proposals/{plan.id}", f"plan {plan.id}: mend what was found"
    return save(request, page.saved, text, then=then, note=note)


def _saved(request: Request, page: JobPage, text: str, note: str) -> Response:
    return save(request, page.saved, text, then=f"{page.base}/find#found", note=note)


def _title(name: str) -> str:
    return fault_kind(name).title
