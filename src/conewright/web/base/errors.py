"""Every refusal of the server: one exception, one body, one place that turns errors into answers.

    {"error": {"code": "...", "message": "...", "problems": [{"path", "found", "allowed"}]}}

The pages show the same words to a browser.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Match

from conewright.errors import BadInputError, ConewrightError, JobError, PlanRefusedError, Problem
from conewright.phrases import counted
from conewright.store import Conflict, NotFound, Saved, StoreError, StoreUnavailable
from conewright.web.base.headers import SECURE

__all__ = [
    "ErrorBody",
    "Refusal",
    "answer",
    "fault",
    "handle_errors",
    "overtaken",
    "reasons",
    "wants_page",
]

_log = logging.getLogger(__name__)

API = "/api/"
METHODS = ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT")

_CODES = {
    400: "bad-request",
    401: "not-paired",
    403: "forbidden",
    404: "not-found",
    405: "method-not-allowed",
    408: "too-slow",
    411: "length-required",
    412: "conflict",
    413: "too-large",
    414: "address-too-long",
    415: "media-type",
    421: "wrong-host",
    422: "invalid",
    428: "if-match-required",
    429: "too-many",
    431: "headers-too-large",
    500: "internal",
    503: "unavailable",
}
_WANTED = {
    "int_parsing": "a whole number is wanted",
    "greater_than_equal": "a larger number is wanted",
    "less_than_equal": "a smaller number is wanted",
    "bool_parsing": "true or false is wanted",
    "missing": "it is required",
}
"""What is wanted of a query, by the kind of its error."""
_SENTENCES = {
    400: "The request cannot be read.",
    404: "There is nothing at this address.",
    405: "This address does not take that method.",
    500: "This is a fault of the program; nothing that was saved is lost.",
}


class ProblemBody(BaseModel):
    """One thing wrong: where, what was found, what is allowed."""

    path: str = Field(description="The place: of the job, or of the request.")
    found: str = Field(description="What stands there.")
    allowed: str = Field(description="What may stand there.")


class ErrorDetail(BaseModel):
    """What was refused, as a word for programs and a sentence for people."""

    code: str = Field(description="The kind of refusal, for programs.")
    message: str = Field(description="What is wrong, for people.")
    problems: list[ProblemBody] = Field(description="Each thing that is wrong.")


class ErrorBody(BaseModel):
    """The one shape of every error."""

    error: ErrorDetail = Field(description="What was refused.")


class Refusal(Exception):
    """A request that is not answered as asked, with all that the answer says."""

    def __init__(
        self,
        status: int,
        message: str,
        *,
        code: str | None = None,
        problems: Iterable[Problem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(message)
        self.status = status
        self.code = code or _CODES.get(status, "refused")
        self.message = message
        self.problems = tuple(problems)
        self.headers = dict(headers or {})

    def body(self) -> dict[str, Any]:
        """Return the error as plain data."""
        problems = [
            {
                "path": _sound(each.path),
                "found": _sound(each.found),
                "allowed": _sound(each.allowed),
            }
            for each in self.problems
        ]
        message = _sound(self.message)
        return {"error": {"code": self.code, "message": message, "problems": problems}}


def fault(trace: str) -> Refusal:
    """Return what is said of a fault of the program; what happened is told where it runs."""
    _log.error(trace)
    return Refusal(500, _SENTENCES[500])


def overtaken(message: str, *, named: str, newest: Saved) -> Refusal:
    """Return what is said to a program whose change did not start from the newest revision."""
    allowed = f"revision {newest.revision} is the newest, {newest.etag}"
    problem = Problem("If-Match", named, allowed)
    return Refusal(412, message, problems=[problem], headers={"ETag": newest.etag})


def reasons(error: BadInputError) -> str:
    """Return what an error says within a sentence: of a job's, its problems without their count."""
    return "; ".join(map(str, error.problems)) if isinstance(error, JobError) else str(error)


def answer(refusal: Refusal, *, page: bool = False) -> Response:
    """Return what is sent for a refusal: JSON, or for a browser a page with the same words."""
    if page:
        return HTMLResponse(_page(refusal), status_code=refusal.status, headers=refusal.headers)
    return JSONResponse(refusal.body(), status_code=refusal.status, headers=refusal.headers)


