"""Proposals side by side with the vehicle as found, and the page to change one of them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import ConewrightError
from conewright.job.build.job import Job
from conewright.job.document.parts import AS_FOUND
from conewright.job.text.editing import Refused, with_proposal, without_entries
from conewright.job.text.labels import field_at, fields_of, parts_of, plain_value
from conewright.job.text.parsing import kept_job
from conewright.stages.report.data import Report
from conewright.web.base.errors import Refusal
from conewright.web.desk.keeping import Kept
from conewright.web.desk.workers import Question
from conewright.web.frame.answer import verdict_views
from conewright.web.frame.comparison import Comparison, comparison
from conewright.web.frame.context import JobPage, note_passing, open_page, plan_of
from conewright.web.frame.page import (
    Form,
    Revision,
    form_texts,
    number_in,
    render,
    save,
    see_other,
)
from conewright.web.frame.rendered import kept
from conewright.web.pages.stage import picture_view

__all__ = ["router"]

router = APIRouter()

SPARE_ROWS = 1
MOST_AT_ONCE = 4
KEPT = 16
"""Texts of jobs that are kept as they were read: while one types, they come again."""
_comparisons: Kept[Comparison] = Kept(KEPT)
NEW = "new"
IDENTIFIER = re.compile(r"[A-Za-z][A-Za-z0-9_]*(-[A-Za-z0-9_]+)*")
ABOUT = ("name", "hours", "extra_cost")
DRIVER = ".driver"


@dataclass(frozen=True, slots=True)
class Row:
    """One change of a proposal as typed: what, and its new value."""

    what: str
    value: str
    error: str = ""


@dataclass(frozen=True, slots=True)
class Picker:
    """A place with the driver found there and the others that could go there."""

    id: str
    title: str
    found: str
    others: tuple[tuple[str, str], ...]


@router.get("/jobs/{job_id}/proposals")
def proposals(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show every proposal beside the vehicle as found."""
    return kept(
        request,
        job_id,
        lambda: _side_by_side(request, open_page(request, job_id, revision=revision)),
    )


def _side_by_side(request: Request, page: JobPage) -> Response:
    found, refusal = _compared(request, page.job, page.saved.text)
    picture = (
        ""
        if found is None or not page.job.proposals
        else picture_view(page, "compare", found.report)
    )
    return render(
        request,
        "proposals.html",
        page=page,
        comparison=found,
        refusal=refusal,
        picture=picture,
        verdicts=verdict_views(found.report.verdicts) if found else (),
        plan=plan_of(page),
    )


@router.get("/jobs/{job_id}/proposals/{proposal_id}")
def edit(request: Request, job_id: str, proposal_id: str, revision: Revision = None) -> Response:
    """Show a proposal to be changed, or an empty one."""

    def show() -> Response:
        page = open_page(request, job_id, revision=revision)
        return _editor(request, page, proposal_id, _typed(page.job, proposal_id), Refused({}, ()))

    return kept(request, job_id, show)


@router.post("/jobs/{job_id}/proposals/{proposal_id}")
def change(request: Request, job_id: str, proposal_id: str, form: Form) -> Response:
    """Show, save or take out a proposal, or change how many rows it has."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    action = fields.get("action", "show")
    rows = _rows(fields)
    if action.startswith("remove:"):
        index = number_in({"n": action.partition(":")[2]}, "n")
        rows = [row for place, row in enumerate(rows) if place != index]
    if action == "add":
        rows = [*rows, Row("", "")]
    typed = _sent(page.job, fields, rows)
    if action in ("save", "delete"):
        return _saved(request, page, proposal_id, typed, delete=action == "delete")
    return _editor(request, page, proposal_id, typed, None)


@router.post("/jobs/{job_id}/preview/{proposal_id}")
def preview(request: Request, job_id: str, proposal_id: str, form: Form) -> Response:
    """Give the figures of a proposal as typed, without saving anything: a piece of a page."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    typed = _sent(page.job, fields, _rows(fields))
    found, refused = _tried(request, page, proposal_id, typed)
    return render(request, "preview.html", page=page, comparison=found, refused=refused)


# --- Trying and saving ----------------------------------------------------------------------------


