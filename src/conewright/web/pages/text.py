"""A job as the text of its file: for what no form has, and for the two sides of a conflict."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import JobError, Problem
from conewright.store import Saved, Store, StoreError
from conewright.web.frame.context import open_page
from conewright.web.frame.page import (
    Form,
    Revision,
    carry_out,
    form_texts,
    hold_gained,
    number_in,
    reading_of,
    render,
    store_of,
    who,
)

__all__ = ["router"]

router = APIRouter()


@router.get("/jobs/{job_id}/text")
def text_page(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show the text of a job to be changed."""
    saved = store_of(request).get(job_id, revision)
    return _shown(request, saved, saved.text, [])


@router.post("/jobs/{job_id}/text")
def change(request: Request, job_id: str, form: Form) -> Response:
    """Save a text as a new revision; what is wrong with it is said above it.

    A job that somebody deleted meanwhile comes back with it.
    """
    fields = form_texts(form)
    base = store_of(request).get(job_id, number_in(fields, "base"), include_deleted=True)
    text = fields.get("text", "")

    def change(store: Store) -> None:
        hold_gained(base, text, reading_of(request))
        before = base
        if base.deleted:
            before = store.undelete(job_id, base=base.revision, who=who(request))
        if text != before.text:
            store.save(job_id, text, base=before.revision, who=who(request))

    try:
        return carry_out(request, change, then=f"/jobs/{job_id}")
    except JobError as error:
        return _shown(request, base, text, error.problems)
    except StoreError as error:
        problem = Problem("file", "a text that cannot be kept", str(error))
        return _shown(request, base, text, [problem])


def _shown(request: Request, saved: Saved, text: str, problems: Sequence[Problem]) -> Response:
    """Show a text to be changed; also that of a job which today's rules refuse as it is kept."""
    try:
        page = open_page(request, saved.job_id, revision=saved.revision)
    except JobError as error:
        problems = problems or error.problems
        return render(request, "mend.html", saved=saved, text=text, problems=problems)
    return render(request, "text.html", page=page, text=text, problems=problems)
