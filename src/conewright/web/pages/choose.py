"""The page of stage choose: what is wished and allowed, then the best whole plans for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from conewright.errors import ConewrightError, JobError
from conewright.job.document.document import WEIGHTS
from conewright.job.text.editing import Refused
from conewright.job.text.labels import Part, fields_of
from conewright.web.base.errors import Refusal
from conewright.web.desk.choosing import ChoiceAnswer, Choosing, Manner, Offered, offered, offers
from conewright.web.frame.choice_view import choice_view, front_table
from conewright.web.frame.context import JobPage, open_page, plan_of
from conewright.web.frame.page import (
    Form,
    Revision,
    address,
    number_in,
    reading_of,
    render,
    save,
    store_of,
)
from conewright.web.frame.wished import (
    KNOBS,
    WISHES,
    Limits,
    changed_wishes,
    limits_in,
    limits_of,
    text_with,
)
from conewright.web.pages.stage import drawn, picture_at, sheet_of

__all__ = ["router"]

router = APIRouter()

LABELS = {
    field.path.partition(".")[2]: field.label for field in fields_of(Part("wishes", "wishes", ""))
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked about a revision of a job: limits, the catalogue, the text with both in it."""

    page: JobPage
    limits: Limits
    source: Offered
    text: str

    @property
    def query(self) -> dict[str, object]:
        """What an address carries that always leads to the same answer."""
        return {"revision": self.page.saved.revision, **self.shared}

    @property
    def shared(self) -> dict[str, str]:
        """The limits as an address carries them, the catalogue with its version."""
        return {**self.limits.query, "catalogue": self.source.key}

    def answer(self, request: Request) -> ChoiceAnswer:
        """Return the choice; raises BadInputError, Refusal, NotYet."""
        choosing: Choosing = request.app.state.reports.choosing
        manner = Manner(unmeasured=self.limits.unmeasured)
        return choosing.answer(store_of(request), self.text, self.source, manner)