def _tried(
    request: Request, page: JobPage, proposal_id: str, typed: Mapping[str, Any]
) -> tuple[Comparison | None, Refused]:
    """Return what a proposal as typed would change, or what is wrong with it."""
    try:
        id, text = _text(page, proposal_id, typed)
    except Refused as refused:
        return None, refused
    only = _alone(text, id)
    found, refusal = _compared(request, kept_job(only), only)
    return found, Refused({}, (refusal,) if refusal else ())


@lru_cache(maxsize=KEPT)
def _alone(text: str, id: str) -> str:
    """Return the text without the other proposals, which would only cost time."""
    others = [each.id for each in kept_job(text).proposals if each.id != id]
    return without_entries(text, "proposal", *others) if others else text


def _text(page: JobPage, proposal_id: str, typed: Mapping[str, Any]) -> tuple[str, str]:
    """Return a proposal's id and the text of the job with it; raises Refused."""
    id = typed["id"].strip() if proposal_id == NEW else proposal_id
    known = {proposal.id for proposal in page.job.proposals}
    if proposal_id == NEW and (not IDENTIFIER.fullmatch(id) or id in known | {NEW, AS_FOUND}):
        wanted = "A short name is wanted that no other proposal has: letters, digits and hyphens."
        raise Refused({"id": f'Found "{id}": {wanted}' if id else wanted}, ())
    values: dict[str, object] = {
        "name": typed["name"].strip() or None,
        "hours": _amount(typed["hours"]),
        "extra_cost": _amount(typed["extra_cost"]),
        "set": {row.what: _new_value(page.job, row) for row in typed["rows"] if row.what}
        | _driver_changes(page.job, id, typed["drivers"]),
    }
    missing = {
        row.what: "Its new value is missing." for row in typed["rows"] if row.what and not row.value
    }
    if missing:
        raise Refused(missing, ())
    return id, with_proposal(page.saved.text, id, values)


def _saved(
    request: Request, page: JobPage, proposal_id: str, typed: Mapping[str, Any], *, delete: bool
) -> Response:
    try:
        if delete:
            text = without_entries(page.saved.text, "proposal", proposal_id)
        else:
            _, text = _text(page, proposal_id, typed)
    except Refused as refused:
        return _editor(request, page, proposal_id, typed, refused)
    then = f"{page.base}/proposals"
    if text == page.saved.text:
        return see_other(then)
    return save(request, page.saved, text, then=then)


def _compared(request: Request, job: Job, text: str) -> tuple[Comparison | None, str]:
    """Return a job's builds side by side, or in words why they cannot be compared."""
    ids = [proposal.id for proposal in job.proposals]
    questions = [Question("compare"), *(Question("fit", id) for id in ids)]

    def ask(question: Question) -> Report:
        report: Report = request.app.state.reports.answer(text, question).report
        return report

    def make() -> Comparison:
        with ThreadPoolExecutor(MOST_AT_ONCE) as pool:
            compared, *fitted = pool.map(ask, questions)
        return comparison(job, compared, dict(zip(ids, fitted, strict=True)))

    try:
        return _comparisons.get(text, make), ""
    except (ConewrightError, Refusal) as error:
        note_passing(request, error)
        return None, str(error)


# --- The editor -----------------------------------------------------------------------------------


def _editor(
    request: Request,
    page: JobPage,
    proposal_id: str,
    typed: Mapping[str, Any],
    refused: Refused | None,
) -> Response:
    """Show a proposal as typed with its figures; what is wrong stands beside its row."""
    found, wrong = (
        _tried(request, page, proposal_id, typed) if _any(typed) else (None, Refused({}, ()))
    )
    wrong = refused if refused is not None and (refused.beside or refused.others) else wrong
    rows = [Row(row.what, row.value, wrong.beside.get(row.what, "")) for row in typed["rows"]]
    known = {proposal.id for proposal in page.job.proposals}
    return render(
        request,
        "proposal.html",
        page=page,
        proposal_id=proposal_id,
        there=proposal_id in known,
        typed=typed,
        rows=[*rows, *[Row("", "")] * SPARE_ROWS] if all(row.what for row in rows) else rows,
        errors=wrong.beside,
        others=wrong.others,
        comparison=found,
        refused=wrong,
        fields=_offered(page.job),
        pickers=_pickers(page.job),
    )


