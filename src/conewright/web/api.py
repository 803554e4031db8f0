"""The API: jobs as documents with revisions, and the same reports as the pages show.

A job is the same document in two notations, JSON and TOML; what goes in as text comes out as the
same text. A revision's name is its ETag, and a change must say which revision it started from.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Path, Query, Request, Response
from pydantic import BaseModel, Field

from conewright.errors import Problem
from conewright.job.text.conversion import json_from_toml, toml_from_json
from conewright.job.text.editing import Refused
from conewright.job.text.labels import written
from conewright.stages.choose.finals.plan_answers import Choice
from conewright.stages.find.checked import entry_problems
from conewright.stages.report.data import Report
from conewright.store import Conflict, Saved, Store
from conewright.web.base.errors import ErrorBody, Refusal, overtaken
from conewright.web.base.settings import LARGEST_NUMBER
from conewright.web.desk.choosing import INVENTED, Manner, offered
from conewright.web.desk.reports import Question, Reports, Stage
from conewright.web.frame.page import hold_gained, store_of, who
from conewright.web.frame.wished import FIELDS, limits_in, limits_of, text_with

__all__ = [
    "Answers",
    "JobId",
    "Kept",
    "ProposalId",
    "Responses",
    "RevisionAsked",
    "refusals",
    "router",
]

JSON, TOML = "application/json", "application/toml"
JOB_SCHEMA = {"$ref": "#/components/schemas/Job"}
CONTENT = {JSON: {"schema": JOB_SCHEMA}, TOML: {"schema": {"type": "string"}}}


class SavedBody(BaseModel):
    """A saved revision of a job, without the job."""

    id: str = Field(description="Id of the job, part of its address.")
    name: str = Field(description="Name under which commands find it.")
    revision: int = Field(description="Number of the revision, from 1.")
    saved_at: datetime = Field(description="When it was saved.")
    who: str = Field(description="Who saved it.")
    note: str = Field(description="What changed, in words.")


class KeptBody(SavedBody):
    """A revision as it was just saved, with what is to be looked at again in it."""

    asked: list[str] = Field(description="Values that seldom are so, as questions.")
    unusable: list[str] = Field(
        description="Complaints and readings that the search for faults cannot use, and why."
    )
    same_as: str | None = Field(
        None, description="Id of the job that had just this text before a new one was kept."
    )


class ListedBody(SavedBody):
    """A job in the list, with what is in it in words."""

    title: str = Field(description="What the job is about, in one line.")
    state: str = Field(description="What is in it, counted.")


class RevisionBody(BaseModel):
    """A line in a job's history."""

    revision: int = Field(description="Number of the revision, from 1.")
    saved_at: datetime = Field(description="When it was saved.")
    who: str = Field(description="Who saved it.")
    note: str = Field(description="What changed, in words.")
    deleted: bool = Field(description="Whether it marks the job as deleted.")


class JobsBody(BaseModel):
    """The list of jobs, the last saved first."""

    jobs: list[ListedBody] = Field(description="The jobs.")


class RevisionsBody(BaseModel):
    """A job's history, the newest first."""

    revisions: list[RevisionBody] = Field(description="Its revisions.")


Word = Annotated[str | None, Field(max_length=40, description="As in `[wishes]`, in its place.")]


