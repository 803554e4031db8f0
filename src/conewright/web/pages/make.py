"""The page of stage make: the papers of a plan to look at, to print, to send out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import PurePath
from typing import Annotated
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from conewright.errors import ConewrightError, PlanRefusedError
from conewright.job.document.parts import AS_FOUND
from conewright.papers.press.manifest import MANIFEST, Entry, Manifest, Use
from conewright.papers.press.typeset import PAPERS
from conewright.stages.report.care import cautions_for
from conewright.stages.report.words import number
from conewright.views.numbers import TENTHS, money
from conewright.web.base.errors import Refusal
from conewright.web.base.headers import FOREVER
from conewright.web.base.settings import LOOPBACK
from conewright.web.desk.reports import Made, PaperQuestion
from conewright.web.frame.context import JobPage, open_page, plan_of
from conewright.web.frame.page import Revision, address, render

__all__ = ["router"]

router = APIRouter()

ALL = "papers.zip"
KINDS = {
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml; charset=utf-8",
    ".dxf": "image/vnd.dxf",
    ".csv": "text/csv",
    ".json": "application/json",
    ".zip": "application/zip",
}
HEADINGS: dict[Use, str] = {"print": "To print", "send out": "To send out", "keep": "To keep"}
NO_TIME = (1980, 1, 1, 0, 0, 0)
"""The same papers give the same ZIP file: it holds no date."""


@dataclass(frozen=True, slots=True)
class FileView:
    """A file on the page: its entry, its address, its pages as pictures."""

    entry: Entry
    href: str
    pictures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted of a job: of which revision and plan, on what paper, for which printer."""

    page: JobPage
    paper: str
    bar: str
    fixed: bool

    @property
    def keeping(self) -> str:
        """How long an answer may be kept: for ever where the address names the revision."""
        return FOREVER if self.fixed else "no-store"

    def at(self, path: str) -> str:
        """Return the address of a file; it names the revision, so what is there never changes."""
        return address(
            f"{self.page.base}/make/{path}",
            revision=self.page.saved.revision,
            proposal=self.page.proposal,
            paper=self.paper,
            bar=self.bar,
        )

    def made(self, request: Request) -> Made:
        """Return the papers; raises PlanRefusedError, BadInputError, Refusal."""
        question = PaperQuestion(
            proposal=self.page.proposal,
            paper=self.paper,
            bar_measured=self.bar,
            revision=f"revision {self.page.saved.revision}",
            address=_served_at(request, self.page),
        )
        made: Made = request.app.state.reports.papers(self.page.saved, question)
        return made


def _served_at(request: Request, page: JobPage) -> str | None:
    """Return the address of the job for the flags' square code; none where no phone reaches it."""
    url = request.url
    if url.hostname is None or url.hostname in {name.strip("[]") for name in LOOPBACK}:
        return None
    return f"{url.scheme}://{url.netloc}{page.base}"


def _wanted(
    request: Request,
    job_id: str,
    revision: Revision = None,
    proposal: str | None = None,
    paper: str = PAPERS[0],
    bar: str = "",
) -> Wanted:
    page = open_page(request, job_id, revision=revision, proposal=proposal)
    return Wanted(page, paper, bar.strip(), fixed=revision is not None)


Question = Annotated[Wanted, Depends(_wanted)]


@router.get("/jobs/{job_id}/make")
def make_page(request: Request, wanted: Question, proposal: str | None = None) -> Response:
    """Show the papers of a plan, or why there are none."""
    page = wanted.page
    made: Made | None = None
    reasons: tuple[str, ...] = ()
    status = 200
    if proposal is not None:
        try:
            made = wanted.made(request)
        except PlanRefusedError as error:
            reasons = error.reasons
        except (ConewrightError, Refusal) as error:
            reasons = tuple(str(error).splitlines())
            status = error.status if isinstance(error, Refusal) else 200
    return render(
        request,
        "make.html",
        status=status,
        page=page,
        stage="make",
        asked=proposal is not None,
        as_found=AS_FOUND,
        papers=PAPERS,
        wanted=wanted,
        made=made,
        files=_by_use(wanted, made) if made else [],
        all=wanted.at(ALL),
        takes=_takes(made.papers.manifest) if made else "",
        reasons=reasons,
        cautions=[caution.text for caution in cautions_for("make", page.job.build(page.proposal))],
        plan=plan_of(page),
    )


@router.get("/jobs/{job_id}/make/{name}")
def file(request: Request, wanted: Question, name: str) -> Response:
    """Give one of the papers, its manifest, or all of them in one file."""
    made = wanted.made(request)
    content = _zipped(made) if name == ALL else dict(_contents(made)).get(name)
    if content is None:
        raise Refusal(404, "There is no such paper.")
    headers = {
        "Cache-Control": wanted.keeping,
        "Content-Disposition": f'attachment; filename="{name}"',
    }
    kind = KINDS.get(PurePath(name).suffix, "application/octet-stream")
    return Response(content, media_type=kind, headers=headers)


@router.get("/jobs/{job_id}/make/{name}/{number}.png")
def picture(request: Request, wanted: Question, name: str, number: int) -> Response:
    """Give a page of a paper as a picture."""
    pages = wanted.made(request).pages.get(name, ())
    if not 1 <= number <= len(pages):
        raise Refusal(404, "There is no such page.")
    headers = {"Cache-Control": wanted.keeping}
    return Response(pages[number - 1], media_type="image/png", headers=headers)


# --- Underneath ---------------------------------------------------------------------------------


def _takes(manifest: Manifest) -> str:
    """Return hours and cost of a plan in words; nothing for one that takes none."""
    hours, cost = manifest.hours, manifest.cost
    if hours is None or cost is None or hours.high == cost.high == 0.0:
        return ""
    spent = [number(each, spread=TENTHS) for each in (hours.typical, hours.low, hours.high)]
    paid = [money(each, highest=cost.high) for each in (cost.typical, cost.low, cost.high)]
    return (
        f"{spent[0]} h of work ({spent[1]} to {spent[2]}), in all {paid[0]} {cost.unit} "
        f"({paid[1]} to {paid[2]})"
    )


def _by_use(wanted: Wanted, made: Made) -> list[tuple[str, list[FileView]]]:
    """Return the files under what is done with them."""
    found = [
        (heading, [_view(wanted, made, entry) for entry in made.papers.manifest.used(use)])
        for use, heading in HEADINGS.items()
    ]
    return [(heading, views) for heading, views in found if views]


def _view(wanted: Wanted, made: Made, entry: Entry) -> FileView:
    """Return a file with its pictures: its pages, or for a drawing the file itself."""
    name = entry.name
    if name.endswith(".svg"):
        pictures: tuple[str, ...] = (wanted.at(name),)
    else:
        pages = range(1, len(made.pages.get(name, ())) + 1)
        pictures = tuple(wanted.at(f"{name}/{number}.png") for number in pages)
    return FileView(entry, wanted.at(name), pictures)


def _contents(made: Made) -> Iterator[tuple[str, bytes]]:
    yield from ((file.name, file.content) for file in made.papers.files)
    yield MANIFEST, made.papers.manifest.to_json().encode()


def _zipped(made: Made) -> bytes:
    sheet = BytesIO()
    with ZipFile(sheet, "w") as archive:
        for name, content in _contents(made):
            archive.writestr(ZipInfo(name, NO_TIME), content, compress_type=ZIP_DEFLATED)
    return sheet.getvalue()