def _any(typed: Mapping[str, Any]) -> bool:
    return any(row.what for row in typed["rows"]) or any(typed["drivers"].values())


def _typed(job: Job, proposal_id: str) -> dict[str, Any]:
    """Return a proposal of the job as a form holds it."""
    if proposal_id == NEW:
        return {"id": "", **dict.fromkeys(ABOUT, ""), "rows": [], "drivers": {}}
    found = next((each for each in job.proposals if each.id == proposal_id), None)
    if found is None:
        raise Refusal(404, f"There is no proposal {proposal_id} in this job.")
    rows = [
        Row(what, _shown(value)) for what, value in found.set.items() if not what.endswith(DRIVER)
    ]
    hours, cost = (
        ("" if each is None else f"{each:g}") for each in (found.hours, found.extra_cost)
    )
    return {
        "id": found.id,
        "name": found.name or "",
        "hours": hours,
        "extra_cost": cost,
        "rows": rows,
        "drivers": _placed(job, proposal_id),
    }


def _sent(job: Job, fields: Mapping[str, str], rows: list[Row]) -> dict[str, Any]:
    """Return a proposal as a form sent it."""
    drivers = {place.id: fields.get(f"driver:{place.id}", "") for place in job.locations}
    return {
        **{name: fields.get(name, "") for name in ("id", *ABOUT)},
        "rows": rows,
        "drivers": {place: driver for place, driver in drivers.items() if driver},
    }


def _placed(job: Job, proposal_id: str) -> dict[str, str]:
    """Return the driver of each place where a proposal changes it."""
    changed = zip(job.locations, job.with_proposal(proposal_id).locations, strict=True)
    return {new.id: new.driver for old, new in changed if old.driver != new.driver}


def _driver_changes(job: Job, proposal_id: str, chosen: Mapping[str, str]) -> dict[str, object]:
    """Return the changes that put drivers where they were chosen.

    What says the same already stays as it is written, one line for many places as well.
    """
    known = next((each for each in job.proposals if each.id == proposal_id), None)
    if known is not None and chosen == _placed(job, proposal_id):
        return {what: value for what, value in known.set.items() if what.endswith(DRIVER)}
    return {f"{place}{DRIVER}": driver for place, driver in chosen.items()}


def _pickers(job: Job) -> list[Picker]:
    names = {driver.id: driver.name or driver.id for driver in job.drivers}
    return [
        Picker(
            id=place.id,
            title=place.name or place.id,
            found=names[place.driver],
            others=tuple((id, name) for id, name in names.items() if id != place.driver),
        )
        for place in job.locations
    ]


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(map(str, value))
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _rows(fields: Mapping[str, str]) -> list[Row]:
    """Return the rows of a form that hold anything, in their order."""
    numbers = sorted(int(name[5:]) for name in fields if re.fullmatch(r"what:\d{1,4}", name))
    rows = [
        Row(fields.get(f"what:{n}", "").strip(), fields.get(f"value:{n}", "").strip())
        for n in numbers
    ]
    return [row for row in rows if row.what or row.value]


def _new_value(job: Job, row: Row) -> object:
    """Return a row's value as the kind its field holds; a glob is read by the first it means."""
    head, _, rest = row.what.partition(".")
    for part in parts_of(job):
        if part.id == head or re.fullmatch(_pattern(head), part.id):
            try:
                return plain_value(field_at(job, f"{part.id}.{rest}"), row.value)
            except ConewrightError:
                continue
    return row.value


def _pattern(glob: str) -> str:
    return "".join({"*": ".*", "?": "."}.get(letter, re.escape(letter)) for letter in glob)


def _amount(text: str) -> object:
    plain = text.strip().replace(",", ".")
    try:
        return float(plain) if plain else None
    except ValueError:
        return text.strip()


def _offered(job: Job) -> list[tuple[str, str]]:
    """Return what a proposal may change: every field of every part, pairs by one glob first."""
    offered: dict[str, str] = {}
    for part in parts_of(job):
        if part.kind not in ("location", "channel", "head_unit"):
            continue
        for field in fields_of(part):
            if field.path.rsplit(".", 1)[-1] not in ("name", "kind", "driver", "x", "y", "z"):
                offered.setdefault(field.path, f"{field.label}, {part.title}")
    return list(offered.items())
