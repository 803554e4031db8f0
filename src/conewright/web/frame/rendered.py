"""Pages of a job as they were rendered, kept while nothing that they show changes."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import Request
from starlette.responses import HTMLResponse, Response

from conewright.web.desk.cache import Kept
from conewright.web.frame.context import is_known, passes
from conewright.web.frame.page import store_of, who

__all__ = ["kept"]


def kept(request: Request, job_id: str, show: Callable[[], Response]) -> Response:
    """Return a page of a job as it was shown to the same person before, else show it.

    A page follows from its address, the newest revision, what was found out about that, and who
    looks. A page of another revision, or of another status than 200, is not kept.

    Raises:
        NotFound: there is no such job.
        Refusal: too many wait for an answer just now.

    """
    if "revision" in request.query_params:
        return show()
    newest = store_of(request).get(job_id)
    key = (
        request.url.path,
        request.url.query,
        newest.revision,
        is_known(newest.text),
        who(request),
    )
    pages: Kept[bytes] = request.app.state.pages
    room = request.app.state.reports.room
    try:
        return HTMLResponse(pages.get(key, lambda: _body(request, show), room=room))
    except _Unkept as other:
        return HTMLResponse(other.body, status_code=other.status)


class _Unkept(Exception):
    """A page that is shown once."""

    def __init__(self, body: bytes, status: int) -> None:
        super().__init__()
        self.body = body
        self.status = status


def _body(request: Request, show: Callable[[], Response]) -> bytes:
    response = show()
    body = bytes(response.body)
    if response.status_code != 200 or passes(request):
        raise _Unkept(body, response.status_code)
    return body
