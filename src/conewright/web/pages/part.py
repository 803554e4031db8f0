"""The page of one part of a job: a place, a channel, a driver, a seat, the radio, the vehicle."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import JobError, QuantityError
from conewright.job.builds.job import Job
from conewright.job.builds.states.value import Fill
from conewright.job.document.lists import spoken
from conewright.job.quantity.values import parse_quantity
from conewright.job.text.editing import Refused, with_values, without_entries, without_place
from conewright.job.text.labels import (
    PAGED_LISTS,
    Field,
    Part,
    field_at,
    fields_of,
    part_of,
    plain_value,
    text_of,
    typed_tables,
)
from conewright.stages.report.data import Report
from conewright.web.base.errors import Refusal
from conewright.web.desk.waiting import once
from conewright.web.frame.answer import LETTERS, in_inches, verdict_views
from conewright.web.frame.context import JobPage, open_page, plan_of, reports_of
from conewright.web.frame.page import (
    Form,
    Revision,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
    see_other,
)
from conewright.web.frame.rendered import kept

__all__ = ["router"]

router = APIRouter()

LARGEST_IN_INCHES = 1.0
"""Lengths below this [m] are also told in inches: sizes and depths, not the way through a van."""


@dataclass(frozen=True, slots=True)
class Box:
    """A field with what stands in it, what is put in its place, and what is wrong with it."""

    field: Field
    text: str
    error: str
    typical: str
    letter: str
    word: str
    inch: str
    choices: tuple[tuple[str, str], ...]


@router.get("/jobs/{job_id}/part/{part_id}")
def part(request: Request, job_id: str, part_id: str, revision: Revision = None) -> Response:
    """Show a part of a job with all its fields."""

    def show() -> Response:
        page = open_page(request, job_id, revision=revision)
        return _page(request, page, part_id, {}, Refused({}, ()))

    return kept(request, job_id, show)


@router.post("/jobs/{job_id}/part/{part_id}")
def change(request: Request, job_id: str, part_id: str, form: Form) -> Response:
    """Save what was changed of a part."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    changed = _changed(request, page, part_id, fields)
    try:
        # What is refused is shown beside answers that may have to be waited for.
        edit = partial(reading_of(request).run, with_values, page.saved.text, changed)
        text = once(page.saved.text, edit)
    except Refused as refused:
        return _page(request, page, part_id, fields, refused)
    if text == page.saved.text:
        return see_other(f"{page.base}/part/{part_id}")
    # Back to the first field that was changed, not to the top.
    then = f"{page.base}/part/{part_id}?saved=1#f-{next(iter(changed))}"
    try:
        return save(request, page.saved, text, then=then)
    except JobError as error:
        told = Refused({}, tuple(map(str, error.problems)))
        return _page(request, page, part_id, fields, told)


@router.post("/jobs/{job_id}/values")
def values(request: Request, job_id: str, form: Form) -> Response:
    """Save measured values in the place of assumed ones, from any page that shows them."""
    fields = form_texts(form)
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    typed = {name[2:]: text for name, text in fields.items() if name.startswith("v:")}
    given = {path: text for path, text in typed.items() if text.strip()}
    back = fields.get("back", "")
    back = back if back.startswith(f"{page.base}/") else page.base
    edit = reading_of(request).run
    try:
        asked = {path: field_at(page.job, path) for path in given}
        texts, typical = _texts(request, page, asked.values()), _typical(page)
        wanted = {
            path: plain_value(asked[path], text, like=_like(asked[path], texts, typical))
            for path, text in given.items()
        }
        text = edit(with_values, page.saved.text, wanted) if wanted else page.saved.text
    except Refused as refused:
        boxes = _boxes(
            request, [field_at(page.job, path) for path in given], page, given, refused.beside
        )
        return render(
            request,
            "values.html",
            page=page,
            boxes=boxes,
            others=refused.others,
            back=back,
        )
    return save(request, page.saved, text, then=back)


@router.post("/jobs/{job_id}/part/{part_id}/remove")
def remove(request: Request, job_id: str, part_id: str, form: Form) -> Response:
    """Take a part out that nothing else names any more."""
    page = open_page(request, job_id, revision=number_in(form_texts(form), "base") or None)
    edit = reading_of(request).run
    part, before = _part(page.job, part_id), page.saved
    if part.kind not in PAGED_LISTS:
        raise Refusal(404, f"The {part.what} belongs to every job.")
    try:
        text = (
            edit(without_place, before.text, part_id)
            if part.kind == "location"
            else edit(without_entries, before.text, part.kind, part_id)
        )
    except Refused as refused:
        return render(
            request,
            "in_use.html",
            page=page,
            part=part,
            users=_users(page, refused.others),
            others=refused.others,
        )
    return save(request, before, text, then=page.base)


def _users(page: JobPage, problems: Iterable[str]) -> list[tuple[str, str]]:
    """Return what still names a part, and where each of it is changed."""
    found = (re.match(r"(channel|location|proposal)\[([^\]]+)\]", each) for each in problems)
    named = dict.fromkeys((each[1], each[2]) for each in found if each)
    return [(f"{spoken(kind)} {id}", page.at(f"/{_room(kind)}/{id}")) for kind, id in named]