class ChoiceAsked(BaseModel):
    """What a choice is asked for; what is left out counts as the job's wishes say."""

    revision: int | None = Field(
        None, ge=1, le=LARGEST_NUMBER, description="The newest when left out."
    )
    catalogue: str = Field(
        INVENTED, max_length=100, description="A kept catalogue: its name, or name@version."
    )
    money: float | None = Field(None, ge=0, description="Most that it may cost.")
    hours: float | None = Field(None, ge=0, description="Most working time [h].")
    lead_days: float | None = Field(None, ge=0, description="Most days to wait for a part.")
    seat: str | None = Field(None, max_length=60, description="Id of the seat that counts.")
    bass: Word = None
    loudness: Word = None
    clarity: Word = None
    reversible: Word = None
    appearance: Word = None
    hands_free: Word = None
    may: str | None = Field(
        None, max_length=200, description="What may be changed, with commas: driver,ring."
    )
    cut: bool | None = Field(None, description="Whether panels may be cut.")
    unmeasured: bool = Field(False, description="Whether larger parts go where nobody measured.")
    sure: bool = Field(False, description="Whether the limit of money holds at the high end.")
    gap: float = Field(0.0, ge=0, le=100, description="Points within which the best is proved.")
    trust: bool = Field(False, description="Whether a sheet is trusted by its source.")

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The wishes and limits as a form sends them."""
        given = {name: getattr(self, name) for name in FIELDS if getattr(self, name) is not None}
        told = {name: written(value) for name, value in given.items()}
        told |= {} if self.may is None else {"may": self.may}
        told |= {} if self.cut is None else {"cut": written(self.cut)}
        return [*told.items(), ("catalogue", self.catalogue)]

    @property
    def manner(self) -> Manner:
        """How it is searched."""
        return Manner(unmeasured=self.unmeasured, sure=self.sure, gap=self.gap, trust=self.trust)


@dataclass(frozen=True, slots=True)
class Written:
    """A job as somebody sent it."""

    text: str
    json: bool

    def toml(self, reports: Reports) -> str:
        """Return the job as TOML; raises BadInputError for what is no job, or has no TOML."""
        return reports.reading.run(toml_from_json, self.text) if self.json else self.text


# --- What an operation is given -----------------------------------------------------------------


def _reports(request: Request) -> Reports:
    reports: Reports = request.app.state.reports
    return reports


async def _written(request: Request) -> Written:
    """Return the job in a request's body; raises Refusal for any other kind of body."""
    kind, _, rest = request.headers.get("content-type", "").partition(";")
    charset = rest.partition("charset=")[2].strip(' "').lower()
    if kind.strip().lower() not in {JSON, TOML} or charset not in {"", "utf-8", "utf8"}:
        raise Refusal(415, f"A job comes as {JSON} or as {TOML}, in UTF-8.")
    try:
        text = (await request.body()).decode()
    except UnicodeDecodeError as error:
        raise Refusal(
            400,
            "The body is no text in UTF-8.",
            problems=[Problem("body", f"no text at byte {error.start + 1}", "UTF-8 is wanted")],
        ) from None
    return Written(text, json=kind.strip().lower() == JSON)


JobId = Annotated[
    str,
    Path(
        pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$",
        max_length=60,
        description="Id of the job.",
        examples=["library-van-k3qz"],
    ),
]
Revision = Annotated[int, Path(ge=1, le=LARGEST_NUMBER, description="Number of the revision.")]
Kept = Annotated[Store, Depends(store_of)]
Answers = Annotated[Reports, Depends(_reports)]
Sent = Annotated[Written, Depends(_written)]
Who = Annotated[str, Depends(who)]
IfMatch = Annotated[
    str | None, Header(description="The ETag of the revision that the change started from.")
]
IfNoneMatch = Annotated[str | None, Header(description="An ETag that is known already.")]
Accept = Annotated[str, Header(include_in_schema=False)]
RevisionAsked = Annotated[
    int | None, Query(ge=1, le=LARGEST_NUMBER, description="The newest when left out.")
]
ProposalId = Annotated[str | None, Query(max_length=200, description="Id of a proposal.")]

_TOLD = {
    304: "It is what the ETag stands for.",
    400: "The body cannot be read.",
    404: "There is no such job, revision or stage.",
    412: "Somebody else saved meanwhile; `problems` names both revisions.",
    413: "The body is too large.",
    414: "The address is too long.",
    415: "The body is neither JSON nor TOML.",
    422: "What was sent cannot be used; `problems` says where and why.",
    428: "If-Match is missing.",
    503: "It took too long, or too many are asking, or the store cannot be reached.",
}
Responses = dict[int | str, dict[str, Any]]


def refusals(*statuses: int, answers: Responses | None = None) -> Responses:
    """Return how an operation's refusals are described, every one of the same shape."""
    return {
        status: {"description": _TOLD[status]} | ({} if status == 304 else {"model": ErrorBody})
        for status in (*statuses, 414, 422, 503)
    } | (answers or {})


_DOCUMENT: Responses = {200: {"description": "The job.", "content": CONTENT}}
_CHOICE: Responses = {200: {"description": "The choice.", "model": Choice}}
_REPORT: Responses = {200: {"description": "The report.", "model": Report}}
_BODY = {"requestBody": {"required": True, "content": CONTENT}}

router = APIRouter(prefix="/api/v1", tags=["jobs"])


# --- Jobs ---------------------------------------------------------------------------------------


