"""Proposals side by side with the vehicle as found, and the page to change one of them."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import get_args

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import BadInputError, ConewrightError
from conewright.job.builds.job import Job
from conewright.job.document.places import Kind
from conewright.job.repairs import repair_names
from conewright.job.text.editing import Refused, without_entries
from conewright.job.text.proposal_form import (
    NEW,
    ProposalForm,
    Row,
    alone,
    offered_fields,
    proposal_form,
    with_form,
)
from conewright.phrases import listed
from conewright.stages.find.faults.trade import fault
from conewright.stages.report.data import Report
from conewright.web.base.errors import Refusal
from conewright.web.desk.cache import Kept
from conewright.web.desk.waiting import together
from conewright.web.desk.workers import Question
from conewright.web.frame.added_parts import (
    added_parts,
    added_views,
    bought_parts,
    bought_views,
    words_in,
)
from conewright.web.frame.answer import verdict_views
from conewright.web.frame.comparison import Comparison, comparison
from conewright.web.frame.context import JobPage, NoAnswer, note_passing, open_page, plan_of
from conewright.web.frame.page import (
    Form,
    Revision,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
)
from conewright.web.frame.picks import Group, driver_places, picked_groups
from conewright.web.frame.rendered import kept
from conewright.web.pages.stage import picture_view

__all__ = ["router"]

router = APIRouter()

SPARE_ROWS = 1
MOST_AT_ONCE = 4
KEPT = 16
"""Comparisons that are kept: while one types, they come again."""
_comparisons: Kept[Comparison] = Kept(KEPT)


@dataclass(frozen=True, slots=True)
class Picker:
    """A place, or both sides, with the driver found there and the others that could go there."""

    id: str
    title: str
    found: str
    others: tuple[tuple[str, str], ...]
    chosen: str
    error: str


@router.get("/jobs/{job_id}/proposals")
def proposals(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show every proposal beside the vehicle as found."""
    return kept(
        request,
        job_id,
        lambda: _side_by_side(request, open_page(request, job_id, revision=revision)),
    )


