"""The page of a job: the vehicle, what is known, the worst, and the next reading worth taking."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import chain

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.job.document.parts import LINE, UNKNOWN
from conewright.job.plausible.doubts import Doubt
from conewright.job.text.editing import Refused, with_entry, with_values
from conewright.job.text.labels import PAGED_LISTS, Part, parts_of
from conewright.stages.find.checked import entry_problems
from conewright.stages.find.faults.trade import in_owners_words
from conewright.stages.report.data import Report, Severity
from conewright.web.desk.workers import Stage
from conewright.web.frame.answer import LETTERS, NextView, verdict_views
from conewright.web.frame.context import (
    JobPage,
    NoAnswer,
    job_of,
    open_page,
    plan_of,
    reports_of,
    view_of,
)
from conewright.web.frame.page import (
    Form,
    Revision,
    address,
    form_texts,
    number_in,
    reading_of,
    render,
    save,
    see_other,
    store_of,
)
from conewright.web.frame.rendered import kept

__all__ = ["router"]

router = APIRouter()

MOST_VERDICTS = 6
LONGEST_NOTE = 120
SOMEWHERE = ("0.00 m ± 0.50 m", "0.00 m ± 0.50 m", "0.80 m ± 0.30 m")
"""Where a place is until somebody says: in the cabin. Assumed, no source."""
HEADINGS = {
    "": "Job, vehicle, radio",
    "channel": "Channels of radio and amplifiers",
    "amplifier": "Amplifiers",
    "location": "Places with a loudspeaker",
    "driver": "Loudspeakers fitted, or thought of",
    "seat": "Places to listen from",
}


@router.get("/jobs/{job_id}")
def job(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show a job."""
    try:
        return kept(
            request, job_id, lambda: _shown(request, open_page(request, job_id, revision=revision))
        )
    except JobError:
        return see_other(address(f"/jobs/{job_id}/text", revision=revision))


def _shown(request: Request, page: JobPage) -> Response:
    found = reports_of(request, page)
    reports = {stage: each for stage, each in found.items() if isinstance(each, Report)}
    loud = [
        verdict
        for verdict in chain.from_iterable(report.verdicts for report in reports.values())
        if verdict.severity.rank >= Severity.WARN.rank
    ]
    lacking = {stage: each.told for stage, each in found.items() if isinstance(each, NoAnswer)}
    find = reports.get("find")
    return render(
        request,
        "job.html",
        page=page,
        plan=plan_of(page, reports.values()),
        answer=find.answer if find else lacking["find"],
        verdicts=verdict_views(loud)[:MOST_VERDICTS],
        loud=len(verdict_views(loud)),
        reading=find.readings[0] if find and find.readings else None,
        origins_known=_origins(page.built),
        next=_next(page, reports),
        refusals=lacking,
        unusable=[str(problem) for problem in entry_problems(page.job)],
        doubts=_doubts(page.job),
        groups=_groups(parts_of(page.job)),
        addable=PAGED_LISTS,
        complaints=[in_owners_words(each) for each in page.job.about.complaints],
    )


@router.post("/jobs/{job_id}/sure")
def sure(request: Request, job_id: str, form: Form) -> Response:
    """Write down that an unusual value is so."""
    fields = form_texts(form)
    base = store_of(request).get(job_id, number_in(fields, "base") or None)
    path = fields.get("path", "")
    paths = [*base.job.about.sure, path]
    try:
        text = with_values(base.text, {"job.sure": list(dict.fromkeys(paths))})
    except Refused as refused:
        return _refused(request, job_id, refused)
    return save(
        request, base, text, then=f"/jobs/{job_id}#so-far", note=f"sure of {path}"[:LONGEST_NOTE]
    )