@router.get("/jobs/{job_id}/choose")
def choose_page(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Show the form, and the answer where anything is asked."""
    page = open_page(request, job_id, revision=revision)
    own = limits_of(page.job)
    limits = limits_in(request.query_params.multi_items(), own)
    if limits is None:
        return _shown(request, page, own)
    try:
        asked = _asked(request, page, limits)
        return _answered(request, asked, asked.answer(request))
    except Refused as refused:
        return _shown(request, page, limits, refused=refused)
    except (ConewrightError, Refusal) as error:
        problems = error.problems if isinstance(error, JobError | Refusal) else ()
        told = tuple(map(str, problems)) or (str(error),)
        # That a job lacks something is no fault of the request; that there was no time is.
        status = error.status if isinstance(error, Refusal) else 200
        return _shown(request, page, limits, told=told, status=status)


@router.get("/jobs/{job_id}/choose.svg")
def picture(
    request: Request, job_id: str, revision: Revision, narrow: bool = False, dark: bool = False
) -> Response:
    """Give the picture of a choice; its address holds all that it depends on."""
    answer = _asked_by_address(request, job_id, revision).answer(request)
    return drawn(answer.choice, key=answer.etag, narrow=narrow, dark=dark)


@router.get("/jobs/{job_id}/choose.csv")
def numbers(request: Request, job_id: str, revision: Revision = None) -> Response:
    """Give what each limit of money buys as a table."""
    asked = _asked_by_address(request, job_id, revision)
    table = front_table(asked.answer(request).choice, asked.page.job.about.currency or "")
    return sheet_of(table, name=f"{asked.page.saved.name}-choose")


@router.post("/jobs/{job_id}/choose")
def keep(request: Request, job_id: str, form: Form, base: Revision = None) -> Response:
    """Save what was asked in the job's wishes, as the fields of any part are saved."""
    page = open_page(request, job_id, revision=base)
    limits = limits_in(_pairs(form), limits_of(page.job)) or limits_of(page.job)
    try:
        asked = _asked(request, page, limits)
        then = address(f"{page.base}/choose", **asked.shared)
        return save(request, page.saved, asked.text, then=then)
    except Refused as refused:
        return _shown(request, page, limits, refused=refused)


@router.post("/jobs/{job_id}/choose/try")
def try_plan(request: Request, job_id: str, form: Form) -> Response:
    """Add a plan of the answer to the job as a proposal, and open it."""
    fields = dict(_pairs(form))
    page = open_page(request, job_id, revision=number_in(fields, "base") or None)
    own = limits_of(page.job)
    asked = _asked(request, page, limits_in(_pairs(form), own) or own)
    choice, plan_id = asked.answer(request).choice, fields.get("plan", "")
    try:
        choice.plan_of(plan_id)
    except KeyError:
        raise Refusal(404, "There is no such plan in this answer.") from None
    choosing: Choosing = request.app.state.reports.choosing
    reading = reading_of(request)
    text, id = choosing.written(page.saved.text, choice, plan_id, reading=reading)
    return save(request, page.saved, text, then=f"{page.base}/proposals/{id}")


# --- What is asked --------------------------------------------------------------------------------


def _pairs(form: Form) -> list[tuple[str, str]]:
    return [(name, value) for name, value in form.multi_items() if isinstance(value, str)]


def _asked_by_address(request: Request, job_id: str, revision: int | None) -> Asked:
    page = open_page(request, job_id, revision=revision)
    own = limits_of(page.job)
    try:
        return _asked(request, page, limits_in(request.query_params.multi_items(), own) or own)
    except Refused as refused:
        raise Refusal(422, str(refused)) from None


def _asked(request: Request, page: JobPage, limits: Limits) -> Asked:
    """Return what is asked; raises Refused with words beside the fields."""
    wrong: dict[str, str] = {}
    try:
        source = offered(store_of(request), limits.catalogue)
    except ConewrightError as error:
        wrong["catalogue"] = str(error)
    if wrong:
        raise Refused(wrong, ())
    text = text_with(page.saved.text, page.job, limits, reading_of(request))
    return Asked(page, limits, source, text)


# --- The page -------------------------------------------------------------------------------------


def _answered(request: Request, asked: Asked, answer: ChoiceAnswer) -> Response:
    job = reading_of(request).job(asked.text)
    view = choice_view(answer.choice, job, base=asked.page.base)
    return _shown(
        request,
        asked.page,
        asked.limits,
        source=asked.source,
        view=view,
        hidden=asked.shared,
        differs=bool(changed_wishes(asked.page.job, asked.limits)),
        table=front_table(answer.choice, view.currency),
        picture=picture_at(
            f"{asked.page.base}/choose", answer.choice, key=answer.etag, query=asked.query
        ),
    )


def _shown(
    request: Request,
    page: JobPage,
    limits: Limits,
    *,
    refused: Refused | None = None,
    told: tuple[str, ...] = (),
    status: int = 200,
    source: Offered | None = None,
    **found: object,
) -> Response:
    """Show the form with what is asked, and the answer where there is one."""
    nothing: Mapping[str, object] = {
        "view": None,
        "hidden": {},
        "differs": False,
        "table": None,
        "picture": "",
    }
    wrong = refused or Refused({}, ())
    return render(
        request,
        "choose.html",
        status=status,
        page=page,
        stage="choose",
        limits=limits,
        catalogues=_catalogues(request, source),
        catalogue=limits.catalogue if source is None else source.key,
        seats=[seat.id for seat in page.job.seats],
        wishes={name: LABELS[name] for name in WISHES},
        weights=tuple(WEIGHTS),
        knobs=KNOBS,
        labels={**LABELS, "catalogue": "Catalogue", "may": "What may be changed"},
        unasked=not page.job.wishes.weights,
        errors=wrong.beside,
        others=(*wrong.others, *told),
        plan=plan_of(page),
        **{**nothing, **found},
    )


def _catalogues(request: Request, source: Offered | None) -> list[Offered]:
    """Return what can be chosen from, with an older version where that is looked at."""
    there = list(offers(store_of(request)))
    return there if source is None or source in there else [source, *there]
