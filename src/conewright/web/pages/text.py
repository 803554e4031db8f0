"""A job as the text of its file: for what no form has, and for the two sides of a conflict."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import JobError
from conewright.store import Conflict, Saved, StoreError
from conewright.web.frame.context import open_page
from conewright.web.frame.page import (
    Form,
    Revision,
    conflict_page,
    form_texts,
    number_in,
    render,
    see_other,
    store_of,
    told_of,
    who,
)

__all__ = ["router"]

router = APIRouter()

Told = list[tuple[str, str, str]]
"""Of each problem: where it is, what was found, what is allowed."""


@router.get("/jobs/{job_id}/text")
def text_page(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show the text of a job to be changed."""
    page = open_page(request, job_id, revision=revision)
    return render(request, "text.html", page=page, text=page.saved.text, problems=[])


@router.post("/jobs/{job_id}/text")
def change(request: Request, job_id: str, form: Form) -> Response:
    """Save a text as a new revision; what is wrong with it is said above it.

    A job that somebody deleted meanwhile comes back with it.
    """
    store, fields = store_of(request), form_texts(form)
    base = store.get(job_id, number_in(fields, "base"), include_deleted=True)
    text = fields.get("text", "")
    try:
        if base.deleted:
            base = store.undelete(job_id, base=base.revision, who=who(request))
        if text != base.text:
            store.save(job_id, text, base=base.revision, who=who(request))
    except Conflict as conflict:
        return conflict_page(request, conflict, base)
    except JobError as error:
        return _refused(request, base, text, told_of(error))
    except StoreError as error:
        return _refused(request, base, text, [("file", "a text that cannot be kept", str(error))])
    return see_other(f"/jobs/{job_id}")


def _refused(request: Request, base: Saved, text: str, problems: Told) -> Response:
    page = open_page(request, base.job_id, revision=base.revision)
    return render(request, "text.html", page=page, text=text, problems=problems)