def _side_by_side(request: Request, page: JobPage) -> Response:
    compared = _compared(request, page.job, page.saved.text)
    found = compared if isinstance(compared, Comparison) else None
    picture = (
        ""
        if found is None or len(found.columns) == 1
        else picture_view(page, "compare", found.report)
    )
    return render(
        request,
        "proposals.html",
        page=page,
        comparison=found,
        refusal=compared.told if isinstance(compared, NoAnswer) else "",
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
    typed = _sent(page.job, proposal_id, fields, rows)
    if action in ("save", "delete"):
        return _saved(request, page, proposal_id, typed, delete=action == "delete")
    return _editor(request, page, proposal_id, typed, None)


@router.post("/jobs/{job_id}/preview/{proposal_id}")
def preview(request: Request, job_id: str, proposal_id: str, form: Form) -> Response:
    """Give the figures of a proposal as typed, without saving anything: a piece of a page."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    typed = _sent(page.job, proposal_id, fields, _rows(fields))
    found, refused = _tried(request, page, proposal_id, typed)
    return render(request, "preview.html", page=page, comparison=found, refused=refused)


# --- Trying and saving ----------------------------------------------------------------------------


def _tried(
    request: Request, page: JobPage, proposal_id: str, typed: ProposalForm
) -> tuple[Comparison | None, Refused]:
    """Return what a proposal as typed would change, or what is wrong with it."""
    try:
        text = _text(request, page, proposal_id, typed)
    except Refused as refused:
        return None, refused
    reading = reading_of(request)
    only = reading.run(alone, text, typed.id)
    compared = _compared(request, reading.job(only), only)
    if isinstance(compared, NoAnswer):
        return None, Refused({}, (compared.told,))
    return compared, Refused({}, ())


def _text(request: Request, page: JobPage, proposal_id: str, typed: ProposalForm) -> str:
    """Return the text of the job with a proposal as typed; raises Refused."""
    new = proposal_id == NEW
    return reading_of(request).run(with_form, page.saved.text, typed, new=new)


def _saved(
    request: Request, page: JobPage, proposal_id: str, typed: ProposalForm, *, delete: bool
) -> Response:
    try:
        if delete:
            text = reading_of(request).run(
                without_entries, page.saved.text, "proposal", proposal_id
            )
        else:
            text = _text(request, page, proposal_id, typed)
    except Refused as refused:
        return _editor(request, page, proposal_id, typed, refused)
    return save(request, page.saved, text, then=f"{page.base}/proposals")


def _compared(request: Request, job: Job, text: str) -> Comparison | NoAnswer:
    """Return a job's builds side by side, or why they cannot be compared."""
    ids = [proposal.id for proposal in job.proposals]
    questions = [Question("compare"), *(Question("fit", id) for id in ids)]

    def ask(question: Question) -> Report:
        report: Report = request.app.state.reports.answer(text, question).report
        return report

    def make() -> Comparison:
        asked = (partial(ask, question) for question in questions)
        compared, *fitted = together(asked, most=MOST_AT_ONCE)
        return comparison(job, compared, dict(zip(ids, fitted, strict=True)))

    try:
        return _comparisons.get(text, make, room=request.app.state.reports.room)
    except (ConewrightError, Refusal) as error:
        lack = NoAnswer(error)
        note_passing(request, lack)
        return lack


# --- The editor -----------------------------------------------------------------------------------


def _editor(
    request: Request,
    page: JobPage,
    proposal_id: str,
    typed: ProposalForm,
    refused: Refused | None,
) -> Response:
    """Show a proposal as typed with its figures; what is wrong stands beside its row."""
    found, wrong = None, refused or Refused({}, ())
    if typed.changes_something and not (wrong.beside or wrong.others):
        found, wrong = _tried(request, page, proposal_id, typed)
    groups = _groups(page, typed, wrong)
    picked = {pick.path for group in groups for pick in group.picks}
    free = [row for row in typed.rows if row.what not in picked]
    rows = [(row, wrong.beside.get(row.what, "")) for row in free]
    known = {proposal.id for proposal in page.job.proposals}
    return render(
        request,
        "proposal.html",
        page=page,
        proposal_id=proposal_id,
        there=proposal_id in known,
        typed=typed,
        rows=[*rows, *[(Row("", ""), "")] * SPARE_ROWS] if _all_used(free) else rows,
        free=bool(free),
        errors=wrong.beside,
        others=wrong.others,
        comparison=found,
        refused=wrong,
        fields=offered_fields(page.job),
        pickers=_pickers(page.job, typed, wrong),
        groups=groups,
        mends=_mends(page.job, typed),
        added=added_views(typed.add),
        bought=bought_views(typed.buy),
        added_text=json.dumps(typed.add, ensure_ascii=False),
        kinds=get_args(Kind),
        repair_names=listed(repair_names()),
    )


def _all_used(rows: list[Row]) -> bool:
    return all(row.what for row in rows)


def _groups(page: JobPage, typed: ProposalForm, wrong: Refused) -> tuple[Group, ...]:
    changes = {row.what: row.value for row in typed.rows}
    return picked_groups(page.job, page.whole, changes, wrong.beside)


def _mends(job: Job, typed: ProposalForm) -> list[tuple[str, str, bool]]:
    """Return every fault that a proposal may mend, with its words, and whether it does."""
    found = [each.id for each in job.findings if each.state == "found"]
    told = []
    for id in dict.fromkeys((*found, *typed.mends)):
        name, _, at = id.partition("@")
        told.append((id, f"{_fault_title(name)} at {at}", id in typed.mends))
    return told


def _fault_title(name: str) -> str:
    try:
        return fault(name).title
    except BadInputError:
        return name


def _typed(job: Job, proposal_id: str) -> ProposalForm:
    try:
        return proposal_form(job, proposal_id)
    except KeyError:
        raise Refusal(404, f"There is no proposal {proposal_id} in this job.") from None


def _sent(job: Job, proposal_id: str, fields: Mapping[str, str], rows: list[Row]) -> ProposalForm:
    """Return a proposal as a form sent it."""
    chosen: dict[str, str] = {}
    # Both sides come first: what is picked at one place goes before it.
    for key, places in driver_places(job).items():
        driver = fields.get(f"driver:{key}", "")
        chosen |= dict.fromkeys(places, driver) if driver else {}
    picked = [
        Row(name.removeprefix("set:"), value.strip())
        for name, value in fields.items()
        if name.startswith("set:") and value.strip()
    ]
    kept = {row.what for row in picked}
    rows = [*picked, *(row for row in rows if row.what not in kept)]
    mends = (name.removeprefix("mends:") for name in fields if name.startswith("mends:"))
    # What a form does not send at all stays as it is written.
    known = next((each for each in job.proposals if each.id == proposal_id), None)
    repairs, remove = (
        words_in(fields[name]) if name in fields else getattr(known, name, ())
        for name in ("repairs", "remove")
    )
    sent = "added" in fields or known is None
    before = proposal_form(job, NEW if known is None else proposal_id)
    return ProposalForm(
        id=fields.get("id", "").strip() if proposal_id == NEW else proposal_id,
        name=fields.get("name", ""),
        hours=fields.get("hours", ""),
        extra_cost=fields.get("extra_cost", ""),
        rows=tuple(rows),
        drivers=chosen,
        mends=tuple(mends),
        repairs=repairs,
        remove=remove,
        add=added_parts(fields) if sent or known is None else known.add,
        catalogue=before.catalogue,
        buy=bought_parts(fields, before.buy),
    )


def _pickers(job: Job, typed: ProposalForm, wrong: Refused) -> list[Picker]:
    names = {driver.id: driver.name or driver.id for driver in job.drivers}
    titles = {place.id: place.name or place.id for place in job.locations}
    driver = {place.id: place.driver for place in job.locations}
    pickers, both = [], set[str]()
    for key, places in driver_places(job).items():
        chosen = {typed.drivers.get(place, "") for place in places}
        # What both sides get alike is shown there, and not at each place again.
        same = chosen.pop() if len(chosen) == 1 and not both.issuperset(places) else ""
        if len(places) > 1 and same:
            both.update(places)
        errors = (wrong.beside.get(f"{place}.driver", "") for place in (*places, key))
        found = dict.fromkeys(driver[place] for place in places)
        pickers.append(
            Picker(
                id=key,
                title=f"Both sides, {' and '.join(places)}" if len(places) > 1 else titles[key],
                found=" and ".join(names[each] for each in found),
                others=tuple((id, name) for id, name in names.items() if {id} != set(found)),
                chosen=same,
                error=next(filter(None, errors), ""),
            )
        )
    return pickers


def _rows(fields: Mapping[str, str]) -> list[Row]:
    """Return the rows of a form that hold anything, in their order."""
    numbers = sorted(int(name[5:]) for name in fields if re.fullmatch(r"what:\d{1,4}", name))
    rows = [
        Row(fields.get(f"what:{n}", "").strip(), fields.get(f"value:{n}", "").strip())
        for n in numbers
    ]
    return [row for row in rows if row.what or row.value]