def wants_page(*, path: str, accept: str) -> bool:
    """Whether whoever asks is somebody looking at a browser rather than a program."""
    return not path.startswith(API) and "text/html" in accept


def handle_errors(app: FastAPI) -> None:
    """Let every error of an app leave it in the one shape."""
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(ConewrightError, _refused)
    app.add_exception_handler(RequestValidationError, _refused)
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(Exception, _failed)


async def _refused(request: Request, error: Exception) -> Response:
    refusal = _refusal(error)
    if refusal.status == 405:
        refusal.headers["Allow"] = ", ".join(_methods(request))
    accept = request.headers.get("accept", "")
    return answer(refusal, page=wants_page(path=request.url.path, accept=accept))


def _methods(request: Request) -> list[str]:
    """Return every method that an address takes; a router names only those of its first route."""
    return [method for method in METHODS if _leads_somewhere(request, method)]


def _leads_somewhere(request: Request, method: str) -> bool:
    # HEAD is answered as GET, before any router sees it.
    scope = {**request.scope, "method": "GET" if method == "HEAD" else method}
    return any(route.matches(scope)[0] is Match.FULL for route in request.app.routes)


async def _failed(request: Request, error: Exception) -> Response:
    """Answer a fault of the program; it stands outside of what adds the headers."""
    response = await _refused(request, error)
    response.headers.update(SECURE)
    return response


def _refusal(error: Exception) -> Refusal:
    """Return an error as a refusal: what it is called, and what is said."""
    if isinstance(error, Refusal):
        return error
    if isinstance(error, ConewrightError):
        return _from_house(error)
    if isinstance(error, RequestValidationError):
        return _from_validation(error.errors())
    if isinstance(error, HTTPException):
        message = _SENTENCES.get(error.status_code, str(error.detail))
        return Refusal(error.status_code, message, headers=error.headers)
    return Refusal(500, _SENTENCES[500])


def _from_house(error: ConewrightError) -> Refusal:
    match error:
        case NotFound():
            return Refusal(404, str(error))
        case Conflict(base=base, theirs=theirs):
            return overtaken(str(error), named=f"revision {base}", newest=theirs)
        case StoreUnavailable():
            return Refusal(503, str(error), headers={"Retry-After": "5"})
        case StoreError():
            return Refusal(500, str(error))
        case JobError(problems=problems):
            count = len(problems)
            told = counted(count, "problem")
            return Refusal(422, f"This cannot be used: {told}.", problems=problems)
        case PlanRefusedError(plan=plan, reasons=reasons):
            barred = [Problem("proposal", plan, reason) for reason in reasons]
            told = "No papers are made of a plan that may not go to the bench."
            return Refusal(422, told, code="plan-refused", problems=barred)
    return Refusal(422, str(error))


def _from_validation(errors: Sequence[Any]) -> Refusal:
    """Return what FastAPI refuses; an address that cannot be right leads nowhere."""
    if any(each["loc"][0] == "path" for each in errors):
        return Refusal(404, _SENTENCES[404])
    problems = [
        Problem(
            ".".join(str(step) for step in each["loc"][1:]) or str(each["loc"][0]),
            repr(each.get("input"))[:80],
            _WANTED.get(each["type"], each["msg"]),
        )
        for each in errors
    ]
    return Refusal(422, "The request cannot be used.", problems=problems)


def _sound(text: str) -> str:
    """Return text that can be sent: half a character, which JSON can hold, cannot."""
    return text.encode("utf-8", "replace").decode()


def _page(refusal: Refusal) -> str:
    """Return a page that stands on its own: it must work when nothing else does."""
    items = "".join(f"<li>{escape(_sound(str(problem)))}</li>" for problem in refusal.problems)
    listed = f'<ul class="problems">{items}</ul>' if items else ""
    return (
        '<!doctype html><html lang="en-GB"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>{refusal.status}: conewright</title>"
        '<link rel="icon" href="data:,"><link rel="stylesheet" href="/static/style.css"></head>'
        f"<body><main><h1>That did not work</h1><p>{escape(_sound(refusal.message))}</p>{listed}"
        '<p class="row"><a class="button" href="/jobs">All jobs</a></p></main></body></html>'
    )