def _room(kind: str) -> str:
    return "proposals" if kind == "proposal" else "part"


def _changed(
    request: Request, page: JobPage, part_id: str, fields: Mapping[str, str]
) -> dict[str, object]:
    """Return the fields of a form that differ from what the job holds."""
    known = fields_of(_part(page.job, part_id))
    texts, typical = _texts(request, page, known), _typical(page)
    return {
        field.path: plain_value(field, fields[field.path], like=_like(field, texts, typical))
        for field in known
        if field.path in fields and fields[field.path].strip() != texts[field.path].strip()
    }


def _texts(request: Request, page: JobPage, fields: Iterable[Field]) -> dict[str, str]:
    """Return what fields hold, as it was typed; what is copied by `like` as it counts."""
    typed, whole = reading_of(request).run(typed_tables, page.saved.text), page.whole
    found = {}
    for field in fields:
        part = part_of(page.job, field.path.partition(".")[0])
        found[field.path] = text_of(field, part, typed) or text_of(field, part, whole)
    return found


def _typical(page: JobPage) -> dict[str, Fill]:
    """Return what stands in for the fields that hold nothing, by their paths."""
    built = page.built
    return {} if isinstance(built, JobError) else {fill.path: fill for fill in built.fills}


def _like(field: Field, texts: Mapping[str, str], typical: Mapping[str, Fill]) -> str:
    """Return what a field shows, in whose unit a bare number is meant."""
    fill = typical.get(field.path)
    return texts[field.path] or (fill.text if fill else field.example)


def _part(job: Job, part_id: str) -> Part:
    try:
        return part_of(job, part_id)
    except KeyError:
        raise Refusal(404, f"There is no {part_id} in this job.") from None


def _page(
    request: Request,
    page: JobPage,
    part_id: str,
    typed: Mapping[str, str],
    refused: Refused,
) -> Response:
    part = _part(page.job, part_id)
    found = reports_of(request, page)
    reports = [each for each in found.values() if isinstance(each, Report)]
    about = [v for report in reports for v in report.verdicts if v.subject == part_id]
    boxes = _boxes(request, fields_of(part), page, typed, refused.beside)
    groups: dict[str, list[Box]] = {}
    for box in boxes:
        groups.setdefault(box.field.group, []).append(box)
    return render(
        request,
        "part.html",
        page=page,
        part=part,
        plan=plan_of(page, reports, selected=part_id),
        verdicts=verdict_views(about),
        groups=groups,
        errors=[(box.field.path, box.field.label, box.error) for box in boxes if box.error],
        others=(*refused.others, *page.problems),
        sent=bool(typed),
        saved="saved" in request.query_params,
        used_by=_used_by(page.job, part),
        removable=part.kind in PAGED_LISTS and not page.old,
    )


def _boxes(
    request: Request,
    fields: Sequence[Field],
    page: JobPage,
    typed: Mapping[str, str],
    errors: Mapping[str, str],
) -> list[Box]:
    texts, fills = _texts(request, page, fields), _typical(page)
    boxes = []
    for field in fields:
        text = typed.get(field.path, texts[field.path])
        fill = fills.get(field.path)
        sign, word = LETTERS[fill.origin] if fill else ("", "")
        boxes.append(
            Box(
                field=field,
                text=text,
                error=errors.get(field.path, ""),
                typical=fill.text.replace("Ω", "ohm") if fill else "",
                letter=sign,
                word=word,
                inch=_both_units(field, text),
                choices=_choices(field, page.job),
            )
        )
    return boxes


def _choices(field: Field, job: Job) -> tuple[tuple[str, str], ...]:
    if field.kind == "reference":
        return tuple((driver.id, driver.name or driver.id) for driver in job.drivers)
    if field.kind == "seat":
        return tuple((seat.id, seat.id) for seat in job.seats)
    if field.kind == "yes-no":
        return (("yes", "yes"), ("no", "no"))
    return tuple((each, each) for each in field.choices)


def _both_units(field: Field, text: str) -> str:
    """Return a length in the unit it is not written in; empty for all that is no short length."""
    if field.dimension != "length" or field.kind != "quantity":
        return ""
    try:
        quantity = parse_quantity(text, dimension="length")
    except QuantityError:
        return ""
    if not 0.0 < abs(quantity.value) < LARGEST_IN_INCHES:
        return ""
    if quantity.unit in ("in", "ft"):
        return f"{quantity.value * 1000:.1f} mm"
    return in_inches(quantity.value)


def _used_by(job: Job, part: Part) -> list[tuple[str, str]]:
    """Return what belongs to a part: the driver in a place, its channel, the places of a driver."""
    if part.kind == "location":
        place = job.location(part.id)
        channels = [
            each for each in job.channels if each.wiring and part.id in each.wiring.locations
        ]
        return [("Loudspeaker", place.driver), *(("Channel", each.id) for each in channels)]
    if part.kind == "driver":
        return [("Fitted in", place.id) for place in job.locations if place.driver == part.id]
    if part.kind == "channel":
        wiring = job.channel(part.id).wiring
        return [("Drives", id) for id in (wiring.locations if wiring else ())]
    return []
