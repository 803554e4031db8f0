"""A job's history: what was saved, what changed, and going back to it; nothing is ever lost."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.job.text.differences import compare
from conewright.web.frame.context import open_page
from conewright.web.frame.page import (
    Form,
    Revision,
    carry_out,
    form_texts,
    number_in,
    reading_of,
    render,
    store_of,
    who,
)

__all__ = ["router"]

router = APIRouter()


@router.get("/jobs/{job_id}/history")
def history(request: Request, job_id: str, a: Revision = None, b: Revision = None) -> Response:
    """Show a job's revisions, and what differs between two of them."""
    store = store_of(request)
    notes = store.revisions(job_id)
    changes = None
    if a is not None and b is not None:
        old, new = (store.get(job_id, each).text for each in (a, b))
        changes = reading_of(request).run(compare, old, new)
    return render(
        request,
        "history.html",
        page=None if notes[0].deleted else open_page(request, job_id),
        job_id=job_id,
        notes=notes,
        a=a or (notes[1].revision if len(notes) > 1 else notes[0].revision),
        b=b or notes[0].revision,
        changes=changes,
    )


@router.post("/jobs/{job_id}/undo")
def undo(request: Request, job_id: str, form: Form) -> Response:
    """Bring the revision before the newest back, as a new one; again, the one before that."""
    base = number_in(form_texts(form), "base")
    return carry_out(
        request,
        lambda store: store.undo(job_id, base=base, who=who(request)),
        then=f"/jobs/{job_id}",
    )


@router.post("/jobs/{job_id}/restore")
def restore(request: Request, job_id: str, form: Form) -> Response:
    """Bring any revision back, as a new one."""
    fields = form_texts(form)
    revision, base = number_in(fields, "revision"), number_in(fields, "base")
    return carry_out(
        request,
        lambda store: store.restore(job_id, revision, base=base, who=who(request)),
        then=f"/jobs/{job_id}",
    )


@router.post("/jobs/{job_id}/delete")
def delete(request: Request, job_id: str, form: Form) -> Response:
    """Take a job off the list; it can be brought back."""
    base = number_in(form_texts(form), "base")
    return carry_out(
        request,
        lambda store: store.delete(job_id, base=base, who=who(request)),
        then="/jobs?deleted=true",
    )


@router.post("/jobs/{job_id}/undelete")
def undelete(request: Request, job_id: str, form: Form) -> Response:
    """Bring a deleted job back."""
    base = number_in(form_texts(form), "base")
    return carry_out(
        request,
        lambda store: store.undelete(job_id, base=base, who=who(request)),
        then=f"/jobs/{job_id}",
    )