@router.get("/jobs", responses=refusals(), response_description="The jobs.")
def list_jobs(
    store: Kept,
    search: Annotated[str, Query(max_length=200, description="Words that all are in it.")] = "",
    deleted: Annotated[bool, Query(description="List the deleted ones instead.")] = False,
) -> JobsBody:
    """List the jobs that hold every word of a search, the last saved first."""
    found = store.jobs(search=search, deleted=deleted)
    return JobsBody(
        jobs=[
            ListedBody(
                id=each.job_id,
                name=each.name,
                title=each.title,
                revision=each.revision,
                saved_at=each.saved_at,
                who=each.who,
                note=each.note,
                state=each.state,
            )
            for each in found
        ]
    )


@router.post(
    "/jobs",
    status_code=201,
    responses=refusals(400, 413, 415),
    response_description="It is kept.",
    openapi_extra=_BODY,
)
def create_job(
    store: Kept, reports: Answers, written: Sent, who: Who, response: Response
) -> KeptBody:
    """Keep a new job: a document in JSON, or the text of a TOML file."""
    text = written.toml(reports)
    twin = store.twin_of(text)
    saved = store.create(text, who=who)
    response.headers["Location"] = f"/api/v1/jobs/{saved.job_id}"
    kept = _saved(saved, response)
    return kept if twin is None else kept.model_copy(update={"same_as": twin.job_id})