@router.get("/jobs/{job_id}/job.toml")
def download(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Give the job's file back, byte for byte as it was saved."""
    saved = store_of(request).get(job_id, revision)
    headers = {"Content-Disposition": f'attachment; filename="{saved.name}.toml"'}
    return PlainTextResponse(saved.text, media_type="application/toml", headers=headers)


@router.get("/jobs/{job_id}/print.css")
def printed(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Put the job's title and revision on every printed page, and the page's number."""
    page = open_page(request, job_id, revision=revision)
    title = _css_text(f"{page.title}, revision {page.saved.revision}")
    style = (
        f"@page {{ @top-left {{ content: {title}; font: 9pt system-ui, sans-serif; }} "
        '@bottom-right { content: "page " counter(page) " of " counter(pages); '
        "font: 9pt system-ui, sans-serif; } }\n"
    )
    return Response(style, media_type="text/css")


@router.post("/jobs/{job_id}/add/{kind}")
def add(request: Request, job_id: str, kind: str, form: Form) -> Response:
    """Add a driver, a seat, a channel, an amplifier, and open it."""
    fields = form_texts(form)
    base = store_of(request).get(job_id, number_in(fields, "base") or None)
    id = fields.get("id", "").strip()
    try:
        entry = _blank(job_of(request, base), kind, id)
        text = reading_of(request).run(with_entry, base.text, kind, entry)
        for other, beside in _beside(kind, id):
            text = reading_of(request).run(with_entry, text, other, beside)
    except Refused as refused:
        return _refused(request, job_id, refused)
    return save(request, base, text, then=f"/jobs/{job_id}/part/{id}")


def _refused(request: Request, job_id: str, refused: Refused) -> Response:
    return render(
        request,
        "refused.html",
        title="Nothing was added",
        told=str(refused),
        back=f"/jobs/{job_id}",
    )


def _doubts(job: Job) -> list[tuple[Doubt, str]]:
    """Return what is asked back, each with the part whose form has it, empty where none has."""
    parts = {part.id for part in parts_of(job)}
    heads = ((doubt, doubt.path.partition(".")[0]) for doubt in job.doubts)
    return [(doubt, head if head in parts else "") for doubt, head in heads]


def _blank(job: Job, kind: str, id: str) -> dict[str, object]:
    """Return the least that makes an entry of a list."""
    rest: dict[str, dict[str, object]] = {
        "location": {"kind": "panel", "at": list(SOMEWHERE), "driver": job.drivers[0].id},
        "driver": {"size": "165 mm", "age": "new"},
        "seat": {"ear": ["-0.80 m", "0.36 m", "1.05 m"]},
        "channel": {"load": "unknown"},
    }
    return {"id": id, **rest.get(kind, {})}


def _beside(kind: str, id: str) -> Iterator[tuple[str, dict[str, object]]]:
    """Yield what comes with a new entry: an amplifier drives something, whatever that may be."""
    if kind == "amplifier":
        driven = {"driven_by": id, "input": LINE, "load": UNKNOWN}
        yield "channel", {"id": f"{id}-out", **driven}


def _origins(build: Build | JobError) -> list[tuple[str, str, int]]:
    """Return how many of the values that count are measured, from a sheet, typical, assumed."""
    if isinstance(build, JobError):
        return []
    counts = Counter(value.origin for value in build.values())
    return [(*LETTERS[origin], counts[origin]) for origin in Origin]


def _next(page: JobPage, reports: Mapping[Stage, Report]) -> list[NextView]:
    """Return the measurement that would help each stage most."""
    views = (view_of(page, report) for report in reports.values())
    first = [view.next[0] for view in views if view.next]
    return list({each.label: each for each in first}.values())


def _groups(parts: tuple[Part, ...]) -> list[tuple[str, str, list[Part]]]:
    groups: dict[str, list[Part]] = {}
    for part in parts:
        groups.setdefault(part.kind if part.kind in PAGED_LISTS else "", []).append(part)
    # A job without an amplifier can be given one.
    shown = (kind for kind in HEADINGS if kind in groups or kind == "amplifier")
    return [(kind, HEADINGS[kind], groups.get(kind, [])) for kind in shown]


def _css_text(text: str) -> str:
    """Return a text in quotes as a style sheet takes it, whatever stands in it."""
    plain = "".join(
        letter if letter.isalnum() or letter in " ,.:-" else f"\\{ord(letter):x} "
        for letter in text[:120]
        if letter.isprintable()
    )
    return f'"{plain}"'