@router.get(
    "/jobs/{job_id}", response_class=Response, responses=refusals(304, 404, answers=_DOCUMENT)
)
def read_job(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    accept: Accept = "",
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Give the newest revision of a job, as JSON, or as its own text where TOML is accepted."""
    return _document(reports, store.get(job_id), accept, if_none_match)


@router.put(
    "/jobs/{job_id}",
    responses=refusals(400, 404, 412, 413, 415, 428),
    response_description="It is kept.",
    openapi_extra=_BODY,
)
def change_job(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    written: Sent,
    who: Who,
    response: Response,
    if_match: IfMatch = None,
) -> KeptBody:
    """Keep a changed job as a new revision; none that gains a reading which nobody can use."""
    base = _base(store, job_id, if_match)
    text = written.toml(reports)
    hold_gained(store.get(job_id, base), text, reports.reading)
    with _conflicts_told():
        return _saved(store.save(job_id, text, base=base, who=who), response)


@router.delete(
    "/jobs/{job_id}",
    status_code=204,
    response_description="It is marked.",
    response_class=Response,
    responses=refusals(404, 412, 428),
)
def delete_job(store: Kept, job_id: JobId, who: Who, if_match: IfMatch = None) -> None:
    """Mark a job as deleted; its revisions stay."""
    base = _base(store, job_id, if_match)
    with _conflicts_told():
        store.delete(job_id, base=base, who=who)


@router.get(
    "/jobs/{job_id}/revisions", responses=refusals(404), response_description="The history."
)
def list_revisions(store: Kept, job_id: JobId) -> RevisionsBody:
    """List a job's revisions, the newest first; those of a deleted job too."""
    return RevisionsBody(
        revisions=[
            RevisionBody(
                revision=each.revision,
                saved_at=each.saved_at,
                who=each.who,
                note=each.note,
                deleted=each.deleted,
            )
            for each in store.revisions(job_id)
        ]
    )


@router.get(
    "/jobs/{job_id}/revisions/{revision}",
    response_class=Response,
    responses=refusals(304, 404, answers=_DOCUMENT),
)
def read_revision(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    revision: Revision,
    accept: Accept = "",
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Give one revision of a job, as JSON, or as its own text where TOML is accepted."""
    return _document(reports, store.get(job_id, revision), accept, if_none_match)


# --- Reports ------------------------------------------------------------------------------------


@router.get(
    "/jobs/{job_id}/choose",
    response_class=Response,
    responses=refusals(304, 404, answers=_CHOICE),
    tags=["reports"],
)
def read_choice(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    wanted: Annotated[ChoiceAsked, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Choose the best whole plans of a job for its wishes and limits, from a catalogue."""
    saved = store.get(job_id, wanted.revision)
    job = reports.reading.job(saved.text)
    own = limits_of(job)
    limits = limits_in(wanted.pairs, own) or own
    try:
        text = text_with(saved.text, job, limits, reports.reading)
    except Refused as refused:
        raise _unusable(refused) from None
    answer = reports.choosing.answer(store, text, offered(store, limits.catalogue), wanted.manner)
    return _tagged(answer.json, answer.etag, if_none_match)


@router.get(
    "/jobs/{job_id}/{stage}",
    response_class=Response,
    responses=refusals(304, 404, answers=_REPORT),
    tags=["reports"],
)
def read_report(
    store: Kept,
    reports: Answers,
    job_id: JobId,
    stage: Annotated[Stage, Path(description="The question.")],
    proposal: ProposalId = None,
    against: ProposalId = None,
    at: Annotated[
        str | None, Query(max_length=3000, description="Hertz of the curves: 20,50,1.2k")
    ] = None,
    revision: RevisionAsked = None,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Give a stage's report of a job; what is no finite number is null."""
    saved = store.get(job_id, revision)
    answer = reports.answer(saved.text, Question(stage, proposal or None, against or None, at))
    return _tagged(answer.json, answer.etag, if_none_match)


# --- Answers ------------------------------------------------------------------------------------


@contextmanager
def _conflicts_told() -> Iterator[None]:
    """Let a conflict be put into words here: where it is answered, everybody would wait for it."""
    try:
        yield
    except Conflict as conflict:
        str(conflict)
        raise


def _tagged(json: bytes, etag: str, known: str | None) -> Response:
    """Return a report, or that it is what the tag stands for that somebody has."""
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if _is_known(etag, known):
        return Response(status_code=304, headers=headers)
    return Response(json, media_type=JSON, headers=headers)


def _unusable(refused: Refused) -> Refusal:
    """Return what is wrong with the limits of a choice, each beside its name."""
    problems = [Problem(name, "what was sent", words) for name, words in refused.beside.items()]
    problems += [Problem("job", "what was sent", words) for words in refused.others]
    return Refusal(422, "These limits cannot be used.", problems=problems)


def _saved(saved: Saved, response: Response) -> KeptBody:
    response.headers["ETag"] = saved.etag
    return KeptBody(
        id=saved.job_id,
        name=saved.name,
        revision=saved.revision,
        saved_at=saved.saved_at,
        who=saved.who,
        note=saved.note,
        asked=[doubt.text for doubt in saved.job.doubts],
        unusable=[str(problem) for problem in entry_problems(saved.job)],
    )


def _document(reports: Reports, saved: Saved, accept: str, known: str | None) -> Response:
    headers = {"ETag": saved.etag, "Cache-Control": "private, no-cache", "Vary": "Accept"}
    if _is_known(saved.etag, known):
        return Response(status_code=304, headers=headers)
    if _quality(accept, TOML) > _quality(accept, JSON):
        return Response(saved.text.encode(), media_type=TOML, headers=headers)
    json = reports.reading.run(json_from_toml, saved.text)
    return Response(json, media_type=JSON, headers=headers)


def _tags(header: str) -> list[str]:
    return [tag.strip() for tag in header.split(",")]


def _is_known(etag: str, header: str | None) -> bool:
    """Whether If-None-Match names a tag (weak comparison, RFC 9110 section 13.1.2)."""
    tags = _tags(header or "")
    return "*" in tags or etag in [tag.removeprefix("W/") for tag in tags]


def _base(store: Store, job_id: str, header: str | None) -> int:
    """Return the revision that If-Match names; raises Refusal where it is not the newest."""
    newest = store.get(job_id)
    if header is None:
        raise Refusal(
            428,
            "Say with If-Match which revision the change started from: its ETag.",
            problems=[Problem("If-Match", "nothing", f"the newest is {newest.etag}")],
        )
    tags = _tags(header)
    if newest.etag in tags or tags == ["*"]:
        return newest.revision
    raise overtaken(
        f"{newest.who} saved this job meanwhile, or the ETag is of another one; nothing was "
        "changed. Read the newest revision and try again.",
        named=_named(job_id, tags),
        newest=newest,
    )


def _named(job_id: str, tags: list[str]) -> str:
    """Return which revision a tag names, in words where it is one of this job."""
    number = tags[0].removeprefix(f'"{job_id}-').removesuffix('"')
    is_ours = number.isascii() and number.isdigit()
    return f"revision {number}" if is_ours else ", ".join(tags)[:80]


def _quality(accept: str, kind: str) -> float:
    """Return how much a kind of answer is wanted (RFC 9110 section 12.5.1), 0 for not at all."""
    found: dict[str, float] = {}
    for each in accept.lower().split(","):
        name, *rest = (part.strip() for part in each.split(";"))
        weights = (part.removeprefix("q=") for part in rest if part.startswith("q="))
        found[name] = _number(next(weights, "1"))
    names = (kind, f"{kind.partition('/')[0]}/*", "*/*")
    return next((found[name] for name in names if name in found), 0.0)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0
